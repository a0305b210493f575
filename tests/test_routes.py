"""The routes of docs/formats.md, walked as they stand there: every command typed, every file read as at its end."""

import contextlib
import re
import shlex
import shutil
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import mido
import openpyxl
import pandas
import pytest
import soundfile
from click.testing import CliRunner

from cuesuggest.cli import cli
from cuesuggest.song import Song
from tests.test_play_command import Receiver, Terminal

ROOT = Path(__file__).parent.parent
ROUTES = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8").partition("## Routes\n")[2].partition("\n## ")[0]
TYPED = [
    "".join(found)
    for found in re.findall(r"^ {4}(cuesuggest .+)$|`((?:cuesuggest|python) [^`]+)`", ROUTES, re.MULTILINE)
]
AT_KEYS = ("cuesuggest review", "cuesuggest play")  # they run until somebody ends them


@pytest.fixture(scope="module")
def walked(sample_song, tmp_path_factory):
    """The folder in which all of it was typed, in the order of the page; and what each command printed."""
    home = tmp_path_factory.mktemp("walked")
    (home / "samples").mkdir()
    shutil.copy(ROOT / "samples" / "first_light.ogg", home / "samples")
    shutil.copytree(ROOT / "docs", home / "docs", ignore=shutil.ignore_patterns("pictures", "*.md"))
    printed = {}
    with contextlib.chdir(home):
        for line in TYPED:
            program, *words = shlex.split(line)
            if line.startswith(AT_KEYS):
                continue
            if program == "python":
                done = subprocess.run([sys.executable, *words], capture_output=True, text=True)
                code, printed[line] = done.returncode, done.stdout
            else:
                done = CliRunner().invoke(cli, words, obj={"written": []}, catch_exceptions=False)
                code, printed[line] = done.exit_code, done.stdout
            assert (code, done.stderr) == (0, ""), line
    return home, printed


@pytest.fixture(scope="module")
def cues(walked):
    return Song.load(walked[0] / "evening.cues.json").cues


def what_was_printed(printed, start):
    (found,) = [text for line, text in printed.items() if line.startswith(start)]
    return found


def by_hand(cues):
    return {cue.number for cue in cues if cue.operator_confirms}


def test_each_route_has_four_to_seven_steps_of_which_one_says_what_to_check():
    names = re.findall(r"^### (.+)$", ROUTES, re.MULTILINE)
    assert len(names) == 7
    for name, route in zip(names, re.split(r"^### .+$", ROUTES, flags=re.MULTILINE)[1:], strict=True):
        steps = re.findall(r"^(\d)\. (.+)$", route, re.MULTILINE)
        assert [int(number) for number, _ in steps] == list(range(1, len(steps) + 1)), name
        assert 4 <= len(steps) <= 7, name
        assert any(step.startswith(("Check", "Turn on flight mode")) for _, step in steps), name
        assert "light" in route.lower() or name == "A spreadsheet"


def test_links_within_the_page_lead_to_its_headings():
    page = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8")
    headings = {
        re.sub(r"[^\w -]", "", name).lower().replace(" ", "-") for name in re.findall(r"^#+ (.+)$", page, re.MULTILINE)
    }
    links = set(re.findall(r"\]\(#([^)]+)\)", page))
    links |= set(re.findall(r"docs/formats\.md#([^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8")))
    assert len(links) > 10
    assert links <= headings


def test_every_command_of_the_routes_is_walked_or_needs_somebody_at_the_keys(walked):
    assert {line for line in TYPED if not line.startswith(AT_KEYS)} == walked[1].keys()
    assert len(walked[1]) >= 12
    assert sum(line.startswith("cuesuggest play") for line in TYPED) == 2


def test_a_desk_gets_timecode_from_ten_and_the_label_of_every_cue(walked, cues):
    home, printed = walked
    with soundfile.SoundFile(home / "evening" / "timecode" / "evening.with-ltc.wav") as sound:
        assert sound.channels == 2
    assert "from 10:00:00:00 to 10:02:5" in what_was_printed(printed, "cuesuggest read evening/timecode")
    assert (home / "evening" / "timecode" / "evening.list.pdf").exists()
    head, *rows = openpyxl.load_workbook(home / "evening" / "timecode" / "evening.cues.xlsx")["cues"].values
    rows = [dict(zip(head, row, strict=True)) for row in rows]
    assert len(rows) == len(cues)
    assert all(row["timecode"].startswith("10:0") and row["fps"] == "25" for row in rows)
    assert {row["number"] for row in rows if row["operator confirms"] == "yes"} == by_hand(cues) != set()


def test_a_program_that_midi_triggers_gets_notes_but_for_what_waits(walked, cues):
    home, printed = walked
    file = mido.MidiFile(home / "evening" / "midi" / "evening.mid")
    assert any(message.type == "note_on" for message in file.tracks[2])
    assert not any(message.type == "note_on" for track in file.tracks[:2] for message in track)
    listed = what_was_printed(printed, "cuesuggest read evening/midi").splitlines()[1:]
    assert {float(line.split()[0]) for line in listed if "by hand, " in line} == by_hand(cues)
    assert all("one-shot" in line for line in listed if "by hand, " in line)


def test_a_workstation_gets_a_project_or_its_parts(walked):
    folder = walked[0] / "evening" / "workstation"
    assert "project.xml" in zipfile.ZipFile(folder / "evening.dawproject").namelist()
    assert {path.name for path in folder.iterdir()} == {
        *["evening.dawproject", "evening.mid", "evening.markers.wav", "evening.count.wav"]
    }


def test_a_spreadsheet_gets_a_row_for_every_cue_with_points_or_commas(walked, cues):
    folder = walked[0] / "evening" / "sheet"
    tables = [
        pandas.read_excel(folder / "evening.cues.xlsx", sheet_name="cues"),
        pandas.read_csv(folder / "evening.cues.csv"),
        pandas.read_csv(folder / "evening.semicolon.csv", sep=";", decimal=","),
    ]
    for table in tables:
        assert len(table) == len(cues)
        assert table["seconds"].is_monotonic_increasing
        assert table["seconds"].tolist() == pytest.approx(tables[0]["seconds"].tolist(), abs=1e-4)
        assert table["seconds"].max() < 180
        assert set(table.loc[table["operator confirms"] == "yes", "number"]) == by_hand(cues)


def test_a_script_gets_a_line_for_every_cue(walked, cues):
    _, *lines = what_was_printed(walked[1], "python ").splitlines()
    assert len(lines) == len(cues)
    assert sum(" by hand " in line for line in lines) == len(by_hand(cues))


@pytest.fixture
def terminal():
    with contextlib.ExitStack() as stack:
        yield lambda *words: stack.enter_context(contextlib.closing(Terminal(*words)))


def words_of(start, home):
    """Of the command that begins so, what follows `play`; its files from the folder in which all was typed."""
    (line,) = [line for line in TYPED if line.startswith(start)]
    return [str(home / word) if word.endswith((".json", ".toml")) else word for word in shlex.split(line)[2:]]


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal")
def test_live_goes_to_a_receiver_on_this_machine_until_somebody_stops_it(walked, terminal):
    receiver = Receiver()
    with receiver.server:  # closed at the end
        words = words_of("cuesuggest play evening.cues.json --to osc", walked[0])
        at = words.index("--address") + 1
        assert words[at].startswith("127.0.0.1:")
        shown = terminal(*words[:at], receiver.address, *words[at + 1 :])
        shown.shows("Q stops and leaves")
        shown.press(" ")
        shown.shows("1 recall")
        shown.press("s")
        shown.shows("all is out")
        shown.press("q")
        assert shown.ended() == 0
        time.sleep(0.1)
        receiver.server.shutdown()
    assert receiver.names()[0].startswith("/cuesuggest/first-light/recall")
    assert receiver.names()[-1] == "/cuesuggest/first-light/stop"


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal")
def test_live_by_midi_goes_to_a_port_or_the_program_says_what_is_missing(walked, terminal):
    shown = terminal(*words_of("cuesuggest play evening.cues.json --to midi", walked[0]))
    shown.look(0.5)
    while shown.process.poll() is None and "Q stops and leaves" not in shown.screen:
        shown.look(0.2)
    shown.look(0.2)
    said = " ".join(shown.screen.split())
    assert any(
        each in said
        for each in ("to the MIDI port cuesuggest", "MIDI cannot be used", "pip install 'cuesuggest[live]'")
    )
