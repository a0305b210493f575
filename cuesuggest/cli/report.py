"""A song as text for a terminal: what was heard, what to build, then the cues section by section with their reasons."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from cuesuggest.analysis.types import Section, SongAnalysis
from cuesuggest.cli.screen import wrapped
from cuesuggest.decide.answers import command
from cuesuggest.score.grid import Grid, tempo_words
from cuesuggest.score.light import in_order_of_hand
from cuesuggest.score.records import Cue, Look, Place, PlannedSection, beat_words, clock
from cuesuggest.song.hand_words import HandWords, beside
from cuesuggest.song.open_questions import open_questions
from cuesuggest.song.rig_facts import all_out
from cuesuggest.song.variants import kinds, ways_in

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["analysis_summary", "analysis_text", "song_text"]

_NARROWEST = 40


def song_text(song: Song, width: int = 100) -> str:
    """Write a song's cue list.

    Parameters
    ----------
    song : Song
    width : int
        Columns; at least 40.

    Returns
    -------
    str
        Lines of at most `width` columns, ending with a newline.
    """
    width = max(width, _NARROWEST)
    lines = [song.title, *_heard(song.analysis, width)]
    if song.looks:
        lines += ["", "Looks to build before rehearsal"]
        fired = {cue.look for cue in song.cues if cue.kind == "one-shot"}
        for look in song.looks:
            lines += wrapped(_look_line(look, look.id in fired), width, "  ", "      ")
        lines += wrapped(f"All out: {all_out(song)}.", width, "  ", "      ")
    asked = open_questions(song)
    if asked:
        lines += ["", "Please check by ear"]
        for question in asked:
            hang = "1 cue hangs" if len(question.cues) == 1 else f"{len(question.cues)} cues hang"
            text = f"{question.text} Listen at {clock(question.listen_at)}; {hang} on it."
            lines += wrapped(text, width, "  ? ", "    ")
            for answer in question.answers:
                lines += wrapped(f"{answer.text}: {command(answer.deed)}", width, "    - ", "      ")
    cues = [cue for cue in song.cues if cue.status != "rejected"]
    if cues and song.analysis.sections:
        lines += ["", "Whatever comes next, by kind of section"]
        for kind in kinds(song):
            lines += wrapped(f"{kind}.", width, "  ", "      ")
        back = ", ".join(each.mark for each in ways_in(song)) or "nowhere"
        lines += wrapped(f"Lost: home look; back in as one of these opens: {back}.", width, "  ", "      ")
    if cues:
        lines += list(_by_section(song, cues, width))
    elif song.analysis.music_start is not None:
        lines += ["", "No cues."]
    if song.unplaced:
        words = HandWords(song)
        lines += ["", "Lost their place, kept aside"]
        for each in song.unplaced:
            cue = each.cue
            lines += wrapped(
                f"{cue.kind} at {cue.place}: {words.of(cue)}; {each.why}.", width, f"{cue.number:>5g}  ", " " * 9
            )
    if song.cautions:
        lines += ["", "Take care"]
        for caution in song.cautions:
            lines += wrapped(caution, width, "  ! ", "    ")
    return "\n".join(lines) + "\n"


def analysis_text(analysis: SongAnalysis, width: int = 100) -> str:
    """Write what was heard: tempo, form, moments.

    Parameters
    ----------
    analysis : SongAnalysis
    width : int
        Columns; at least 40.

    Returns
    -------
    str
    """
    width = max(width, _NARROWEST)
    lines = _heard(analysis, width)
    for section in analysis.sections:
        lines.append(f"  {section.mark}".ljust(8) + f"{_bars(section)}, {clock(section.start)}")
    for event in analysis.events:
        bar = "" if event.bar is None else f", bar {event.bar} beat {event.beat:g}"
        lines.append(f"  {event.kind:<12}{clock(event.start)} to {clock(event.end)}{bar}")
    return "\n".join(lines) + "\n"


def analysis_summary(analysis: SongAnalysis) -> list[str]:
    """Write tempo, bars and form in a few lines.

    Parameters
    ----------
    analysis : SongAnalysis

    Returns
    -------
    list of str
    """
    return _heard(analysis, 120)


def _heard(analysis: SongAnalysis, width: int) -> list[str]:
    if analysis.music_start is None or analysis.tempo_bpm is None:
        lines = [f"{clock(analysis.duration)} long."]
    else:
        count = sum(bar.number >= 1 for bar in analysis.bars)
        lines = [
            f"{tempo_words(analysis, 1)}, {analysis.time_signature}, {count} bars; "
            f"music from {clock(analysis.music_start)} to {clock(analysis.music_end or analysis.duration)}."
        ]
        lines += ["Form: " + " ".join(f"{s.mark}({s.bars})" for s in analysis.sections)]
    return [part for line in [*lines, *analysis.remarks] for part in wrapped(line, width, "", "  ")]


def _look_line(look: Look, fired: bool) -> str:
    parts = [f"{look.name}: {look.category}, {look.source}, {look.description}"]
    if fired and look.cycle_seconds is not None:
        strongest = f"{look.peak_after:.2g} s after the press" if look.peak_after else "at once"
        parts.append(f"runs {look.cycle_seconds:.2g} s, strongest {strongest}")
    elif look.cycle_bars is not None and look.cycle_seconds is not None:
        parts.append(f"one round in {look.cycle_bars:g} bar{'' if look.cycle_bars == 1 else 's'}")
        parts[-1] += f" ({look.cycle_seconds:.1f} s)"
    elif look.cycle_seconds is not None:
        parts.append(f"one round in {look.cycle_seconds:.1f} s, whatever the tempo")
    parts.append(f"{look.colours} colour{'' if look.colours == 1 else 's'} ({look.colour_relation})")
    parts.append(f"up to {look.level_ceiling} %")
    return "; ".join(parts) + "."


def _by_section(song: Song, cues: list[Cue], width: int) -> Iterator[str]:
    planned = {each.section: each for each in song.plan}
    sections = song.analysis.sections
    grid, words = Grid(song.analysis), HandWords(song)
    # A cue belongs to the section in which the hand begins; what has no bars goes before or after by its time.
    groups: dict[int, list[tuple[Place, Cue]]] = {}
    for place, cue in in_order_of_hand(cues, grid):
        groups.setdefault(_section_index(place, sections), []).append((place, cue))
    for index in range(-1, len(sections)):
        if index >= 0:
            yield ""
            yield from _section_lines(sections[index], planned, width)
        elif groups.get(index):
            yield ""
            yield "Before the song"
        for place, cue in groups.get(index, []):
            yield from _cue_lines(cue, place, words.of(cue), width)


def _section_index(place: Place, sections: tuple[Section, ...]) -> int:
    if place.bar is None:
        return max((k for k, s in enumerate(sections) if s.start <= place.seconds), default=-1)
    return max((k for k, s in enumerate(sections) if s.first_bar <= place.bar), default=-1)


def _section_lines(section: Section, planned: dict[str, PlannedSection], width: int) -> Iterator[str]:
    plan = planned.get(section.id)
    title = section.mark + (f" {section.name}" if section.name else "")
    yield f"{title}  {_bars(section)}, from {clock(section.start)}" + (f": {plan.category}" if plan else "")
    if section.vamp:
        yield from wrapped(f"goes round until {section.vamp}, then on with the next 1", width, "  ", "  ")
    if plan:
        yield from wrapped(" ".join((*_turns(plan), *plan.reasons)), width, "  ", "  ")


def _turns(plan: PlannedSection) -> Iterator[str]:
    """Say where the light changes inside a section."""
    if plan.parts:
        yield ", ".join(f"{part.category} from bar {part.first_bar}" for part in plan.parts).capitalize() + "."


def _cue_lines(cue: Cue, place: Place, hand: str, width: int) -> Iterator[str]:
    where = clock(place.seconds) if place.bar is None else f"bar {place.bar}"
    if place.bar is not None:
        where += beat_words(place.beat)
    status = "" if cue.status == "suggested" else f" [{cue.status}]"
    yield from wrapped(f"{where}, {cue.kind}{status}: {hand}", width, f"{cue.number:>5g}  ", " " * 9)
    yield from wrapped(" ".join(cue.reasons), width, " " * 7, " " * 7)
    for caution in cue.cautions:
        yield from wrapped(caution, width, " " * 7 + "! ", " " * 9)
    if note := beside(cue):
        yield from wrapped(note, width, " " * 7 + "note: ", " " * 9)


def _bars(section: Section) -> str:
    if section.first_bar == section.last_bar:
        return f"bar {section.first_bar}"
    return f"bars {section.first_bar} to {section.last_bar}"
