"""The commands `profiles` and `rigs`: which there are, what is in one, a file to start an own one with."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import everywhere, width

if TYPE_CHECKING:
    from cuesuggest.rules.settings.settings_file import Folder

__all__ = ["profiles", "rigs"]

# Explanations longer than this are hard to read.
_WIDEST = 100


@click.group(invoke_without_command=True)
@everywhere
@click.pass_context
def profiles(context: click.Context) -> None:
    """List the house styles, or show one.

    A house style says how much light a song gets and how it moves; --profile of suggest takes one.
    """
    if context.invoked_subcommand is None:
        _print_names("profiles")


@profiles.command(name="show")
@click.argument("style", metavar="NAME|FILE")
@click.option("--toml", is_flag=True, help="Print the file itself: --toml > mine.toml starts a style of your own.")
@everywhere
def _show_profile(style: str, toml: bool) -> None:
    """Print every value of a house style, with its unit, what it may be, and why it is there."""
    _show("profiles", style, toml)


@click.group(invoke_without_command=True)
@everywhere
@click.pass_context
def rigs(context: click.Context) -> None:
    """List the example rigs, or show one.

    A rig says what there is to play on and who plays it; --rig of suggest takes one.
    """
    if context.invoked_subcommand is None:
        _print_names("rigs")


@rigs.command(name="show")
@click.argument("rig", metavar="NAME|FILE")
@click.option("--toml", is_flag=True, help="Print the file itself: --toml > mine.toml starts a rig of your own.")
@everywhere
def _show_rig(rig: str, toml: bool) -> None:
    """Print every value of a rig, with its unit, what it may be, and why it is there."""
    _show("rigs", rig, toml)


def _print_names(folder: Folder) -> None:
    from cuesuggest.rules.settings.settings_file import shipped_profiles, shipped_rigs
    from cuesuggest.rules.settings.settings_text import list_text

    found = shipped_profiles() if folder == "profiles" else shipped_rigs()
    one, option = ("style", "--profile") if folder == "profiles" else ("rig", "--rig")
    echo(list_text(found, min(width(), _WIDEST)))
    echo(f"Every value of one:     cuesuggest {folder} show NAME")
    echo(f"Start one of your own:  cuesuggest {folder} show NAME --toml > mine.toml")
    echo(f"Use a {one}:{' ' * (17 - len(one))}cuesuggest suggest SONG {option} NAME|FILE")


def _show(folder: Folder, name: str, toml: bool) -> None:
    from cuesuggest.rules.settings.settings_file import load_profile, load_rig, settings_toml
    from cuesuggest.rules.settings.settings_text import settings_text

    if toml:
        echo(settings_toml(folder, name), nl=False)
        return
    record = load_profile(name) if folder == "profiles" else load_rig(name)
    echo(settings_text(record, min(width(), _WIDEST)), nl=False)
