"""What has to be said once per song before anybody plays it."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace

from cuesuggest.cues import Cue
from cuesuggest.rules.brief import Brief, Move

__all__ = ["FLASHES_PER_SECOND", "cautions", "mark_flashes", "most_flashes"]

# WCAG 2.3.1 (W3C): not more than three flashes within any second. It governs screens; here it is a yardstick.
FLASHES_PER_SECOND = 3

# Seconds. Windows are half-open, so that three flashes a second are three and not four.
_GUARD = 1e-9

TIMING_ONLY = (
    "This draft plans timing only. It knows nothing of the place, the people, the power or the beam paths: "
    "local codes and licensed practice decide what is done, and whoever is responsible there may change or "
    "refuse any cue."
)


def most_flashes(onsets: Sequence[float]) -> int:
    """Return the most onsets that fall into one half-open second.

    Parameters
    ----------
    onsets : sequence of float
        Seconds, in any order, of all sides together: the eye adds them up.
    """
    ordered = sorted(onsets)
    return max((bisect_left(ordered, at + 1.0 - _GUARD) - index for index, at in enumerate(ordered)), default=0)


def _flashes(moves: Sequence[Move]) -> list[tuple[float, int]]:
    """Seconds at which light jumps up (one-shots, cuts in, the end of a held dark), with the move's index."""
    found: list[tuple[float, int]] = []
    for index, move in enumerate(moves):
        if move.cue.kind in ("one-shot", "cut-in"):
            found += [(start, index) for start in move.starts]
        elif move.cue.trigger == "held":
            found.append((move.end, index))
    return sorted(found)


def mark_flashes(moves: Sequence[Move]) -> list[Move]:
    """Put a caution on the cues of any second with more flashes than the yardstick."""
    flashes = _flashes(moves)
    marked = {
        index
        for at, _ in flashes
        if sum(1 for other, _ in flashes if at <= other < at + 1.0 - _GUARD) > FLASHES_PER_SECOND
        for other, index in flashes
        if at <= other < at + 1.0 - _GUARD
    }
    text = f"more than {FLASHES_PER_SECOND} flashes within a second here, over all sides"
    return [
        replace(move, cue=replace(move.cue, cautions=(*move.cue.cautions, text))) if index in marked else move
        for index, move in enumerate(moves)
    ]


def cautions(brief: Brief, cues: Sequence[Cue], moves: Sequence[Move]) -> tuple[str, ...]:
    """Say what concerns the whole song, each once."""
    rig = brief.rig
    said = [TIMING_ONLY]
    sources = {side.source for side in rig.playing}
    shots = any(cue.kind == "one-shot" for cue in cues)
    if shots and rig.one_shot is not None:
        sources.add(rig.one_shot.source)
    if "laser" in sources:
        said.append(
            "Lasers: nothing here leaves a beam standing still; every look keeps moving, and every laser cue "
            "waits for a person's go. Keep a way to put everything out at once under the hand."
        )
        said.append(
            "Lasers: no cue is meant for beams near people. Bring levels up, and start a movement, only when "
            "people are clear of the beams; where beams may go is decided and tested on the spot."
        )
    if rig.cameras and "laser" in sources:
        said.append("Cameras: keep beams off their lenses; a beam can destroy a sensor.")
    if not rig.haze:
        said.append("There is no haze: looks in the air do not show; build them on a surface, or leave them out.")
    worst = most_flashes([at for at, _ in _flashes(moves)])
    if worst > FLASHES_PER_SECOND:
        said.append(
            f"Flashes: up to {worst} within a second over all sides; {FLASHES_PER_SECOND} is the yardstick "
            "taken from WCAG 2.3.1. Slow them down or leave some out."
        )
    if "strobe" in sources:
        said.append("Strobe light is planned: the audience is told beforehand, where they come in.")
    unused = [side.name for side in rig.sides if side not in rig.playing]
    if unused:
        said.append(f"This draft plays sides of one source only; side {', '.join(unused)} is not used in it.")
    return tuple(said)
