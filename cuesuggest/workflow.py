"""The way through the program: recording, analysis, rules, document. The command line and Python call the same two."""

from __future__ import annotations

from pathlib import Path

from cuesuggest import __version__
from cuesuggest.analysis.listen import Step, analyze_recording
from cuesuggest.analysis.spectrum import FEATURE_VERSION
from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.recording import Recording, Window, open_recording
from cuesuggest.rules import Profile, Rig, draft, load_profile, load_rig
from cuesuggest.song import RecordingFile, Settings, Song, SongWindow, Versions, path_from

__all__ = ["analyze", "document_path", "suggest"]

SUFFIX = ".cues.json"


def document_path(recording: str | Path) -> Path:
    """Where a recording's song document lies unless told otherwise: beside it, as NAME.cues.json."""
    path = Path(recording)
    return path.with_name(path.stem + SUFFIX)


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
    return analyze_recording(open_recording(recording), Window(start, end), step)


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
    style = profile if isinstance(profile, Profile) else load_profile(profile)
    stage = rig if isinstance(rig, Rig) else load_rig(rig)
    heard = open_recording(recording)
    analysis = analyze_recording(heard, Window(start, end), step)
    if step:
        step("cues", None)
    drafted = draft(analysis, style, stage)
    return Song(
        title=heard.path.stem,
        recording=RecordingFile(
            path=path_from(Path(document) if document else document_path(heard.path), heard.path),
            sha256=heard.sha256,
            decoder=heard.decoder,
            sample_rate=heard.sample_rate,
            channels=heard.channels,
            duration=_duration(heard, analysis, end),
            window=SongWindow(start=start, end=analysis.duration),
        ),
        versions=Versions(program=__version__, features=FEATURE_VERSION, weights=None, profile=style.name),
        profile=Settings(name=style.name, values=style.values()),
        rig=Settings(name=stage.name, values=stage.values()),
        analysis=analysis,
        looks=drafted.looks,
        plan=drafted.plan,
        cues=drafted.cues,
        questions=drafted.questions,
        cautions=drafted.cautions,
    )
