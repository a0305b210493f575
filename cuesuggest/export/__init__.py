"""What leaves the program: one module per format, all in one registry.

A format reads a Song and nothing else; it knows neither audio nor rules.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import csv_table

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["FORMATS", "Format", "export"]


@dataclass(frozen=True, slots=True)
class Format:
    """One way to write a song for another program or for paper."""

    name: str
    extension: str
    """With its dot."""
    purpose: str
    """One line: what it is good for."""
    standard: str
    """The published text that it follows."""
    loses: str
    """What the document holds and this format does not."""
    write: Callable[[Song], bytes]


FORMATS: dict[str, Format] = {
    each.name: each
    for each in (
        Format(
            name="csv",
            extension=".csv",
            purpose="the cue list as a table, for spreadsheets and scripts",
            standard="RFC 4180",
            loses="the analysis, the looks' descriptions, the plan, questions, rejected cues and the history",
            write=csv_table.write,
        ),
    )
}


def export(song: Song, name: str) -> bytes:
    """Write a song in one of the `FORMATS`.

    Parameters
    ----------
    song : Song
        What to write.
    name : str
        Of the format, such as "csv".

    Returns
    -------
    bytes
        The content of the file.

    Raises
    ------
    CuesuggestError
        If there is no format of that name.
    """
    if name not in FORMATS:
        known = "; ".join(f"{each.name} ({each.purpose})" for each in FORMATS.values())
        raise CuesuggestError(f"There is no format {name!r} to export to. Choose one of these: {known}.")
    return FORMATS[name].write(song)
