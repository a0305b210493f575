"""A part of a recording as a file of its own that loses nothing: FLAC where that holds such samples, else WAV."""

from __future__ import annotations

import io

from cuesuggest.errors import RecordingError
from cuesuggest.sound.recording import Recording, Window

__all__ = ["copied_part", "copy_suffix"]

_FLAC_CHANNELS, _FLAC_RATE = 8, 655_350  # at most; RFC 9639
_MOST_WAV_BYTES = 2**32 - 2**16  # a RIFF file counts its length in 32 bits


def copy_suffix(recording: Recording) -> str:
    """Return how the file of a part will end.

    Raises
    ------
    RecordingError
        If the recording cannot be read any more.
    """
    return ".flac" if _flac_subtype(recording) else ".wav"


def copied_part(recording: Recording, window: Window) -> bytes:
    """Copy the samples of a part: whole numbers as they are, all else as the 32-bit numbers that the decoder gives.

    Parameters
    ----------
    recording : Recording
    window : Window

    Returns
    -------
    bytes
        A FLAC or WAV file.

    Raises
    ------
    RecordingError
        If it cannot be read any more, or the part is too long for a WAV file.
    """
    import numpy as np
    import soundfile

    subtype, rate = _flac_subtype(recording), recording.sample_rate
    first = round(window.start * rate)
    stream = io.BytesIO()
    if subtype is None:
        blocks = list(recording.blocks(window))
        if sum(block.nbytes for block in blocks) > _MOST_WAV_BYTES:
            raise RecordingError(f"A part of {recording.path} is too long for a WAV file. Make it shorter.")
        samples = np.concatenate(blocks) if blocks else np.zeros((0, recording.channels), np.float32)
        soundfile.write(stream, samples, rate, format="WAV", subtype="FLOAT")
        return stream.getvalue()
    with soundfile.SoundFile(recording.path) as file:
        last = file.frames if window.end is None else min(round(window.end * rate), file.frames)
        file.seek(min(first, last))
        kind = "int16" if subtype == "PCM_16" else "int32"
        soundfile.write(stream, file.read(last - min(first, last), dtype=kind), rate, format="FLAC", subtype=subtype)
    return stream.getvalue()


def _flac_subtype(recording: Recording) -> str | None:
    """Return what FLAC calls such samples; None for what it cannot hold: fractions, 32 bits, many channels."""
    import soundfile

    if recording.decoder != "soundfile" or recording.channels > _FLAC_CHANNELS or recording.sample_rate > _FLAC_RATE:
        return None
    try:
        with soundfile.SoundFile(recording.path) as file:
            return {"PCM_U8": "PCM_16", "PCM_S8": "PCM_16", "PCM_16": "PCM_16", "PCM_24": "PCM_24"}.get(file.subtype)
    except soundfile.LibsndfileError:
        raise RecordingError(f"{recording.path} cannot be read any more. Copy it again, then try again.") from None
