"""Two takes of a song as a picture: two charts under each other, on paper, as a drawing or as points."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cuesuggest.export.chart.two_rows import lay_out_two
from cuesuggest.export.common.options import CAUTION, About, Options
from cuesuggest.export.paper.chart_pdf import pictured, printed
from cuesuggest.export.paper.chart_svg import WIDTH, drawn_chart

if TYPE_CHECKING:
    from cuesuggest.score.side_by_side import TwoTakes

__all__ = ["ENDINGS", "two_charts"]

ENDINGS = (".svg", ".pdf", ".png")


def two_charts(two: TwoTakes, ending: str, options: Options) -> bytes:
    """Draw two takes under each other.

    Parameters
    ----------
    two : TwoTakes
        With columns.
    ending : str
        One of `ENDINGS`.
    options : Options

    Returns
    -------
    bytes
        The content of the file.
    """
    said = About(
        f"{two.first.name} and {two.second.name}",
        f"{two.first.sha256[:12]} and {two.second.sha256[:12]}",
        " ".join(part for part in (options.date, f"cuesuggest {options.program}") if part),
        "times are those of each recording",
        CAUTION,
    )
    if ending == ".svg":
        return drawn_chart(lay_out_two(two, WIDTH), said)
    paper = printed(
        said, f"{said.title} {two}", options, lambda width, height: lay_out_two(two, width, height), landscape=False
    )
    return pictured(paper) if ending == ".png" else paper
