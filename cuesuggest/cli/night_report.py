"""A night as text for a terminal: its order with what lies between, then the looks to build."""

from __future__ import annotations

from collections.abc import Iterator

from cuesuggest.cli.screen import wrapped
from cuesuggest.score.night_records import BetweenSongs, NightPlan, NightSong
from cuesuggest.score.records import clock, counted

__all__ = ["night_text"]

_NARROWEST = 40


def night_text(plan: NightPlan, width: int) -> str:
    """Write a night's plan.

    Parameters
    ----------
    plan : NightPlan
    width : int
        Columns; at least 40.

    Returns
    -------
    str
        Lines of at most `width` columns, ending with a newline.
    """
    width = max(width, _NARROWEST)
    length = clock(sum(song.seconds for song in plan.songs)).partition(".")[0]
    lines = [plan.title, f"{counted(len(plan.songs), 'song')}, {length} of music."]
    for told in plan.changed:
        lines += wrapped(f"Changed at sound check: {told}.", width, "", "  ")
    for told in plan.remarks:
        lines += wrapped(told, width, "", "  ")
    lines += ["", *_between(plan.between[0], width)]
    for song, after in zip(plan.songs, plan.between[1:], strict=True):
        lines += [*_song(song, width), *_between(after, width)]
    lines += ["", "Looks to build, the smallest first"]
    for look in plan.looks:
        where = ", ".join(filter(None, (plan.buttons_words(look), look.songs_words)))
        lines += wrapped(f"{look.look.name}: {where}; {look.look.description}.", width, "  ", "      ")
    names = {each.look.id: each.look.name for each in plan.looks}
    titles = {song.number: song.title for song in plan.songs}
    if plan.moments:
        lines += ["", "The biggest moments"]
        for number, use in plan.moments:
            text = f"song {number} {titles[number]}, {use.mark}: {names.get(use.look, use.look)}"
            lines += wrapped(text, width, "  ", "      ")
    return "\n".join(lines) + "\n"


def _song(song: NightSong, width: int) -> Iterator[str]:
    cues = f"cues {song.cues[0]} to {song.cues[1]}" if song.cues[0] else "no cues"
    tempo = f", {song.tempo:.0f} a minute" if song.tempo else ""
    yield from wrapped(f"{song.title}: {cues}{tempo}", width, f"{song.number:>3}  ", "     ")
    for told in (*song.changes, song.restraint, f"Still open: {song.to_do}." if song.to_do else ""):
        yield from wrapped(told, width, "     ", "       ") if told else ()


def _between(part: BetweenSongs, width: int) -> Iterator[str]:
    yield from wrapped(part.line, width, "   - ", "     ")
    for told in part.cautions:
        yield from wrapped(told, width, "     ! ", "       ")
