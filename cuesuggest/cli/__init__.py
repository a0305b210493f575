"""The command line: parse, one call, print. Errors of the program end here, with their exit code."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from traceback import walk_tb
from typing import Any, NoReturn

import click

from cuesuggest import __version__
from cuesuggest.cli.carrying import retime
from cuesuggest.cli.commands import analyze, list_
from cuesuggest.cli.comparing import compare
from cuesuggest.cli.correcting import correct
from cuesuggest.cli.doctor import doctor
from cuesuggest.cli.editing import edit
from cuesuggest.cli.exporting import export, formats, map_, read
from cuesuggest.cli.learning import learn
from cuesuggest.cli.nights import night
from cuesuggest.cli.one_word import accept_all, accept_section, by_hand, by_itself, colours, dark, length, one_shot
from cuesuggest.cli.playing import play
from cuesuggest.cli.profiles import profiles, rigs
from cuesuggest.cli.reviewing import review
from cuesuggest.cli.screen import echo, ready, tell_usage
from cuesuggest.cli.splitting import split
from cuesuggest.cli.suggesting import suggest
from cuesuggest.errors import CuesuggestError, reason_of
from cuesuggest.gate_out import OutputError

__all__ = ["cli", "main"]

_NAMED = 5  # files named when something went wrong after they were written


class _Program(click.Group):
    """The commands; what cannot be printed is told apart from all else that an operating system may refuse."""

    # Inside of click, which makes a failure of the whole command of a reader that has left.

    def make_context(self, *given: Any, **words: Any) -> click.Context:  # where help is printed
        with _printing():
            return super().make_context(*given, **words)

    def invoke(self, ctx: click.Context) -> Any:
        with _printing():
            return super().invoke(ctx)


@contextmanager
def _printing() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if any(frame.f_code is click.echo.__code__ for frame, _ in walk_tb(error.__traceback__)):
            raise OutputError(error) from error
        raise


@click.group(cls=_Program, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="cuesuggest")
@click.option("--quiet", is_flag=True, help="Print nothing but errors.")
@click.option("--debug", is_flag=True, help="Show the program's own trace when something goes wrong.")
@click.pass_context
def cli(context: click.Context, quiet: bool, debug: bool) -> None:
    """Turn the recording of a song into a draft cue list for effect light.

    Start with: cuesuggest suggest SONG.m4a
    """
    context.ensure_object(dict).update(quiet=quiet, debug=debug)
    context.obj.setdefault("written", [])


for command in (accept_all, accept_section, by_hand, by_itself, colours, dark, length, one_shot):
    edit.add_command(command)
for command in (
    suggest,
    split,
    review,
    retime,
    compare,
    analyze,
    list_,
    edit,
    correct,
    night,
    export,
    formats,
    play,
    map_,
    read,
    profiles,
    rigs,
    learn,
    doctor,
):
    cli.add_command(command)


def main() -> NoReturn:
    """Run the command line and leave the process with its exit code."""
    debug = "--debug" in sys.argv[1:]
    written: list[Path] = []
    # The matrices are small: waiting for each other, the threads of OpenBLAS take twice the time. Read when numpy is
    # imported, which is later; processes for several songs inherit it.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    ready()
    try:
        code = cli.main(standalone_mode=False, obj={"written": written})
    except click.ClickException as error:
        with suppress(OSError):
            tell_usage(error)
        code = error.exit_code
    except (click.Abort, KeyboardInterrupt):
        _tell(f"Stopped. {_kept(written) or 'Nothing was written.'}")
        code = 1 if written else 2
    except CuesuggestError as error:
        if debug:
            raise
        _tell(f"cuesuggest: {error}")
        code = error.exit_code
    except OutputError as error:
        code = _unshown(error.reason, written)
    except Exception as error:
        if debug:
            raise
        if isinstance(error, OSError) and error.filename:
            words = f"{error.filename} cannot be used: {reason_of(error)}. Check its name."
        else:
            words = (
                f"something unforeseen went wrong ({type(error).__name__}: {error}). Run the same command with "
                "--debug and report what it shows."
            )
        _tell(f"cuesuggest: {words} {_kept(written)}")
        code = 1 if written else 2
    sys.exit(code if isinstance(code, int) else 0)


def _unshown(reason: OSError, written: list[Path]) -> int:
    """Tell that standard output could not be written, which takes nothing of what was done back."""
    # Let go what could not be printed, or Python tries once more at the end and complains.
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
    if isinstance(reason, BrokenPipeError):
        return 0  # The reader of a pipe has left, as `head` does: no error of anybody's.
    words = reason_of(reason)
    done = f"{_kept(written)} Only showing it failed." if written else "Send it elsewhere and run the command again."
    _tell(f"cuesuggest: standard output cannot be written: {words}. {done}")
    return 1 if written else 2


def _kept(written: list[Path]) -> str:
    """Say what is on the disk all the same."""
    names = [click.format_filename(path) for path in written]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return f"Saved: {', '.join(names[:_NAMED])}{more}." if names else ""


def _tell(words: str) -> None:
    with suppress(OSError):  # Standard error may be full too; the exit code is left.
        echo(words.rstrip(), err=True)
