"""What differs between two takes of a song, in sentences: length, tempo, key, form, what is heard beside the music."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cuesuggest.analysis.types import Event, Section
from cuesuggest.score.grid import Grid, tempo_words
from cuesuggest.score.records import clock, counted
from cuesuggest.score.side_by_side import ColumnBlock, Pace, PlayedTake, TwoTakes, blocks, paces

__all__ = ["differences", "form_line", "take_line"]

_LONGER = 1.0  # seconds of music; less is not told
_TEMPO = 0.01  # relative; less is not told
_WHOLE = 0.75  # of a section's bars: more are the section
_MORE = 0.5  # of a section's bars: more than that are no longer a few bars more of it
_FEW = 1  # bars: so few may be counted otherwise rather than played otherwise
# So many places where a bar or two are only in one of the takes, and the bars of one of them are counted wrongly.
_SCATTERED, _SCATTERED_BARS, _FEWEST_SCATTERED = 2, 0.1, 5
_NUMBERS = ("no", "once", "twice", "three times", "four times", "five times", "six times")
# What is told of where there is no music, or where it stops; other events hang on how a part is played.
_TOLD = ("talk", "crowd", "count-in", "false-start", "pause", "stop")
_A = {"talk": "talk", "crowd": "a crowd", "count-in": "a count-in", "false-start": "a false start"}
_SAME_BAR = 1  # bars by which the same event may be apart


def take_line(take: PlayedTake) -> str:
    """Say what a take is: its file, its document, tempo, meter, bars, and how long its music is.

    Parameters
    ----------
    take : PlayedTake
    """
    known = f" (bars and names of {take.document})" if take.document else ""
    analysis = take.analysis
    tempo = f"{tempo_words(analysis, 1)}, " if analysis.tempo_bpm else ""
    start = clock(analysis.music_start or 0.0).partition(".")[0]
    music = f"{_minutes(take.music)} of music from {start} on"
    return f"{take.name}{known}: {tempo}{analysis.time_signature}, {counted(len(take.bars), 'bar')}, {music}"


def _minutes(seconds: float) -> str:
    return f"{round(seconds) // 60}:{round(seconds) % 60:02d}"


def form_line(take: PlayedTake) -> str:
    """Return the form of a take: each section with its name and its bars.

    Parameters
    ----------
    take : PlayedTake
    """
    return " ".join(
        f"{each.mark}({each.name} {each.bars})" if each.name else f"{each.mark}({each.bars})"
        for each in take.analysis.sections
    )


def differences(two: TwoTakes) -> list[str]:
    """Say what is different between two takes of a song.

    Parameters
    ----------
    two : TwoTakes

    Returns
    -------
    list of str
        Sentences, the most general first; never empty.
    """
    if not two.columns:
        return [
            "These are not two takes of one song: too little of the one is found in the other. If they are, put the "
            "bars of one of them right on the page or with correct, and compare again."
        ]
    said = [*_doubts(two)]
    found = [*_length(two), *_tempo(two), *_key(two), *_Form(two).sentences(), *_heard(two)]
    if not found:
        found = ["Nothing differs: length, tempo, key and form are the same, bar by bar."]
    return [*said, *found]


def _doubts(two: TwoTakes) -> Iterator[str]:
    if two.first.sha256 == two.second.sha256:
        yield "Both are the same recording."
    if two.doubtful:
        yield "The two are so little alike that they may be two songs. Listen before you believe the rest."
    if two.recounted:
        yield (
            "The two documents count the bars in different ways; here the second take is counted as the first one is, "
            "with its sections."
        )


def _length(two: TwoTakes) -> Iterator[str]:
    longer = two.second.music - two.first.music
    bars = len(two.second.bars) - len(two.first.bars)
    music = f"{_minutes(two.second.music)} of music instead of {_minutes(two.first.music)}"
    more = f"{counted(abs(bars), 'bar')} {'more' if bars > 0 else 'less'}" if bars else "the same number of bars"
    if abs(longer) >= _LONGER:
        way = "longer" if longer > 0 else "shorter"
        yield f"The second take is {_minutes(abs(longer))} {way} ({music}) and has {more}."
    elif bars:
        yield f"The second take is as long as the first and has {more}."


def _tempo(two: TwoTakes) -> Iterator[str]:
    one, other = two.first.analysis.tempo_bpm, two.second.analysis.tempo_bpm
    if one and other and abs(other / one - 1) >= _TEMPO:
        yield f"It is {_percent(other / one)} ({_tempi(one, other)})."
    found = paces(two)
    if len(found) > 1:
        parts = [f"{_stretch(each, each is found[-1], two.first.analysis.sections)} {_against(each)}" for each in found]
        yield f"The tempo goes apart inside the song: {_listed(parts)}."


def _against(pace: Pace) -> str:
    if abs(pace.ratio - 1) < _TEMPO:
        return "as fast as the first take"
    return f"{_percent(pace.ratio)} ({_tempi(pace.first, pace.second)})"


def _percent(ratio: float) -> str:
    return f"{abs(ratio - 1) * 100:.0f} % {'faster' if ratio > 1 else 'slower'}"


def _tempi(one: float, other: float) -> str:
    digits = 0 if abs(one - other) >= 2 else 1
    return f"{other:.{digits}f} beats a minute instead of {one:.{digits}f}"


def _stretch(pace: Pace, last: bool, among: Sequence[Section]) -> str:
    one, other = called(pace.sections[0], among), called(pace.sections[-1], among)
    if last:
        return f"from {one} on"
    return f"in {one}" if len(pace.sections) == 1 else f"from {one} to {other}"


def _key(two: TwoTakes) -> Iterator[str]:
    if two.key:
        yield f"It is {counted(abs(two.key), 'semitone')} {'higher' if two.key > 0 else 'lower'}."


def called(section: Section, among: Sequence[Section]) -> str:
    """Name a section as people do: by its letter, and by its name or part, "the last chorus" where it is that."""
    word = section.name or section.role
    if not word:
        return section.mark
    alike = [each for each in among if (each.name or each.role) == word]
    if len(alike) > 1 and section.id in (alike[0].id, alike[-1].id):
        return f"the {'first' if section.id == alike[0].id else 'last'} {word} ({section.mark})"
    return f"{section.mark} ({word})"


class _Form:
    """What is added, left out, repeated, put elsewhere or lengthened."""

    def __init__(self, two: TwoTakes) -> None:
        self._two = two
        self._first = Grid(two.first.analysis)
        self._all = blocks(two.columns)
        self._told: set[int] = set()

    def sentences(self) -> Iterator[str]:
        """Say it, in the order of the song; single bars together at the end."""
        scattered = sum(len(each.columns) <= _SCATTERED for each in self._all if each.lasting != "both")
        if scattered > max(_SCATTERED_BARS * len(self._two.columns), _FEWEST_SCATTERED):
            yield (
                "The bars of the two are counted in different ways, so what differs in form cannot be told bar by bar. "
                "Put the bars right on the page or with correct, and compare again."
            )
            return
        few: list[ColumnBlock] = []
        for index, block in enumerate(self._all):
            if block.lasting == "both" or block.at in self._told:
                continue
            if len(block.columns) <= _FEW:
                few.append(block)
                continue
            text = self._less(index, block) if block.lasting == "first" else self._more(index, block)
            if text:
                yield f"{text[0].upper()}{text[1:]}."
        if few:
            yield f"Single bars, which may only be counted in another way: {'; '.join(self._single(few))}."

    def _single(self, few: Sequence[ColumnBlock]) -> Iterator[str]:
        """Say where the second take has single bars more or less, by section."""
        found: dict[str, dict[str, int]] = {}
        for block in few:
            index = self._all.index(block)
            bar = block.first[0] if block.first else self._neighbour(index, -1) or self._neighbour(index, 1)
            section = self._first.section_of(bar)
            name = self._called(section) if section else "the song"
            ways = found.setdefault(name, {})
            way = "less" if block.first else "more"
            ways[way] = ways.get(way, 0) + 1
        for name, ways in found.items():
            said = _listed([f"{counted(count, 'bar')} {way}" for way, count in ways.items()])
            yield f"{name} has {said}"

    def _less(self, index: int, block: ColumnBlock) -> str:
        """Say that the second take does not have bars; where it has them elsewhere, that is told there."""
        if block.elsewhere:
            return ""
        bars = f"({_span(block.first)} of the first take)"
        section = self._first.section_of(block.first[0])
        alone = section is not None and self._first.section_of(block.first[-1]) == section
        if section is not None and alone and not self._whole(section, block.first):
            return f"{self._called(section)} has {counted(len(block.first), 'bar')} less {bars}"
        return f"{self._named(block.first)} {self._verb(block.first)} left out {bars}"

    def _more(self, index: int, block: ColumnBlock) -> str:
        """Say that the second take has bars more, or has bars of the first here."""
        other = self._moved_from(block)
        if other is not None:
            return self._elsewhere(block, other)
        bars = f"({_span(block.second)} of the second take)"
        longer = self._lengthened(index, block)
        if longer is not None:
            return f"{self._called(longer)} has {counted(len(block.second), 'bar')} more {bars}"
        if not block.elsewhere:
            return f"{counted(len(block.second), 'bar')} are new {self._where(index)} {bars}"
        sources = self._likeliest(index, block)
        again = f"{self._named(sources)} {self._verb(sources)} played"
        before = self._before(index, sources)
        if before is not None:
            return f"{again} {before[0]} ({_span(before[1])} of the second take)"
        return f"{again} once more {self._where(index)} {bars}"

    def _lengthened(self, index: int, block: ColumnBlock) -> Section | None:
        """Return the section of the first take that has a few bars more here, rather than something between."""
        before, after = self._neighbour(index, -1), self._neighbour(index, 1)
        one, other = self._first.section_of(before), self._first.section_of(after)
        sources = {section for section in map(self._first.section_of, block.sources) if section}
        for section in (one, other):
            if section is None or len(block.columns) > _MORE * section.bars:
                continue
            if sources == {section} or (not sources and section is one and (one == other or after is None)):
                return section
        return None

    def _before(self, index: int, sources: Sequence[int]) -> tuple[str, list[int]] | None:
        """Return how often bars are played in a row, and all bars of the second take in which they are."""
        of = {each.second: each.first or each.source for each in self._two.columns if each.second is not None}
        lower, upper = min(sources), max(sources)
        block = self._all[index]
        bars = list(block.second)
        count = 1
        numbers = list(of)
        at = numbers.index(bars[0]) - 1
        earlier: list[int] = []
        while at >= 0 and len(earlier) < len(sources):
            source = of[numbers[at]]
            if source is None or not lower <= source <= upper:
                break
            earlier.insert(0, numbers[at])
            at -= 1
        if len(earlier) < _WHOLE * len(sources):
            return None
        count += 1
        for later in self._all[index + 1 :]:
            if later.lasting != "second" or not later.sources or len(later.sources) < _WHOLE * len(sources):
                break
            if not lower <= later.sources[0] <= upper:
                break
            count += 1
            self._told.add(later.at)
            bars += later.second
        return _NUMBERS[min(count, len(_NUMBERS) - 1)], [*earlier, *bars]

    def _likeliest(self, index: int, block: ColumnBlock) -> Sequence[int]:
        """Return which bars are played again: of passes that are alike, the one beside which it stands."""
        sections = [each for each in map(self._first.section_of, block.sources) if each]
        beside = self._first.section_of(self._neighbour(index, -1))
        if beside is None or abs(len(block.sources) - beside.bars) > _SAME_BAR:
            return block.sources
        alike = bool(sections) and all(each.family == beside.family for each in sections)
        return range(beside.first_bar, beside.last_bar + 1) if alike else block.sources

    def _moved_from(self, block: ColumnBlock) -> ColumnBlock | None:
        """Return the bars of the first take that are played here and nowhere else."""
        for other in self._all:
            if other.lasting == "first" and other.elsewhere:
                shared = len(set(other.first) & set(block.sources))
                if shared >= _WHOLE * min(len(other.first), len(block.sources)):
                    return other
        return None

    def _elsewhere(self, block: ColumnBlock, other: ColumnBlock) -> str:
        low, high = sorted((block.at, other.at))
        inside = [each for each in self._all if low < each.at < high and each.lasting == "both"]
        between = [bar for each in inside for bar in each.first]
        bars = f"{_span(block.second)} of the second take"
        what = self._named(other.first)
        if between and len(between) <= 2 * len(block.second) and self._is_whole(between):
            both = sorted([*block.second, *(bar for each in inside for bar in each.second)])
            return f"{what} and {self._named(between)} have changed places ({_span(both)} of the second take)"
        where = self._where(self._all.index(block))
        before = self._where(self._all.index(other))
        return f"{what} {self._verb(other.first)} played {where} ({bars}) instead of {before}"

    def _where(self, index: int) -> str:
        """Say where a block stands: between two sections, inside one, at the start or the end."""
        before, after = self._neighbour(index, -1), self._neighbour(index, 1)
        if before is None:
            return "at the start"
        if after is None:
            return "at the end"
        one, other = self._first.section_of(before), self._first.section_of(after)
        if one is None or other is None:
            return f"after bar {before} of the first take"
        if one == other:
            return f"inside {self._called(one)}, after its bar {before - one.first_bar + 1}"
        return f"between {self._called(one)} and {self._called(other)}"

    def _neighbour(self, index: int, way: int) -> int | None:
        """Return the nearest bar of the first take that both have, before or after a block."""
        rest = self._all[index + 1 :] if way > 0 else self._all[:index][::-1]
        for each in rest:
            if each.lasting == "both":
                return each.first[0] if way > 0 else each.first[-1]
        return None

    def _named(self, bars: Sequence[int]) -> str:
        """Name bars of the first take: whole sections by their names, parts by their number of bars."""
        parts = []
        for section in self._first.sections:
            inside = [bar for bar in bars if section.first_bar <= bar <= section.last_bar]
            if self._whole(section, inside):
                parts.append(self._called(section))
            elif len(inside) > _FEW or (inside and len(bars) <= _FEW):
                parts.append(f"{counted(len(inside), 'bar')} of {self._called(section)}")
        return _listed(parts) or counted(len(bars), "bar")

    def _whole(self, section: Section, bars: Sequence[int]) -> bool:
        inside = sum(section.first_bar <= bar <= section.last_bar for bar in bars)
        return inside >= _WHOLE * section.bars

    def _is_whole(self, bars: Sequence[int]) -> bool:
        return " of " not in self._named(bars)

    def _verb(self, bars: Sequence[int]) -> str:
        named = self._named(bars)
        return "are" if " and " in named or " bars of " in named else "is"

    def _called(self, section: Section) -> str:
        return called(section, self._first.sections)


def _listed(parts: Sequence[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def _span(bars: Sequence[int]) -> str:
    low, high = bars[0], bars[-1]
    return f"bar {low}" if low == high else f"bars {low} {'and' if high == low + 1 else 'to'} {high}"


# What is heard beside the music.


def _heard(two: TwoTakes) -> Iterator[str]:
    same = {each.first: each.second for each in two.columns if each.lasting == "both"}
    back = {each.second: each.first for each in two.columns if each.lasting == "both"}
    for name, take, other, bar_of in (
        ("first", two.first, two.second, same),
        ("second", two.second, two.first, back),
    ):
        alone = [words for event in _told(take) if (words := _alone(event, take, other, bar_of))]
        if alone:
            yield f"Heard in the {name} take alone: {_listed(list(dict.fromkeys(alone)))}."


def _told(take: PlayedTake) -> list[Event]:
    return [event for event in take.analysis.events if event.kind in _TOLD]


def _alone(event: Event, take: PlayedTake, other: PlayedTake, bar_of: dict[int | None, int | None]) -> str:
    """Say what a take has that the other has not; nothing where it has, or where it has no such bars at all."""
    kind = _A.get(event.kind, f"a {event.kind}")
    alike = [each for each in _told(other) if each.kind == event.kind]
    place = _place(event, take)
    if isinstance(place, str):
        return "" if any(_place(each, other) == place for each in alike) else f"{kind} {place}"
    there = bar_of.get(place)
    if there is None:
        return ""
    for each in alike:
        at = _place(each, other)
        if not isinstance(at, str) and abs(at - there) <= _SAME_BAR:
            return ""
    return f"{kind} {'in' if event.bar is not None else 'after'} bar {place} ({clock(event.start)})"


def _place(event: Event, take: PlayedTake) -> int | str:
    """Return the bar in or after which something is heard, or where it is outside the song."""
    bars = take.bars
    if not bars or event.start < bars[0].start - 1e-3:
        return "before the song"
    if event.start >= bars[-1].end - 1e-3:
        return "after the song"
    return max((bar.number for bar in bars if bar.start <= event.start + 1e-3), default=bars[0].number)
