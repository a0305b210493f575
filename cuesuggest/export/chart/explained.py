"""What the signs and the short words of a chart mean: those that it uses, and no others."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from cuesuggest.export.chart.drawn_light import DYNAMICS
from cuesuggest.export.chart.geometry import ChartLine, LegendSign, MarkKind
from cuesuggest.export.chart.short_words import plain
from cuesuggest.score.light import is_held
from cuesuggest.score.records import CATEGORIES, Cue
from cuesuggest.song.hand_words import HandWords, length_words

__all__ = ["explained_signs", "explained_words"]

_MARKS: dict[MarkKind, str] = {
    "cut-in": "in at once",
    "cut-out": "out at once",
    "held": "dark while held",
    "accent": "one-shot",
    "recall": "set in the dark",
    "speed": "other speed",
    "call": "somebody else's line",
    "rest": "dark bar",
}


def explained_signs(lines: Sequence[ChartLine]) -> Iterator[tuple[LegendSign, str, str]]:
    """Explain the signs of a chart.

    Parameters
    ----------
    lines : sequence of ChartLine

    Yields
    ------
    sign : LegendSign
    shown : str
        The letters that are explained, where the sign is one of letters.
    meaning : str
    """
    if any(line.drive for line in lines):
        yield "drive", "", "drive: how hard the band pushes, in this song's range"
    if any(line.hairpins for line in lines):
        yield "hairpin", "", "grows, fades"
    weights = {each.weight for line in lines for each in line.sustains}
    if weights:
        yield "sustain", "", "stays; heavier is stronger" if len(weights) > 1 else "stays"
    marks = {words.text for line in lines for words in line.words if words.role == "dynamic"}
    for category in CATEGORIES:
        if DYNAMICS[category] and any(text.strip("()") == DYNAMICS[category] for text in marks):
            yield "letters", DYNAMICS[category], category
    bracketed = min((text for text in marks if text.startswith("(")), default="")
    if bracketed:
        yield "letters", bracketed, "goes on from the line before"
    if any(words.role == "name" and words.text.endswith("?") for line in lines for words in line.words):
        yield "letters", "?", "a guess"
    used = {mark.kind for line in lines for mark in line.marks}
    yield from ((kind, "", meaning) for kind, meaning in _MARKS.items() if kind in used)
    if any(bar.dashed for line in lines for bar in line.bars):
        yield "dashed", "", "bar uncertain, or none heard"


def explained_words(cues: Iterable[Cue], hand: HandWords) -> list[tuple[str, str]]:
    """Explain the short words of a chart, each by the first cue that has them.

    Parameters
    ----------
    cues : iterable of Cue
        Those that are drawn, in order.
    hand : HandWords
        Of the song.

    Returns
    -------
    list of (str, str)
        The short words as they stand on the chart, and what they mean.
    """
    found: dict[str, tuple[str, str]] = {}
    for cue in cues:
        if cue.who == "operator" and cue.kind != "call":
            for form, short, meaning in _forms(cue, plain(hand.short(cue))):
                found.setdefault(form, (short, meaning))
    return list(found.values())


def _forms(cue: Cue, said: str) -> Iterator[tuple[str, str, str]]:
    """Say which forms of short words a cue has: a name for the form, the words, what they mean."""
    side, level = plain(cue.side or ""), cue.level is not None
    up, down = length_words(cue.up_beats, cue.up_seconds), length_words(cue.down_beats, cue.down_seconds)
    if side and said.startswith(f"{side} "):
        yield "side", f"{cue.number:g} {side}", f"cue {cue.number:g} of the list, on side {side}"
        said = said.removeprefix(f"{side} ")
    match cue.kind:
        case "recall" if side and cue.look:
            yield "set", said, f"recall that look on side {side} while it is dark"
        case "fade-in" | "cut-in" if level:
            said, _, other = said.partition(", ")
            way = f"up to {cue.level} %{_over(up)}" if cue.kind == "fade-in" else f"to {cue.level} % in one move"
            yield cue.kind, said, f"the fader goes {way}"
            if other:
                yield "other", other, f"the other side's fader follows to nothing{_over(down)}"
        case "crossfade" if level and side:
            yield "crossfade", said, f"the fader of {side} goes up to {cue.level} %{_over(up)} as the other side leaves"
        case "ramp" if level:
            yield "ramp", said, f"the light stays, its fader goes to {cue.level} %{_over(up or down)}"
        case "fade-out":
            yield "fade-out", said.removeprefix("all "), f"the fader goes to nothing{_over(down or up)}"
        case "cut-out" if is_held(cue):
            yield "held", said, "hold the button for dark until the band is back"
        case "cut-out":
            yield "cut-out", said.removeprefix("all "), "dark in one move"
        case "speed" if cue.cycle_seconds:
            yield "speed", said, "how long one round of the movement takes"
        case "one-shot" if cue.series:
            every, _, times = said[said.rindex("every ") :].partition(", ")
            yield "series", f"{every}, {times}", f"a press here and on {every} after, {times} in all"
        case _:
            pass


def _over(length: str) -> str:
    return f" over {length}" if length else ""
