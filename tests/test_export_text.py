"""Text for every target: what it becomes, and that nothing in it acts."""

import re
import tomllib
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuesuggest.export.common import escape as written
from cuesuggest.export.common.xml_element import element, xml_bytes
from tests.exported import HOSTILE

anything = st.text(st.characters(), max_size=60) | st.sampled_from(list(HOSTILE.values()))

ASCII = {
    "Größe über Łódź": "Grosse uber Lodz",
    "Ærøskøbing": "Aeroskobing",
    "“go” – now…": '"go" - now...',
    "lights 🔦👨‍👩‍👧‍👦 on": "lights :flashlight::man::woman::girl::boy: on",
    "שלום עולם": "slvm 'vlm",
    "Привет, 北京": "Privet, BeiJing",
    "one\r\ntwo\u2028three": "one two three",
    "a\x00b\x1b[31mc": "a b [31mc",
    "  spaced   out ": "spaced out",
    "x\udc80y": "x?y",
    "ﬁne ½": "fine 1/2",
}


@pytest.mark.parametrize(("text", "folded"), ASCII.items())
def test_text_folds_to_plain_letters_where_it_has_a_likeness(text, folded):
    assert written.ascii_line(text) == folded


@given(anything, st.integers(1, 80))
def test_folded_text_is_one_printable_line_of_the_length_asked_for(text, most):
    folded = written.ascii_line(text, most)
    assert all(0x20 <= ord(char) <= 0x7E for char in folded)
    assert len(folded) <= most
    assert "!" not in written.show_line(text, most)


def test_no_sign_becomes_the_mark_of_a_comment():
    assert written.show_line("Go! Los！", 20) == "Go. Los."


@given(anything)
def test_a_line_is_one_line_and_turns_nothing(text):
    line = written.one_line(text)
    assert len(line.splitlines()) <= 1
    assert not set(line) & set("\u202e\u2066\x00\x1b")
    assert line.encode("utf-8").decode() == line


@given(anything)
def test_xml_holds_any_line(text):
    line = written.one_line(text)
    read = ElementTree.fromstring(xml_bytes(element("a", element("b", line), c=line)))
    assert (read[0].text or "", read.attrib["c"]) == (line, line)


@given(anything)
def test_captions_have_no_tags_no_arrows_no_blank_lines(text):
    line = written.vtt_text(text)
    assert "-->" not in line
    assert "<" not in line
    assert len(line.splitlines()) <= 1


@given(anything)
def test_an_address_part_has_no_sign_that_means_something(text):
    part = written.osc_part(text)
    assert part
    assert not set(part) & set(" #*,/?[]{}")


def test_titles_in_other_scripts_share_no_address():
    titles = ["他的", "她的", "踏地", "🔥", "🎸", "Ночь", "ночь", "Noch", "x"]
    parts = [written.osc_part(title) for title in titles]
    assert len(set(parts)) == len(titles)
    assert parts[-2:] == ["noch", "x"]
    assert all(re.fullmatch("[a-z0-9-]+", part) for part in parts)
    assert len({written.ascii_line(title).lower() for title in titles}) < len(titles)


@given(anything)
def test_toml_reads_back_what_was_written(text):
    kept = re.sub("[\ud800-\udfff\ufffe\uffff]", "?", text)
    assert tomllib.loads(f"a = {written.toml_string(text)}")["a"] == kept


@pytest.mark.parametrize(
    ("text", "most", "short"),
    [("one two three", 20, "one two three"), ("one two three", 11, "one two..."), ("w" * 20, 10, "wwwwwww...")],
)
def test_long_text_is_cut_between_words_where_it_can_be(text, most, short):
    assert written.shortened(text, most) == short
