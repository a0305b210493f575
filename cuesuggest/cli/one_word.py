"""Decisions of one word, of the command `edit`: all accepted, a one-shot, a dark on a stop, a length, colours."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.cli.editing import BY, CUES, apply_edits, finish, place_of, placed
from cuesuggest.cli.shared import everywhere, load
from cuesuggest.cli.times import Number
from cuesuggest.score.bounds import MOST_COLOURS, MOST_FADE_BEATS

if TYPE_CHECKING:
    from cuesuggest.decide.change import Change
    from cuesuggest.song import Song

__all__ = ["accept_all", "accept_section", "by_hand", "by_itself", "colours", "dark", "length", "one_shot"]


def _make(obj: dict[str, Any], change: Callable[[Song], Change]) -> None:
    """Make a change, told in its own words, and save."""
    song = load(obj["document"])
    made = change(song)
    finish(obj, song, made.made_in(song, by=BY), [made.said])


@click.command(name="accept-all")
@everywhere
@click.pass_obj
def accept_all(obj: dict[str, Any]) -> None:
    """Keep the whole draft as it is."""
    from cuesuggest.decide.quick import all_accepted

    _make(obj, all_accepted)


@click.command(name="accept-section")
@click.argument("section")
@everywhere
@click.pass_obj
def accept_section(obj: dict[str, Any], section: str) -> None:
    """Keep all that is suggested in a section."""
    from cuesuggest.decide.meant import find_section
    from cuesuggest.decide.quick import section_accepted

    _make(obj, lambda song: section_accepted(song, find_section(song, section)))


@click.command()
@click.argument("cue")
@click.argument("beats", type=Number(0, MOST_FADE_BEATS))
@everywhere
@click.pass_obj
def length(obj: dict[str, Any], cue: str, beats: float) -> None:
    """Let a fade take so many beats."""
    from cuesuggest.decide.meant import find_cues
    from cuesuggest.decide.quick import with_length

    apply_edits(obj, lambda song: [with_length(song, each, beats) for each in find_cues(song, (cue,))])


@click.command(name="by-itself")
@CUES
@everywhere
@click.pass_obj
def by_itself(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Let a machine play cues by itself; not what moves a laser."""
    _waiting(obj, cues, by_itself=True)


@click.command(name="by-hand")
@CUES
@everywhere
@click.pass_obj
def by_hand(obj: dict[str, Any], cues: tuple[str, ...]) -> None:
    """Have cues wait for a person's go."""
    _waiting(obj, cues, by_itself=False)


def _waiting(obj: dict[str, Any], cues: tuple[str, ...], *, by_itself: bool) -> None:
    from cuesuggest.decide.cue_edits import played_by_itself
    from cuesuggest.decide.meant import find_cues

    apply_edits(obj, lambda song: [played_by_itself(song, cue, by_itself) for cue in find_cues(song, cues)])


@click.command()
@click.argument("look")
@click.argument("count", type=click.IntRange(1, MOST_COLOURS))
@click.option("--relation", metavar="TEXT", help="How they go together: 'amber and its neighbour'.")
@everywhere
@click.pass_obj
def colours(obj: dict[str, Any], look: str, count: int, relation: str | None) -> None:
    """Let a look have so many colours, in this song."""
    from cuesuggest.decide.meant import find_look
    from cuesuggest.decide.quick import coloured

    apply_edits(obj, lambda song: [coloured(song, find_look(song, look), count, relation)])


@click.command(name="one-shot")
@placed
@everywhere
@click.pass_obj
def one_shot(obj: dict[str, Any], bar: int | None, beat: float, section: str | None, at: float | None) -> None:
    """Add a one-shot, like the nearest that the song has."""
    from cuesuggest.decide.quick import one_shot_at

    _make(obj, lambda song: one_shot_at(song, place_of(song, bar, beat, section, at)))


@click.command()
@placed
@everywhere
@click.pass_obj
def dark(obj: dict[str, Any], bar: int | None, beat: float, section: str | None, at: float | None) -> None:
    """Go dark on the stop that is nearest to a place, until the band is back."""
    from cuesuggest.decide.quick import dark_held

    _make(obj, lambda song: dark_held(song, place_of(song, bar, beat, section, at).seconds))
