"""The full list for a browser, and from there on paper (HTML, one file)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuesuggest.export.common.options import Options
from cuesuggest.export.paper.html_parts import FACES, document, foot, said
from cuesuggest.export.paper.list_pdf import SHARES, remarks
from cuesuggest.export.paper.list_table import COLUMNS, TableRow, table

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["html"]

_STYLE = f"""
body {{ font: 8.5pt/1.2 {FACES}; color: #000; background: #fff; margin: 1em; }}
h1 {{ font-size: 16pt; margin: 0 0 4px; overflow-wrap: anywhere; }}
p {{ margin: 0; font-size: 9pt; }}
table {{ border-collapse: collapse; width: 100%; table-layout: fixed; }}
thead {{ display: table-header-group; }}
th {{ text-align: left; border-bottom: 1pt solid #000; font-size: 8pt; vertical-align: bottom; }}
th, td {{ padding: 2px 6px 2px 0; }}
td {{ vertical-align: top; overflow-wrap: anywhere; }}
tr {{ break-inside: avoid; }}
tr.opens td {{ border-top: 0.5pt solid #000; }}
tr.group td:nth-child(2) {{ border-left: 1.2pt solid #000; padding-left: 4px; }}
tr.changed td:first-child {{ border-left: 2.2pt solid #000; padding-left: 3px; }}
td:first-child {{ font-weight: bold; }}
tr.other td {{ color: #737373; }}
footer {{ font-size: 6.5pt; margin-top: 8px; }}
@media print {{ body {{ margin: 0; }} }}
"""


def html(song: Song, options: Options) -> bytes:
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
    head = "".join(f'<th scope="col">{name}</th>' for name in COLUMNS)
    widths = "".join(f'<col style="width: {share / sum(SHARES):.1%}">' for share in SHARES)
    body = [
        f"<h1>{said(song.title)}</h1>",
        *(f"<p>{said(remark)}</p>" for remark in remarks(song, options)),
        f"<table><colgroup>{widths}</colgroup><thead><tr>{head}</tr></thead><tbody>",
        *map(_row, table(song, options)),
        "</tbody></table>",
        foot(song, options),
    ]
    return document(song, options, _STYLE, "\n".join(body), landscape=True)


def _row(row: TableRow) -> str:
    kinds = {
        "opens": row.opens_section,
        "group": bool(row.cells[1]),
        "changed": row.line.changed,
        "other": not row.line.mine,
    }
    names = " ".join(name for name, given in kinds.items() if given)
    cells = "".join(f"<td>{said(cell)}</td>" for cell in row.cells)
    return f'<tr class="{names}">{cells}</tr>'
