"""From a long recording to its songs: found, read, put together by what they are, and a document for each."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from cuesuggest.analysis.listen import Step
from cuesuggest.analysis.loudness import integrated, to_lufs, windowed
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.rhythm.network import NETWORKS, heads_of
from cuesuggest.analysis.songs.excerpt import excerpt
from cuesuggest.analysis.songs.gathering import gathered, most_complete, recognised_as
from cuesuggest.analysis.songs.harmony import bar_harmony
from cuesuggest.analysis.songs.played import Played
from cuesuggest.analysis.songs.rehearsal import Found, find_songs
from cuesuggest.analysis.spectrum import Spectrum, hear
from cuesuggest.analysis.takes.align import one_song
from cuesuggest.analysis.takes.take import HeardTake
from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.draft.cache import cached, keep
from cuesuggest.draft.drafting import fresh_song, source_of, suggest_again
from cuesuggest.draft.listening import Framed, framed, remembered
from cuesuggest.draft.order import Order
from cuesuggest.errors import CuesuggestError
from cuesuggest.song import Song, check_savable, path_from
from cuesuggest.sound.recording import DOCUMENT_SUFFIX, Recording, Window, check_name, open_recording

if TYPE_CHECKING:
    import numpy as np

__all__ = [
    "DraftedAttempt",
    "KnownSong",
    "Rehearsal",
    "SongAttempt",
    "documents_in",
    "known_songs",
    "recognised",
    "rehearsal_of",
    "written_as",
]

_LEAD_BARS = 2.0  # before the first beat: room for a count-in
_LEAD_SECONDS, _TAIL_SECONDS = 0.5, 1.0
_STEPS = 24  # of the picture of loudness
_RANGE_DB = 24.0  # from the bottom of the picture to the loudest of the evening
_MOMENTARY = 4  # hops of 100 ms


@dataclass(frozen=True, slots=True)
class SongAttempt:
    """A song as it is played once in a long recording.

    Attributes
    ----------
    start, end : float
        Seconds from the start of the file: the first beat, and where the last sound has died away.
    window : Window
        What is heard of the file for it, with room for a count-in.
    analysis : SongAnalysis
    lufs : float or None
        Integrated loudness.
    picture : tuple of float
        Loudness over time, 0 to 1 on one scale for the whole recording.
    song, number, of : int
        Which song it is and which attempt at it, from 1 on, and of how many.
    complete : bool
        Whether it has most of its song.
    false_starts : tuple of (float, float)
        Begun and broken off shortly before it.
    """

    start: float
    end: float
    window: Window
    analysis: SongAnalysis
    lufs: float | None
    picture: tuple[float, ...]
    song: int = 1
    number: int = 1
    of: int = 1
    complete: bool = True
    false_starts: tuple[tuple[float, float], ...] = ()

    @property
    def bars(self) -> int:
        """How many, the count-in left out."""
        return sum(bar.number >= 1 for bar in self.analysis.bars)


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What a long recording holds."""

    recording: Recording
    end: float
    """Seconds to which it was heard."""
    attempts: tuple[SongAttempt, ...]
    fragments: tuple[tuple[float, float], ...]
    """Other music with a pulse, too short for a song."""
    harmonies: tuple[np.ndarray, ...]
    """Of each attempt, to compare it with other songs."""


@dataclass(frozen=True, slots=True)
class KnownSong:
    """A song that has a document already, as it sounds."""

    document: Path
    title: str
    harmony: np.ndarray
    tempo: float
    sha256: str
    """Of its recording."""
    window: Window
    analysis: SongAnalysis


@dataclass(frozen=True, slots=True)
class DraftedAttempt:
    """What became of an attempt's document."""

    path: Path
    song: Song
    lines: tuple[str, ...] = ()
    was_there: bool = False
    """It was there, and is as it was."""


def rehearsal_of(recording: str | Path, window: Window | None = None, *, step: Step | None = None) -> Rehearsal:
    """Find the songs of a long recording, which is heard once.

    Parameters
    ----------
    recording : str or Path
    window : Window, optional
        The part of it to look at.
    step : callable, optional
        Told the name of each step, and the seconds heard so far.

    Raises
    ------
    RecordingError
        If the file cannot be read.
    """
    window = window or Window()
    heard = open_recording(recording)
    check_name(str(heard.path))
    spectrum = _spectrum(heard, window, step)
    tell = step or (lambda name, seconds: None)
    tell("songs", None)
    found = find_songs(spectrum, [heads_of(spectrum, network) for network in NETWORKS])
    top = float(to_lufs(windowed(spectrum.power, _MOMENTARY)).max(initial=-70.0))
    attempts: list[SongAttempt] = []
    takes: list[HeardTake] = []
    harmonies: list[np.ndarray] = []
    for k, each in enumerate(found):
        if each.kind != "song":
            continue
        tell("songs", each.played.start)
        before = found[k - 1].played.end if k else spectrum.start
        after = found[k + 1].played.start if k + 1 < len(found) else spectrum.end
        made = _attempt(heard, spectrum, each.played, (before, after), top)
        if made is not None:
            attempts.append(replace(made[0], false_starts=_false_starts(found, k)))
            takes.append(made[1])
            harmonies.append(made[2])
    tell("songs", None)
    fragments = tuple((each.played.start, each.played.end) for each in found if each.kind == "fragment")
    return Rehearsal(heard, spectrum.end, tuple(_counted(attempts, takes, harmonies)), fragments, tuple(harmonies))


def _spectrum(heard: Recording, window: Window, step: Step | None) -> Spectrum:
    kept = cached(heard.sha256, window)
    if kept is not None:
        return kept[0]
    if step:
        step("listening", window.start)
    return hear(heard, window, (lambda seconds: step("listening", seconds)) if step else None)


def _attempt(
    heard: Recording, whole: Spectrum, played: Played, between: tuple[float, float], top: float
) -> tuple[SongAttempt, HeardTake, np.ndarray] | None:
    """Read one song by itself, from what was heard already; None where no bars are told in it."""
    import numpy as np

    start = math.floor(10 * max(between[0], played.start - _LEAD_BARS * played.bar - _LEAD_SECONDS)) / 10
    end = math.ceil(10 * min(between[1], played.end + _TAIL_SECONDS)) / 10
    part = excerpt(whole, max(start, whole.start), end)
    # A document that reaches to the end of its file names no end.
    window = Window(part.start, None if end >= whole.end - 1e-3 else end)
    logits, rhythm = believed(part)
    keep(heard.sha256, window, part, logits, rhythm.evidence.network)
    frames = Framed(part, logits, rhythm.evidence.network, rhythm)
    analysis = frames.analysis(())
    bars = [bar for bar in analysis.bars if bar.number >= 1]
    if not bars or analysis.tempo_bpm is None:
        return None
    harmony = bar_harmony(part, np.array([bar.start for bar in bars]), np.array([bar.end for bar in bars]))
    attempt = SongAttempt(played.start, played.end, window, analysis, integrated(part.power), _picture(part, top))
    return attempt, frames.take(analysis), harmony


def _picture(part: Spectrum, top: float) -> tuple[float, ...]:
    """Loudness over time in equal steps: the loud moments of each, not the gaps between."""
    import numpy as np

    loud = to_lufs(windowed(part.power, _MOMENTARY))
    if not len(loud):
        return (0.0,) * _STEPS
    edges = np.linspace(0, len(loud), _STEPS + 1).astype(int)
    steps = [np.percentile(loud[a : max(b, a + 1)], 75) for a, b in pairwise(edges)]
    return tuple(round(float(np.clip(1 + (each - top) / _RANGE_DB, 0, 1)), 3) for each in steps)


def _false_starts(found: Sequence[Found], k: int) -> tuple[tuple[float, float], ...]:
    """Return those that lead to a song: right before it, one after the other."""
    spans: list[tuple[float, float]] = []
    for each in reversed(found[:k]):
        if each.kind == "song":
            break
        if each.kind == "false start":
            spans.insert(0, (each.played.start, each.played.end))
    return tuple(spans)


def _counted(
    attempts: Sequence[SongAttempt], takes: Sequence[HeardTake], harmonies: Sequence[np.ndarray]
) -> Iterable[SongAttempt]:
    pieces = [(harmony, _tempo(each)) for harmony, each in zip(harmonies, attempts, strict=True)]
    songs = gathered(pieces, lambda i, j: one_song(takes[i], takes[j]))
    complete = most_complete(songs, [each.bars for each in attempts])
    for k, each in enumerate(attempts):
        number = songs[: k + 1].count(songs[k])
        yield replace(each, song=songs[k] + 1, number=number, of=songs.count(songs[k]), complete=complete[k])


def _tempo(attempt: SongAttempt | Song) -> float:
    return attempt.analysis.tempo_bpm or 120.0


# Documents.


def documents_in(rehearsal: Rehearsal, folder: Path) -> list[Path]:
    """Return where the document of each attempt lies, or will: one that is there for the same stretch of the file.

    Others are named by the recording and counted in the order played; a name that is taken is passed over.
    """
    there = {path: song for path in _documents(folder) if (song := _loaded(path)) is not None}
    own = {path: song for path, song in there.items() if song.recording.sha256 == rehearsal.recording.sha256}
    places: list[Path] = []
    for number, attempt in enumerate(rehearsal.attempts, 1):
        found = next((path for path, song in own.items() if path not in places and _is_about(song, attempt)), None)
        places.append(found or _free(rehearsal.recording.path.stem, folder, number, len(rehearsal.attempts), places))
    return places


def _documents(folder: Path) -> list[Path]:
    return sorted(folder.glob(f"*{DOCUMENT_SUFFIX}")) if folder.is_dir() else []


def _loaded(path: Path) -> Song | None:
    try:
        return Song.load(path)
    except CuesuggestError:
        return None


def _is_about(song: Song, attempt: SongAttempt) -> bool:
    window = song.recording.window
    shared = min(window.end, attempt.end) - max(window.start, attempt.start)
    return shared >= 0.5 * max(window.end - window.start, attempt.end - attempt.start)


def _free(stem: str, folder: Path, number: int, of: int, taken: Sequence[Path]) -> Path:
    plain = f"{stem}-{number:0{max(2, len(str(of)))}d}"
    for more in ("", *(f"-{k}" for k in range(2, 1000))):
        path = folder / f"{plain}{more}{DOCUMENT_SUFFIX}"
        if path not in taken and not os.path.lexists(path):
            return path
    raise CuesuggestError(f"{folder} is full of documents called {plain}. Choose another folder with -o.")


def written_as(
    rehearsal: Rehearsal,
    attempt: SongAttempt,
    path: Path,
    order: Order,
    *,
    again: bool = False,
    step: Step | None = None,
) -> DraftedAttempt:
    """Draft an attempt from what was heard and save it; a document that is there stays, or is drafted again.

    Parameters
    ----------
    rehearsal : Rehearsal
    attempt : SongAttempt
    path : Path
        As `documents_in` gives it.
    order : Order
        House style and rig.
    again : bool
        Draft a document that is there once more, around what is decided in it and in the window that it has.
    step : callable, optional
    """
    heard = rehearsal.recording
    if os.path.exists(path):
        earlier = Song.load(path)
        if not again:
            return DraftedAttempt(path, earlier, was_there=True)
        song, rerun = suggest_again(earlier, heard.path, order, document=path, step=step)
        song.save(path)
        return DraftedAttempt(path, song, rerun.lines)
    check_savable(path)
    check_name(path_from(path, heard.path))
    chosen = replace(order.chosen(), window=attempt.window)
    # Some files do not tell their length; it is known by now.
    known = replace(heard, announced=max(rehearsal.end, heard.announced or 0.0))
    song = fresh_song(known, attempt.analysis, chosen, path, step).replaced(title=_title(heard, attempt))
    song.save(path)
    return DraftedAttempt(path, song)


def _title(heard: Recording, attempt: SongAttempt) -> str:
    which = f", attempt {attempt.number}" if attempt.of > 1 else ""
    return f"{heard.path.stem}, song {attempt.song}{which}"


# Songs that have documents already.


def known_songs(folder: Path, rehearsal: Rehearsal, step: Step | None = None) -> tuple[list[KnownSong], list[str]]:
    """Hear, or remember, the songs of a folder of documents, but for those of the rehearsal itself.

    Returns
    -------
    list of KnownSong
    list of str
        Sentences about documents that cannot be compared.
    """
    known: list[KnownSong] = []
    wrong: list[str] = []
    for path in _documents(folder):
        try:
            song = Song.load(path)
            if song.recording.sha256 == rehearsal.recording.sha256:
                continue
            if step:
                step(f"comparing with {song.title}", None)
            window = Order().chosen(song).window
            harmony = _harmony_of(path, song, window, step)
        except CuesuggestError as error:
            wrong.append(f"{path.name} cannot be compared: {error}")
            continue
        if harmony is not None:
            known.append(
                KnownSong(path, song.title, harmony, _tempo(song), song.recording.sha256, window, song.analysis)
            )
    return known, wrong


def _harmony_of(path: Path, song: Song, window: Window, step: Step | None) -> np.ndarray | None:
    import numpy as np

    bars = [bar for bar in song.analysis.bars if bar.number >= 1]
    if not bars:
        return None
    frames = remembered(song.recording.sha256, window) or framed(open_recording(source_of(path, song)), window, step)
    return bar_harmony(frames.spectrum, np.array([bar.start for bar in bars]), np.array([bar.end for bar in bars]))


def recognised(rehearsal: Rehearsal, known: Sequence[KnownSong], step: Step | None = None) -> list[KnownSong | None]:
    """Tell of each attempt which of the known songs it is; None where it is like none of them."""
    songs = [(each.harmony, each.tempo) for each in known]
    found: list[KnownSong | None] = []
    for attempt, harmony in zip(rehearsal.attempts, rehearsal.harmonies, strict=True):

        def one(k: int, attempt: SongAttempt = attempt) -> bool:
            if step:
                step(f"laying on {known[k].title}", None)
            return _one_song(rehearsal.recording.sha256, attempt, known[k])

        which = recognised_as((harmony, _tempo(attempt)), songs, one)
        found.append(None if which is None else known[which])
    return found


def _one_song(sha256: str, attempt: SongAttempt, known: KnownSong) -> bool:
    """Lay an attempt on a known song, as far as their sound is remembered: nothing is heard again for it."""
    first, second = remembered(known.sha256, known.window), remembered(sha256, attempt.window)
    if first is None or second is None:
        return False
    return one_song(first.take(known.analysis), second.take(attempt.analysis))
