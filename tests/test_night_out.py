"""A night on the command line, on paper, on a tablet, on a desk, and in the list of songs of the page."""

import csv
import io
import re
import shlex
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import mido
import pytest
from openpyxl import load_workbook
from playwright.sync_api import expect
from pypdf import PdfReader

from cuesuggest.export import Options, export
from cuesuggest.export.common.desk_map import DeskMap, LookMap, SideMap
from cuesuggest.export.data.workbook import several
from cuesuggest.export.paper.typeface import BOLD, typeface_for
from cuesuggest.night.as_played import as_played, options_of
from cuesuggest.night.desk_numbers import over_the_night
from cuesuggest.night.one_table import one_table
from cuesuggest.night.shared_looks import shared
from cuesuggest.night.song_facts import facts_of
from cuesuggest.night.sound_check import Wanted
from cuesuggest.night.the_set import documents_of, new_set_list, open_night
from cuesuggest.night.whole_night import change_night
from cuesuggest.rules import load_rig
from cuesuggest.rules.settings.set_list import BetweenLook
from cuesuggest.rules.settings.settings_file import load_set_list
from cuesuggest.song import SetCue, Song, change_all
from tests.nights import SONGS, night_of_six
from tests.reviewing import barriers, declared, hosting, serving, unlike
from tests.test_sound_check import content

ROOT = Path(__file__).parent.parent
TYPES = ROOT / "cuesuggest" / "review" / "static" / "content.d.ts"


@pytest.fixture
def written(friday, run):
    """The night in a folder, in several formats."""
    folder = friday.parent / "out"
    code, _, err = run("night", friday, "--to", "page,list,run,csv,xlsx,midi", "-o", folder)
    assert (code, err) == (0, "")
    return folder


def test_a_new_night_names_the_documents_of_a_folder_and_is_a_night(friday, run):
    folder = friday.parent
    friday.unlink()
    code, out, _ = run("night", "--new", folder)
    assert (code, out.strip()) == (0, f"Written: {folder / 'night.toml'}")
    found = load_set_list(folder / "night.toml")
    names = sorted(path.name for path in folder.glob("*.cues.json"))
    assert [song.document for song in found.songs] == names
    assert found.title == "night"
    code, out, _ = run("night", folder / "night.toml")
    assert code == 0
    assert "  1  Lantern Street: cues 101 to " in out
    code, _, err = run("night", "--new", folder)
    assert (code, "there already" in err) == (2, True)


def test_every_line_of_a_new_night_may_be_uncommented():
    text = new_set_list('The "Lantern"', [("boats.cues.json", "Paper\nBoats"), ('a"b.cues.json', "Roof")])
    tomllib.loads(text)
    own = re.sub(r"^# (?=(buttons|biggest|\[walk_in\]|look|level|seconds)\b|\[walk_in\])", "", text, flags=re.MULTILINE)
    found = tomllib.loads(own)
    assert (found["title"], found["buttons"], found["walk_in"]["level"]) == ('The "Lantern"', 12, 20)
    assert [song["document"] for song in found["songs"]] == ["boats.cues.json", 'a"b.cues.json']


def test_a_folder_without_documents_is_told_what_to_do(run, tmp_path):
    (tmp_path / "a.wav").write_bytes(b"")
    assert "Draft its songs first: cuesuggest suggest" in run("night", "--new", tmp_path)[2]
    assert "is no folder" in run("night", "--new", tmp_path / "a.wav")[2]
    assert "Name a night (NIGHT.toml)" in run("night")[2]
    (tmp_path / "n.toml").write_text('[[songs]]\ndocument = "gone.cues.json"\n')
    code, _, err = run("night", tmp_path / "n.toml")
    assert code == 2
    assert "gone.cues.json" in err


def test_the_plan_says_song_by_song_what_lies_between_and_which_looks_are_built(friday, run):
    code, out, _ = run("night", friday, columns=90)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 90
    for number, title in enumerate(SONGS, 1):
        assert f"  {number}  {title}: cues {number}01 to {number}" in out
    assert "   - segue: Whatever is up: out over 2 s." in out
    assert "Looks to build, the smallest first\n  Home: button 1, songs 1 to 6;" in out


def test_the_night_is_one_file_of_an_overview_and_a_live_page_for_each_song(written):
    pages = [page.extract_text() for page in PdfReader(written / "friday.page.pdf").pages]
    overview, songs = pages[:-6], pages[-6:]
    told = " ".join(overview)
    for number, title in enumerate(SONGS, 1):
        assert title in told
        assert songs[number - 1].startswith(f"{number}. {title}")
        assert f"page {len(overview) + number}/{len(pages)}" in songs[number - 1]
    assert "Friday at the Lantern" in overview[0]
    assert "Biggest moments: 1 Lantern Street, B4: Opening fan" in told.replace("\n", " ")
    assert "Slow wave [2]" in songs[0]
    assert "Before: walk-in:" in songs[0]
    assert "Before:" not in songs[1]
    assert "After: segue:" in songs[1]


def test_the_foot_of_each_page_speaks_of_its_own_song(written):
    pages = [page.extract_text() for page in PdfReader(written / "friday.page.pdf").pages]
    for title, page in zip(SONGS, pages[-6:], strict=True):
        assert re.search(rf"\d\. {title}; take 5e5e5e5e5e5e; ", page)
    assert "take" not in pages[0]


def test_the_table_of_the_night_has_its_numbers_and_the_documents_have_their_own(written, friday):
    rows = list(csv.DictReader(io.StringIO((written / "friday.cues.csv").read_text(encoding="utf-8"))))
    for number, title in enumerate(SONGS, 1):
        song = Song.load(friday.parent / f"{title.lower().replace(' ', '-')}.cues.json")
        own = [float(row["number"]) for row in rows if (row["song"], row["title"]) == (str(number), title)]
        assert own == sorted(100 * number + cue.number for cue in song.cues)
        assert song.numbers_frozen
    assert [row["song"] for row in rows] == sorted(row["song"] for row in rows)


def test_the_workbook_of_the_night_has_a_sheet_for_each_song(written):
    book = load_workbook(written / "friday.cues.xlsx")
    assert book.sheetnames == [*(f"{k}. {title}" for k, title in enumerate(SONGS, 1)), "about"]
    for number in range(1, 7):
        sheet = book.worksheets[number - 1]
        assert sheet["A1"].value == "number"
        assert sheet["A2"].value == 100 * number + 1


def test_titles_that_no_sheet_may_have_are_sheets_all_the_same(friday):
    song = open_night(friday).songs[0]
    titles = ("a/b:[c]*?", "x" * 60, "X" * 60, "'it's '", "About", "")
    made = several("Odd", [(song.replaced(title=title), Options()) for title in titles])
    assert load_workbook(io.BytesIO(made)).sheetnames == [
        "a b  c",
        "x" * 31,
        f"3 {'X' * 29}",
        "it's",
        "5 About",
        "6",
        "about",
    ]


def test_the_lists_of_the_night_are_one_file(written):
    pages = [page.extract_text() for page in PdfReader(written / "friday.list.pdf").pages]
    for number, title in enumerate(SONGS, 1):
        own = [page for page in pages if page.startswith(f"{number}. {title}")]
        assert own
        assert "page 1/" in own[0]
        assert f"{number}01" in own[0]


def test_a_title_that_a_spreadsheet_would_run_is_kept_from_it():
    table = one_table([(1, "=cmd()", b'number,note\r\n1,"two\r\nlines"\r\n'), (2, "Roof", b"number,note\r\n")])
    assert list(csv.reader(io.StringIO(table.decode(), newline=""))) == [
        ["song", "title", "number", "note"],
        ["1", "'=cmd()", "1", "two\r\nlines"],
    ]


def test_writing_a_night_changes_no_decision(friday, run):
    def decisions():
        return [
            {**content(Song.load(path)), "numbers_frozen": None, "printed": None}
            for path in sorted(friday.parent.glob("*.cues.json"))
        ]

    before = decisions()
    run("night", friday, "--to", "page,run,csv", "-o", friday.parent / "out")
    assert decisions() == before


def test_files_that_are_there_are_kept_unless_they_may_be_replaced(written, friday, run):
    code, _, err = run("night", friday, "--to", "page", "-o", written)
    assert (code, "there already" in err) == (2, True)
    assert run("night", friday, "--to", "page", "-o", written, "--force")[0] == 0


def test_a_look_that_songs_share_has_one_note_on_the_desk_and_a_side_one_channel(friday):
    opened = open_night(friday)
    plan = opened.plan()
    found = over_the_night(DeskMap(), plan, ["A", "B", "A"])
    notes = [each.note for each in found.looks.values()]
    assert notes == list(range(1, len(plan.looks) + 2))
    assert [(side.midi_channel, side.controller, side.channels) for side in found.sides.values()] == [
        (1, 1, (1,)),
        (2, 2, (2,)),
    ]
    given = DeskMap(looks={"lift-1": LookMap(note=2)}, sides={"B": SideMap(midi_channel=1, channels=(1, 2))})
    found = over_the_night(given, plan, ["A", "B"])
    assert found.looks["lift-1"].note == 2
    assert len({each.note for each in found.looks.values()}) == len(found.looks)
    assert (found.sides["A"].midi_channel, found.sides["A"].channels) == (2, (3,))


def test_the_cues_in_a_sequencer_have_the_numbers_of_the_night(written):
    for number, title in enumerate(SONGS, 1):
        song = mido.MidiFile(written / f"{number:02d} {title.lower().replace(' ', '-')}.mid")
        words = [each.text for track in song.tracks for each in track if each.type == "cue_marker"]
        assert any(re.search(rf"\b{number}0[1-9]\b", each) for each in words)


def test_on_a_tablet_what_lies_between_songs_is_done_by_touch(written, chromium):
    context = chromium.new_context(viewport={"width": 1180, "height": 820}, has_touch=True, offline=True)
    page = context.new_page()
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.clock.install(time=0)
    page.goto((written / "friday.run.html").as_uri())
    page.clock.pause_at(1000)

    def go():
        page.clock.run_for(300)
        page.tap("#go")

    expect(page.locator("#where")).to_have_text("next: walk-in")
    expect(page.locator("#what")).to_have_text("Home set up on side B, then up to 20 % over 8 s.")
    for _ in range(3):
        go()
    expect(page.locator("#where")).to_have_text("next: 101 before the song")
    page.locator("#parts button").first.tap()
    expect(page.locator("#where")).to_have_text("next: 102 A1 bar 1")
    for _ in range(40):
        if page.locator("#where").text_content() == "next:   applause hold":
            break
        go()
    expect(page.locator("#what")).to_have_text("Whatever is up: out over 3 s.")
    for _ in range(4):
        go()
    expect(page.locator("#touch")).to_have_text("Touch here for the next song: 2. Tin Roof.")
    assert complaints == []
    context.close()


def test_the_page_shows_the_night_with_numbers_energy_looks_and_what_is_open(friday, opened):
    with hosting(*documents_of(friday), night=friday) as server:
        listed = server.listed()
        interfaces = declared(TYPES)
        assert unlike(listed, "SongList", interfaces) == []
        assert [song["cues"].partition(" ")[0] for song in listed["night"]["songs"]] == [f"{k}01" for k in range(1, 7)]
        page = opened(server)
        page.press("Shift+S")
        songs = page.page.locator("#songs")
        expect(songs.locator(".about")).to_have_text("Friday at the Lantern: 0 of 6 songs are done.")
        expect(songs.locator("figcaption")).to_contain_text("Biggest moments: 1 Lantern Street, B4: Opening fan")
        expect(songs.locator(".energy .drive")).to_have_count(6)
        expect(songs.locator(".energy circle")).to_have_count(3)
        expect(songs.locator("tr.after")).to_have_count(6)
        expect(songs.locator(".shared li")).to_have_count(5)
        expect(songs.get_by_text("201 to 210")).to_be_visible()
        assert barriers(page.page) == []
        change_night(open_night(friday), Wanted(), drop=("2",))
        page.press("Shift+S")
        page.press("Shift+S")
        expect(songs.locator("tr", has_text="Tin Roof")).to_contain_text("not played")
        expect(songs.get_by_text("Changed at sound check: without song 2 (Tin Roof).")).to_be_visible()
        last = friday.parent / "lantern-street.cues.json"
        song = Song.load(last)
        song.replaced(title="L" + "o" * 198 + "ng", revision=song.revision + 1).save(last)
        page.press("Shift+S")
        page.press("Shift+S")
        expect(songs.locator("figcaption")).to_contain_text("Biggest moments: 1 Looo")
        assert songs.locator("figcaption").evaluate("each => each.scrollWidth <= each.clientWidth")
        friday.write_text("title = 3\n" + friday.read_text().partition("\n")[2])
        page.press("Shift+S")
        page.press("Shift+S")
        expect(songs.get_by_text("line 1: title is 3; it should be a text in quotes")).to_be_visible()
        expect(songs.get_by_text("not played")).to_have_count(0)
        assert page.problems == []


def test_the_page_opens_a_set_list_by_its_name(friday, run):
    with serving(friday) as server:
        listed = server.listed()
        assert [row["title"] for row in listed["songs"]] == list(SONGS)
        assert listed["night"]["title"] == "Friday at the Lantern"
    friday.write_text("songs = 3\n")
    code, _, err = run("review", friday, "--no-open")
    assert (code, "line 1: songs is 3; it should be one or more tables" in err) == (2, True)


def test_a_list_of_songs_that_is_no_night_has_none(friday):
    with hosting(*documents_of(friday)) as server:
        assert server.listed()["night"] is None


def test_what_lies_between_is_no_laser_in_a_volunteers_hand_and_no_line_of_anybody_else(tmp_path):
    opened = open_night(night_of_six(tmp_path, load_rig("example")))
    plan = opened.plan()
    assert all(part.laser for part in plan.between)
    around = options_of(Options(), plan.songs[0], plan, 0)
    assert [part.title for part in (*around.before, *around.after)] == ["walk-in", "applause hold"]
    for given in (Options(plain=True), Options(who="house light")):
        around = options_of(given, plan.songs[0], plan, 0)
        assert (around.before, around.after) == ((), ())
    assert options_of(Options(who="operator"), plan.songs[1], plan, 1).after == plan.between[2:3]


def test_a_caution_between_songs_stands_on_the_page_and_comes_first_on_the_tablet(tmp_path):
    opened = open_night(night_of_six(tmp_path, load_rig("example")))
    own = replace(opened, set_list=replace(opened.set_list, walk_in=BetweenLook("home", 20, 8.0)))
    plan = own.plan()
    song, options = as_played(own.songs[0], plan.songs[0], plan), options_of(Options(), plan.songs[0], plan, 0)
    page = PdfReader(io.BytesIO(export(song, "page.pdf", options)[".page.pdf"])).pages[0].extract_text()
    assert "see that nobody can get into the beams" in page.replace("\n", " ")
    tablet = export(song, "run", options)[".run.html"].decode()
    assert tablet.index("see that nobody can get into the beams") < tablet.index("Home set up on side B")


def test_with_fewer_buttons_than_looks_the_overview_says_what_changes(tmp_path):
    rig = replace(load_rig("two-lamps-strobe"), speed=replace(load_rig("two-lamps-strobe").speed, unit="none"))
    plan = open_night(night_of_six(tmp_path, rig, buttons=5)).plan()
    said = [words for song in plan.songs for words in song.changes]
    assert len(plan.looks) > 5
    assert said
    assert all(re.fullmatch(r"Before it, button [2-5] gets .+ in place of .+\.", words) for words in said)
    moved = [each for each in plan.looks if len(each.buttons) == 0]
    assert moved == []


def test_the_worked_night_of_the_documents_is_what_the_program_says(friday, run, monkeypatch):
    path = friday.parent / "tin-roof.cues.json"
    song = Song.load(path)
    shot = next(cue for cue in song.cues if cue.kind == "one-shot")
    change_all(song, [SetCue(shot.id, {"status": "accepted"})], by="page").save(path)
    monkeypatch.chdir(friday.parent)
    text = (ROOT / "docs" / "night.md").read_text(encoding="utf-8")
    plan, check = [part for part in text.split("```")[1::2] if part.startswith("\n")]
    (command,) = re.findall(r"^    cuesuggest (night friday.toml --without .*)$", text, re.MULTILINE)
    for words, shown in (("night friday.toml", plan), (command, check)):
        out = run(*shlex.split(words), columns=100)[1]
        lines = iter(out.splitlines())
        for line in shown.strip("\n").splitlines():
            assert line == "…" or line in lines, line


def test_a_title_of_200_letters_leaves_room_for_its_cues_and_no_heading_stands_alone(friday, run):
    path = friday.parent / "tin-roof.cues.json"
    song = Song.load(path)
    song.replaced(title="T" + "o" * 197 + "ng", revision=song.revision + 1).save(path)
    assert run("night", friday, "--to", "page.pdf")[0] == 0
    starts: dict[str, float] = {}

    def place(text, _, matrix, *__):
        if text.strip():
            starts.setdefault(text.strip(), matrix[4])

    first, second = PdfReader(friday.with_name("friday.page.pdf")).pages[:2]
    first.extract_text(visitor_text=place)
    title = next(text for text in starts if text.startswith("Tooo") and text.endswith("..."))
    cues = next(start for text, start in starts.items() if text.startswith("cues 201 to 210"))
    assert starts[title] + typeface_for(title).width(title, 13, BOLD) < cues
    # Some look stands below the heading, on the same page.
    for page in (first, second):
        _, heading, below = page.extract_text().partition("Looks to build, the smallest first")
        assert bool(heading) == below.strip().startswith("Home:")


def test_looks_of_one_name_that_are_built_differently_are_told_apart(friday, tmp_path):
    facts = [facts_of(song) for song in open_night(friday).songs]
    laser, wall = (Path(shutil.copytree(friday.parent, tmp_path / name)) / friday.name for name in ("laser", "wall"))
    change_night(open_night(laser), Wanted(rig=load_rig("one-laser")))
    change_night(open_night(wall), Wanted(no_haze=True))
    for other, ways in ((laser, {"wave (lamp)", "wave (laser)"}), (wall, {"wave (in haze)", "wave (no haze)"})):
        looks = shared([*facts[:2], *map(facts_of, open_night(other).songs[2:])]).looks
        names = [look.name for look in looks]
        assert len(set(names)) == len(names)
        assert {name.partition(" ")[2] for name in names if name.startswith("Slow")} == ways
    fewer = replace(facts[2], looks=tuple(replace(look, colours=3) for look in facts[2].looks))
    names = {look.name for look in shared([*facts[:2], fewer]).looks}
    assert {"Slow wave (1 colour)", "Slow wave (3 colours)"} <= names


@pytest.mark.parametrize(
    ("songs", "words"),
    [
        ((), "between songs"),
        ((3,), "song 3"),
        ((1, 2), "songs 1, 2"),
        ((1, 2, 3, 5), "songs 1 to 3, 5"),
        (range(1, 31), "songs 1 to 30"),
    ],
)
def test_songs_in_a_row_are_told_by_the_first_and_the_last(friday, songs, words):
    look = open_night(friday).plan().looks[0]
    assert replace(look, songs=tuple(songs)).songs_words == words
