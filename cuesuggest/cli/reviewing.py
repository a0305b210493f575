"""The command `review`: a document, or a recording that is suggested first, on a page in the browser."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from cuesuggest.cli.progress import progress
from cuesuggest.cli.screen import echo
from cuesuggest.cli.shared import FILE, everywhere
from cuesuggest.sound.recording import DOCUMENT_SUFFIX

__all__ = ["review"]


@click.command()
@click.argument("document", metavar="DOC|FILE", type=FILE)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port to use; any free one if left out."
)
@click.option("--no-open", is_flag=True, help="Do not open the browser; the address is printed either way.")
@everywhere
@click.pass_obj
def review(obj: dict[str, Any], document: Path, port: int, no_open: bool) -> None:
    """Listen to a song and put its draft right, on a page in your browser.

    The page is served on this machine alone, and every change is saved at once. Of a recording that has no document
    yet, cues are suggested first. Stop with Ctrl+C.
    """
    from cuesuggest.draft.beside import document_of
    from cuesuggest.review.server import serve

    target = document_of(document)
    if not document.name.endswith(DOCUMENT_SUFFIX) and not os.path.exists(target):
        from cuesuggest.draft.drafting import draft_file

        with progress(document.name, quiet=obj["quiet"]) as step:
            draft_file(document, step=step)

    def opened(address: str) -> None:
        echo(address)
        if not obj["quiet"]:
            echo("Stop with Ctrl+C. Everything that you decide is saved at once.", err=True)

    serve(target, port=port, opened=opened, browser=not no_open)
