"""The file that the browser is opened with: it leads to the page, and nobody else on the machine can read it.

A program's command line is seen by every user of the machine. So the browser is given the path of a file, and the
address with its token stands in there.
"""

from __future__ import annotations

import html
import os
import shutil
import tempfile
from pathlib import Path

__all__ = ["Launch"]

_FILE = "open.html"
_PAGE = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="color-scheme" content="light dark">
<meta name="referrer" content="no-referrer">
<meta http-equiv="refresh" content="0; url={address}">
<title>cuesuggest</title>
<p><a href="{address}">Open the page</a></p>
</html>
"""
_SNAPS = Path("/snap")


class Launch:
    """A file in a folder of its own, for its owner alone; both are gone once it was used."""

    def __init__(self) -> None:
        """Make the folder.

        Raises
        ------
        OSError, RuntimeError
            If there is no place for it; no home folder, where it has to be there.
        """
        # A browser that comes as a snap has another folder for temporary files, and sees no hidden ones.
        folder = Path.home() if _SNAPS.is_dir() else None
        self.path = Path(tempfile.mkdtemp(prefix="cuesuggest-", dir=folder)) / _FILE

    def lead_to(self, address: str) -> None:
        """Write the file.

        Parameters
        ----------
        address : str
            Of the page.

        Raises
        ------
        OSError
            If it cannot be written.
        """
        handle = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with open(handle, "w", encoding="utf-8") as file:
            file.write(_PAGE.format(address=html.escape(address)))

    def remove(self) -> None:
        """Remove file and folder, if they are still there."""
        shutil.rmtree(self.path.parent, ignore_errors=True)
