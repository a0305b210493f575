"""What designers do to drafts again and again, and the numbers of a house style that would have saved them the work.

Each habit reads from one song how its designer left it beside what was suggested, and finds from several songs what
its numbers should be: read off the cues where they say it (fade lengths, levels), by drafting again where they do not
(how much light, how many one-shots).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Protocol

from cuesuggest.draft.taste.reviewed import ReviewedSong, Suggestion, other_length, other_level, pairs
from cuesuggest.draft.taste.style_numbers import bounded_number, number_of
from cuesuggest.rules import Profile
from cuesuggest.rules.plan.looks import LOOKS
from cuesuggest.score.records import CATEGORIES, ENTRANCES, Category, CueKind, counted

__all__ = ["Habit", "Reading", "Trials", "habits"]

_LIT: tuple[Category, ...] = ("subtle", "lift", "intense")

# Drive. Steps in which the light of whole songs is tried, and how far: beyond it lies another style.
_STEP, _STEPS = 0.03, 6

# Seconds between one-shots that are tried where more of them are wanted.
_SPACINGS = (1, 2, 3, 4, 6, 8, 10, 12, 16, 20, 24, 30)

# Beats. So short a fade may take half a beat more or less.
_FEW_BEATS = 2

# Of the sections or presses that were changed, what has to be in one kind of section for that to be said.
_MOSTLY = 0.6


@dataclass(frozen=True, slots=True)
class Reading:
    """What one song says of a habit."""

    seen: int
    """Cues, presses or sections that it could be seen on."""
    more: int = 0
    less: int = 0
    wish: float | None = None
    """What the designer set where something was changed that way, in the unit of the number; None where nothing was,
    or only drafting again tells."""
    roles: Counter[str] = field(default_factory=Counter)
    """Roles of the sections in which something was changed, where they are known."""

    @property
    def leaning(self) -> float:
        """How far the song leans to more (1 at most) or less (-1) than was suggested."""
        return (self.more - self.less) / max(self.seen, self.more, self.less, 1)


class Trials(Protocol):
    """Songs drafted again with other numbers."""

    @property
    def base(self) -> Profile:
        """The style whose numbers are changed."""

    def left(self, song: int, numbers: Mapping[str, float], kinds: Collection[str]) -> int | None:
        """Return how many repairs a song's draft needs then; None where the numbers make no style.

        Of the kinds that are named every one counts, of others those that the designer did: where something else
        would be suggested now for what was accepted, nobody knows whether that would have been accepted as well.
        """


class Habit(Protocol):
    """Something that designers do again and again."""

    @property
    def name(self) -> str:
        """What its numbers are about."""

    @property
    def kind(self) -> str:
        """Which repairs it saves."""

    def reading(self, song: ReviewedSong, made: Suggestion, base: Profile) -> Reading:
        """Return what a song says of it."""

    def numbers(self, trials: Trials, readings: Mapping[int, Reading]) -> dict[str, float]:
        """Return by key the numbers that fit some songs; none where those of the base do."""

    def evidence(self, readings: Sequence[Reading]) -> str:
        """Say in a sentence what was done, in how many of the songs."""


@dataclass(frozen=True, slots=True)
class FadeLength:
    """Fades of one kind are made longer or shorter."""

    key: str
    name: str
    rule: str
    cues: tuple[CueKind, ...]
    beats: str
    """The field of a cue that has the length."""
    category: Category | None = None
    in_bars: bool = False
    kind: str = "lengths"

    def reading(self, song: ReviewedSong, made: Suggestion, base: Profile) -> Reading:
        """Return how the fades that have this length in the draft were left."""
        category = {look.id: look.category for look in made.looks}
        number, lengths = number_of(base, self.key), _Changes()
        for ours, kept in pairs(song, made.cues):
            if ours.rule != self.rule or ours.kind not in self.cues:
                continue
            if self.category not in (None, category.get(ours.look or "")):
                continue
            suggested, left = getattr(ours, self.beats), getattr(kept, self.beats)
            unit = song.grid.beats_in_bars(ours.place.bar, 1) if self.in_bars and ours.place.bar is not None else 1
            # Where the song left no room the rules took another length, which says nothing of this one.
            if not suggested or not left or abs(suggested - number * unit) > 1e-6:
                continue
            lengths.note(other_length(suggested, left), left / unit)
        return lengths.reading()

    def numbers(self, trials: Trials, readings: Mapping[int, Reading]) -> dict[str, float]:
        """Return the length that was set in the middle one of the songs."""
        wish = _wish(readings.values())
        if wish is None:
            return {}
        value = bounded_number(self.key, wish if self.in_bars else _even_length(wish))
        return {self.key: value} if other_length(number_of(trials.base, self.key), value) else {}

    def evidence(self, readings: Sequence[Reading]) -> str:
        """Say how often it was made longer or shorter."""
        way = _way(readings, "longer", "shorter")
        wish = _even_length(_wish(readings) or 0.0)
        unit = "bar" if self.in_bars else "beat"
        told = f"{_in_songs(readings, 'you made it', way)} ({_changed(readings)} of {_seen(readings)} such fades)"
        return f"{told}, mostly about {wish:g} {unit}{'' if wish == 1 else 's'}."


@dataclass(frozen=True, slots=True)
class LevelOf:
    """Looks of one category are set brighter or darker."""

    category: Category
    kind: str = "levels"

    @property
    def name(self) -> str:
        """Which levels."""
        return f"Levels of {self.category} looks"

    def reading(self, song: ReviewedSong, made: Suggestion, base: Profile) -> Reading:
        """Return how levels of this category were left."""
        category = {look.id: look.category for look in made.looks}
        levels = _Changes()
        for ours, kept in pairs(song, made.cues):
            sets = ours.kind in ENTRANCES or ours.kind == "ramp"
            if sets and category.get(ours.look or "") == self.category and ours.level and kept.level:
                levels.note(other_level(ours.level, kept.level), kept.level - ours.level)
        return levels.reading()

    def numbers(self, trials: Trials, readings: Mapping[int, Reading]) -> dict[str, float]:
        """Move both ends of the category's levels by what they were moved by in the middle one of the songs."""
        by = 5 * round((_wish(readings.values()) or 0.0) / 5)
        keys = (f"looks.base_level.{self.category}", f"looks.ceiling.{self.category}")
        now = {key: number_of(trials.base, key) for key in keys}
        moved = {key: bounded_number(key, value + by) for key, value in now.items()}
        return {key: value for key, value in moved.items() if value != now[key]}

    def evidence(self, readings: Sequence[Reading]) -> str:
        """Say how often they were set higher or lower."""
        way = _way(readings, "higher", "lower")
        told = f"{_in_songs(readings, 'you set them', way)} ({_changed(readings)} of {_seen(readings)} levels)"
        return f"{told}, mostly by {abs(_wish(readings) or 0.0):g} %."


@dataclass(frozen=True, slots=True)
class ColoursOf:
    """Looks of one category get more or fewer colours."""

    category: Category
    kind: str = "colours"

    @property
    def name(self) -> str:
        """Which looks."""
        return f"Colours of {self.category} looks"

    def reading(self, song: ReviewedSong, made: Suggestion, base: Profile) -> Reading:
        """Return how many colours the looks of this category were left with."""
        kept = {look.id: look for look in song.song.looks}
        looks = _Changes()
        for ours in made.looks:
            if ours.category == self.category and ours.id in LOOKS and ours.id in kept:
                by = kept[ours.id].colours - ours.colours
                looks.note((by > 0) - (by < 0), by)
        return looks.reading()

    def numbers(self, trials: Trials, readings: Mapping[int, Reading]) -> dict[str, float]:
        """Return as many colours more or fewer as in the middle one of the songs."""
        key = f"looks.colours.{self.category}"
        now = number_of(trials.base, key)
        value = bounded_number(key, float(round(now + (_wish(readings.values()) or 0.0))))
        return {key: value} if value != now else {}

    def evidence(self, readings: Sequence[Reading]) -> str:
        """Say how often they got more or fewer."""
        way = _way(readings, "more colours", "fewer colours")
        return f"{_in_songs(readings, 'you gave them', way)} ({_changed(readings)} of {_seen(readings)} looks)."


@dataclass(frozen=True, slots=True)
class HowMuchLight:
    """Sections get more or less light than was suggested."""

    name: str = "How much light a section gets"
    kind: str = "light"

    def reading(self, song: ReviewedSong, made: Suggestion, base: Profile) -> Reading:
        """Return how many sections were given more light, and how many less."""
        changed, roles = Counter[int](), Counter[str]()
        sections = {section.id: section for section in song.analysis.sections}
        for id_, category in made.light.items():
            was, now = CATEGORIES.index(category), CATEGORIES.index(song.light[id_])
            changed[(now > was) - (now < was)] += 1
            if now != was:
                roles[sections[id_].role or ""] += 1
        return Reading(len(made.light), changed[1], changed[-1], roles=roles)

    def numbers(self, trials: Trials, readings: Mapping[int, Reading]) -> dict[str, float]:
        """Return how hard the band has to push for each category, moved so that the fewest repairs are left."""
        # Less light is what harder pushing for the same light brings.
        way = -1 if sum(each.leaning for each in readings.values()) > 0 else 1
        steps = [self._moved(trials.base, way * step * _STEP) for step in range(_STEPS + 1)]
        return _fewest(trials, readings, self.kind, steps)

    def _moved(self, base: Profile, by: float) -> dict[str, float]:
        keys = [f"drive.{name}" for name in ("rest", *_LIT, "intense_floor")]
        return {key: bounded_number(key, number_of(base, key) + by) for key in keys if by}

    def evidence(self, readings: Sequence[Reading]) -> str:
        """Say how often sections got more or less light."""
        way = _way(readings, "more light", "less light")
        told = _in_songs(readings, "you gave sections", way)
        return f"{told} ({_changed(readings)} of {_seen(readings)} sections{_where(readings)})."


@dataclass(frozen=True, slots=True)
class HowManyShots:
    """One-shots are left out, or put in."""

    name: str = "One-shots"
    kind: str = "one-shots"

    def reading(self, song: ReviewedSong, made: Suggestion, base: Profile) -> Reading:
        """Return by how many presses there are more or fewer than were suggested."""
        ours, kept = Counter[str](), Counter[str]()
        for places, count in ((made.shots, ours), (song.shots, kept)):
            for at in places:
                section = song.grid.section_at(at)
                count[(section.role if section else None) or ""] += 1
        apart = kept.total() - ours.total()
        roles = (ours - kept) + (kept - ours)
        return Reading(ours.total(), max(apart, 0), max(-apart, 0), roles=roles)

    def numbers(self, trials: Trials, readings: Mapping[int, Reading]) -> dict[str, float]:
        """Return how many there may be, or how close together, so that the fewest repairs are left."""
        now, most = trials.base.shots, max((each.seen for each in readings.values()), default=0)
        if sum(each.leaning for each in readings.values()) > 0:
            tried = [{"shots.spacing_seconds": float(each)} for each in _SPACINGS if each < now.spacing_seconds]
        else:
            fewer = range(min(most, now.most_per_song))
            tried = [{"shots.series_most": 0.0}, *({"shots.most_per_song": float(each)} for each in fewer)]
        return _fewest(trials, readings, self.kind, [{}, *tried])

    def evidence(self, readings: Sequence[Reading]) -> str:
        """Say how many were suggested, and how many are left."""
        lean = sum(each.leaning for each in readings)
        left = sum(each.seen + each.more - each.less for each in readings)
        told = _in_songs(readings, "you", "took one-shots out" if lean < 0 else "put one-shots in")
        return f"{told}: {_seen(readings)} were suggested, and {left} are left{_where(readings)}."


def habits() -> tuple[Habit, ...]:
    """Return everything that is looked for."""
    enters: tuple[CueKind, ...] = ("fade-in", "crossfade")
    name = "The fade by which"
    return (
        HowMuchLight(),
        HowManyShots(),
        *(LevelOf(category) for category in _LIT),
        *(ColoursOf(category) for category in _LIT),
        FadeLength("fades.lift_up_beats", f"{name} a lift comes in", "enter", enters, "up_beats", "lift"),
        FadeLength(
            "fades.subtle_up_bars", f"{name} a subtle look comes in", "enter", enters, "up_beats", "subtle", True
        ),
        *(
            FadeLength(
                f"fades.out_beats.{each}",
                f"{name} the old look leaves when {'an' if each == 'intense' else 'a'} {each} look comes in",
                "enter",
                ("crossfade",),
                "down_beats",
                each,
            )
            for each in ("subtle", "lift")
        ),
        *(
            FadeLength(
                f"fades.early_out_bars.{each}",
                f"{name} {'an' if each == 'intense' else 'a'} {each} look leaves before a quiet part",
                "leave",
                ("fade-out",),
                "down_beats",
                each,
                True,
            )
            for each in _LIT
        ),
        FadeLength("fades.ending_beats", f"{name} the last look goes", "ending", ("fade-out",), "down_beats"),
    )


@dataclass(slots=True)
class _Changes:
    """Values in one song that were changed one way or the other, or left."""

    left: int = 0
    more: list[float] = field(default_factory=list)
    less: list[float] = field(default_factory=list)

    def note(self, way: int, value: float) -> None:
        """Take down what was made of one value."""
        if way:
            (self.more if way > 0 else self.less).append(value)
        else:
            self.left += 1

    def reading(self) -> Reading:
        """Return all of them; what is wished for is the middle of those that were changed the way that most were."""
        more, less = len(self.more), len(self.less)
        wish = median(self.more if more > less else self.less) if more != less else None
        return Reading(self.left + more + less, more, less, wish)


def _wish(readings: Iterable[Reading]) -> float | None:
    """Return what is wished for in the middle one of the songs that lean as most do."""
    readings = list(readings)
    lean = sum(each.leaning for each in readings)
    wishes = [each.wish for each in readings if each.wish is not None and each.leaning * lean > 0]
    return median(wishes) if wishes else None


def _even_length(beats: float) -> float:
    """Return whole beats, or a half where there are few: what people count."""
    return float(round(beats)) if beats >= _FEW_BEATS else round(2 * beats) / 2


def _fewest(
    trials: Trials, readings: Mapping[int, Reading], kind: str, tried: Sequence[dict[str, float]]
) -> dict[str, float]:
    """Return of several sets of numbers the one that leaves the fewest repairs; of equals the middle one."""
    left: list[tuple[int, dict[str, float]]] = []
    for numbers in tried:
        counts = [count for song in readings if (count := trials.left(song, numbers, {kind})) is not None]
        if len(counts) == len(readings):
            left.append((sum(counts), numbers))
    least = min(count for count, _ in left)
    best = [numbers for count, numbers in left if count == least]
    # As it is, if that is as good as any.
    return {} if {} in best else best[len(best) // 2]


def _in_songs(readings: Sequence[Reading], did: str, way: str) -> str:
    lean = 1 if sum(each.leaning for each in readings) > 0 else -1
    with_it = sum(each.leaning * lean > 0 for each in readings)
    against = sum(each.leaning * lean < 0 for each in readings)
    told = f"In {with_it} of {counted(len(readings), 'song')} {did} {way}"
    if not against:
        return f"{told}, in none the other way"
    return f"{told}, in {against} the other way"


def _way(readings: Sequence[Reading], more: str, less: str) -> str:
    return more if sum(each.leaning for each in readings) > 0 else less


def _seen(readings: Sequence[Reading]) -> int:
    return sum(each.seen for each in readings)


def _changed(readings: Sequence[Reading]) -> int:
    """Return how many were changed the way that most songs lean."""
    up = sum(each.leaning for each in readings) > 0
    return sum(each.more if up else each.less for each in readings)


def _where(readings: Sequence[Reading]) -> str:
    """Say in which kind of section most of it was done, where that is known."""
    roles = sum((each.roles for each in readings), Counter[str]())
    role, times = max(roles.items(), key=lambda each: (each[1], each[0]), default=("", 0))
    return f", mostly in sections heard as {role}" if role and times >= _MOSTLY * roles.total() else ""
