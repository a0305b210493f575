"""The command line: parse, one call, print. Errors of the program end here, with their exit code."""

from __future__ import annotations

import sys
from io import TextIOWrapper
from typing import NoReturn

import click

from cuesuggest import __version__
from cuesuggest.cli.commands import analyze, list_
from cuesuggest.cli.correcting import correct
from cuesuggest.cli.editing import edit
from cuesuggest.cli.exporting import export, formats, map_, read
from cuesuggest.cli.profiles import profiles, rigs
from cuesuggest.cli.reviewing import review
from cuesuggest.cli.suggesting import suggest
from cuesuggest.errors import CuesuggestError

__all__ = ["cli", "main"]


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="cuesuggest")
@click.option("--quiet", is_flag=True, help="Print nothing but errors.")
@click.option("--debug", is_flag=True, help="Show the program's own trace when something goes wrong.")
@click.pass_context
def cli(context: click.Context, quiet: bool, debug: bool) -> None:
    """Turn the recording of a song into a draft cue list for effect light.

    Start with: cuesuggest suggest SONG.m4a
    """
    context.obj = {"quiet": quiet, "debug": debug}


for command in (suggest, review, analyze, list_, edit, correct, export, formats, map_, read, profiles, rigs):
    cli.add_command(command)


def main() -> NoReturn:
    """Run the command line and leave the process with its exit code."""
    debug = "--debug" in sys.argv[1:]
    if isinstance(sys.stdout, TextIOWrapper):
        # Names of files need not be text, and a screen need not have every letter: neither ends a command.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        code = cli.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. Nothing was written.", err=True)
        code = 2
    except CuesuggestError as error:
        if debug:
            raise
        click.echo(f"cuesuggest: {error}", err=True)
        code = error.exit_code
    except BrokenPipeError:
        # The reader of a pipe has left, as `head` does: no error of ours.
        sys.stderr.close()
        code = 0
    except Exception as error:
        if debug:
            raise
        if isinstance(error, OSError) and error.filename:
            click.echo(f"cuesuggest: {error.filename} cannot be used: {error.strerror}. Check its name.", err=True)
            sys.exit(2)
        click.echo(
            f"cuesuggest: something unforeseen went wrong ({type(error).__name__}: {error}). "
            "Run the same command with --debug and report what it shows.",
            err=True,
        )
        code = 2
    sys.exit(code if isinstance(code, int) else 0)
