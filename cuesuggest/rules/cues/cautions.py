"""What has to be said before anybody plays it: once per song, on a cue only where that cue is special."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from cuesuggest.analysis.types import EventKind
from cuesuggest.rules.brief import Brief, Move
from cuesuggest.rules.person.flashes import LONGEST_RUN, crowded, flashes, most_flashes, runs
from cuesuggest.rules.settings.house import Rig
from cuesuggest.score.records import ENTRANCES, Cue, Look, clock

__all__ = ["TIMING_ONLY", "cautions", "mark_special", "rig_cautions"]

TIMING_ONLY = (
    "This draft plans timing only. It knows nothing of the place, the people, the power or the beam paths: "
    "local codes and licensed practice decide what is done, and whoever is responsible there may change or "
    "refuse any cue."
)

# A United States operator checklist for shows under operator control, known second-hand; the wording of IEC TR 60825-3,
# to which such figures go back, was not read.
_GENERAL_SEPARATION = (
    "Lasers, heights and distances: your local rule decides; write it into the rig file as local.separation, and it "
    "stands here. For scale only: a United States checklist for shows under operator control is reported, at second "
    "hand, to ask for 3 m above any surface where the public can stand and 2.5 m to the side of where they can reach."
)

# Somebody may still be walking about when these end.
_PEOPLE_MOVE: tuple[EventKind, ...] = ("talk", "crowd", "pause")

# Seconds. Time to leave the stage or to sit down again; our own choice.
_CLEARING = 8.0


def mark_special(moves: Sequence[Move], looks: Sequence[Look], brief: Brief) -> list[Move]:
    """Put a caution on cues that flash too fast together, and on lasers that come in as people may still be moving."""
    limit = brief.rig.local.flashes_per_second
    groups = crowded(flashes([move.cue for move in moves], looks, brief.rig, brief.grid), limit)
    quick = {flash.cue for group in groups for flash in group}
    lasers = {side.name for side in brief.rig.sides if side.source == "laser"}
    ends = [event.end for event in brief.analysis.events if event.kind in _PEOPLE_MOVE]
    marked = []
    for move in moves:
        cue = move.cue
        if cue.id in quick:
            cue = _with(cue, f"more than {limit:g} flashes within a second here, over all sides")
        enters = cue.side in lasers and cue.kind in ENTRANCES
        if enters and any(0.0 <= move.start - end < _CLEARING or move.start < end <= move.end for end in ends):
            cue = _with(cue, "nobody played just before this: see that people are clear of the beams, then bring it in")
        marked.append(replace(move, cue=cue))
    return marked


def _with(cue: Cue, caution: str) -> Cue:
    return replace(cue, cautions=(*cue.cautions, caution))


def cautions(brief: Brief, cues: Sequence[Cue], looks: Sequence[Look]) -> tuple[str, ...]:
    """Say what concerns the whole song, each once."""
    rig = brief.rig
    kinds = {cue.kind for cue in cues}
    sources = {side.source for side in rig.playing}
    if "one-shot" in kinds and rig.one_shot is not None:
        sources.add(rig.one_shot.source)
    said = [TIMING_ONLY, *rig_cautions(rig, sources)]
    if rig.cameras and kinds & {"cut-in", "cut-out", "one-shot"}:
        said.append(
            "Cameras: cuts and one-shots are steps in brightness that a camera's exposure follows late; whoever runs "
            "the cameras should know of them, or they are softened to fades of a beat."
        )
    found = flashes(cues, looks, rig, brief.grid)
    groups = crowded(found, rig.local.flashes_per_second)
    if groups:
        worst = max(most_flashes([flash.seconds for flash in group]) for group in groups)
        limit = rig.local.flashes_per_second
        source = rig.local.source or "a yardstick taken from WCAG 2.3.1, which is about screens"
        said.append(
            f"Flashes: up to {worst} within a second over all sides; the limit is {limit:g} ({source}). "
            "Slow them down or leave some out."
        )
    for start, end in runs(found)[:1]:
        said.append(
            f"Flashing goes on without a break for {end - start:.0f} s from {clock(start)}; "
            f"longer than {LONGEST_RUN:g} s may be too much even where it is slow. Break it up."
        )
    unused = [side.name for side in rig.sides if side not in rig.playing]
    if unused:
        said.append(f"This draft plays sides of one source only; side {', '.join(unused)} is not used in it.")
    return tuple(said)


def rig_cautions(rig: Rig, sources: Collection[str]) -> list[str]:
    """Say what concerns the rig whatever is played, given the sources of light in use."""
    said = []
    if "laser" in sources:
        out = " and ".join(each for each in (rig.kill, rig.master) if each)
        hand = (
            f"Everything out: the {out}; keep a hand near."
            if out
            else "This rig names no kill button and no master: agree before the song how everything goes out at once."
        )
        said.append(
            "Lasers: nothing here leaves a beam standing still; every look keeps moving, and every laser cue "
            f"waits for a person's go. {hand}"
        )
        said.append(
            "Lasers: no cue is meant for beams near people. Bring levels up, and start a movement, only when "
            "people are clear of the beams; where beams may go is decided and tested on the spot."
        )
        separation = rig.local.separation.rstrip(".")
        said.append(f"Lasers, heights and distances: {separation}." if separation else _GENERAL_SEPARATION)
        if rig.cameras:
            said.append("Cameras: keep beams off their lenses; a beam can destroy a sensor.")
    if not rig.haze:
        said.append("There is no haze: light in the air does not show, so no look here is meant for the air.")
    if "strobe" in sources:
        limit = rig.local.flashes_per_second
        said.append(
            "Strobe light is planned: the audience is told beforehand, where they come in. How fast a burst flashes is "
            f"set where it is programmed; all lamps together, {limit:g} a second at the most"
            f"{f' ({rig.local.source})' if rig.local.source else ''}."
        )
        if rig.cameras:
            said.append("Cameras: a strobe's short flash shows as stripes or half-lit pictures; try it beforehand.")
    return said
