"""The live page for a browser, and from there on paper (HTML, one file)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuesuggest.export.common.options import Options
from cuesuggest.export.paper.html_parts import FACES, document, foot, said
from cuesuggest.export.paper.live import Act, Block, BlockRow, LivePage
from cuesuggest.export.paper.page_pdf import fitting

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["html"]

_STYLE = f"""
body {{ font: 14pt/1.16 {FACES}; color: #000; background: #fff; margin: 1em auto; max-width: 186mm; padding: 0 6px; }}
h1 {{ font-size: 20pt; margin: 0; overflow-wrap: anywhere; }}
p {{ margin: 0; }}
.about {{ font-size: 11pt; }}
ol.order {{ list-style: none; display: flex; flex-wrap: wrap; gap: 4px; padding: 0; margin: 6px 0; }}
ol.order li {{ text-align: center; font-size: 8pt; }}
ol.order b {{ display: block; font-size: 14pt; border: 0.6pt solid #000; padding: 0 6px; }}
ol.order .safe b {{ border-width: 2pt; }}
.safety {{ display: flex; gap: 14pt; margin: 0 0 6px; }}
.safety p {{ flex: 1; border: 1.6pt solid #000; padding: 2px 6px; font-size: 12pt; overflow-wrap: anywhere; }}
.safety b {{ font-size: 14pt; margin-right: 8px; }}
.blocks {{ columns: 2; column-gap: 14pt; }}
.blocks.short {{ columns: 1; padding-right: 46mm; }}
section {{ border-top: 0.6pt solid #000; padding-top: 3px; margin-bottom: 5px; break-inside: avoid; }}
.split section {{ break-inside: auto; }}
h2 {{ font-size: 14pt; margin: 0 0 2px; overflow-wrap: anywhere; }}
h2 .letter {{ background: #000; color: #fff; font-size: 18pt; padding: 0 5px; margin-right: 6px;
  print-color-adjust: exact; -webkit-print-color-adjust: exact; }}
h2 .sign {{ font-size: 11pt; font-weight: normal; }}
h3 {{ font-size: 14pt; margin: 0; }}
.light {{ padding-left: 10px; overflow-wrap: anywhere; }}
table {{ border-collapse: collapse; width: 100%; }}
td {{ vertical-align: top; padding: 0 4px 0 0; overflow-wrap: anywhere; }}
td.where {{ width: 5.2em; padding-left: 10px; }}
.short td.where {{ width: 7.4em; }}
td.number {{ width: 2em; font-size: 9pt; text-align: right; }}
td.act {{ font-weight: bold; }}
tr.other td {{ color: #737373; font-weight: normal; }}
dl {{ display: grid; grid-template-columns: max-content 1fr max-content 1fr; gap: 2px 10px; font-size: 10pt;
  border-top: 0.6pt solid #000; padding-top: 4px; margin: 6px 0; }}
dt {{ font-weight: bold; }}
dd {{ margin: 0; }}
.remark {{ font-size: 10pt; }}
footer {{ font-size: 6.5pt; }}
@media print {{ body {{ margin: 0; max-width: none; padding: 0; }} }}
@media (max-width: 560px) {{ .blocks, .blocks.short {{ columns: 1; padding-right: 0; }}
  dl {{ grid-template-columns: max-content 1fr; }} }}
"""


def html(song: Song, options: Options) -> bytes:
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
    page, columns, split = fitting(song, options)
    kind = "blocks" + " short" * (columns == 1) + " split" * split
    body = [
        f"<h1>{said(page.title)}</h1>",
        f'<p class="about">{said(page.about)}</p>',
        _order(page),
        f'<div class="safety"><p><b>HOME</b>{said(page.home)}</p><p><b>ALL OUT</b>{said(page.all_out)}</p></div>',
        _acts(tuple(act for act in page.before if act.where != "after")),
        f'<div class="{kind}">',
        *map(_block, page.blocks),
        _acts(tuple(act for act in page.before if act.where == "after")),
        "</div>",
        "<dl>" + "".join(f"<dt>{said(when)}</dt><dd>{said(what)}</dd>" for when, what in page.rules) + "</dl>",
        *(f'<p class="remark">{said(remark)}</p>' for remark in page.remarks),
        foot(song, options),
    ]
    return document(song, options, _STYLE, "\n".join(part for part in body if part))


def _order(page: LivePage) -> str:
    steps = [
        f"<li{' class=safe' if step.safe else ''}><b>{said(step.label)}</b>{step.bars}{' IN' if step.safe else ''}</li>"
        for step in page.order
    ]
    return f'<ol class="order">{"".join(steps)}</ol>' if steps else ""


def _block(block: Block) -> str:
    head = f'<h2><span class="letter">{said(block.letter)}</span>{said(block.name)} '
    head += f'<span class="sign">{said(block.sign)}</span></h2>'
    return f"<section>{head}{''.join(map(_row_html, block.rows))}</section>"


def _row_html(row: BlockRow) -> str:
    head = f"<h3>{said(row.tag)}: {said(row.bars)}</h3>"
    return f'{head}<p class="light">light: {said(row.light)}</p>{_acts(row.acts)}'


def _acts(acts: tuple[Act, ...]) -> str:
    if not acts:
        return ""
    rows = [
        f"<tr{'' if act.line.mine else ' class=other'}>"
        f'<td class="where">{said(act.where)}</td><td class="act">{said(act.text)}</td>'
        f'<td class="number">{act.line.cue.number:g}{"*" if act.line.changed else ""}</td></tr>'
        for act in acts
    ]
    return f"<table>{''.join(rows)}</table>"
