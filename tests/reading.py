"""What tests read paper with: text by pypdf, pages by poppler and pdfium, none of which wrote it."""

from __future__ import annotations

import io
import unicodedata

from pypdf import PdfReader


def pages_of(data: bytes) -> list[str]:
    """The text of each page, joined Arabic forms as letters, lines as they stand on the paper."""
    reader = PdfReader(io.BytesIO(data))
    return [unicodedata.normalize("NFKC", page.extract_text()) for page in reader.pages]


def text_of(data: bytes) -> str:
    return "\n".join(pages_of(data))


def sizes_of(data: bytes) -> list[tuple[float, float]]:
    """Width and height of each page in points."""
    reader = PdfReader(io.BytesIO(data))
    return [(float(page.mediabox.width), float(page.mediabox.height)) for page in reader.pages]


def written(data: bytes, page: int = 0) -> list[tuple[str, float]]:
    """Texts of a page with their sizes in points."""
    found: list[tuple[str, float]] = []

    def visit(text, _cm, matrix, _font, size):
        if text.strip():
            found.append((text.strip(), round(size * matrix[3], 2)))

    PdfReader(io.BytesIO(data)).pages[page].extract_text(visitor_text=visit)
    return found


def boxes_of(data: bytes, page: int = 0) -> list[tuple[float, float, float, float]]:
    """Left, bottom, right, top of each text object of a page, by pdfium."""
    import pypdfium2
    from pypdfium2 import raw

    document = pypdfium2.PdfDocument(data)
    try:
        objects = document[page].get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT])
        return [tuple(each.get_bounds()) for each in objects]
    finally:
        document.close()


def columns_of(data: bytes) -> list[list[str]]:
    """The blocks of a live page as they stand, column by column, from the top down; cue numbers left out.

    The letter that heads a block has a sign in front, since words may be a letter as well.
    """
    found: list[tuple[float, float, float, str]] = []

    def visit(text, _cm, matrix, _font, size):
        if text.strip():
            found.append((-round(matrix[5], 1), round(matrix[4], 1), round(size * matrix[3], 1), text.strip()))

    page = PdfReader(io.BytesIO(data)).pages[0]
    page.extract_text(visitor_text=visit)
    # The first letter hangs 25 points below the top of the blocks; the rules of the foot begin with this one.
    top = min(y for y, _, size, _ in found if size == 18) - 25.5
    foot = next(y for y, _, _, text in found if text == "lost")
    middle = float(page.mediabox.width) / 2
    inside = sorted(each for each in found if top < each[0] < foot - 1 and each[2] > 9)
    columns = [
        [f"{'§ ' * (size == 18)}{text}" for _, x, size, text in inside if (x < middle) is left]
        for left in (True, False)
    ]
    return [column for column in columns if column]
