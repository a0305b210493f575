"""The notation of a form, docs/form.md: what is read, what is refused, and that what is written reads as the same."""

import re
import time
import unicodedata
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from cuesuggest.analysis.form import Part
from cuesuggest.errors import EditError
from cuesuggest.score.form_text import MOST_BARS, MOST_PARTS, form_text, read_form

DOCUMENT = Path(__file__).parent.parent / "docs" / "form.md"


def parts(text):
    """Parts as pairs of name and bars."""
    return [(part.name, part.bars) for part in read_form(text).parts]


SHEET = (
    "intro 4, verse 8, chorus 8 x2, break 4, verse 8, chorus 8 x2, bridge 8, stop 1, chorus 8 x2, outro"  # a whole song
)

# text, the parts in it
READ = [
    ("intro 4, verse 8", [("intro", 4), ("verse", 8)]),
    ("intro 4; verse 8", [("intro", 4), ("verse", 8)]),
    ("intro 4 verse 8 outro", [("intro", 4), ("verse", 8), ("outro", None)]),
    ("intro\nverse 8\n\nlast chorus", [("intro", None), ("verse", 8), ("last chorus", None)]),
    ("intro, verse 8,", [("intro", None), ("verse", 8)]),
    ("pre chorus 8", [("pre", None), ("chorus", 8)]),
    ("pre chorus 8,", [("pre chorus", 8)]),
    ('"pre chorus" 8 verse', [("pre chorus", 8), ("verse", None)]),
    ("chorus 8 x2", [("chorus", 8)] * 2),
    ("chorus x2 8, outro", [("chorus", 8)] * 2 + [("outro", None)]),
    ("chorus 8 2x, chorus ×2, chorus x 2", [("chorus", 8)] * 2 + [("chorus", None)] * 4),
    ("(verse 8, chorus 8) x2, outro", [("verse", 8), ("chorus", 8)] * 2 + [("outro", None)]),
    ("(verse 8 chorus 8) x2 outro", [("verse", 8), ("chorus", 8)] * 2 + [("outro", None)]),
    ("[a 8, (b 4, c) x2] x2", ([("a", 8)] + [("b", 4), ("c", None)] * 2) * 2),
    ("(\nverse 8\nchorus 8\n) x2", [("verse", 8), ("chorus", 8)] * 2),
    ("# our song\nintro 4 # bass alone, then all\nverse 8", [("intro", 4), ("verse", 8)]),
    ("C# part 8, verse", [("C# part", 8), ("verse", None)]),
    ("Intro: 4\nVerse: 8 bars\nStop: 1 bar", [("Intro", 4), ("Verse", 8), ("Stop", 1)]),
    ("Verse 8, chorus, VERSE 8", [("Verse", 8), ("chorus", None), ("VERSE", 8)]),
    ("  stop   &  go 2 ,b", [("stop & go", 2), ("b", None)]),
    ("副歌 8、主歌 四 16", [("副歌", 8), ("主歌 四", 16)]),
    ("الكورس ٨، خاتمة", [("الكورس", 8), ("خاتمة", None)]),
    ("Strophe 8, Réfrain 8", [("Strophe", 8), ("Réfrain", 8)]),
    ("“verse 1” 8, „verse 2“ 8, «verse 3» 8", [("verse 1", 8), ("verse 2", 8), ("verse 3", 8)]),
    ("\ufeffintro 4,", [("intro", 4)]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "found"), READ)
def test_a_sheet_is_read(text, found):
    assert parts(text) == found


def test_a_whole_song_is_read():
    found = parts(SHEET)
    assert len(found) == 13
    assert sum(bars or 0 for _, bars in found) == 4 + 8 + 16 + 4 + 8 + 16 + 8 + 1 + 16


# text, the parts in it, a word of the remark; None if there is nothing to remark
NUMBERS = [
    ("verse 1, chorus 8, verse 2, chorus 8", [("verse", None), ("chorus", 8)] * 2, "verse 1, verse 2"),
    ("Verse 1, chorus, verse 2, chorus, verse",
     [("Verse", None), ("chorus", None), ("verse", None), ("chorus", None), ("verse", None)], "counts the parts"),
    ("verse 1 8, chorus 8, verse 2 16", [("verse", 8), ("chorus", 8), ("verse", 16)], None),
    ("verse 1 8, chorus 8, verse 2", [("verse", 8), ("chorus", 8), ("verse", None)], "verse 2"),
    ("verse 1 8 chorus 8 verse 2 16 bars", [("verse", 8), ("chorus", 8), ("verse", 16)], None),
    ("verse 8 x2, verse 3 8", [("verse", 8)] * 3, None),
    ("stop 1, verse 8, stop 1", [("stop", 1), ("verse", 8), ("stop", 1)], None),
    ("stop 1, verse 8, stop 2, stop 4", [("stop", 1), ("verse", 8), ("stop", 2), ("stop", 4)], None),
    ("stop 1 bar, verse 8, stop 2 bars", [("stop", 1), ("verse", 8), ("stop", 2)], None),
    ('"stop" 1, verse 8, "stop" 2', [("stop", 1), ("verse", 8), ("stop", 2)], None),
    ("verse 1, chorus 8", [("verse", 1), ("chorus", 8)], None),
    ("(verse 1, chorus 8) x2", [("verse", 1), ("chorus", 8)] * 2, None),
    ("A8 B8", [("A8", None), ("B8", None)], "write: A 8"),
    ("A 8, B 8", [("A", 8), ("B", 8)], None),
    ('"A8", B 8', [("A8", None), ("B", 8)], None),
]  # fmt: skip


@pytest.mark.parametrize(("text", "found", "remark"), NUMBERS)
def test_a_number_is_bars_unless_it_counts_the_parts_of_a_name(text, found, remark):
    form = read_form(text)
    assert [(part.name, part.bars) for part in form.parts] == found
    assert bool(form.remarks) == (remark is not None)
    assert remark is None or remark in form.remarks[0]


def test_what_a_remark_proposes_reads_as_bars():
    (remark,) = read_form("stop 1, verse 8, stop 2").remarks
    proposed = remark.partition("write: ")[2]
    assert parts(f"{proposed}, verse 8, stop 2") == [("stop", 1), ("verse", 8), ("stop", 2)]


def test_quoted_text_after_a_name_is_its_first_words():
    form = read_form('verse 8 "when the morning comes", chorus “oh, oh” x2, "pre chorus" "and (then)" 4\noutro')
    assert form.parts == (
        Part("verse", 8, "when the morning comes"),
        Part("chorus", None, "oh, oh"),
        Part("chorus", None, "oh, oh"),
        Part("pre chorus", 4, "and (then)"),
        Part("outro"),
    )


def test_names_that_differ_in_capitals_are_one_material_in_their_own_spelling():
    first, second = read_form("Refrain 8, REFRAIN 8").parts
    assert (first.name, second.name) == ("Refrain", "REFRAIN")
    assert first.material == second.material


def test_a_name_is_the_same_however_its_accents_were_typed():
    composed, combined = read_form("R\u00e9frain, Re\u0301frain").parts
    assert composed == combined


# text, where, what the message says
REFUSED = [
    ("", "The form:", "no parts"),
    ("# only a remark", "The form:", "no parts"),
    ("verse 0, b", "column 7", "1 to 999"),
    ("verse 1000, b", "column 7", "1 to 999"),
    (f"verse {'9' * 5000}", "column 7", "1 to 999"),
    ("verse -4, b", "column 7", "no whole number"),
    ("verse 4.5, b", "column 7", "no whole number"),
    ("intro 0:15, b", "column 7", "no whole number"),
    ("verse 8x2, b", "column 7", "8 x2"),
    ("verse 2×8, b", "column 7", "8 x2"),
    ("verse x0, b", "column 7", "x1 to x200"),
    ("verse x201, b", "column 7", "x1 to x200"),
    ("8 verse", "column 1", "begins with its name"),
    ("intro, x2", "column 8", "begins with its name"),
    ("intro, 4 5", "column 8", "begins with its name"),
    ("intro - verse", "column 7", "no letter"),
    ("intro, ?", "column 8", "no letter"),
    ("verse 8 chorus 8, b", "column 9", "comma"),
    ("a,\nb 8 'first words'", "line 2, column 5", "quotes"),
    ("verse 8 x2 x2, b", "column 12", "comma"),
    ("verse 8 8, b", "column 1", "quotes"),
    ("verse 1 2 3, b", "column 11", "already"),
    ('"verse 1" 2 3, b', "column 13", "already"),
    ('a "one" "two", b', "column 9", "comma"),
    ("verse #2, b", "column 7", "without"),
    ("verse 8 (quiet), b", "column 9", "x2"),
    ("verse (8), b", "column 7", "x2"),
    ("(verse, chorus), b", "column 1", "x2"),
    ("(verse, chorus) 2, b", "column 1", "x2"),
    ("(verse, chorus) x2 outro,", "column 20", "comma"),
    ("() x2", "column 1", "nothing"),
    ("a, (b", "column 4", "not closed"),
    ("a), b", "column 2", "not opened"),
    ("(a] x2", "column 3", "does not close"),
    ('a, "b', "column 4", "does not end"),
    ('a, "b\nc"', "line 1, column 4", "does not end"),
    ("a” b", "column 2", "not opened"),
    ('a, ""', "column 4", "nothing between"),
    ("a\n\n# remark\nb\x00b 8", "line 4, column 1", "cannot be shown"),
    ("\ud800, b", "column 1", "no letter"),
    ("b\ud800, b", "column 1", "cannot be shown"),
    ("a" * 81 + ", b", "column 1", "too long"),
    ("verse " + "la la " * 20 + ", b", "column 1", "comma"),
    (f'a, b "{"la " * 70}"', "column 6", "too long"),
    ("(" * 9 + "a" + ") x2" * 9, "column 9", "deep"),
    ("(a x100) x3", "column 1", "200 parts"),
    ("((a x99) x99) x99", "column 2", "200 parts"),
    ("a " * 201, "column 401", "200 parts"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "where", "says"), REFUSED, ids=[repr(text)[:40] for text, _, _ in REFUSED])
def test_what_is_no_form_is_refused_with_place_and_advice(text, where, says):
    with pytest.raises(EditError) as refused:
        read_form(text)
    message = str(refused.value)
    assert message.startswith("The form")
    assert where in message
    assert says in message
    assert len(message) < 250


def test_messages_call_the_form_by_its_file():
    with pytest.raises(EditError, match=r"^our-song\.txt, line 2, column 7: "):
        read_form("intro\nverse 0", "our-song.txt")


# parts, how they are written
WRITTEN = [
    ((Part("intro", 4), Part("chorus", 8), Part("chorus", 8), Part("outro")), "intro 4, chorus 8 x2, outro"),
    ((Part("pre chorus", 8),), "pre chorus 8,"),
    ((Part("chorus", 8),), "chorus 8"),
    ((Part("verse", 8, "when the morning"), Part("verse", 8)), 'verse 8 "when the morning", verse 8'),
    ((Part("verse 1", 8), Part("x2")), '"verse 1" 8, "x2"'),
    ((Part('the "big" one, twice'), Part("b")), "“the \"big\" one, twice”, b"),
    ((Part("stop", 1), Part("a"), Part("stop", 2)), "stop 1 bar, a, stop 2 bars"),
    ((Part("stop", 1), Part("stop", 4)), "stop 1, stop 4"),
]  # fmt: skip


@pytest.mark.parametrize(("form", "text"), WRITTEN)
def test_a_form_is_written_as_one_would(form, text):
    assert form_text(form) == text
    assert read_form(text).parts == form


WORDS = st.one_of(
    st.sampled_from(
        ["verse", "Verse", "chorus", "stop", "x", "X2", "bar", "bars", "8", "12", "#1", "副歌", "a:", "8x2"]
    ),
    st.text("abÉß x2×8()[],;:#\"'“”„«»「」.-", min_size=1, max_size=8),
    st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=8),
)


def quotable(text):
    """Whether some quotation marks can go around it: what is read was, or has none in it."""
    return any(not set(closing) & set(text) for closing in ('"', "”", "»", "」"))


def normal(words):
    """Words as read_form keeps them: composed, one space between."""
    return " ".join(unicodedata.normalize("NFC", " ".join(words)).split())


NAMES = st.lists(WORDS, min_size=1, max_size=3).map(normal).filter(lambda name: name and quotable(name))
PARTS = st.builds(
    Part, NAMES, st.none() | st.integers(1, 4) | st.integers(1, MOST_BARS), st.just("") | NAMES
)  # fmt: skip


@given(st.lists(PARTS, min_size=1, max_size=12))
@example([Part("stop", 1), Part("Stop", 2), Part('"x"', 3)])
def test_what_is_written_reads_as_the_same_parts(form):
    assert read_form(form_text(form)).parts == tuple(form)


TEXTS = st.one_of(
    st.text(max_size=60),
    st.lists(WORDS | st.sampled_from([",", "\n", "(", ")", " x2", '"', "bars", "#", " "]), max_size=25).map(" ".join),
    st.lists(WORDS | st.sampled_from([",", "\n", "(", ")", "x2", '"', "bar", "[", "]"]), max_size=25).map("".join),
)


@given(TEXTS)
def test_no_text_gives_anything_but_parts_or_one_clear_error(text):
    try:
        form = read_form(text, "evening.txt")
    except EditError as error:
        if not str(error).startswith("evening.txt"):
            raise
        return
    assert 1 <= len(form.parts) <= MOST_PARTS
    assert all(part.name.strip() for part in form.parts)
    assert all(part.bars is None or 1 <= part.bars <= MOST_BARS for part in form.parts)
    assert read_form(form_text(form.parts)).parts == form.parts


def test_a_long_text_that_is_no_form_is_refused_at_once():
    begin = time.process_time()
    with pytest.raises(EditError):
        read_form("verse 8, chorus 8\n" * 20000)
    assert time.process_time() - begin < 2.0  # not a benchmark, a guard


def test_the_examples_in_the_document_read_as_it_says():
    rows = re.findall(r"^\| `(.+?)` \| (.+?) \|", DOCUMENT.read_text(encoding="utf-8"), re.MULTILINE)
    (sheet,) = re.findall(r"^    # First Light.*(?:\n    .*)+", DOCUMENT.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(rows) >= 8
    assert len(read_form(sheet).parts) == 7
    for text, says in rows:
        found = ", ".join(f"{part.name} {part.bars}" if part.bars else part.name for part in read_form(text).parts)
        assert found == says, text
