"""The way through the program: recording, analysis, rules, document. The command line and Python call the same two."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from cuesuggest import __version__
from cuesuggest.analysis.listen import Step, analyze_spectrum
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.network import weights_digest
from cuesuggest.analysis.spectrum import FEATURE_VERSION, hear
from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.draft.again import Hearing, Match, Rerun, carried, compare, decided, merged, pins
from cuesuggest.draft.cache import cached, keep
from cuesuggest.draft.redraft import redrafted
from cuesuggest.errors import DocumentError, RecordingChangedError
from cuesuggest.rules import (
    Kit,
    Pin,
    Profile,
    Rig,
    check_flashes,
    check_hands,
    check_playable,
    draft,
    kit,
    load_profile,
    load_rig,
    profile_from_values,
    rig_from_values,
)
from cuesuggest.score.form_text import read_form
from cuesuggest.score.grid import Grid
from cuesuggest.song import (
    BarOneCorrection,
    Correction,
    DownbeatCorrection,
    FormCorrection,
    HistoryEntry,
    RecordingFile,
    SetCorrections,
    Settings,
    Song,
    SongWindow,
    TempoCorrection,
    TimeSignatureCorrection,
    Versions,
    path_from,
)
from cuesuggest.song.printed import printed_now
from cuesuggest.sound.recording import DOCUMENT_SUFFIX, Recording, Window, document_path, open_recording

__all__ = [
    "Drafted",
    "analyze",
    "conflicts",
    "document_path",
    "draft_file",
    "freeze_numbers",
    "is_current",
    "kit_for",
    "note_print",
    "suggest",
    "suggest_again",
]


def _duration(recording: Recording, analysis: SongAnalysis, end: float | None) -> float:
    """Length of the whole file: as decoded, or as the file announces where the window ends before it."""
    if end is None or recording.announced is None:
        return analysis.duration
    return max(analysis.duration, round(recording.announced, 4))


def analyze(
    recording: str | Path, *, start: float = 0.0, end: float | None = None, step: Step | None = None
) -> SongAnalysis:
    """Listen to a recording.

    Parameters
    ----------
    recording : str or Path
        Any audio file, or a video file with sound.
    start, end : float, optional
        Seconds; the part of the file that is the song.
    step : callable, optional
        Told the name of each step, and the seconds heard so far.

    Returns
    -------
    SongAnalysis
        Times in seconds from the start of the file. Without music its lists are empty.

    Raises
    ------
    RecordingError
        If the file cannot be read or the part holds less than a second of sound.
    """
    return _listened(open_recording(recording), Window(start, end), (), step)


def _listened(heard: Recording, window: Window, corrections: Sequence[Correction], step: Step | None) -> SongAnalysis:
    """Hear a recording, or remember it, and find beats, form and moments under what the user states."""
    kept, rhythm = cached(heard.sha256, window), None
    if kept is None:
        if step:
            step("listening", 0.0)
        spectrum = hear(heard, window, (lambda seconds: step("listening", seconds)) if step else None)
        if step:
            step("beats and bars", None)
        logits, rhythm = believed(spectrum)
        kept = spectrum, logits, rhythm.evidence.network
        keep(heard.sha256, window, *kept)
    spectrum, logits, network = kept
    return analyze_spectrum(spectrum, logits, step, _known(corrections), network=network, rhythm=rhythm)


def _known(corrections: Sequence[Correction]) -> Known:
    return Known(
        downbeats=tuple(fact.time for fact in corrections if isinstance(fact, DownbeatCorrection)),
        tempi=tuple((fact.bpm, fact.from_, fact.to) for fact in corrections if isinstance(fact, TempoCorrection)),
        signatures=tuple((fact.value, fact.from_) for fact in corrections if isinstance(fact, TimeSignatureCorrection)),
        bar_one=next((fact.time for fact in corrections if isinstance(fact, BarOneCorrection)), None),
        form=next((read_form(fact.text).parts for fact in corrections if isinstance(fact, FormCorrection)), ()),
        starts=next((fact.starts for fact in corrections if isinstance(fact, FormCorrection)), ()),
    )


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
    chosen = _Chosen(_profile(profile), _rig(rig), Window(start, end))
    heard = open_recording(recording)
    analysis = _listened(heard, chosen.window, (), step)
    return _drafted(heard, analysis, chosen, Path(document) if document else document_path(heard.path), step)


def kit_for(
    recording: str | Path,
    *,
    profile: str | Path | Profile | None = None,
    rig: str | Path | Rig | None = None,
    start: float = 0.0,
    end: float | None = None,
    step: Step | None = None,
) -> Kit:
    """Listen to music without a fixed form and put together looks and rules for its tempo.

    Parameters
    ----------
    recording : str or Path
        Any recording of such music, or a document, whose analysis, style and rig are taken then.
    profile, rig, start, end, step : optional
        As for `suggest`.

    Raises
    ------
    RecordingError, DocumentError, ProfileError
        If something cannot be read.
    """
    if str(recording).endswith(DOCUMENT_SUFFIX):
        song = Song.load(recording)
        return kit(song.analysis, _profile(profile, song), _rig(rig, song))
    style, there = _profile(profile), _rig(rig)
    return kit(_listened(open_recording(recording), Window(start, end), (), step), style, there)


@dataclass(frozen=True, slots=True)
class _Chosen:
    """With what a song is drafted."""

    profile: Profile
    rig: Rig
    window: Window


def _profile(profile: str | Path | Profile | None, earlier: Song | None = None) -> Profile:
    if isinstance(profile, Profile):
        return profile
    if profile is None and earlier is not None:
        return profile_from_values(earlier.profile.values)
    return load_profile("band" if profile is None else profile)


def _rig(rig: str | Path | Rig | None, earlier: Song | None = None) -> Rig:
    if isinstance(rig, Rig):
        return rig
    if rig is None and earlier is not None:
        return rig_from_values(earlier.rig.values)
    return load_rig(rig)


def _chosen(
    profile: str | Path | Profile | None,
    rig: str | Path | Rig | None,
    start: float | None,
    end: float | None,
    earlier: Song,
) -> _Chosen:
    """Take what is not given from the document that is there."""
    window = Window(start or 0.0, end)
    if start is None and end is None:
        stored = earlier.recording.window
        whole = stored.end >= earlier.recording.duration - 1e-3
        window = Window(stored.start, None if whole else stored.end)
    return _Chosen(_profile(profile, earlier), _rig(rig, earlier), window)


def _drafted(
    heard: Recording,
    analysis: SongAnalysis,
    chosen: _Chosen,
    document: Path,
    step: Step | None,
    decisions: dict[str, Pin] | None = None,
) -> Song:
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


def _versions(profile: Profile) -> Versions:
    return Versions(program=__version__, features=FEATURE_VERSION, weights=weights_digest(), profile=profile.name)


def suggest_again(
    earlier: Song,
    recording: str | Path,
    *,
    profile: str | Path | Profile | None = None,
    rig: str | Path | Rig | None = None,
    start: float | None = None,
    end: float | None = None,
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
    profile, rig, start, end : optional
        As for `suggest`; what is left out stays as it is in the document.
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
    chosen = _chosen(profile, rig, start, end, earlier)
    heard = open_recording(recording)
    # Facts are about times in the sound that they were stated for; the form is that of the song.
    same = heard.sha256 == earlier.recording.sha256
    holds = [fact for fact in earlier.corrections if same or isinstance(fact, FormCorrection)]
    analysis = _listened(heard, chosen.window, holds, step)
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
    where = Path(document) if document else document_path(heard.path)
    fresh = _drafted(heard, analysis, chosen, where, step, pins(earlier, analysis, match))
    notes += [*_changed_settings(earlier, fresh), *lost]
    return _with_clashes(*merged(earlier, fresh, match, notes))


def settled(before: Song, after: Song, document: str | Path, step: Step | None = None) -> tuple[Song, Rerun | None]:
    """Hear a song anew if an edit states something about its music; draft it anew around another vamp or category.

    Parameters
    ----------
    before, after : Song
        Around the edit, or several.
    document : str or Path
        Where the song lies, to find its recording; that is listened to only if nothing was kept of it.
    step : callable, optional
        Told the name of each step.

    Returns
    -------
    Song
        `after` itself if nothing of the kind was changed.
    Rerun or None

    Raises
    ------
    DocumentError, RecordingChangedError
        If the recording is not there, or is another one by now.
    """
    if before.corrections == after.corrections:
        return redrafted(after) if _decided_of_sections(before) != _decided_of_sections(after) else (after, None)
    heard = open_recording(_source(Path(document), after))
    if heard.sha256 != after.recording.sha256:
        raise RecordingChangedError(
            f"{heard.path} is not the file that the document was made from, so nothing can be stated about its times. "
            f"Run suggest on {document} first."
        )
    chosen = _chosen(None, None, None, None, after)
    analysis = _listened(heard, chosen.window, after.corrections, step)
    keeps = {entry.edit.keeps for entry in _new_entries(before, after) if isinstance(entry.edit, SetCorrections)}
    match = Match("bars" if keeps == {"bars"} else "seconds")
    analysis, lost = carried(after, analysis, Match("same"), _earlier(before, after))
    fresh = _drafted(heard, analysis, chosen, Path(document), step, pins(after, analysis, match))
    return _with_clashes(*merged(after, fresh, match, lost, revision=after.revision))


def _decided_of_sections(song: Song) -> tuple[dict[str, str], dict[str, str]]:
    """Return what the designer has decided of whole sections: which go round, and how much light they get."""
    vamps = {section.id: section.vamp for section in song.analysis.sections if section.vamp}
    return vamps, {planned.section: planned.decided for planned in song.plan if planned.decided}


def _earlier(before: Song, after: Song) -> Hearing:
    """Return the hearing whose ids and names hold on after an edit: the last, or the one before what was undone."""
    for edit in (entry.inverse for entry in before.history if entry not in after.history):
        if isinstance(edit, SetCorrections) and edit.sections and edit.corrections == after.corrections:
            return Hearing(edit.sections, edit.corrections)
    return Hearing(after.analysis.sections, before.corrections)


def _with_clashes(song: Song, rerun: Rerun) -> tuple[Song, Rerun]:
    """Tell also what cannot be played of decisions and draft together."""
    clashes = tuple(f"This does not go together now: {problem}" for problem in conflicts(song))
    return song, replace(rerun, lines=(*rerun.lines, *clashes))


def _new_entries(before: Song, after: Song) -> list[HistoryEntry]:
    """Return the changes between two songs: made, made again, or taken back."""
    same = 0
    while same < min(len(before.history), len(after.history)) and before.history[same] == after.history[same]:
        same += 1
    return [*before.history[same:], *after.history[same:]]


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


def conflicts(song: Song) -> tuple[str, ...]:
    """Say what cannot be played of the cues as they stand, rejected ones left out; nothing if all can."""
    live = [cue for cue in song.cues if cue.status != "rejected"]
    profile, rig = profile_from_values(song.profile.values), rig_from_values(song.rig.values)
    grid = Grid(song.analysis)
    return (
        *check_playable(live, rig, song.looks, grid),
        *check_hands(live, profile, rig, grid),
        *check_flashes(live, song.looks, rig, grid),
    )


def freeze_numbers(song: Song, document: str | Path) -> None:
    """Note in the document that its list has left it: its cue numbers stay from now on.

    Raises
    ------
    DocumentError
        If the document cannot be written, or was changed meanwhile.
    """
    if not song.numbers_frozen:
        song.replaced(numbers_frozen=True, revision=song.revision + 1).save(document)


def note_print(song: Song, document: str | Path, date: str) -> None:
    """Keep in the document what is on paper now, so that the next print marks what is not as it was.

    Parameters
    ----------
    song : Song
    document : str or Path
    date : str
        As 2031-05-04.

    Raises
    ------
    DocumentError
        If the document cannot be written, or was changed meanwhile.
    """
    printed = printed_now(song, date)
    if song.printed is None or printed.edition != song.printed.edition:
        song.replaced(numbers_frozen=True, printed=printed, revision=song.revision + 1).save(document)


@dataclass(frozen=True, slots=True)
class Drafted:
    """A song that was drafted and saved."""

    song: Song
    path: Path
    rerun: Rerun | None
    """What became of the document that was there; None if there was none."""


def draft_file(
    recording: str | Path,
    *,
    document: str | Path | None = None,
    profile: str | Path | Profile | None = None,
    rig: str | Path | Rig | None = None,
    start: float | None = None,
    end: float | None = None,
    carry_over: bool = False,
    step: Step | None = None,
) -> Drafted:
    """Draft a song and save it; decisions in the document that is there are kept.

    Parameters
    ----------
    recording : str or Path
        A recording, or a document, which is run again from its recording.
    document : str or Path, optional
        Where to save; beside the recording if left out.
    profile, rig, start, end, carry_over, step
        As for `suggest_again`.

    Raises
    ------
    CuesuggestError
        As `suggest` and `suggest_again` do, and if the document cannot be opened or written.
    """
    target = Path(document) if document else document_path(recording)
    earlier = Song.load(target) if os.path.exists(target) else None
    source = _source(Path(recording), earlier)
    if earlier is None:
        style = "band" if profile is None else profile
        song = suggest(source, profile=style, rig=rig, start=start or 0.0, end=end, document=target, step=step)
        rerun = None
    else:
        song, rerun = suggest_again(
            earlier,
            source,
            profile=profile,
            rig=rig,
            start=start,
            end=end,
            document=target,
            carry_over=carry_over,
            step=step,
        )
    song.save(target)
    return Drafted(song, target, rerun)


def _source(recording: Path, document: Song | None) -> Path:
    """Return the audio file: itself, or the one that a document is about."""
    if not recording.name.endswith(DOCUMENT_SUFFIX):
        return recording
    song = document if document is not None else Song.load(recording)
    source = recording.parent / song.recording.path
    if not source.exists():
        raise DocumentError(
            f"{recording} is about the recording {song.recording.path}, which is not there. Put it back, or name the "
            "recording and give the document with -o."
        )
    return source


def is_current(
    recording: str | Path,
    *,
    document: str | Path | None = None,
    profile: str | Path | Profile | None = None,
    rig: str | Path | Rig | None = None,
    start: float | None = None,
    end: float | None = None,
) -> bool:
    """Whether a document is there that this program would make the same again; nothing is listened to.

    Raises
    ------
    CuesuggestError
        If a document is there that cannot be read, or the recording cannot.
    """
    target = Path(document) if document else document_path(recording)
    if not os.path.exists(target):
        return False
    song = Song.load(target)
    chosen = _chosen(profile, rig, start, end, song)
    heard = open_recording(_source(Path(recording), song))
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
