"""What was heard of a recording, kept from one run to the next: corrections are then answered at once.

Safe to delete at any time; documents are complete without it.
"""

from __future__ import annotations

import contextlib
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from cuesuggest.analysis.rhythm.network import weights_digest
from cuesuggest.analysis.spectrum import FEATURE_VERSION, Spectrum
from cuesuggest.draft.folders import cache_folder
from cuesuggest.song.atomic import replace_file

if TYPE_CHECKING:
    import numpy as np

    from cuesuggest.sound.recording import Window

__all__ = ["MOST_BYTES", "cached", "clear_cache", "keep", "kept_files"]

MOST_BYTES = 400_000_000  # in all: some 120 songs of four minutes
_MOST_OF_ONE = 60_000_000  # an hour and a quarter
_NAME = re.compile(r"[0-9a-f]{40}-\S+\.npz")  # as `_path` gives them, of this version or another
_ARRAYS = ("bands", "level", "chroma", "power")


def _path(folder: Path, sha256: str, window: Window) -> Path:
    end = "end" if window.end is None else f"{window.end:g}"
    return folder / f"{sha256[:40]}-{window.start:g}-{end}-{FEATURE_VERSION}-{weights_digest()}.npz"


def cached(sha256: str, window: Window) -> tuple[Spectrum, np.ndarray, str] | None:
    """Return what was heard before of a part of a recording, None if it is not there.

    Parameters
    ----------
    sha256 : str
        Digest of the file's bytes.
    window : Window

    Returns
    -------
    spectrum : Spectrum
    logits : ndarray, shape (7, frames)
        What the network made of it that is believed.
    network : str
        Its name.
    """
    import numpy as np

    folder = cache_folder()
    if folder is None:
        return None
    path = _path(folder, sha256, window)
    try:
        if not path.is_file() or path.stat().st_size > 2 * _MOST_OF_ONE:
            return None  # none of ours
        with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in _ARRAYS}
            start, end, step = (float(value) for value in kept["numbers"])
            logits, network = kept["logits"], str(kept["network"])
        path.touch()  # the longest unused go first
    except Exception:  # whatever is wrong with the file: it is listened to again, and replaced
        return None
    return Spectrum(start=start, end=end, power_step=step, **arrays), logits, network


def keep(sha256: str, window: Window, spectrum: Spectrum, logits: np.ndarray, network: str) -> None:
    """Keep what was heard; a folder that cannot be written to is no error.

    Parameters
    ----------
    sha256 : str
    window : Window
    spectrum : Spectrum
    logits : ndarray, shape (7, frames)
    network : str
        Whose logits they are.
    """
    import numpy as np

    folder = cache_folder()
    arrays = {name: getattr(spectrum, name) for name in _ARRAYS}
    if folder is None or sum(array.nbytes for array in arrays.values()) > _MOST_OF_ONE:
        return
    stream = io.BytesIO()
    numbers = np.array([spectrum.start, spectrum.end, spectrum.power_step])
    np.savez(stream, numbers=numbers, logits=logits, network=np.array(network), **arrays)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        replace_file(_path(folder, sha256, window), stream.getvalue())
        _shrink(folder)
    except OSError:
        return


def _shrink(folder: Path) -> None:
    """Remove the longest unused files until the rest is small enough."""
    files = sorted(((path.stat(), path) for path in _ours(folder)), key=lambda each: -each[0].st_mtime_ns)
    total = 0
    for stat, path in files:
        total += stat.st_size
        if total > MOST_BYTES:
            path.unlink(missing_ok=True)


def _ours(folder: Path) -> Iterator[Path]:
    """Find the cache's files; in a folder that somebody chose, others may lie that no program can make again."""
    return (path for path in folder.glob("*.npz") if _NAME.fullmatch(path.name))


def kept_files(folder: Path) -> list[tuple[Path, int]]:
    """Return the cache's files, one for each part of a recording that was heard, and their bytes."""
    found = []
    for path in _ours(folder):
        with contextlib.suppress(OSError):  # gone by now
            found.append((path, path.stat().st_size))
    return found


def clear_cache(folder: Path) -> tuple[int, int]:
    """Remove the cache's files, and what a save that was killed has left there.

    Returns
    -------
    tuple of int
        How many recordings, and bytes, are gone.

    Raises
    ------
    OSError
        If one cannot be removed.
    """
    files = kept_files(folder)
    for path in (*(path for path, _ in files), *folder.glob(".cuesuggest-*.tmp")):
        path.unlink(missing_ok=True)
    return len(files), sum(size for _, size in files)
