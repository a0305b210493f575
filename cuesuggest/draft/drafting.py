"""From recording to document: a song drafted, drafted again, saved; and the kit for music without a form."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from cuesuggest import __version__
from cuesuggest.analysis.listen import Step
from cuesuggest.analysis.rhythm.network import weights_digest
from cuesuggest.analysis.songs.several import songs_seen
from cuesuggest.analysis.spectrum import FEATURE_VERSION
from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.draft.again.carried_sections import carried
from cuesuggest.draft.again.merge import Rerun, merged
from cuesuggest.draft.again.pins import pins
from cuesuggest.draft.again.same_sound import Match, compare
from cuesuggest.draft.beside import document_of
from cuesuggest.draft.clashes import with_clashes
from cuesuggest.draft.listening import listened
from cuesuggest.draft.order import Chosen, Order
from cuesuggest.errors import DocumentError, RecordingChangedError
from cuesuggest.rules import Kit, Pin, Profile, Rig, draft, kit
from cuesuggest.score.bounds import DAY
from cuesuggest.song import (
    FormCorrection,
    RecordingFile,
    Settings,
    Song,
    SongWindow,
    Versions,
    check_savable,
    path_from,
    path_to,
)
from cuesuggest.song.decided import decided
from cuesuggest.sound.recording import DOCUMENT_SUFFIX, Recording, check_name, document_path, open_recording

__all__ = [
    "Drafted",
    "draft_file",
    "fresh_song",
    "is_current",
    "kit_for",
    "songs_in",
    "source_of",
    "suggest",
    "suggest_again",
]


def suggest(
    recording: str | Path,
    *,
    profile: str | Path | Profile = "band",
    rig: str | Path | Rig | None = None,
    start: float = 0.0,
    end: float | None = None,
    document: str | Path | None = None,
    step: Step | None = None,
) -> Song:
    """Listen to a recording and draft its cues.

    Parameters
    ----------
    recording : str or Path
        Any audio file, or a video file with sound.
    profile : str, Path or Profile
        A house style: the name of a shipped one, or a TOML file.
    rig : str, Path or Rig, optional
        What there is to play on; the example rig if left out.
    start, end : float, optional
        Seconds; the part of the file that is the song.
    document : str or Path, optional
        Where the song will be saved; it names the recording relative to there. Beside the recording if left out.
    step : callable, optional
        Told the name of each step, and the seconds heard so far.

    Returns
    -------
    Song
        Not yet saved; `save` does that.

    Raises
    ------
    RecordingError
        If the file cannot be read or the part holds less than a second of sound.
    ProfileError
        If there is no such house style or rig, or a value in it is wrong.
    """
    return _suggested(recording, Order(profile, rig, start, end), document or document_path(recording), step)


def _suggested(recording: str | Path, order: Order, document: str | Path, step: Step | None) -> Song:
    chosen = order.chosen()
    heard = open_recording(recording)
    check_name(path_from(Path(document), heard.path))
    return fresh_song(heard, listened(heard, chosen.window, (), step), chosen, Path(document), step)


def kit_for(recording: str | Path, order: Order | None = None, *, step: Step | None = None) -> Kit:
    """Listen to music without a fixed form and put together looks and rules for its tempo.

    Parameters
    ----------
    recording : str or Path
        Any recording of such music, or a document, whose analysis, style and rig are taken then.
    order : Order, optional
    step : callable, optional
        Told the name of each step, and the seconds heard so far.

    Raises
    ------
    RecordingError, DocumentError, ProfileError
        If something cannot be read.
    """
    order = order or Order()
    if str(recording).endswith(DOCUMENT_SUFFIX):
        song = Song.load(recording)
        chosen = order.chosen(song)
        return kit(song.analysis, chosen.profile, chosen.rig)
    chosen = order.chosen()
    return kit(listened(open_recording(recording), chosen.window, (), step), chosen.profile, chosen.rig)


def fresh_song(
    heard: Recording,
    analysis: SongAnalysis,
    chosen: Chosen,
    document: Path,
    step: Step | None,
    decisions: dict[str, Pin] | None = None,
) -> Song:
    """Return a document with a draft of what was heard, around pins, and with nothing decided in it."""
    if step:
        step("cues", None)
    drafted = draft(analysis, chosen.profile, chosen.rig, decisions)
    return Song(
        title=heard.path.stem,
        recording=RecordingFile(
            path=path_from(document, heard.path),
            sha256=heard.sha256,
            decoder=heard.decoder,
            sample_rate=heard.sample_rate,
            channels=heard.channels,
            duration=_duration(heard, analysis, chosen.window.end),
            window=SongWindow(start=chosen.window.start, end=analysis.duration),
        ),
        versions=_versions(chosen.profile),
        profile=Settings(name=chosen.profile.name, values=chosen.profile.values()),
        rig=Settings(name=chosen.rig.name, values=chosen.rig.values()),
        analysis=analysis,
        looks=drafted.looks,
        plan=drafted.plan,
        cues=drafted.cues,
        questions=drafted.questions,
        cautions=drafted.cautions,
    )


def _duration(recording: Recording, analysis: SongAnalysis, end: float | None) -> float:
    """Length of the whole file: as decoded, or as the file announces where the window ends before it.

    More than a day is not believed of a header.
    """
    if end is None or recording.announced is None or recording.announced > DAY:
        return analysis.duration
    return max(analysis.duration, round(recording.announced, 4))


def _versions(profile: Profile) -> Versions:
    return Versions(program=__version__, features=FEATURE_VERSION, weights=weights_digest(), profile=profile.name)


def suggest_again(
    earlier: Song,
    recording: str | Path,
    order: Order | None = None,
    *,
    document: str | Path | None = None,
    carry_over: bool = False,
    step: Step | None = None,
) -> tuple[Song, Rerun]:
    """Listen again and draft anew around what was decided.

    Parameters
    ----------
    earlier : Song
        The document as it is.
    recording : str or Path
        Its recording, or another one of the same song.
    order : Order, optional
    document : str or Path, optional
        Where the song will be saved.
    carry_over : bool
        Take decisions over to a recording that holds another sound; they are placed by section and bar.
    step : callable, optional
        Told the name of each step, and the seconds heard so far.

    Returns
    -------
    Song
        Not yet saved, one revision above `earlier`.
    Rerun
        What was kept, what is new, what lost its place.

    Raises
    ------
    RecordingError, ProfileError
        As `suggest` does.
    RecordingChangedError
        If the recording holds another sound, there are decisions, and `carry_over` is not given.
    """
    chosen = (order or Order()).chosen(earlier)
    heard = open_recording(recording)
    where = Path(document) if document else document_of(heard.path)
    check_name(path_from(where, heard.path))
    # Facts are about times in the sound that they were stated for; the form is that of the song.
    same = heard.sha256 == earlier.recording.sha256
    holds = [fact for fact in earlier.corrections if same or isinstance(fact, FormCorrection)]
    analysis = listened(heard, chosen.window, holds, step)
    match, notes = Match("same"), []
    if not same:
        match = compare(earlier.analysis, analysis)
        notes.append(_about(match, heard))
        if match.kind == "other" and _has_decisions(earlier) and not carry_over:
            raise RecordingChangedError(
                f"{heard.path} does not hold the sound that this document was made from ({analysis.duration:.0f} s "
                f"instead of {earlier.analysis.duration:.0f} s), and the document has decisions of yours. Carry them "
                "over by section and bar with --carry-over, or write a new document with -o."
            )
    analysis, lost = carried(earlier, analysis, match)
    fresh = fresh_song(heard, analysis, chosen, where, step, pins(earlier, analysis, match))
    notes += [*_changed_settings(earlier, fresh), *lost]
    return with_clashes(*merged(earlier, fresh, match, notes))


def _about(match: Match, heard: Recording) -> str:
    if match.kind == "other":
        return f"{heard.path.name} holds another sound than before: what was decided is placed by section and bar."
    if match.kind == "shifted":
        way = "later" if match.lag > 0 else "earlier"
        return f"{heard.path.name} is another file with the same sound, {abs(match.lag):.1f} s {way}."
    return f"{heard.path.name} is another file with the same sound."


def _changed_settings(earlier: Song, fresh: Song) -> list[str]:
    notes = []
    for what, before, after in (
        ("House style", earlier.profile, fresh.profile),
        ("Rig", earlier.rig, fresh.rig),
    ):
        if before.name != after.name:
            notes.append(f"{what}: {after.name} instead of {before.name}.")
        elif before.values != after.values:
            notes.append(f"{what}: {after.name} has other values than before.")
    if (earlier.versions.features, earlier.versions.weights) != (fresh.versions.features, fresh.versions.weights):
        notes.append("The song was heard anew by a newer way of listening.")
    return notes


def _has_decisions(song: Song) -> bool:
    return bool(
        song.corrections
        or song.unplaced
        or any(map(decided, song.cues))
        or any(section.name or section.first_words for section in song.analysis.sections)
    )


@dataclass(frozen=True, slots=True)
class Drafted:
    """A song that was drafted and saved."""

    song: Song
    path: Path
    rerun: Rerun | None
    """What became of the document that was there; None if there was none."""

    @property
    def recording(self) -> Path:
        """The recording that was heard."""
        return path_to(self.path, self.song.recording.path)


def songs_in(drafted: Drafted) -> int:
    """Return how many songs there seem to be in what was heard as one."""
    return songs_seen(drafted.song.analysis)


def draft_file(
    recording: str | Path,
    order: Order | None = None,
    *,
    document: str | Path | None = None,
    carry_over: bool = False,
    step: Step | None = None,
) -> Drafted:
    """Draft a song and save it; decisions in the document that is there are kept.

    Parameters
    ----------
    recording : str or Path
        A recording, or a document, which is run again from its recording.
    order : Order, optional
    document : str or Path, optional
        Where to save; beside the recording if left out.
    carry_over, step
        As for `suggest_again`.

    Raises
    ------
    CuesuggestError
        As `suggest` and `suggest_again` do, and if the document cannot be opened or written.
    """
    order = order or Order()
    target = Path(document) if document else document_of(recording)
    check_savable(target)
    earlier = Song.load(target) if os.path.exists(target) else None
    source = source_of(Path(recording), earlier)
    rerun = None
    if earlier is None:
        song = _suggested(source, order, target, step)
    else:
        song, rerun = suggest_again(earlier, source, order, document=target, carry_over=carry_over, step=step)
    song.save(target)
    return Drafted(song, target, rerun)


def source_of(recording: Path, document: Song | None) -> Path:
    """Return the audio file: itself, or the one that a document is about."""
    if not recording.name.endswith(DOCUMENT_SUFFIX):
        return recording
    song = document if document is not None else Song.load(recording)
    source = path_to(recording, song.recording.path)
    if not os.path.exists(source):
        raise DocumentError(
            f"{recording} is about the recording {song.recording.path}, which is not there. Put it back, or name the "
            "recording and give the document with -o."
        )
    return source


def is_current(recording: str | Path, order: Order | None = None, *, document: str | Path | None = None) -> bool:
    """Whether a document is there that this program would make the same again; nothing is listened to.

    Raises
    ------
    CuesuggestError
        If a document is there that cannot be read, or the recording cannot.
    """
    target = Path(document) if document else document_of(recording)
    if not os.path.exists(target):
        return False
    song = Song.load(target)
    chosen = (order or Order()).chosen(song)
    heard = open_recording(source_of(Path(recording), song))
    stored = song.recording.window
    stop = song.recording.duration if chosen.window.end is None else chosen.window.end
    return (
        heard.sha256 == song.recording.sha256
        and song.versions == _versions(chosen.profile)
        and song.profile.values == chosen.profile.values()
        and song.rig.values == chosen.rig.values()
        and stored.start == chosen.window.start
        and abs(stored.end - min(stop, song.recording.duration)) < 1e-3
    )
