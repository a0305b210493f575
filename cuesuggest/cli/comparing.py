"""The command `compare`: what differs between two takes of a song, in words and as two charts under each other."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from textwrap import fill
from typing import Any

import click

from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere, put_out, width
from cuesuggest.errors import CuesuggestError
from cuesuggest.gate_out import check_targets

__all__ = ["compare"]


@click.command()
@click.argument("first", metavar="TAKE_A", type=FILE)
@click.argument("second", metavar="TAKE_B", type=FILE)
@click.option("-o", "--output", type=FILE, metavar="OUT", help="Picture to write: OUT.svg, OUT.pdf or OUT.png.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True, help="Size of pages.")
@everywhere
@click.pass_obj
def compare(obj: dict[str, Any], first: Path, second: Path, output: Path | None, force: bool, paper: Any) -> None:
    """Say what differs between two takes of a song: length, tempo, key and form.

    TAKE_A and TAKE_B are recordings or song documents. A document brings its bars, sections and names, also for its
    recording; any other recording is listened to. With -o the takes are drawn as two charts under each other.
    """
    from cuesuggest import __version__
    from cuesuggest.draft.two_takes import compared, open_take
    from cuesuggest.export import Options
    from cuesuggest.export.paper.two_charts import ENDINGS, two_charts
    from cuesuggest.score.take_words import differences, form_line, take_line

    if output is not None and output.suffix.lower() not in ENDINGS:
        raise CuesuggestError(f"{output} has none of the endings {', '.join(ENDINGS)}, which say what is drawn.")
    one, other = open_take(first), open_take(second)
    files = [first, second, *(file for take in (one, other) for file in take.files)]
    targets = check_targets([output], files, force=force, make_folder=True) if output else []
    names = f"{click.format_filename(first.name)} and {click.format_filename(second.name)}"
    with progress(names, quiet=obj["quiet"]) as step:
        two = compared(one, other, step)
    if not obj["quiet"]:
        for name, take in (("First", two.first), ("Second", two.second)):
            echo(fill(f"{name + ':':<8}{take_line(take)}", width(), subsequent_indent=" " * 8))
            echo(fill(form_line(take), width(), initial_indent=" " * 8, subsequent_indent=" " * 8))
        for line in differences(two):
            echo(fill(line, width(), subsequent_indent="  "))
    if not targets:
        return
    if not two.columns:
        raise CuesuggestError("Nothing was drawn, because these are not two takes of one song.")
    options = Options(date=date.today().isoformat(), program=__version__, paper=paper)
    put_out(targets, [two_charts(two, target.named.suffix.lower(), options) for target in targets])
    if not obj["quiet"]:
        echo(f"Written: {targets[0].named}")
