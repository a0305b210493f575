"""Live page and list for a browser, and from there on paper (HTML)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuesuggest.export.common.options import Options
from cuesuggest.export.paper.lines import nothing_to_do
from cuesuggest.export.paper.list_pdf import remarks
from cuesuggest.export.paper.list_table import columns, table
from cuesuggest.export.paper.page_pdf import fitting
from cuesuggest.export.paper.templates import filled

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["list_html", "page_html"]


def page_html(song: Song, options: Options) -> bytes:
    """Write a song's live page for a browser.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        UTF-8.
    """
    # As on the other paper, so that both say the same.
    page, columns, breaks = fitting(song, options)
    return filled("page", song, options, page=page, columns=columns, split=breaks != "between blocks")


def list_html(song: Song, options: Options) -> bytes:
    """Write a song's list for a browser.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    bytes
        UTF-8.
    """
    rows, said = table(song, options), list(remarks(song, options))
    nothing = nothing_to_do(song, options)
    return filled("list", song, options, rows=rows, remarks=said, nothing=nothing, columns=columns(options))
