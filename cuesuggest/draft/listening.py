"""From a recording to what is heard in it, under what the user states; what was heard before is remembered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cuesuggest.analysis.listen import Step, analyze_spectrum
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.rhythm.known import Known
from cuesuggest.analysis.rhythm.network import weights_digest
from cuesuggest.analysis.spectrum import Spectrum, hear
from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.draft.cache import cached, keep
from cuesuggest.score.form_text import read_form
from cuesuggest.song import (
    BarOneCorrection,
    Correction,
    DownbeatCorrection,
    FormCorrection,
    TempoCorrection,
    TimeSignatureCorrection,
)
from cuesuggest.sound.recording import Recording, Window, open_recording

if TYPE_CHECKING:
    import numpy as np

    from cuesuggest.analysis.rhythm import Rhythm
    from cuesuggest.analysis.takes.take import HeardTake

__all__ = ["Framed", "analyze", "framed", "known_of", "listened", "remembered", "weights_digest"]


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
    return listened(open_recording(recording), Window(start, end), (), step)


def listened(heard: Recording, window: Window, corrections: Sequence[Correction], step: Step | None) -> SongAnalysis:
    """Hear a recording, or remember it, and find beats, form and moments under what the user states."""
    return framed(heard, window, step).analysis(corrections, step)


@dataclass(frozen=True, slots=True)
class Framed:
    """A part of a recording as frames, from which everything that is heard follows."""

    spectrum: Spectrum
    logits: np.ndarray
    network: str
    rhythm: Rhythm | None
    """What was read of beats and bars already, with nothing stated; None where the frames were remembered."""

    def analysis(self, corrections: Sequence[Correction], step: Step | None = None) -> SongAnalysis:
        """Find beats, form and moments under what the user states."""
        known = known_of(corrections, Window(self.spectrum.start, self.spectrum.end))
        return analyze_spectrum(self.spectrum, self.logits, step, known, network=self.network, rhythm=self.rhythm)

    def take(self, analysis: SongAnalysis) -> HeardTake:
        """Return them with beats and form as they are told, to be compared with another take."""
        from cuesuggest.analysis.takes.take import HeardTake  # nobody else who listens needs it

        return HeardTake(self.spectrum, self.logits, analysis)


def remembered(sha256: str, window: Window) -> Framed | None:
    """Return what was heard before of a part of a recording; None if it was not kept."""
    kept = cached(sha256, window)
    return Framed(*kept, rhythm=None) if kept is not None else None


def framed(heard: Recording, window: Window, step: Step | None) -> Framed:
    """Hear a part of a recording, or remember it."""
    before = remembered(heard.sha256, window)
    if before is not None:
        return before
    if step:
        step("listening", 0.0)
    spectrum = hear(heard, window, (lambda seconds: step("listening", seconds)) if step else None)
    if step:
        step("beats and bars", None)
    logits, rhythm = believed(spectrum)
    keep(heard.sha256, window, spectrum, logits, rhythm.evidence.network)
    return Framed(spectrum, logits, rhythm.evidence.network, rhythm)


def known_of(corrections: Sequence[Correction], window: Window | None = None) -> Known:
    """Return what is stated of the music, in the terms of the analysis; of a window, what is stated inside it.

    A fact about what is no longer the song is kept in the document and says nothing here.
    """
    window = window or Window()

    def inside(time: float) -> bool:
        return window.start <= time and (window.end is None or time < window.end)

    return Known(
        downbeats=tuple(
            fact.time for fact in corrections if isinstance(fact, DownbeatCorrection) and inside(fact.time)
        ),
        tempi=tuple((fact.bpm, fact.from_, fact.to) for fact in corrections if isinstance(fact, TempoCorrection)),
        signatures=tuple((fact.value, fact.from_) for fact in corrections if isinstance(fact, TimeSignatureCorrection)),
        bar_one=next(
            (fact.time for fact in corrections if isinstance(fact, BarOneCorrection) and inside(fact.time)), None
        ),
        form=next((read_form(fact.text).parts for fact in corrections if isinstance(fact, FormCorrection)), ()),
        starts=next((fact.starts for fact in corrections if isinstance(fact, FormCorrection)), ()),
    )
