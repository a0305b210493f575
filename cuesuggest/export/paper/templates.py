"""Templates of pages for a browser, in pages/: one file each, nothing fetched, every text escaped."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from cuesuggest.export.common.escape import one_line
from cuesuggest.export.common.options import Options, about
from cuesuggest.export.paper import FACES

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["filled"]

_PAPER = {"a4": "A4", "letter": "letter"}


def filled(name: str, song: Song, options: Options, **parts: object) -> bytes:
    """Fill the template of a page.

    Parameters
    ----------
    name : str
        Of the file in pages/.
    song : Song
        Its title names the page, unless `parts` has another.
    options : Options
    **parts : object
        What the template speaks of; texts are escaped but for `Markup`.

    Returns
    -------
    bytes
        UTF-8.
    """
    told = {"title": one_line(song.title), "paper": _PAPER[options.paper], "about": about(song, options).lines()}
    return _templates().get_template(f"{name}.html").render({**told, **parts}).encode()


@cache
def _templates() -> Environment:
    loader = PackageLoader("cuesuggest.export.paper", "pages")
    found = Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    found.filters["said"] = _said_apart
    found.globals["faces"] = Markup(FACES)
    found.policies["json.dumps_kwargs"] = {"allow_nan": False}
    return found


def _said_apart(text: str) -> Markup:
    """Set a line apart, so that right-to-left words do not turn what stands around them."""
    return Markup("<bdi>{}</bdi>").format(one_line(text))
