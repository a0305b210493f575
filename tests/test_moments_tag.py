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
