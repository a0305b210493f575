"""The tag at the end of a song: told from its sections, and seldom."""

import pytest

from cuesuggest.analysis.events.tag import find_tag
from tests.songs import make_analysis


def tag_of(form, **drive):
    song = make_analysis(form, drive=drive)
    return song, find_tag(song.sections, song.bars)


@pytest.mark.parametrize(
    ("form", "drive"),
    [
        ("A8 B8 A8 B8 B8", {"A": 0.4, "B": 0.8, "B3": 0.5}),  # the chorus once more, small
        ("A8 B8 A8 B8 B4", {"A": 0.4, "B": 0.8}),  # its last phrase once more
    ],
)
def test_the_big_material_once_more_at_the_end_is_a_tag(form, drive):
    song, tag = tag_of(form, **drive)
    last = song.sections[-1]
    assert (tag.kind, tag.start, tag.end, tag.bar) == ("tag", last.start, last.end, last.first_bar)
    assert 0.5 <= tag.confidence < 0.7


@pytest.mark.parametrize(
    ("form", "drive"),
    [
        ("A8 B8 A8 B8 B8", {"A": 0.4, "B": 0.8}),  # a chorus played twice
        ("A8 B8 A8 B8 C4", {"A": 0.4, "B": 0.8, "C": 0.2}),  # an outro of its own
        ("A8 B8 A8 B8 A4", {"A": 0.4, "B": 0.8, "A3": 0.2}),  # the verse is not the big material
        ("B8 B4", {"B": 0.8}),  # too little to tell
    ],
)
def test_other_endings_are_none(form, drive):
    assert tag_of(form, **drive)[1] is None


@pytest.mark.parametrize(
    ("form", "drive", "is_tag"),
    [
        ("A8 B8 A8 B8 B8", {"A": 0.4, "B": 0.8, "B3": 0.64}, True),
        ("A8 B8 A8 B8 B8", {"A": 0.4, "B": 0.8, "B3": 0.66}, False),
        ("A8 B8 A8 B8 B5", {"A": 0.4, "B": 0.8}, False),
        ("B8 A8 B4", {"A": 0.4, "B": 0.8, "B2": 0.2}, False),
        ("A8 B8 C8 A8 B8 B4", {"A": 0.4, "B": 0.7, "C": 0.84}, True),
        ("A8 B8 C8 A8 B8 B4", {"A": 0.4, "B": 0.7, "C": 0.86}, False),
    ],
    ids=[
        "clearly smaller",
        "hardly smaller",
        "more than half",
        "three sections",
        "nearly the biggest",
        "not the biggest",
    ],
)
def test_a_tag_is_clearly_smaller_or_half_as_long_and_of_the_big_material(form, drive, is_tag):
    assert (tag_of(form, **drive)[1] is not None) == is_tag


def test_a_tag_is_no_surer_than_its_section():
    song = make_analysis("A8 B8 A8 B8 B4", drive={"A": 0.4, "B": 0.8}, confidence=0.3)
    assert find_tag(song.sections, song.bars).confidence == 0.3
