"""Few words for much: what a cue asks of the hand, short enough for a chart, and how wide a text will be."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping

from cuesuggest.score.records import Cue, Look, counted

__all__ = ["action", "fitted", "over", "plain", "text_width"]

# Widths of common characters in units of the text size, measured on DejaVu Sans Condensed, which is as wide as
# the usual faces or wider; what is not here is taken to be as wide as a capital.
_WIDTHS = {
    **dict.fromkeys("iljI'|!.,:; ", 0.30),
    **dict.fromkeys('()[]{}ftr-/\\"', 0.38),
    **dict.fromkeys("abcdeghknopqsuvxyz0123456789?*", 0.57),
    **dict.fromkeys("ABCDEFGHJKLNOPQRSTUVXYZ", 0.68),
    **dict.fromkeys("mwMW%@…—", 0.90),
}
_BOLD = 1.12


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Estimate how wide a text is.

    Parameters
    ----------
    text : str
    size : float
        In any unit.
    bold : bool

    Returns
    -------
    float
        In the same unit, rather too wide than too narrow.
    """
    return size * sum(map(_width, text)) * (_BOLD if bold else 1.0)


def _width(char: str) -> float:
    known = _WIDTHS.get(char)
    if known is not None:
        return known
    if unicodedata.combining(char):
        return 0.0
    return 1.05 if unicodedata.east_asian_width(char) in "WF" else 0.70


def plain(text: str) -> str:
    """Write a text on one line: control characters and runs of space become one space."""
    shown = "".join(" " if unicodedata.category(char) in ("Cc", "Zl", "Zp") else char for char in text)
    return " ".join(shown.split())


def fitted(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """Shorten a text to the room there is, at the end of a word where that keeps most of it.

    Parameters
    ----------
    text : str
    size, room : float
        In the same unit.
    bold : bool

    Returns
    -------
    str
        The text itself where it fits; otherwise its beginning and "…".
    """
    text = plain(text)
    if text_width(text, size, bold=bold) <= room:
        return text
    kept = 0
    while kept < len(text) and text_width(text[: kept + 1] + "…", size, bold=bold) <= room:
        kept += 1
    # Combining marks stay with their letter.
    while 0 < kept < len(text) and unicodedata.combining(text[kept]):
        kept -= 1
    cut = text.rfind(" ", 0, kept + 1)
    return text[: cut if cut > kept * 0.6 else kept].rstrip(" ,;:-") + "…"


def over(beats: float | None, seconds: float | None, units: bool = True) -> str:
    """Say how long a fade takes: "in 4 beats" (without units "in 4"), "in 7.5 s", or nothing where it has no length."""
    if beats and not units:
        return f" in {beats:g}"
    if beats:
        return f" in {counted(int(beats), 'beat')}" if beats == int(beats) else f" in {beats:.3g} beats"
    if seconds:
        return f" in {round(seconds, 1):g} s"
    return ""


def action(cue: Cue, looks: Mapping[str, Look], *, units: bool = True) -> str:
    """Say what the hand does, in as few words as an operator needs: "B up to 65 in 2 beats".

    Parameters
    ----------
    cue : Cue
    looks : mapping
        By id.
    units : bool
        Whether to say that a fade is so many beats; a page whose head says it has more room.

    Returns
    -------
    str
        One line. Levels are percent.
    """
    side = plain(cue.side or "")
    level = "" if cue.level is None else f"to {cue.level}"
    at = "" if cue.level is None else f"at {cue.level}"
    up = over(cue.up_beats, cue.up_seconds, units)
    down = over(cue.down_beats, cue.down_seconds, units)
    known = looks.get(cue.look or "")
    look = plain(known.name) if known else ""
    parts: tuple[str, ...]
    match cue.kind:
        case "recall":
            parts = ("set", side, look)
        case "fade-in":
            parts = (side, "up", level + up + _others(cue, units))
        case "crossfade":
            parts = ("over to", side, at + up)
        case "cut-in":
            parts = (side, "in", at + _others(cue, units))
        case "ramp":
            parts = (side, level + up)
        case "fade-out":
            parts = (side or "all", "down" + down)
        case "cut-out" if cue.trigger == "held":
            parts = ("hold dark",)
        case "cut-out":
            parts = (side or "all", "out")
        case "speed" if cue.cycle_seconds:
            parts = (side, f"one round in {round(cue.cycle_seconds, 1):g} s")
        case "one-shot":
            parts = ("one-shot" if not look or look.casefold() == "one-shot" else look, _series(cue))
        case _:
            return plain(cue.hand) if cue.who == "operator" else f"[{plain(cue.who)}: {plain(cue.hand)}]"
    said = " ".join(part.strip() for part in parts if part.strip()).replace(" ,", ",")
    return f"[{plain(cue.who)}] {said}" if cue.who != "operator" else said


def _series(cue: Cue) -> str:
    series = cue.series
    if series is None:
        return ""
    bars = {*range(series.first_bar, series.last_bar + 1, max(1, series.every_bars))} - {*series.skip}
    every = "every bar" if series.every_bars == 1 else f"every {series.every_bars} bars"
    return f"{every}, {counted(len(bars), 'time')}"


def _others(cue: Cue, units: bool) -> str:
    """Say that the light on the other side leaves."""
    if cue.down_beats is None and cue.down_seconds is None:
        return ""
    return f", then the other out{over(cue.down_beats, cue.down_seconds, units)}"
