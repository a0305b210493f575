"""What several reviewed songs teach of a house style: each lesson with its evidence, and tried on songs left out."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from cuesuggest.draft.taste.chance import FEWEST_SONGS, chances
from cuesuggest.draft.taste.habits import Habit, Reading, habits
from cuesuggest.draft.taste.reviewed import Repair, ReviewedSong, repairs, suggestion, was_reviewed
from cuesuggest.draft.taste.style_numbers import number_of, same_numbers, styled
from cuesuggest.rules import Profile, profile_from_values
from cuesuggest.score.night_records import SOUND_CHECK
from cuesuggest.song import Song

__all__ = ["Learned", "Lesson", "learned", "songs_to_learn_from"]

# How often chance alone may make any of the numbers lean so much, by the word that is used for it. More than the last
# is not looked at further; the songs left out then tell luck from taste once more.
_STRENGTHS = {"strong": 0.01, "clear": 0.05, "weak": 0.1}


_Numbers = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one habit says of the style."""

    about: str
    now: Mapping[str, float]
    """The numbers of the base, by key."""
    then: Mapping[str, float]
    """What they should be."""
    evidence: str
    chance: float
    """How often chance alone would lean so much."""
    before: int
    """Repairs of the drafts of songs left out, in the style as it is."""
    after: int
    """The same with these numbers, found without the song that is drafted."""

    @property
    def strength(self) -> str:
        """How far it is to be trusted, in a word."""
        return next(word for word, most in _STRENGTHS.items() if self.chance <= most)


@dataclass(frozen=True, slots=True)
class Learned:
    """What was found in some songs."""

    songs: tuple[str, ...]
    """Those that were looked at."""
    lessons: tuple[Lesson, ...] = ()
    notes: tuple[str, ...] = ()
    """What was seen and comes to nothing, and why; in sentences."""
    style: Profile | None = None
    """The base with all of the lessons; None where there are none."""
    before: int = 0
    """Repairs of the drafts of songs left out, in the style as it is."""
    after: int = 0
    """The same in the new style, its numbers found without the song that is drafted."""

    @property
    def numbers(self) -> dict[str, float]:
        """All numbers of the new style that differ from the base, by key."""
        return {key: value for each in self.lessons for key, value in each.then.items()}


def songs_to_learn_from(
    documents: Mapping[str, Song], base: Profile
) -> tuple[tuple[ReviewedSong, ...], tuple[str, ...]]:
    """Return the songs that say something of a style, and why each other one does not, in sentences.

    Parameters
    ----------
    documents : mapping of str to Song
        By the name that they are told by.
    base : Profile
    """
    used: list[ReviewedSong] = []
    left_out: list[str] = []
    seen: dict[tuple[str, float], str] = {}
    for name, song in documents.items():
        style = profile_from_values(song.profile.values)
        recording = (song.recording.sha256, song.recording.window.start)
        if any(entry.by == SOUND_CHECK for entry in song.history):
            why = (
                "was changed at sound check, for one night. To learn from it, take that back first (cuesuggest night "
                "NIGHT.toml --undo)"
            )
        elif not same_numbers(style, base):
            why = (
                f"was drafted in the style {song.profile.name}, whose numbers are not those of {base.name}. To learn "
                "from it, name its style with --profile"
            )
        elif song.taken_over is not None:
            why = "has its cues from another take, so what was decided there would count twice"
        elif recording in seen:
            why = f"is of the same recording as {seen[recording]}"
        elif not was_reviewed(song):
            why = (
                "was not gone through: most of its cues are still suggestions, and its list was never taken out. "
                "Accept what is good in it first"
            )
        else:
            seen[recording] = name
            used.append(ReviewedSong(name, song))
            continue
        left_out.append(f"{name} {why}.")
    return tuple(used), tuple(left_out)


@dataclass
class _Redrafts:
    """Songs drafted again with other numbers, each once."""

    songs: Sequence[ReviewedSong]
    base: Profile
    _styles: dict[_Numbers, Profile | None] = field(default_factory=dict)
    _known: dict[tuple[int, _Numbers], frozenset[Repair] | None] = field(default_factory=dict)

    def _repairs(self, song: int, numbers: Mapping[str, float]) -> frozenset[Repair] | None:
        key = tuple(sorted(numbers.items()))
        if (song, key) not in self._known:
            if key not in self._styles:
                self._styles[key] = styled(self.base, numbers) if numbers else self.base
            style, which = self._styles[key], self.songs[song]
            self._known[song, key] = None if style is None else repairs(which, suggestion(which, style))
        return self._known[song, key]

    def left(self, song: int, numbers: Mapping[str, float], kinds: Collection[str]) -> int | None:
        """Return how many repairs a song's draft needs then, as `Trials` has it."""
        done, needed = self._repairs(song, {}), self._repairs(song, numbers)
        if done is None or needed is None:
            return None
        return sum(each in done or each[0] in kinds for each in needed)

    def left_out(self, numbers: Sequence[Mapping[str, float]], kinds: Collection[str]) -> int:
        """Return how many repairs all songs need, each drafted with numbers of its own; the base's where they fail."""
        counts = [(self.left(song, each, kinds), self.left(song, {}, kinds)) for song, each in enumerate(numbers)]
        return sum((old or 0) if new is None else new for new, old in counts)


def learned(songs: Sequence[ReviewedSong], base: Profile) -> Learned:
    """Find what the designer of some songs does again and again, and what numbers would have saved the work.

    A number is changed if three things hold. It leans the same way in more songs than chance would bring about, all
    numbers that are looked at taken together (`chance.chances`). There is a value that answers to it. And on each song
    left out in turn, a draft with the value found in the others needs fewer repairs in sum than one in the base.

    Parameters
    ----------
    songs : sequence of ReviewedSong
        Drafted in the base, and gone through.
    base : Profile

    Returns
    -------
    Learned
    """
    names = tuple(song.name for song in songs)
    if len(songs) < FEWEST_SONGS:
        return Learned(names)
    trials = _Redrafts(songs, base)
    made = [suggestion(song, base) for song in songs]
    looked_at = {habit.name: habit for habit in habits()}
    readings = {
        name: [habit.reading(song, each, base) for song, each in zip(songs, made, strict=True)]
        for name, habit in looked_at.items()
    }
    chance = chances({name: [each.leaning for each in read] for name, read in readings.items()})
    lessons: list[Lesson] = []
    found: list[Habit] = []
    notes: list[str] = []
    for name, habit in looked_at.items():
        if chance[name] > max(_STRENGTHS.values()):
            continue
        lesson = _lesson(habit, readings[name], trials, chance[name])
        if isinstance(lesson, str):
            notes.append(lesson)
        else:
            lessons.append(lesson)
            found.append(habit)
    while lessons:
        numbers = {key: value for each in lessons for key, value in each.then.items()}
        without = [
            {
                key: value
                for habit in found
                for key, value in _without(habit, readings[habit.name], trials, song).items()
            }
            for song in range(len(songs))
        ]
        kinds = {habit.kind for habit in found}
        before, after = trials.left_out([{}] * len(songs), kinds), trials.left_out(without, kinds)
        style = styled(base, numbers)
        if style is not None and after < before:
            return Learned(names, tuple(lessons), tuple(notes), style, before, after)
        # Together they do not help: the least sure one is given up.
        at = max(range(len(lessons)), key=lambda index: lessons[index].chance)
        notes.append(f"{lessons[at].about}: {lessons[at].evidence} It does not help beside the rest.")
        del lessons[at], found[at]
    return Learned(names, notes=tuple(notes))


def _without(habit: Habit, read: Sequence[Reading], trials: _Redrafts, song: int) -> dict[str, float]:
    """Return the numbers that a habit asks for in all songs but one."""
    return habit.numbers(trials, {index: each for index, each in enumerate(read) if index != song})


def _lesson(habit: Habit, read: Sequence[Reading], trials: _Redrafts, chance: float) -> Lesson | str:
    """Return what a habit teaches, or in a sentence why it comes to nothing."""
    told = habit.evidence(read)
    then = habit.numbers(trials, dict(enumerate(read)))
    if not then:
        return f"{habit.name}: {told} No number of the style answers to that."
    without = [_without(habit, read, trials, song) for song in range(len(read))]
    before, after = trials.left_out([{}] * len(read), {habit.kind}), trials.left_out(without, {habit.kind})
    if after >= before:
        return (
            f"{habit.name}: {told} But a style that follows it would not save repairs on songs left "
            f"out ({before} now, {after} then)."
        )
    now = {key: number_of(trials.base, key) for key in then}
    return Lesson(habit.name, now, then, told, chance, before, after)
