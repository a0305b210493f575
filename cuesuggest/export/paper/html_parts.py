"""What the pages for a browser have in common: one file, nothing fetched, every text escaped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuesuggest.export.common.escape import html_text, one_line
from cuesuggest.export.common.options import Options, about

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["FACES", "document", "foot", "said"]

FACES = "'DejaVu Sans Condensed','DejaVu Sans','Liberation Sans',Arial,Helvetica,sans-serif"
# Nothing may be fetched or sent, even if some text slipped through unescaped.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:"
_PAPER = {"a4": "A4", "letter": "letter"}


def said(text: str) -> str:
    """Write a text on one line for HTML, set apart so that right-to-left words do not turn what stands around them."""
    return f"<bdi>{html_text(one_line(text))}</bdi>"


def document(
    song: Song, options: Options, style: str, body: str, *, landscape: bool = False, script: str = ""
) -> bytes:
    """Put a whole page together.

    Parameters
    ----------
    song : Song
        Its title names the page.
    options : Options
    style : str
        CSS.
    body : str
        HTML, its texts escaped.
    landscape : bool
        How it is printed.
    script : str
        JavaScript without "</".

    Returns
    -------
    bytes
        UTF-8.
    """
    way = " landscape" if landscape else ""
    code = f"<script>\n{script}\n</script>\n" if script else ""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{html_text(one_line(song.title))}</title>\n"
        f"<style>\n@page {{ size: {_PAPER[options.paper]}{way}; margin: 12mm; }}\n{style}\n</style>\n</head>\n"
        f"<body>\n{body}\n{code}</body>\n</html>\n"
    ).encode()


def foot(song: Song, options: Options) -> str:
    """Say which song, take, date and version a page is of, and the caution."""
    title, *rest = about(song, options).lines()
    return f"<footer>{'; '.join(map(said, (title, *rest[:-1])))}<br>{said(rest[-1])}</footer>"
