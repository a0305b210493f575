"""Scripts that our typeface lacks on paper: read back by pypdf, drawn by pdfium, against what FreeType draws of the
original fonts."""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFont
from pypdf import PdfReader

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import Options, export
from cuesuggest.export.paper import further_fonts
from cuesuggest.export.paper.further_fonts import shipped_fonts
from cuesuggest.export.paper.typeface import _typeface, typeface_for
from tests.reading import boxes_of, sizes_of, text_of
from tests.songs import HOME, LIFT, make_song

ROOT = Path(__file__).parent.parent
TITLE = "紙の船 🚢 그리고 光の海（ライブ）"
NAMES = ["前奏", "후렴 빛나는 밤", "终曲🔥"]
PDFS = ["page", "list", "chart"]
(WIDE, _), (EMOJI, _) = shipped_fonts(frozenset())


def song_of_names(title=TITLE, names=NAMES):
    song = make_song("A8 B8 A8", title=title)
    sections = zip(song.analysis.sections, names, strict=True)
    named = tuple(replace(section, name=name, first_words=f"{name}…") for section, name in sections)
    looks = (replace(HOME, name="ゆっくり波"), replace(LIFT, name="扇形に広がる光線"))
    return song.replaced(analysis=replace(song.analysis, sections=named), looks=looks)


def pdf(song, name, **options):
    (content,) = export(song, f"{name}.pdf", Options(**options)).values()
    return content


@pytest.fixture
def without_extra(monkeypatch):
    """A machine on which the extra is not installed."""
    monkeypatch.setattr(further_fonts, "find_spec", lambda name: None)
    _typeface.cache_clear()
    yield
    _typeface.cache_clear()


@pytest.mark.parametrize("name", PDFS)
def test_names_in_every_script_are_printed_and_read_back(name):
    data = pdf(song_of_names(), name)
    text = text_of(data)
    assert "□" not in text
    for part in ("紙の船 🚢 그리고 光の海", "前奏", "扇形に広がる光線"):
        assert part in text
    if name == "list":
        assert all(part in text for part in (*NAMES, "ゆっくり波"))
    wide, high = sizes_of(data)[0]
    assert all(left > -1 and right < wide + 1 and low > -1 and up < high + 1 for left, low, right, up in boxes_of(data))


@pytest.mark.parametrize("name", PDFS)
def test_only_the_signs_that_are_used_are_in_the_file_and_every_font_is(name):
    data = pdf(song_of_names(), name)
    assert len(data) < 100_000
    fonts = PdfReader(io.BytesIO(data)).pages[0]["/Resources"]["/Font"].values()
    assert len(fonts) >= 4
    assert all("/FontFile2" in font.get_object()["/FontDescriptor"] for font in fonts)


@pytest.mark.parametrize("name", PDFS)
def test_without_the_extra_there_are_boxes_and_the_files_own_title_is_whole(name, without_extra):
    data = pdf(song_of_names(), name)
    assert "□" in text_of(data)
    told = PdfReader(io.BytesIO(data)).metadata
    assert told.title == TITLE
    assert told.author == ""
    assert TITLE in told.subject


def test_the_same_song_gives_the_same_file():
    first = pdf(song_of_names(), "list")
    _typeface.cache_clear()
    assert pdf(song_of_names(), "list") == first


def test_two_songs_of_one_run_keep_their_own_signs():
    texts = [text_of(pdf(song_of_names(title), "page")) for title in ("光", "海", "🔥")]
    assert [text[0] for text in texts] == ["光", "海", "🔥"]


# What stands there is what the font has drawn.


def inked(picture):
    """The dark part of a grey picture, brought to one size."""
    ink = np.asarray(picture) < 128
    rows, columns = np.flatnonzero(ink.any(1)), np.flatnonzero(ink.any(0))
    cut = Image.fromarray(ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1])
    return np.asarray(cut.convert("L").resize((96, 96))) > 127


def by_freetype(sign, file, number):
    font = ImageFont.truetype(str(file), 200, index=number)
    if "[wght]" in file.name:
        font.set_variation_by_axes([400])
    picture = Image.new("L", (400, 400), 255)
    ImageDraw.Draw(picture).text((60, 60), sign, font=font, fill=0)
    return inked(picture)


def on_paper(sign, **options):
    page = pypdfium2.PdfDocument(pdf(make_song("", title=sign), "list", **options))[0]
    # The title, alone and large, in the upper left corner.
    wide, high = page.get_size()
    return inked(page.render(scale=16, grayscale=True, crop=(20, high - 55, wide - 100, 20)).to_pil())


# (sign, file, font of the collection): the last two are written otherwise in Chinese.
SHAPES = [("の", WIDE, 0), ("빛", WIDE, 1), ("光", WIDE, 2), ("🔥", EMOJI, 0), ("直", WIDE, 2), ("骨", WIDE, 2)]


@pytest.mark.parametrize(("sign", "file", "number"), SHAPES)
def test_a_sign_looks_as_freetype_draws_it_from_the_original(sign, file, number):
    seen, wanted = on_paper(sign), by_freetype(sign, file, number)
    assert (seen & wanted).sum() / (seen | wanted).sum() > 0.9


def test_han_signs_are_those_of_the_language_that_stands_beside_them():
    alone, in_japanese, in_korean = (
        next(number for _, number in shipped_fonts(frozenset(signs))) for signs in ("直骨", "直骨の", "直骨빛")
    )
    drawn = [by_freetype("骨", WIDE, number) for number in (alone, in_japanese)]
    assert len({alone, in_japanese, in_korean}) == 3
    assert (drawn[0] & drawn[1]).sum() / (drawn[0] | drawn[1]).sum() < 0.9


def test_lines_of_a_script_without_spaces_are_broken_and_open_with_nothing_that_closes():
    text = "扇形に広がる光線、天井まで届くように上へ、ゆっくりと。" * 3
    face = typeface_for(text)
    for room in range(60, 200, 7):
        lines = face.whole_lines(text, 12.0, float(room))
        assert "".join(lines) == text
        assert all(face.width(line, 12.0) <= room for line in lines)
        assert not any(line[0] in "、。" for line in lines)


def test_joined_emoji_are_their_parts_and_tones_of_skin_are_left_out():
    assert typeface_for("👩‍👩‍👧👍🏽").to_print("👩‍👩‍👧👍🏽") == "👩👩👧👍"


# A file of the user's.


def own_font(path, sign="ሀ", rights=0, advance=1000):
    """A font in which one sign is a square."""
    pen = TTGlyphPen(None)
    pen.moveTo((100, 0))
    for corner in ((100, 800), (900, 800), (900, 0)):
        pen.lineTo(corner)
    pen.closePath()
    made = FontBuilder(1000, isTTF=True)
    made.setupGlyphOrder([".notdef", "square", "nothing"])
    made.setupCharacterMap({ord(sign): "square", 0x1F680: "nothing"})
    empty = TTGlyphPen(None).glyph()
    made.setupGlyf({".notdef": empty, "square": pen.glyph(), "nothing": empty})
    made.setupHorizontalMetrics({".notdef": (500, 0), "square": (advance, 100), "nothing": (advance, 0)})
    made.setupHorizontalHeader(ascent=900, descent=-100)
    made.setupNameTable({"familyName": "Own", "styleName": "Regular"})
    made.setupOS2(fsType=rights)
    made.setupPost()
    made.save(path)
    return path


@pytest.fixture
def document(tmp_path):
    path = tmp_path / "evening.cues.json"
    make_song("A8 B8", title="ሀ and 光").save(path)
    return path


def test_a_file_that_is_named_has_what_ours_lacks(run, document, tmp_path):
    own = own_font(tmp_path / "own.ttf")
    target = tmp_path / "evening.list.pdf"
    assert run("export", document, "--to", "list.pdf", "--font", own)[0] == 0
    assert text_of(target.read_bytes()).startswith("ሀ and 光")
    square = on_paper("ሀ", fonts=(own,))
    assert square.mean() > 0.98
    # Half as wide as the em it is drawn in.
    narrow = own_font(tmp_path / "narrow.ttf", advance=500)
    widths = [typeface_for("ሀ", (file,)).width("ሀ", 10.0) for file in (own, narrow)]
    assert widths == pytest.approx([10.0, 5.0])


def test_of_several_files_the_first_that_has_a_sign_draws_it(run, document, tmp_path):
    own, other = own_font(tmp_path / "own.ttf"), own_font(tmp_path / "other.ttf", sign="光")
    words = ("--font", own, "--font", other, "--font", WIDE)
    assert run("export", document, "--to", "list.pdf", *words)[0] == 0
    assert len(typeface_for("ሀ光", (own, other, WIDE)).further) == 2


def test_a_sign_that_a_font_has_and_draws_as_nothing_is_a_box(tmp_path, without_extra):
    assert typeface_for("🚀", (own_font(tmp_path / "own.ttf"),)).to_print("🚀") == "□"


@pytest.mark.parametrize("rights", [0x0002, 0x0100, 0x0200])
def test_a_font_that_must_not_go_into_documents_is_refused(run, document, tmp_path, rights):
    own = own_font(tmp_path / "own.ttf", rights=rights)
    code, _, err = run("export", document, "--to", "list.pdf", "--font", own)
    assert code == 2
    assert "must not be put into documents" in " ".join(err.split())
    assert not (tmp_path / "evening.list.pdf").exists()


def test_what_is_no_font_is_said_and_nothing_is_written(run, document, tmp_path):
    text = tmp_path / "text.ttf"
    text.write_text("no font")
    for named, says in (
        (text, "is no typeface with outlines"),
        (tmp_path / "gone.ttf", "cannot be read"),
        (tmp_path, ""),
    ):
        code, _, err = run("export", document, "--to", "chart.pdf", "--font", named)
        assert code == 2
        assert says in " ".join(err.split())
        assert "Traceback" not in err
    assert not (tmp_path / "evening.chart.pdf").exists()


def test_the_typefaces_file_is_never_written_over(run, document, tmp_path):
    own = own_font(tmp_path / "own.ttf")
    before = own.read_bytes()
    code, _, _ = run("export", document, "--to", "list.pdf", "--font", own, "-o", own, "--force")
    assert (code, own.read_bytes() == before) == (2, True)


@given(data=st.data())
@settings(max_examples=150, deadline=None)
def test_a_damaged_font_is_read_or_refused_in_words(tmp_path_factory, data):
    path = own_font(tmp_path_factory.mktemp("fonts") / "own.ttf")
    raw = bytearray(path.read_bytes())
    for _ in range(data.draw(st.integers(1, 8))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(raw[: data.draw(st.integers(0, len(raw)))])
    with contextlib.suppress(CuesuggestError):
        face = typeface_for("ሀ", (path,))
        assert face.width(face.to_print("ሀ"), 10.0) >= 0


def test_without_fonttools_it_says_how_to_get_it(run, document, tmp_path, monkeypatch):
    own = own_font(tmp_path / "own.ttf")
    monkeypatch.setitem(sys.modules, "fontTools.ttLib", None)
    _typeface.cache_clear()
    code, _, err = run("export", document, "--to", "list.pdf", "--font", own)
    assert code == 2
    assert 'pip install "cuesuggest[fonts]"' in " ".join(err.split())


def test_a_song_that_ours_can_print_opens_no_other_font():
    code = (
        "import sys; from cuesuggest.export import export; from tests.songs import make_song; "
        "export(make_song('A8', title='Łódź, Ночь'), 'list'); print('fontTools' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "False"
