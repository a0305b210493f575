"""Where things are kept that are no documents, each safe to delete: what was heard, and last states.

Nowhere, if the user has no home folder.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

__all__ = ["cache_folder", "states_folder"]


def cache_folder() -> Path | None:
    """Return where is kept what was heard; None if nothing is.

    It is the user's cache folder, or the one that the environment variable CUESUGGEST_CACHE names; set but empty,
    nothing is kept.
    """
    from platformdirs import user_cache_path

    chosen = os.environ.get("CUESUGGEST_CACHE")
    if chosen is not None:
        return Path(chosen) if chosen else None
    return _of_user(user_cache_path)


def states_folder() -> Path | None:
    """Return where the last states of documents are kept; None if they are not."""
    from platformdirs import user_state_path

    folder = _of_user(user_state_path)
    return folder and folder / "states"


def _of_user(path: Callable[[str], Path]) -> Path | None:
    try:
        folder = path("cuesuggest")
    except RuntimeError:  # no home folder
        return None
    # Older versions of the library then give a path that begins with "~", and would make a folder of that name here.
    return folder if folder.is_absolute() else None
