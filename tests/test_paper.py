"""The live page, the list and the workbook: what stands on paper, read back by pypdf, pdfium and openpyxl."""

from __future__ import annotations

import io
import re
import unicodedata
from dataclasses import replace
from html.parser import HTMLParser

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import FORMATS, Options, export
from cuesuggest.export.common.timing import RATES, Timing
from cuesuggest.export.data.csv_table import COLUMNS, rows
from cuesuggest.export.paper.lines import lines, placed
from cuesuggest.export.paper.list_table import columns
from cuesuggest.export.paper.live import MOST_ACTIONS, live_page
from cuesuggest.export.paper.typeface import BOLD, Typeface
from cuesuggest.score.records import Place
from tests.busy import HOSTILE, busy_song
from tests.reading import boxes_of, columns_of, pages_of, sizes_of, text_of, written
from tests.songs import HOME, LIFT, make_cue, make_song, place_at

PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}


def one(song, name, options=None):
    (content,) = export(song, name, options).values()
    return content


def packed(text):
    """A text without its spaces and line breaks, in the forms that a reader gives back."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text))


class Texts(HTMLParser):
    """Collects the tags and the visible text of a page."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.text, self._skip = [], [], False
        self.feed(page.decode())

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._skip = tag in ("style", "script", "title")

    def handle_endtag(self, tag):
        self._skip = False

    def handle_data(self, data):
        if not self._skip:
            self.text.append(data)


# The live page.


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("count", [0, 1, 12, 25, 40, 60])
def test_the_live_page_is_one_upright_side_however_many_cues(count, paper):
    data = one(busy_song(count, count), "page.pdf", Options(paper=paper))
    assert sizes_of(data) == [pytest.approx(PAPERS[paper], abs=0.1)]
    wide, high = PAPERS[paper]
    # Printers of the office leave 6 mm white at most.
    assert all(
        left > 17 and right < wide - 17 and low > 17 and up < high - 17 for left, low, right, up in boxes_of(data)
    )


@pytest.mark.parametrize("count", [1, 25, 60])
def test_what_the_hand_does_and_the_sections_are_14_points_high_or_more(count):
    song = busy_song(count, count)
    sizes: dict[str, float] = {}
    for text, size in written(one(song, "page.pdf")):
        sizes[text] = max(size, sizes.get(text, 0.0))
    page = live_page(song, Options())
    for act in page.acts:
        assert any(size >= 14 for text, size in sizes.items() if act.text.startswith(text)), act.text
    for step in page.order:
        assert sizes[step.label] >= 14


def test_more_than_25_actions_go_to_the_list_and_the_page_says_which():
    song = busy_song(60, 3)
    page = live_page(song, Options())
    shown = [act.line.cue.number for act in page.acts]
    assert len(shown) == MOST_ACTIONS
    told = next(remark for remark in page.remarks if remark.startswith("Only on the list"))
    gone = {float(number) for number in re.findall(r"\d+(?:\.\d+)?", told)}
    assert gone | set(shown) == {cue.number for cue in song.cues}
    assert not gone & set(shown)
    # Coming in and going out stay the longest.
    kinds = {cue.number: cue.kind for cue in song.cues}
    if any(kinds[number] in ("fade-in", "fade-out", "cut-in") for number in gone):
        assert not any(kinds[number] in ("speed", "ramp") for number in shown)


def test_every_action_of_the_page_is_on_the_paper_or_named_as_left_to_the_list():
    for count in (12, 25, 60):
        song = busy_song(count, count)
        text = packed(text_of(one(song, "page.pdf")))
        told = re.search(r"Onlyonthelist:([\d.,]+)\.", text)
        gone = set(told.group(1).split(",")) if told else set()
        for act in live_page(song, Options()).acts:
            assert f"{act.line.cue.number:g}" in gone or packed(act.text) in text


def test_the_head_says_order_home_and_the_way_out_and_the_foot_what_to_do_otherwise():
    song = make_song("A8 B8 A8 B8")
    text = text_of(one(song, "page.pdf"))
    for part in ("A1", "B1", "A2", "B2", "HOME", "ALL OUT", "Slow drift, lamp, up to 80 %", "A and B down"):
        assert part in text
    for when in ("lost", "comes again", "skipped", "not set", "ends early", "track stops", "home, by hand"):
        assert when in text


def test_a_section_that_begins_with_an_entrance_is_marked_as_a_safe_place_to_come_back():
    steps = {step.label: step.safe for step in live_page(make_song("A8 B8 A8"), Options()).order}
    assert steps == {"A1": True, "B1": True, "A2": False}


def test_passes_that_are_played_alike_share_a_row_and_the_last_row_is_for_every_further_one():
    song = make_song("A8 B8 A8 B8 A8 B8")
    shots = [
        make_cue(n, "one-shot", place_at(song.analysis, bar), look="lift") for n, bar in ((1, 9), (2, 25), (3, 45))
    ]
    (_, block) = live_page(song.replaced(cues=shots), Options()).blocks
    assert [row.tag for row in block.rows] == ["B1, B2", "B3 and again"]
    assert [act.where for act in block.rows[1].acts] == ["bar 5"]


def test_after_z_letters_are_doubled_and_stay_kinds_of_their_own():
    song = make_song("A8 B8 A'8")
    labels = {"B": "AA"}
    sections = [replace(each, label=labels.get(each.label, each.label)) for each in song.analysis.sections]
    song = song.replaced(analysis=replace(song.analysis, sections=tuple(sections)), cues=())
    assert [block.letter for block in live_page(song, Options()).blocks] == ["A", "AA"]


def test_a_block_says_its_first_words_or_how_it_sounds():
    song = make_song("A8 B8", drive={"A": 0.2, "B": 0.9}, events=[("build", 7, 1.0, 8.0)])
    signs = [block.sign for block in live_page(song, Options()).blocks]
    assert signs == ["quiet", "full, out of a build"]
    sections = tuple(replace(each, first_words="All the tin") for each in song.analysis.sections)
    song = song.replaced(analysis=replace(song.analysis, sections=sections))
    assert live_page(song, Options()).blocks[0].sign == "“All the tin”"


def test_a_vamp_says_what_ends_it():
    song = make_song("A8 B8")
    sections = (replace(song.analysis.sections[0], vamp="singer raises a hand"), song.analysis.sections[1])
    song = song.replaced(analysis=replace(song.analysis, sections=sections))
    assert "round and round until singer raises a hand" in " ".join(text_of(one(song, "page.pdf")).split())
    assert "round and round until singer raises a hand" in one(song, "run").decode()


# (bar, beat, words); the song is A8 B8
PLACES = [
    (9, 1.0, "bar 1"),
    (12, 3.0, "bar 4 on 3"),
    (16, 1.0, "last bar"),
    (13, 1.86, "bar 5 before 2"),
    (13, 2.5, "bar 5 on 2½"),
    (13, 2.2, "bar 5 after 2"),
]


@pytest.mark.parametrize(("bar", "beat", "words"), PLACES)
def test_a_place_is_counted_inside_its_section(bar, beat, words):
    song = make_song("A8 B8")
    song = song.replaced(cues=[make_cue(1, "one-shot", place_at(song.analysis, bar, beat), look="lift")])
    (act,) = live_page(song, Options()).acts
    assert placed(act.line) == words == act.where


def test_what_is_set_up_at_the_first_sample_is_before_the_song():
    song = make_song("A8 B8", start=0.0)
    recall = make_cue(0.5, "recall", Place(0.0), look="home", side="A")
    song = song.replaced(cues=[recall, *song.cues])
    page = live_page(song, Options())
    assert [(act.where, act.text) for act in page.before] == [("before", "set A Slow drift for part A")]
    assert "pause" not in text_of(one(song, "page.pdf"))
    text = text_of(one(song, "list.pdf"))
    assert "before the song" in text
    assert "between bars" not in text
    tablet = one(song, "run").decode()
    assert "before the song" in tablet
    assert "A1 pause" not in tablet


def test_a_cue_in_a_pause_stands_with_the_section_around_it():
    song = make_song("A8 B8")
    bars = song.analysis.bars
    fifth = next(bar for bar in bars if bar.number == 5)
    after = next(section.end for section in song.analysis.sections if section.last_bar == 16)
    cues = [make_cue(1, "cut-out", Place(fifth.start + 0.5)), make_cue(2, "cut-out", Place(after + 0.5))]
    without = replace(song.analysis, bars=tuple(bar for bar in bars if bar is not fifth))
    inside, outside = lines(song.replaced(analysis=without, cues=cues), Options())
    assert (inside.section.mark, placed(inside)) == ("A1", "pause")
    assert (outside.section, placed(outside)) == (None, "before")


def test_a_fade_that_lands_in_the_next_part_is_played_where_the_hand_begins():
    song = make_song("A8 B8", bpm=60)
    place = place_at(song.analysis, 9)
    ramp = make_cue(1, "ramp", place, side="A", level=70, anchor="lands-on", up_beats=8.0, up_seconds=8.0)
    shot = make_cue(2, "one-shot", place_at(song.analysis, 8), look="lift")
    song = song.replaced(cues=[ramp, shot])
    page = live_page(song, Options())
    assert [(act.where, act.text) for act in page.blocks[0].rows[0].acts] == [
        ("bar 7", "A to 70 in 8 beats into part B"),
        ("last bar", "Wide fans"),
    ]
    assert page.blocks[1].rows[0].acts == ()
    assert dict(page.rules)["skipped"] == "leave out what is “into” it; the next part's light counts"
    assert "A1, bar 7 of 8" in text_of(one(song, "list.pdf"))


# The list.


def test_forty_cues_are_two_pages_of_list_at_most_with_the_head_on_each():
    for paper in PAPERS:
        pages = pages_of(one(busy_song(40, 8), "list.pdf", Options(paper=paper)))
        assert len(pages) <= 2
        for number, page in enumerate(pages, 1):
            assert f"page {number}/{len(pages)}" in page
            for name in columns(Options()):
                assert name in page


def test_the_list_has_every_cue_with_place_clock_and_hand():
    song = make_song("A8 B8 A8")
    text = text_of(one(song, "list.pdf"))
    for part in ("B1, bar 1 of 8", "9:1", "0:22.0", "fader to 80 %", "80 %", "Wide fans", "2 to 3", "with it"):
        assert part in text
    assert "2 bars, 5.0 s" in text


def test_the_list_has_timecode_where_it_is_asked_for():
    song, timing = make_song("A8 B8 A8"), Timing(1.5, RATES["29.97df"], "00:59:59;28")
    asked = Options(timing=timing, with_timecode=True)
    wanted = [timing.label(cue.place.seconds) for cue in song.cues]
    text = text_of(one(song, "list.pdf", asked))
    assert "timecode" in text.split()
    assert [word for word in text.split() if word.count(":") == 2][1:] == wanted
    assert "Timecode at 29.97df frames a second, 00:59:59;28 at second 0 of the show." in text
    page = Texts(one(song, "list.html", asked))
    assert [each for each in page.text if each in wanted] == wanted
    assert not any(word in text_of(one(song, "list.pdf")) for word in ("timecode", "01:00:02:00"))


def test_cues_at_the_same_moment_are_with_each_other():
    song = make_song("A8")
    cues = [make_cue(n, "one-shot", place_at(song.analysis, 3), look="lift") for n in (1, 2)]
    assert "together" in text_of(one(song.replaced(cues=cues), "list.pdf")).split("\n")


# What others' papers say.


def crew_song():
    song = make_song("A8 B8 A8")
    call = make_cue(2.5, "call", place_at(song.analysis, 8), who="house light", note="house to half")
    return song.replaced(cues=[*song.cues, call])


def test_each_person_gets_a_page_with_the_others_in_grey():
    song = crew_song()
    mine = {act.text: act.line.mine for act in live_page(song, Options(who="house light")).acts}
    assert mine["house to half"]
    assert sum(mine.values()) == 1
    page = Texts(one(song, "list.html", Options(who="house light")))
    rows_ = [attributes.get("class", "") for tag, attributes in page.tags if tag == "tr"][1:]
    assert ["other" in row for row in rows_] == [True, True, False, True, True]


def test_a_person_without_cues_is_told_who_has_some():
    with pytest.raises(CuesuggestError, match=r"'Nadia'.*'operator', 'house light'.*--who"):
        export(crew_song(), "page", Options(who="Nadia"))


def test_the_volunteers_version_has_no_lasers_no_ramps_and_no_one_shots():
    song = make_song("A8 B8 A8")
    laser = replace(LIFT, source="laser")
    ramp = make_cue(3.2, "ramp", place_at(song.analysis, 11), look="home", side="A", level=70)
    song = song.replaced(looks=(HOME, laser), cues=[*song.cues, ramp])
    page = live_page(song, Options(plain=True))
    assert {act.line.cue.kind for act in page.acts} == {"fade-in", "fade-out"}
    assert "Volunteer's version: light comes in and goes out; what else there is, others play." in page.remarks


NOTHING = "In this song you have nothing to do: leave every fader as it is."


def all_laser():
    song = make_song("A8 B8 A'8")
    return song.replaced(looks=tuple(replace(look, source="laser") for look in song.looks))


@pytest.mark.parametrize("name", ["page.pdf", "list.pdf"])
def test_where_a_volunteer_has_nothing_to_do_one_large_sentence_says_so(name):
    data = one(all_laser(), name, Options(plain=True))
    (text,) = pages_of(data)
    assert packed(NOTHING) in packed(text)
    assert max(size for _, size in written(data)) >= 34
    assert "dark" not in text
    assert "varied" not in text
    assert len(text.split("\n")) < 14


@pytest.mark.parametrize("name", ["page.html", "list.html", "run"])
def test_where_a_volunteer_has_nothing_to_do_the_browsers_pages_say_so(name):
    assert NOTHING in one(all_laser(), name, Options(plain=True)).decode()


@pytest.mark.parametrize("song", ["all laser", "some laser", "no laser"])
def test_a_volunteers_papers_do_not_speak_of_lasers(song):
    song = {
        "all laser": all_laser(),
        "some laser": make_song("A8 B8").replaced(looks=(replace(HOME, source="laser"), LIFT)),
        "no laser": make_song("A8 B8"),
    }[song]
    options = Options(plain=True)
    for name in ("page.pdf", "list.pdf"):
        assert "laser" not in text_of(one(song, name, options)).casefold()
    for name in ("page.html", "list.html", "run"):
        assert b"laser" not in one(song, name, options).lower()


def test_marks_that_a_page_does_not_use_are_not_explained_on_it():
    song = make_song("A8 B8")
    shot = make_cue(1, "cut-in", place_at(song.analysis, 4), look="lift", side="B", level=50)
    page = live_page(song.replaced(cues=[shot]), Options())
    assert "varied" not in page.about
    rules = dict(page.rules)
    assert rules["lost"] == "home"
    assert rules["skipped"] == "the next part's light counts"
    assert rules["comes again"] == "its row once more"
    assert "not set" not in rules
    page = live_page(song, Options())
    assert "IN" in dict(page.rules)["lost"]


def test_a_varied_part_is_explained_above_the_order_in_which_it_stands():
    song = make_song("A8 B8 A8 B'8")
    lines_ = text_of(one(song, "page.pdf")).split("\n")
    (told,) = [index for index, line in enumerate(lines_) if "B' is a varied B" in line]
    assert told < lines_.index("B'2")
    assert "B' is a varied B" in one(song, "page.html").decode().replace("&#39;", "'")
    assert "B' is a varied B." in text_of(one(song, "list.pdf"))


def test_within_a_part_another_pass_of_it_is_told_apart():
    song = make_song("A8 B8 B8 A8 B8")
    looks = {"look": "lift", "side": "B"}
    cues = [
        make_cue(1, "recall", place_at(song.analysis, 13), **looks),
        make_cue(2, "cut-in", place_at(song.analysis, 17), level=70, **looks),
        make_cue(3, "cut-out", place_at(song.analysis, 24), side="B"),
        make_cue(4, "recall", place_at(song.analysis, 28), **looks),
        make_cue(5, "cut-in", place_at(song.analysis, 33), level=70, **looks),
    ]
    texts = [act.text for act in live_page(song.replaced(cues=cues), Options()).acts]
    assert "set B Wide fans for the next B" in texts
    assert "B out before part A" in texts
    assert "set B Wide fans for part B" in texts
    first = live_page(song.replaced(cues=[cues[0], cues[4]]), Options())
    assert next(act.text for act in first.acts) == "set B Wide fans for B3"


def test_the_landmark_gives_a_check_in_the_first_bars_and_moves_every_clock():
    song = make_song("A8 B8")
    options = Options(timing=Timing(offset=10.5), landmark="B1 bar 1 = 0:32.5")
    for name in ("page.pdf", "list.pdf"):
        assert "Check: bar 1 of A1 at 0:12.5, bar 5 at 0:22.5, set by B1 bar 1." in text_of(one(song, name, options))
    assert "0:32.5" in text_of(one(song, "list.pdf", options))
    assert "0:22.0" not in text_of(one(song, "list.pdf", options))


def test_marks_of_a_new_edition_stand_on_page_list_and_tablet():
    song = make_song("A8 B8 A8")
    options = Options(changed=frozenset({"cut-in/3"}), removed=(7.0, 8.5))
    for name in ("page.pdf", "list.pdf"):
        text = text_of(one(song, name, options))
        assert "3*" in text
        assert "Gone since the last print: 7, 8.5." in text
    assert '"3*"' in one(song, "run", options).decode()


def test_every_paper_says_song_take_date_version_offset_and_caution():
    options = Options(date="2031-05-04", program="9.9.9", timing=Timing(offset=-1.25))
    for name in ("page.pdf", "list.pdf", "chart.pdf"):
        text = packed(text_of(one(make_song(), name, options)))
        for part in ("Paper Boats", "5e5e5e5e5e5e", "2031-05-04", "9.9.9", "1.25 s earlier", "check every cue"):
            assert packed(part) in text


# Any text.


@settings(max_examples=15, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=80), st.integers(0, 10**6))
def test_any_text_goes_on_paper_and_nothing_leaves_the_sheet(text, seed):
    song = busy_song(5, seed, text=text)
    for name in ("page.pdf", "list.pdf"):
        data = one(song, name)
        wide, high = sizes_of(data)[0]
        assert all(
            left > -1 and right < wide + 1 and low > -1 and up < high + 1 for left, low, right, up in boxes_of(data)
        )


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_words_come_back_from_the_list(kind):
    text = HOSTILE[kind]
    back = packed(text_of(one(busy_song(3, 1, text=text), "list.pdf")))
    if kind in ("umlauts", "quotes", "markup", "formula", "long", "one long word"):
        assert packed(text) in back
    if kind == "hebrew":
        assert "שלום" in back
    if kind == "arabic":
        assert "سلام" in back
    if kind in ("emoji", "chinese"):
        assert packed(re.sub("[\u200d\ufe0f]", "", text)) in back
    if kind == "line breaks":
        assert "onetwothreefourfive" in back


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize("name", ["page.html", "list.html", "run"])
def test_hostile_words_are_text_in_the_browsers_pages(name, kind):
    page = Texts(one(busy_song(4, 2, text=HOSTILE[kind]), name))
    assert not any(name_.startswith("on") for _, attributes in page.tags for name_ in attributes)
    assert [tag for tag, _ in page.tags].count("script") == (2 if name == "run" else 0)
    assert "alert" not in "".join(tag for tag, _ in page.tags)
    if kind == "markup" and name != "run":
        assert HOSTILE["markup"] in "".join(page.text)
    for tag, attributes in page.tags:
        assert tag not in {"img", "iframe", "link", "object", "form", "base", "a"}
        assert not {"src", "href"} & attributes.keys()


@pytest.mark.parametrize("name", ["page.html", "list.html", "run"])
def test_the_browsers_pages_may_fetch_nothing(name):
    page = Texts(one(make_song(), name))
    policies = [each["content"] for _, each in page.tags if each.get("http-equiv") == "Content-Security-Policy"]
    assert len(policies) == 1
    assert policies[0].startswith("default-src 'none';")
    assert "http" not in policies[0]


def test_right_to_left_words_are_drawn_in_order_with_their_brackets_turned():
    to_print = Typeface().to_print
    assert to_print("שלום (abc)") == "(abc) םולש"
    # Lam and alef are one; the letters before them join.
    assert to_print("سلا") == "\ufefc\ufeb3"
    # A vowel between the two is kept and does not part them.
    assert to_print("ل\u064eا") == "\u064e\ufefb"
    assert to_print("👩‍👩‍👧") == "□"
    assert to_print("你好") == "□"


@given(st.text(max_size=120), st.floats(30, 300))
def test_broken_lines_fit_and_lose_no_word(text, room):
    face = Typeface()
    lines = face.whole_lines(text, 14.0, room, BOLD)
    assert all(face.width(line, 14.0, BOLD) <= room or len(line) <= 2 for line in lines)


def test_broken_lines_keep_all_letters():
    words = "Donaudampfschifffahrtsgesellschaft und noch etwas"
    assert packed("".join(Typeface().whole_lines(words, 14.0, 60.0))) == packed(words)


# The workbook.


def test_the_workbook_reads_back_as_the_table():
    song = make_song("A8 B8 A8")
    book = openpyxl.load_workbook(io.BytesIO(one(song, "xlsx")))
    sheet = book["cues"]
    assert [cell.value for cell in sheet[1]] == list(COLUMNS)
    for row, expected in zip(sheet.iter_rows(min_row=2), rows(song, Options()), strict=True):
        values = dict(zip(COLUMNS, (cell.value for cell in row), strict=True))
        assert values["number"] == expected.cue.number
        assert values["seconds"] == pytest.approx(expected.seconds)
        assert values["hand"] == expected.hand
        assert values["operator confirms"] == "yes"
    assert book["about"]["A1"].value == "Paper Boats"


@pytest.mark.parametrize("kind", HOSTILE)
def test_no_text_in_the_workbook_is_a_formula_or_a_link(kind):
    song = busy_song(3, 1, text=HOSTILE[kind])
    book = openpyxl.load_workbook(io.BytesIO(one(song, "xlsx")))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert all(cell.hyperlink is None for cell in cells)
    if kind in ("formula", "hebrew", "emoji", "quotes", "markup", "long"):
        assert HOSTILE[kind] in {cell.value for cell in cells}


def test_the_same_song_gives_the_same_files():
    song, options = busy_song(9, 9), Options(date="2031-05-04")
    names = "page,list,run,chart,xlsx"
    assert export(song, names, options) == export(song, names, options)


@pytest.mark.parametrize("name", ["page", "list", "run", "chart", "xlsx"])
@pytest.mark.parametrize("form", ["", "A1", "A8"])
def test_songs_without_cues_or_music_are_written_too(name, form):
    song = make_song(form)
    for content in export(song.replaced(cues=()), name).values():
        assert len(content) > 500
    assert name in FORMATS


def test_where_a_part_goes_on_in_the_next_column_its_heading_is_said_again():
    data = one(busy_song(40, 3), "page.pdf")
    assert text_of(data).count("B3 and again, continued") == 1


# What stands in what order in a column: a heading for a letter, one for passes, the light, a place of an action.
_PLACE = re.compile(r"(?:bar \d+|last bar|pause)\b.*")
_PASSES = re.compile(r"[A-Z]'?\d+(?:, [A-Z]'?\d+)*(?: and again)?(?:: .*|, continued)")


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 60), st.integers(1, 30), st.integers(0, 10**6))
def test_no_action_stands_at_the_head_of_a_column_without_its_heading(count, parts, seed):
    form = " ".join(f"{'ABCDEFGH'[(seed // 7 + 3 * k * k) % min(8, parts)]}8" for k in range(parts))
    data = one(busy_song(min(count, 24 * parts), seed, form=form), "page.pdf")
    assert len(sizes_of(data)) == 1
    columns = columns_of(data)
    for texts in columns:
        # Whatever begins a column is a heading, and every heading has under it what it heads.
        assert not _PLACE.fullmatch(texts[0]), texts
        assert not texts[0].startswith("light:"), texts
        assert not texts[-1].startswith("§"), texts
        assert not _PASSES.fullmatch(texts[-1]), texts
