"""The tables of a night's songs as one: comma-separated values as RFC 4180 has them, the song in front of each line."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from cuesuggest.export.common.escape import csv_cell

__all__ = ["one_table"]


def one_table(tables: Iterable[tuple[int, str, bytes]]) -> bytes:
    """Put the tables of songs into one.

    Parameters
    ----------
    tables : iterable of (int, str, bytes)
        Of each song its number in the night, its title, and its table as the export writes it.

    Returns
    -------
    bytes
        UTF-8; the header once, then the lines of all songs in order.
    """
    text = io.StringIO(newline="")
    written = csv.writer(text, lineterminator="\r\n", quoting=csv.QUOTE_MINIMAL)
    for index, (number, title, table) in enumerate(tables):
        header, *lines = csv.reader(io.StringIO(table.decode("utf-8"), newline=""))
        if index == 0:
            written.writerow(["song", "title", *header])
        written.writerows([str(number), csv_cell(title), *line] for line in lines)
    return text.getvalue().encode("utf-8", "replace")
