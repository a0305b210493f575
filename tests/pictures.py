"""The pictures in docs/pictures, made anew from the bundled sample.

`python -m tests.pictures` draws all of them; a browser is needed for the page and the tablet.
"""

from __future__ import annotations

import io
import tempfile
from dataclasses import replace
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import Browser, sync_playwright
from playwright.sync_api import Page as Shown

from cuesuggest import Song, suggest
from cuesuggest.export import export
from tests import outside
from tests.reviewing import Page, copied, hosting

ROOT = Path(__file__).parent.parent
SAMPLE = ROOT / "samples" / "first_light.ogg"
PICTURES = ROOT / "docs" / "pictures"
DESK = {"width": 1440, "height": 900}
TABLET = {"width": 1024, "height": 768}
DOTS_PER_INCH = 100
COLOURS = 64
CUE_SHOWN = 4


def drafted(folder: Path) -> Path:
    """The sample's document, with its recording beside it."""
    song = suggest(SAMPLE)
    document = folder / "first_light.cues.json"
    song.replaced(title="First Light", recording=replace(song.recording, path=SAMPLE.name)).save(document)
    return copied(document, SAMPLE, folder / "review")


def draw_paper(song: Song) -> None:
    save(Image.open(io.BytesIO(export(song, "chart")[".chart.png"])), "chart.png")
    page = pypdfium2.PdfDocument(export(song, "page")[".page.pdf"])
    try:
        drawn = page[0].render(scale=DOTS_PER_INCH / 72, grayscale=True).to_pil()
    finally:
        page.close()
    save(drawn, "page.png")


def draw_tablet(song: Song, browser: Browser, folder: Path) -> None:
    file = folder / "song.run.html"
    file.write_bytes(export(song, "run")[".run.html"])
    page = browser.new_page(viewport=TABLET)
    page.goto(file.as_uri())
    shoot(page, "run.png")


def draw_review(document: Path, browser: Browser) -> None:
    with hosting(document) as server:
        window = browser.new_context(viewport=DESK, color_scheme="light")
        server.windows.append(window)
        shown = Page(window.new_page(), server.address)
        shown.press("Escape", "Home", *["ArrowDown"] * CUE_SHOWN)
        shown.slip(f"Cue {CUE_SHOWN} ")
        shoot(shown.page, "review-light.png")
        shown.press("y")
        shoot(shown.page, "review-dark.png")


def shoot(page: Shown, name: str) -> None:
    page.wait_for_timeout(500)  # for the sound's clock and the fonts
    save(Image.open(io.BytesIO(page.screenshot())), name)


def save(picture: Image.Image, name: str) -> None:
    """With few colours, enough for lines and letters, rare ones among them: a third of the size."""
    picture.convert("RGB").quantize(COLOURS, Image.Quantize.MAXCOVERAGE).save(PICTURES / name, optimize=True)


def main() -> None:
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        document = drafted(Path(name))
        song = Song.load(document)
        draw_paper(song)
        browser = play.chromium.launch(executable_path=outside.browser(), args=["--no-sandbox", "--disable-gpu"])
        draw_tablet(song, browser, Path(name))
        draw_review(document, browser)
        browser.close()


if __name__ == "__main__":
    main()
