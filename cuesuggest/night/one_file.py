"""A night as one file of a format: live pages with an overview, lists, a page for the tablet, tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from cuesuggest.export import Format, Options, write, write_several
from cuesuggest.night.one_table import one_table
from cuesuggest.score.night_records import NightPlan
from cuesuggest.song import Song

__all__ = ["one_file"]


def one_file(
    form: Format, ending: str, plan: NightPlan, songs: Sequence[tuple[Song, Options]]
) -> Callable[[], bytes] | None:
    """Return what makes the one file of a night in a format; None where each song has a file of its own.

    Parameters
    ----------
    form : Format
    ending : str
        One of those in `form.files`.
    plan : NightPlan
    songs : sequence of (Song, Options)
        As they are played in it, in order.
    """
    first = songs[0][1]
    match ending:
        case ".page.pdf":
            from cuesuggest.export.paper.night_pdf import pdf

            return partial(pdf, plan, songs, first)
        case ".list.pdf":
            from cuesuggest.export.paper.night_pdf import lists

            return partial(lists, plan, songs, first)
        case ".cues.xlsx":
            from cuesuggest.export.data.workbook import several

            return partial(several, plan.title, songs)
        case ".cues.csv":
            return lambda: one_table(
                (place.number, place.title, write(song, form, ending, options))
                for place, (song, options) in zip(plan.songs, songs, strict=True)
            )
    return partial(write_several, songs, form) if form.several else None
