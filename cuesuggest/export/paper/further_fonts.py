"""Typefaces for what ours lacks, as Chinese, Japanese, Korean and emoji: of each, the few glyphs that a song needs.

OpenType (ISO/IEC 14496-22), read by fontTools. Outlines of either kind become those of TrueType, which is what
reportlab puts into a PDF. Glyphs are taken as they stand for a character: nothing is joined or put in other order.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from hashlib import sha256
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cuesuggest.errors import CuesuggestError

if TYPE_CHECKING:
    from fontTools.ttLib import TTFont

__all__ = ["EXTRA", "cut_font", "shipped_fonts"]

EXTRA = 'pip install "cuesuggest[fonts]"'
_WIDE, _EMOJI = ("noto_cjk_sans_otc", "NotoSansCJK-Regular.ttc"), ("manimgx_fonts", "NotoEmoji[wght].ttf")
# Han characters look different where Japanese, Korean and Chinese are written: which font of the collection.
_JAPANESE, _KOREAN, _CHINESE = 0, 1, 2
_KANA, _HANGUL = ("\u3040", "\u30ff"), ("\uac00", "\ud7a3")
# fsType of the table OS/2: not to be embedded, not to be cut, as bitmaps only.
_RESTRICTED, _WHOLE_ONLY, _BITMAPS_ONLY = 0x0002, 0x0100, 0x0200
_REGULAR = {"wght": 400.0}
_FLATNESS = 1 / 1000  # of an em: how far a converted curve may be from the drawn one


def shipped_fonts(signs: frozenset[str]) -> Iterator[tuple[Path, int]]:
    """Find the fonts that the extra `fonts` has installed, if it has.

    Parameters
    ----------
    signs : frozenset of str
        The characters that are looked for.

    Yields
    ------
    file : Path
    number : int
        Of the font in its file.
    """

    def some_in(script: tuple[str, str]) -> bool:
        return any(script[0] <= sign <= script[1] for sign in signs)

    numbers = {_WIDE: _JAPANESE if some_in(_KANA) else _KOREAN if some_in(_HANGUL) else _CHINESE, _EMOJI: 0}
    for (package, name), number in numbers.items():
        found = find_spec(package)
        for folder in (found and found.submodule_search_locations) or ():
            if (Path(folder) / name).is_file():
                yield Path(folder) / name, number


def cut_font(file: Path, number: int, signs: frozenset[str]) -> tuple[str, bytes, frozenset[str]]:
    """Make a small TrueType font of those characters that a font has.

    Parameters
    ----------
    file : Path
    number : int
        Of the font, in a collection.
    signs : frozenset of str
        Characters.

    Returns
    -------
    name : str
        No other font has it: reportlab takes two of one name for one.
    font : bytes
        The same for the same characters.
    has : frozenset of str
        Those that are in it; what the font draws as nothing is left out.

    Raises
    ------
    CuesuggestError
        If the file cannot be read, is no font with outlines, or may not be put into documents.
    """
    try:
        from fontTools.ttLib import TTFont
    except ImportError:
        raise CuesuggestError(f"Another typeface on paper needs fontTools. Install it: {EXTRA}.") from None
    try:
        with file.open("rb") as stream, TTFont(stream, fontNumber=number, lazy=True) as font:
            _check_embedding(font, file)
            return _cut(font, signs)
    except OSError as error:
        raise CuesuggestError(
            f"The typeface {file} cannot be read ({error.strerror or error}). Name another."
        ) from None
    except CuesuggestError:
        raise
    except Exception as error:  # a damaged table can bring its reader to anything
        raise CuesuggestError(
            f"{file} is no typeface with outlines ({error or type(error).__name__}). Name a TrueType or OpenType file "
            "(.ttf, .otf, .ttc)."
        ) from None


def _check_embedding(font: TTFont, file: Path) -> None:
    if "OS/2" in font and font["OS/2"].fsType & (_RESTRICTED | _WHOLE_ONLY | _BITMAPS_ONLY):
        raise CuesuggestError(
            f"The typeface {file} says that it must not be put into documents, or only whole. Name one with a free "
            "licence, such as the SIL Open Font License."
        )


def _cut(font: TTFont, signs: frozenset[str]) -> tuple[str, bytes, frozenset[str]]:
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.cu2quPen import Cu2QuPen
    from fontTools.pens.recordingPen import DecomposingRecordingPen
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    # One that says no weight has the one that it was drawn in.
    drawn: Any = font.getGlyphSet(location=_REGULAR)
    names = font.getBestCmap() or {}
    em = font["head"].unitsPerEm
    if not 16 <= em <= 16384:
        raise ValueError(f"{em} units make no em")
    glyphs: dict[str, Any] = {".notdef": TTGlyphPen(None).glyph()}
    widths, codes = {".notdef": em}, {}
    digest = sha256()
    for sign in sorted(signs):
        if ord(sign) not in names:
            continue
        glyph = drawn[names[ord(sign)]]
        strokes = DecomposingRecordingPen(drawn)
        glyph.draw(strokes)
        if not strokes.value and not sign.isspace():
            continue
        digest.update(f"{sign} {glyph.width} {strokes.value}".encode())
        pen = TTGlyphPen(None)
        # The two kinds of outlines run the other way round.
        strokes.replay(Cu2QuPen(pen, em * _FLATNESS, reverse_direction="glyf" not in font))
        own = f"u{ord(sign):05X}"
        codes[ord(sign)], glyphs[own], widths[own] = own, pen.glyph(), round(glyph.width)
    made = FontBuilder(em, isTTF=True)
    made.font.recalcTimestamp = False
    made.setupGlyphOrder(list(glyphs))
    made.setupCharacterMap(codes)
    made.setupGlyf(glyphs)
    made.setupHorizontalMetrics({each: (widths[each], getattr(glyph, "xMin", 0)) for each, glyph in glyphs.items()})
    edges = {"ascent": font["hhea"].ascent, "descent": font["hhea"].descent}
    made.setupHorizontalHeader(**edges)
    name = f"further-{digest.hexdigest()[:16]}"
    made.setupNameTable({"familyName": name, "styleName": "Regular", "psName": name})
    made.setupOS2()
    made.setupPost()
    made.updateHead(created=0, modified=0)
    out = io.BytesIO()
    made.save(out)
    return name, out.getvalue(), frozenset(map(chr, codes))
