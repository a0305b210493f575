"""The song as musicians write one down: a line per phrase, the light below it in the manner of notation.

`lay_out` gives the geometry; the page in the browser, the printed chart and pictures draw it. `as_json` is what
the browser gets; its keys are the fields of `cuesuggest.export.chart.geometry`.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from cuesuggest.export.chart.geometry import (
    Chart,
    ChartBar,
    ChartLine,
    Hairpin,
    KeyItem,
    LegendItem,
    LegendSign,
    Mark,
    MarkKind,
    Sustain,
    Words,
)
from cuesuggest.export.chart.glyphs import SIGNS, Stroke
from cuesuggest.export.chart.light_line import TEXT
from cuesuggest.export.chart.placing import BARS_PER_LINE, lay_out
from cuesuggest.export.chart.short_words import text_width

__all__ = [
    "BARS_PER_LINE",
    "SIGNS",
    "TEXT",
    "Chart",
    "ChartBar",
    "ChartLine",
    "Hairpin",
    "KeyItem",
    "LegendItem",
    "LegendSign",
    "Mark",
    "MarkKind",
    "Stroke",
    "Sustain",
    "Words",
    "as_json",
    "lay_out",
    "text_width",
]


def as_json(chart: Chart) -> dict[str, Any]:
    """Return a chart as plain dictionaries, lists and numbers, ready for `json.dumps`.

    Parameters
    ----------
    chart : Chart

    Returns
    -------
    dict
        Keys are the fields of the records, beside "format", "version" and the strokes of the "signs".
    """
    signs = {kind: [asdict(stroke) for stroke in strokes] for kind, strokes in SIGNS.items()}
    return {"format": "cuesuggest-chart", "version": 1, "signs": signs, **asdict(chart)}
