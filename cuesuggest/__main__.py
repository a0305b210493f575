"""`python -m cuesuggest` is the command line."""

from cuesuggest.cli import main

main()
