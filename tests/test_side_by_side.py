"""Two takes side by side: which bars stand under each other, what is said of the difference, how it is drawn."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from cuesuggest.analysis.types import Event
from cuesuggest.export import Options
from cuesuggest.export.chart import TEXT, text_width
from cuesuggest.export.chart.two_rows import lay_out_two
from cuesuggest.export.paper.two_charts import ENDINGS, two_charts
from cuesuggest.score.side_by_side import PlayedTake, TwoTakes, blocks, columns, paces, turned
from cuesuggest.score.take_words import differences, form_line, take_line
from tests.busy import HOSTILE
from tests.reading import boxes_of, pages_of, sizes_of, text_of, written
from tests.songs import make_analysis, retimed

FORM = "A4 B8 C8 B8 C8 D8 C8"  # intro, verses, choruses, a bridge; the last chorus is bars 45 to 52
NAMES = ("Intro", "Verse", "Chorus", "Verse", "Chorus", "Bridge", "Chorus")


def run(first, last):
    return list(range(first, last + 1))


def named(analysis, names=NAMES):
    pairs = zip(analysis.sections, names, strict=False)
    return replace(analysis, sections=tuple(replace(section, name=name) for section, name in pairs))


def two_takes(first, second, sources, **fields):
    """Two takes, by the bar of the first that each bar of the second is."""
    takes = [PlayedTake(f"{name}.wav", name[0] * 64, each) for name, each in (("monday", first), ("thursday", second))]
    bars = [[bar.number for bar in take.bars] for take in takes]
    assert len(sources) == len(bars[1])
    return TwoTakes(*takes, columns(*bars, sources), **fields)


def told(form, sources, **given):
    """What is said of a take of `FORM`, played as `form`."""
    return differences(two_takes(named(make_analysis(FORM)), make_analysis(form, **given), sources))


def shape(found):
    """Columns in short: "=" both, "-" the first alone, "+" the second alone."""
    return "".join({"both": "=", "first": "-", "second": "+"}[each.lasting] for each in found)


# Which bars stand under each other.

# (bars of the first, the bar of it that each bar of the second is, the columns)
SHAPES = [
    (4, [1, 2, 3, 4], "===="),
    (8, [1, 2, 3, 4, 1, 2, 3, 4, 5, 6, 7, 8], "====++++===="),
    (12, [1, 2, 3, 4, 9, 10, 11, 12], "====----===="),
    (8, [1, 2, 3, 4, None, None, None, 5, 6, 7, 8], "====+++===="),
    (12, [1, 2, 3, 4, 9, 10, 11, 12, 5, 6, 7, 8], "====----====++++"),
    (8, [None, None, 1, 2, 3, 4, 5, 6, 7, 8], "++========"),
    (8, [1, 2, 3, 4, 5, 6], "======--"),
    (8, [1, 2, 3, 4, 6, 6, 7, 8], "========"),
    (3, [], "---"),
    (3, [None, None], "--++"),
]


@pytest.mark.parametrize(("count", "sources", "expected"), SHAPES[:-1])
def test_bars_stand_under_each_other_as_far_as_their_order_allows(count, sources, expected):
    assert shape(columns(run(1, count), run(1, len(sources)), sources)) == expected


@given(st.integers(1, 30), st.lists(st.none() | st.integers(1, 30), max_size=40))
def test_every_bar_of_both_takes_stands_once_and_in_order(count, sources):
    found = columns(run(1, count), run(1, len(sources)), sources)
    assert [each.first for each in found if each.first] == run(1, count)
    assert [each.second for each in found if each.second] == run(1, len(sources))
    assert [column for block in blocks(found) for column in block.columns] == list(found)


def test_what_is_played_twice_stands_behind_what_it_repeats_and_says_which_bars_these_are():
    found = columns(run(1, 8), run(1, 12), [1, 2, 3, 4, 1, 2, 3, 4, 5, 6, 7, 8])
    assert [each.source for each in found if each.lasting == "second"] == [1, 2, 3, 4]
    assert all(each.elsewhere for each in found if each.lasting == "second")


def test_what_is_left_out_is_told_from_what_is_played_elsewhere():
    left = columns(run(1, 12), run(1, 8), [1, 2, 3, 4, 9, 10, 11, 12])
    moved = columns(run(1, 12), run(1, 12), [1, 2, 3, 4, 9, 10, 11, 12, 5, 6, 7, 8])
    assert {each.elsewhere for each in left if each.lasting == "first"} == {False}
    assert {each.elsewhere for each in moved if each.lasting == "first"} == {True}


@given(st.permutations(["a", "b", "c", "d"]))
def test_turned_around_twice_two_takes_with_parts_in_another_order_are_as_before(order):
    parts = {"a": run(1, 4), "b": run(5, 12), "c": run(13, 16), "d": run(17, 24)}
    sources = [bar for name in order for bar in parts[name]]
    two = two_takes(make_analysis("A4 B8 C4 D8"), make_analysis("A24"), sources, key=2)
    assert turned(turned(two)) == two
    assert turned(two).key == -2


# What is said.


def test_a_double_last_chorus_is_named_as_such():
    said = told("A4 B8 C8 B8 C8 D8 C8 C8", [*run(1, 52), *run(45, 52)])
    assert "The last Chorus (C3) is played twice (bars 45 to 60 of the second take)." in said
    assert "has 8 bars more." in said[0]


def test_of_choruses_that_are_alike_the_one_beside_which_it_stands_is_played_twice():
    said = told("A4 B8 C8 B8 C8 D8 C8 C8", [*run(1, 52), *run(13, 20)])
    assert "The last Chorus (C3) is played twice (bars 45 to 60 of the second take)." in said


def test_three_times_is_counted():
    said = told("A4 B8 C8 B8 C8 D8 C8 C8 C8", [*run(1, 52), *run(45, 52), *run(45, 52)])
    assert "The last Chorus (C3) is played three times (bars 45 to 68 of the second take)." in said


def test_what_comes_again_at_another_place_is_played_once_more():
    said = told("A4 B8 C8 B8 C8 C8 D8 C8", [*run(1, 28), *run(29, 36), *run(37, 44), *run(5, 12), *run(45, 52)])
    assert any(
        "The first Verse (B1) is played once more between D1 (Bridge) and the last Chorus (C3)" in each for each in said
    )


# (how the second take is played, its bars as bars of the first, what is said of it)
FORMS = [
    ("A4 B8 C8 C8 D8 C8", [*run(1, 20), *run(29, 52)], "The last Verse (B2) is left out (bars 21 to 28 of the first"),
    ("A4 B8 C8 D8 C8", [*run(1, 20), *run(37, 52)], "The last Verse (B2) and C2 (Chorus) are left out (bars 21 to 36"),
    ("A4 B8 C8 B8 C8 D8 C10", [*run(1, 52), None, None], "The last Chorus (C3) has 2 bars more (bars 53 and 54"),
    ("A4 B8 C8 B8 C8 D6 C8", [*run(1, 42), *run(45, 52)], "D1 (Bridge) has 2 bars less (bars 43 and 44 of the first"),
    ("A4 B8 C8 B8 C8 E8 D8 C8", [*run(1, 36), *[None] * 8, *run(37, 52)], "8 bars are new between C2 (Chorus) and D1"),
    (
        "A4 B8 C8 B8 C8 D4 E8 D4 C8",
        [*run(1, 40), *[None] * 8, *run(41, 52)],
        "8 bars are new inside D1 (Bridge), after",
    ),
    (
        "A4 C8 B8 B8 C8 D8 C8",
        [*run(1, 4), *run(13, 20), *run(5, 12), *run(21, 52)],
        "have changed places (bars 5 to 20",
    ),
    ("E8 A4 B8 C8 B8 C8 D8 C8", [*[None] * 8, *run(1, 52)], "8 bars are new at the start (bars 1 to 8 of the second"),
    ("A4 B8 C8 B8 C8 D8", run(1, 44), "The last Chorus (C3) is left out (bars 45 to 52 of the first take)."),
    ("A4 A4 B8 C8 B8 C8 D8 C8", [*run(1, 4), *run(1, 52)], "A1 (Intro) is played twice (bars 1 to 8 of the second"),
]


@pytest.mark.parametrize(("form", "sources", "expected"), FORMS)
def test_what_is_added_left_out_lengthened_or_swapped_is_said_in_a_sentence(form, sources, expected):
    said = told(form, sources)
    assert sum(expected in each for each in said) == 1, said
    assert len(said) == 2 - ("changed places" in expected), said  # how long it is, and this


def test_a_section_that_moves_far_is_named_with_both_of_its_places():
    said = told("A4 D8 B8 C8 B8 C8 C8", [*run(1, 4), *run(37, 44), *run(5, 36), *run(45, 52)])
    assert any(
        each.startswith("D1 (Bridge) is played between A1 (Intro) and the first Verse (B1) (bars 5 to 12")
        for each in said
    )
    assert not any("left out" in each for each in said)


def test_single_bars_may_only_be_counted_otherwise_and_are_told_together():
    said = told("A4 B9 C8 B8 C8 D8 C7", [*run(1, 12), None, *run(13, 51)])
    assert said[-1].startswith(
        "Single bars, which may only be counted in another way: the first Verse (B1) has 1 bar more"
    )
    assert said[-1].count(";") == 1


def test_where_the_bars_of_one_take_are_counted_wrongly_no_list_of_bars_is_given():
    said = told("A35", [bar for bar in run(1, 52) if bar % 3])
    assert len(said) == 2
    assert "counted in different ways" in said[1]


def test_bars_of_another_section_that_move_into_one_do_not_make_it_longer():
    said = told("A4 B8 C8 B4 C8 D4 B4 D4 C8", [*run(1, 20), *run(25, 40), *run(21, 24), *run(41, 52)])
    assert any(
        each.startswith("4 bars of the last Verse (B2) are played inside D1 (Bridge), after its bar 4") for each in said
    )


def test_where_nothing_differs_this_is_said():
    assert told(FORM, run(1, 52)) == ["Nothing differs: length, tempo, key and form are the same, bar by bar."]


def test_tempo_and_key_are_told_against_the_first_take():
    first, second = make_analysis(FORM, bpm=100), make_analysis(FORM, bpm=106)
    said = differences(two_takes(first, second, run(1, 52), key=-2))
    assert "It is 6 % faster (106 beats a minute instead of 100)." in said
    assert "It is 2 semitones lower." in said
    assert said[0].startswith("The second take is 0:07 shorter (")


def test_where_the_tempo_goes_apart_inside_the_song_is_told_by_section():
    first = named(make_analysis(FORM, bpm=100))
    second = retimed(make_analysis(FORM, bpm=100), tempos={37: 104})
    two = two_takes(first, second, run(1, 52))
    assert [(each.sections[0].name, round(each.ratio, 3)) for each in paces(two)] == [("Intro", 1.0), ("Bridge", 1.04)]
    assert [each for each in differences(two) if "tempo" in each] == [
        "The tempo goes apart inside the song: from A1 (Intro) to C2 (Chorus) as fast as the first take and from D1 "
        "(Bridge) on 4 % faster (104 beats a minute instead of 100)."
    ]


def test_takes_that_speed_up_together_do_not_go_apart():
    first, second = (retimed(make_analysis(FORM, bpm=bpm), tempos={37: 1.04 * bpm}) for bpm in (100, 106))
    assert len(paces(two_takes(first, second, run(1, 52)))) == 1


def test_what_only_one_take_has_beside_its_music_is_told_and_what_both_have_is_not():
    events = [("stop", 20, 3.0, 2.0)]
    talk = Event("talk", 0.2, 1.5, None, None, 0.9)
    first = make_analysis(FORM, events=events)
    second = make_analysis(FORM, events=[*events, ("stop", 36, 3.0, 2.0), talk])
    said = differences(two_takes(first, second, run(1, 52)))
    assert len(said) == 1
    assert said[0].startswith("Heard in the second take alone: talk before the song and a stop in bar 36 (")


def test_a_stop_is_the_same_one_where_bars_have_other_numbers():
    first = make_analysis(FORM, events=[("stop", 20, 3.0, 2.0)])
    second = make_analysis("A4 B8 B8 C8 B8 C8 D8 C8", events=[("stop", 28, 3.0, 2.0)])
    said = differences(two_takes(first, second, [*run(1, 12), *run(5, 12), *run(13, 52)]))
    assert not any("stop" in each for each in said)


def test_recordings_of_other_songs_are_no_takes():
    takes = [PlayedTake(name, name * 64, make_analysis(FORM)) for name in "ab"]
    (said,) = differences(TwoTakes(*takes, ()))
    assert said.startswith("These are not two takes of one song")


def test_a_take_says_its_tempo_its_bars_and_how_long_its_music_is():
    take = PlayedTake("one.wav", "m" * 64, named(make_analysis("A4 B8", bpm=120, start=3.0)), "one.cues.json")
    assert take_line(take) == (
        "one.wav (bars and names of one.cues.json): 120.0 beats a minute, 4/4, 12 bars, 0:26 of music from 0:03 on"
    )
    assert form_line(take) == "A1(Intro 4) B1(Verse 8)"


# How it is drawn.


def double_chorus(**fields):
    return two_takes(
        named(make_analysis(FORM)),
        named(make_analysis("A4 B8 C8 B8 C8 D8 C8 C8", bpm=90), (*NAMES, "Chorus")),
        [*run(1, 52), *run(45, 52)],
        **fields,
    )


def lines_of(chart, page=None):
    return [line for line in chart.lines if page in (None, line.page)]


def test_a_bar_stands_under_the_bar_that_it_is_and_gaps_stay_empty():
    two = double_chorus()
    chart = lay_out_two(two, 1040)
    at = {}
    for line in chart.lines:
        for bar in line.bars:
            at.setdefault((line.page, round(line.y), bar.x), []).append(bar.number)
    rows = sorted({round(line.y) for line in chart.lines})
    assert len(rows) == 2 * 2
    places = {}
    for line in chart.lines:
        side = rows.index(round(line.y)) % 2
        for bar in line.bars:
            places[side, bar.number] = rows.index(round(line.y)) // 2, bar.x
    for column in two.columns:
        if column.lasting == "both":
            assert places[0, column.first] == places[1, column.second]
        else:
            assert places[1, column.second] not in [place for (side, _), place in places.items() if side == 0]


@pytest.mark.parametrize("bars", [20, 60, 200, 400])
def test_songs_of_any_length_have_every_bar_once_on_rows_that_fit_their_page(bars):
    form = " ".join(f"{'ABC'[k % 3]}{min(8, bars - 8 * k)}" for k in range((bars + 7) // 8))
    two = two_takes(make_analysis(form), make_analysis(form), run(1, bars))
    chart = lay_out_two(two, 610, 860)
    for side in (0, 1):
        numbers = [bar.number for line in chart.lines[side::2] for bar in line.bars]
        assert numbers == run(1, bars)
    assert all(line.y >= 0 and line.y + line.height <= 860 for line in chart.lines)
    assert chart.pages == max(line.page for line in chart.lines)


def words_of(chart):
    """Every text of a chart with its box: page, left, right, baseline."""
    for words in chart.header:
        yield 1, words, words.x, words.y
    for line in chart.lines:
        for words in line.words:
            yield line.page, words, line.x + words.x, line.y + words.y
    for item in chart.legend:
        yield chart.pages, item.words, item.words.x, item.words.y


@pytest.mark.parametrize("width", [527, 610, 1040])
@settings(max_examples=20)
@given(st.lists(st.sampled_from(["same", "again", "left", "new", "late"]), min_size=7, max_size=7))
def test_no_word_stands_on_another_or_leaves_the_page_and_none_is_small(width, fates):
    first = named(make_analysis(FORM, events=[("stop", 20, 3.0, 2.0), ("hit", 20, 1.0, 1.0), ("build", 40, 1.0, 8.0)]))
    parts, late, sources = [], [], []
    for section, fate in zip(first.sections, fates, strict=True):
        bars = run(section.first_bar, section.last_bar)
        played = {"same": bars, "again": [*bars, *bars], "left": [], "new": [*bars, None, None, None], "late": []}[fate]
        sources += played
        late += bars if fate == "late" else []
        parts += [f"{section.label}{len(played)}"] if played else []
    sources += late
    parts += [f"E{len(late)}"] if late else []
    if not sources:
        return
    two = two_takes(first, named(make_analysis(" ".join(parts))), sources)
    found = list(words_of(lay_out_two(two, width, 860)))
    boxes = []
    for page, words, x, y in found:
        wide = text_width(words.text, words.size, bold=words.bold)
        assert words.size >= TEXT
        assert x >= 0
        assert x + wide <= width + 0.1, words
        boxes.append((page, x, x + wide, y, words.text))
    for (page, left, right, y, text), (other, low, high, base, more) in combinations(boxes, 2):
        apart = page != other or abs(y - base) >= 10 or right <= low + 0.1 or high <= left + 0.1
        assert apart, (text, more)


def test_each_section_has_its_tempo_and_its_name_in_both_takes():
    chart = lay_out_two(double_chorus(), 1040)
    said = [words.text for line in chart.lines for words in line.words]
    assert said.count("96/min") == 7
    assert said.count("90/min") == 8
    assert said.count("Chorus") == 3 + 4
    assert said.count("once more") == 1


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_on_paper_no_text_of_the_charts_is_smaller_than_9_5_points_and_nothing_is_cut(paper):
    data = two_charts(double_chorus(), ".pdf", Options(date="2031-05-04", program="1", paper=paper))
    sizes = sizes_of(data)
    foot = 3  # lines, each smaller: which recordings these are
    for page, (wide, high) in enumerate(sizes):
        small = [text for text, size in written(data, page) if size < 9.5]
        assert len([text for text in small if not text.startswith("page ")]) <= foot
        for left, bottom, right, top in boxes_of(data, page):
            assert 0 < left < right < wide
            assert 0 < bottom < top < high
    text = text_of(data)
    assert "The last Chorus (C3) is played twice (bars 45 to 60 of the second take)." in " ".join(text.split())
    assert "first" in text
    assert "second" in text


def test_the_drawing_and_the_picture_hold_what_the_paper_holds():
    two = double_chorus()
    root = ElementTree.fromstring(two_charts(two, ".svg", Options()))
    said = [each.text for each in root.iter("{http://www.w3.org/2000/svg}text")]
    chart = lay_out_two(two, 1040)
    assert said == [words.text for _, words, _, _ in words_of(chart)]
    image = Image.open(io.BytesIO(two_charts(two, ".png", Options())))
    assert image.width > 1000
    assert len(image.getcolors(256)) > 2


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize("ending", ENDINGS)
def test_any_name_can_be_drawn(kind, ending):
    text = HOSTILE[kind]
    analysis = named(make_analysis("A8 B8"), (text, text))
    takes = [PlayedTake(f"{text}.wav", "a" * 64, analysis) for _ in range(2)]
    data = two_charts(TwoTakes(*takes, columns(run(1, 16), run(1, 16), run(1, 16))), ending, Options())
    if ending == ".svg":
        ElementTree.fromstring(data)
    if ending == ".pdf":
        assert len(pages_of(data)) == 1
