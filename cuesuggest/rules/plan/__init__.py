"""How much light each section gets, and with which looks."""
