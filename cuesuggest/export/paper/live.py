"""The live page's content: a block per kind of section, what its passes have in common and where they differ.

Nothing on it hangs on the clock, so that it stays right when the band plays a chorus more, skips the bridge or ends
early. A block says with which light its section is played, and what the hand does in it; docs/deviation.md tells how
that is read in such a night, and tests/test_deviation.py reads it so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Section
from cuesuggest.export.common.escape import one_line, shortened
from cuesuggest.export.common.options import Options
from cuesuggest.export.common.timing import landmark_place
from cuesuggest.export.paper.lines import Line, heard, lines, nothing_to_do, placed, volunteers_words
from cuesuggest.export.paper.part_light import goes_before_next, part_light
from cuesuggest.score.grid import Grid, tempo_words
from cuesuggest.score.records import ENTRANCES, EXITS, Cue, clock, counted
from cuesuggest.song.rig_facts import all_out, hands_of
from cuesuggest.song.variants import comes_in_with

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = [
    "MOST_ACTIONS",
    "Act",
    "Block",
    "BlockRow",
    "LivePage",
    "OrderStep",
    "check_line",
    "live_page",
    "removed_line",
    "thinned",
    "varied_words",
]

MOST_ACTIONS = 25
# Characters; a name longer than this is no name to read in the dark.
_LETTER, _NAME, _SIGN, _ACTION = 6, 40, 64, 80
# What leaves the page first when it gets crowded; entrances and ways out stay the longest.
_FIRST_TO_GO = ("speed", "one-shot", "ramp", "call", "recall")


@dataclass(frozen=True, slots=True)
class Act:
    """Something that the hand does."""

    line: Line
    where: str
    does: str
    purpose: str = ""
    """For which other part, where it is left out if that does not come: " before part C"."""

    @property
    def text(self) -> str:
        """All of it."""
        return self.does + self.purpose


@dataclass(frozen=True, slots=True)
class BlockRow:
    """The passes of a section that are played alike."""

    tag: str
    """Their names, as in the order of the song: "B1, B2"; the last row also stands for every further pass."""
    bars: str
    """How long; a vamp with the sign that ends it."""
    light: str
    """With which light it is played, see `part_light`: "side A Wide fans 80 %"."""
    acts: tuple[Act, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """All passes of one letter."""

    letter: str
    name: str
    sign: str
    """First words, or how it sounds."""
    rows: tuple[BlockRow, ...]


@dataclass(frozen=True, slots=True)
class OrderStep:
    """A section in the order of the song."""

    label: str
    bars: int
    safe: bool
    """Light comes in with its first bar: who was lost can begin again here."""


@dataclass(frozen=True, slots=True)
class LivePage:
    """All that stands on the page, in reading order."""

    title: str
    about: str
    """Tempo, meter, length, and what the letters of its parts say."""
    order: tuple[OrderStep, ...]
    home: str
    all_out: str
    before: tuple[Act, ...]
    blocks: tuple[Block, ...]
    way_out: str
    """How long light takes to leave at the end: "about 7 s"; empty where the cues do not say."""
    remarks: tuple[str, ...]
    nothing: str = ""
    """The one sentence that stands in place of all blocks where a volunteer has nothing to do."""

    @property
    def acts(self) -> Iterator[Act]:
        """Every action once."""
        yield from self.before
        for block in self.blocks:
            for row in block.rows:
                yield from row.acts

    @property
    def rules(self) -> tuple[tuple[str, str], ...]:
        """What to do when it goes otherwise, (when, what), in the words and marks that this page uses."""
        marked = any(step.safe for step in self.order)
        several = any(len(block.rows) > 1 for block in self.blocks)
        said = {act.purpose.split(" ")[1] for act in self.acts if act.purpose}
        used = [f"“{word}”" for word in ("for", "into", "before") if word in said]
        leave = f"leave out what is {' or '.join(used)} it; " if used else ""
        rules = [
            ("lost", "home; in at the next part marked IN" if marked else "home"),
            ("track stops", "home, by hand"),
            ("comes again", "at once: its row once more; later: the next row, or the last")
            if several
            else ("comes again", "its row once more"),
            ("skipped", f"{leave}the next part's light counts"),
        ]
        if any(act.line.cue.kind == "recall" for act in self.acts):
            rules.append(("not set", "keep what is lit, or home; set it on the dark side, in at the next phrase"))
        down = f", {self.way_out}" if self.way_out else ""
        rules.append(("ends early", f"hold to the cut-off, then what is lit down{down}"))
        return tuple(rules)


def live_page(song: Song, options: Options) -> LivePage:
    """Put together the live page of a song.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    LivePage
        With at most `MOST_ACTIONS` actions; a remark names the cues that are only on the list.

    Raises
    ------
    CuesuggestError
        If `options.who` has no cue.
    """
    read = lines(song, options)
    sections, grid = song.analysis.sections, Grid(song.analysis)
    owned = {section.id: [line for line in read if line.section is section] for section in sections}
    inside = {line.cue.id for group in owned.values() for line in group}
    cues = [line.cue for line in read]
    light = section_light(song, options)
    blocks: list[Block] = []
    for family in dict.fromkeys(section.family for section in sections):
        passes = [section for section in sections if section.family == family]
        blocks.append(_block_of(passes, owned, light, song, grid))
    before = tuple(
        Act(line, _outside_words(line, sections), _action_words(line), _purpose_words(line.cue, cues, None, grid))
        for line in read
        if line.cue.id not in inside
    )
    page = LivePage(
        title=one_line(song.title),
        about=_about_line(song),
        order=tuple(_order_step(section, owned[section.id]) for section in sections),
        home=_home_line(song, options),
        all_out=shortened(one_line(all_out(song)), _SIGN),
        before=before,
        blocks=tuple(blocks),
        way_out=_way_out(song),
        remarks=tuple(_remarks(song, options)),
        nothing=nothing_to_do(song, options),
    )
    return thinned(page, MOST_ACTIONS)


def section_light(song: Song, options: Options) -> dict[str, str]:
    """Say for each section, by id, with which light it is played: see `part_light`."""
    grid, cues = Grid(song.analysis), [line.cue for line in lines(song, options)]
    return {
        section.id: part_light(section, cues, song.looks, grid, hands_of(song)) for section in song.analysis.sections
    }


def thinned(page: LivePage, most: int) -> LivePage:
    """Leave out what weighs least until no more than `most` actions are left, and say which cues went."""
    acts = sorted(page.acts, key=_weight_on_page)
    gone = {act.line.cue.id for act in acts[: max(0, len(acts) - most)]}
    if not gone:
        return page
    numbers = sorted(act.line.cue.number for act in acts if act.line.cue.id in gone)
    told = f"Only on the list: {', '.join(f'{number:g}' for number in numbers)}."
    kept = [remark for remark in page.remarks if not remark.startswith("Only on the list: ")]
    earlier = [remark for remark in page.remarks if remark.startswith("Only on the list: ")]
    if earlier:
        old = earlier[0].removeprefix("Only on the list: ").rstrip(".").split(", ")
        merged = sorted({*map(float, old), *numbers})
        told = f"Only on the list: {', '.join(f'{number:g}' for number in merged)}."
    blocks = tuple(
        replace(
            block,
            rows=tuple(
                replace(row, acts=tuple(act for act in row.acts if act.line.cue.id not in gone)) for row in block.rows
            ),
        )
        for block in page.blocks
    )
    before = tuple(act for act in page.before if act.line.cue.id not in gone)
    return replace(page, blocks=blocks, before=before, remarks=(*kept, told))


def _weight_on_page(act: Act) -> tuple[int, float, float]:
    kind = act.line.cue.kind
    rank = _FIRST_TO_GO.index(kind) if kind in _FIRST_TO_GO else len(_FIRST_TO_GO)
    # A series is one action with much light in it.
    return rank + (act.line.cue.series is not None), act.line.cue.confidence, -act.line.cue.number


def _outside_words(line: Line, sections: tuple[Section, ...]) -> str:
    """Say where a cue outside the sections is."""
    if line.place.bar is not None:
        return f"bar {line.place.bar}"
    if not sections or line.place.seconds <= sections[0].start:
        return "before"
    return "after"


# Blocks.


def _block_of(
    passes: list[Section], owned: dict[str, list[Line]], light: dict[str, str], song: Song, grid: Grid
) -> Block:
    cues = [cue for cue in song.cues if cue.status != "rejected"]
    played: dict[str, tuple[str, int, tuple[Act, ...]]] = {}
    for section in passes:
        acts = tuple(
            Act(line, placed(line), _action_words(line), _purpose_words(line.cue, cues, section, grid))
            for line in owned[section.id]
        )
        played[section.id] = (light[section.id], section.bars, acts)

    def alike(section: Section) -> tuple[object, ...]:
        shown, bars, acts = played[section.id]
        return shown, bars, section.vamp, tuple((act.where, act.text) for act in acts)

    # Passes one after another that are played alike share a row; the last row is for all that may follow.
    groups = [list(group) for _, group in groupby(passes, key=alike)]
    rows = []
    for index, group in enumerate(groups):
        tag = ", ".join(section.mark for section in group)
        if index == len(groups) - 1:
            tag += " and again"
        shown, bars, acts = played[group[0].id]
        rounds = next((shortened(one_line(section.vamp), _SIGN) for section in group if section.vamp), "")
        length = counted(bars, "bar") + (f", round and round until {rounds}" if rounds else "")
        rows.append(BlockRow(tag, length, shown, acts))
    names = list(dict.fromkeys(one_line(each.name or each.role or "") for each in passes if each.name or each.role))
    words = next((one_line(section.first_words) for section in passes if section.first_words.strip()), "")
    sign = f"“{words}”" if words else heard(passes[0], song.analysis)
    return Block(_letter(passes[0]), shortened(" / ".join(names), _NAME), shortened(sign, _SIGN), tuple(rows))


def _letter(section: Section) -> str:
    return shortened(one_line(section.family), _LETTER)


def _action_words(line: Line) -> str:
    return shortened(line.action, _ACTION)


def _purpose_words(cue: Cue, cues: list[Cue], section: Section | None, grid: Grid) -> str:
    """Say for which other section something is done, so that it is left out when that one does not come."""
    if cue.kind == "recall":
        uses = [
            each
            for each in cues
            if each.side == cue.side
            and each.kind in ENTRANCES
            and (each.place.seconds, each.number) > (cue.place.seconds, cue.number)
        ]
        target = grid.section_of_place(uses[0].place) if uses else None
        return f" for {_part_words(target, section)}" if target is not None and target is not section else ""
    if section is None:
        return ""
    lands = grid.section_of_place(cue.place)
    if cue.kind in EXITS:
        if not goes_before_next(cue, section, grid):
            return ""
        if section is grid.sections[-1]:
            return " at the end"
        return f" before {_part_words(grid.sections[grid.sections.index(section) + 1], section)}"
    return f" into {_part_words(lands, section)}" if lands is not None and lands is not section else ""


def _part_words(target: Section, here: Section | None) -> str:
    """Name another part as it is told apart from the one that is played: "part D", from within a D "the next D"."""
    if here is None or target.family != here.family:
        return f"part {_letter(target)}"
    return f"the next {_letter(target)}" if target.pass_ == here.pass_ + 1 else one_line(target.mark)


def _order_step(section: Section, group: list[Line]) -> OrderStep:
    safe = any(comes_in_with(section, line.cue) for line in group)
    return OrderStep(section.mark, section.bars, safe)


# The head and the rules.


def _about_line(song: Song) -> str:
    analysis = song.analysis
    if analysis.tempo_bpm is None:
        return "no music found in the recording"
    bars = sum(bar.number >= 1 for bar in analysis.bars)
    facts = (tempo_words(analysis), analysis.time_signature or "", counted(bars, "bar"))
    varied = varied_words(analysis.sections)
    return ", ".join(filter(None, facts)) + (f"; {varied}" if varied else "")


def varied_words(sections: Iterable[Section]) -> str:
    """Explain the mark of a varied part on the first that has one: "D' is a varied D"; nothing where none has."""
    varied = next((section for section in sections if section.label != section.family), None)
    return "" if varied is None else f"{shortened(one_line(varied.label), _LETTER)} is a varied {_letter(varied)}"


def _home_line(song: Song, options: Options) -> str:
    look = next((look for look in song.looks if look.home), None)
    if options.plain and (look is None or look.source == "laser"):
        # Somebody else's button.
        return "leave every fader as it is"
    if look is None:
        return "the slowest, dimmest look you have, on one button"
    name = "" if one_line(look.name).casefold() == "home" else f"{shortened(one_line(look.name), _NAME)}, "
    return f"{name}{look.source}, up to {look.level_ceiling} %"


def _way_out(song: Song) -> str:
    ending = [cue for cue in song.cues if cue.status != "rejected" and cue.kind == "fade-out" and cue.down_seconds]
    return f"about {round(ending[-1].down_seconds or 0)} s" if ending else ""


def _remarks(song: Song, options: Options) -> Iterator[str]:
    if check := check_line(song, options):
        yield check
    if told := volunteers_words(options):
        yield told
    if options.who is not None:
        yield f"The lines of {one_line(options.who)}; the others' are grey."
    if options.changed:
        yield "* is new or not as at the last print."
    if told := removed_line(options):
        yield told
    yield from options.remarks
    for when, parts in (("Before", options.before), ("After", options.after)):
        yield from (" ".join((f"{when}: {each.line}", *each.cautions)) for each in parts)


def removed_line(options: Options) -> str:
    """Say which cues are gone since the last print; nothing if none is."""
    if not options.removed:
        return ""
    return f"Gone since the last print: {', '.join(f'{number:g}' for number in options.removed)}."


def check_line(song: Song, options: Options) -> str:
    """Give a place in the first bars and its time, to see at once whether the track runs as the page thinks."""
    if not options.timing.offset and options.landmark is None:
        return ""
    section = next(iter(song.analysis.sections), None)
    if section is None:
        return ""
    bars = [bar for bar in song.analysis.bars if bar.number >= section.first_bar][:5]
    first, later = (options.timing.show(bars[index].start) for index in (0, -1))
    where = f", set by {landmark_place(options.landmark)}" if options.landmark else ""
    return f"Check: bar 1 of {section.mark} at {clock(first)}, bar {len(bars)} at {clock(later)}{where}."
