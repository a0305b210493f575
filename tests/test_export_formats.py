"""What all formats share: the registry, the command, its options and files, any text, and the page that tells of them.

`python -m tests.renew` brings the table of docs/formats.md up to date.
"""

from __future__ import annotations

import html
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
import soundfile

from cuesuggest.errors import CuesuggestError
from cuesuggest.export import FORMATS, Options, chosen, export
from cuesuggest.export.common.show_bars import measures
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import told
from cuesuggest.song import Song
from tests.exported import AUTO, HOSTILE, hostile_song
from tests.songs import make_cue, make_song, place_at

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "formats.md"
MARKS = ("<!-- table: from the registry -->\n", "<!-- end of table -->\n")
DESK = ["midi", "msc", "timecode", "text-show", "osc", "captions", "timeline", "score", "jams", "json"]
AUTOMATIC = ["midi", "msc", "osc", "text-show"]
EVERY_ENDING = [ending for form in FORMATS.values() for ending in form.files]


def table():
    """The formats as a table for the page."""
    lines = ["| name | files | for | standard | lost |", "| --- | --- | --- | --- | --- |"]
    for form in FORMATS.values():
        trial = " (experimental)" if form.experimental else ""
        files = ", ".join(f"`{ending}`" for ending in form.files)
        lines.append(f"| `{form.name}`{trial} | {files} | {form.purpose} | {form.standard} | {form.loses} |")
    return "\n".join(lines) + "\n"


def test_the_page_about_formats_has_the_registrys_table():
    inside = PAGE.read_text(encoding="utf-8").partition(MARKS[0])[2].partition(MARKS[1])[0]
    assert inside == table()


def test_the_command_and_the_page_name_the_same_formats(run):
    code, out, _ = run("formats", columns=100)
    assert code == 0
    named = [line.split()[0] for line in out.splitlines() if not line.startswith(" ")]
    assert named == list(FORMATS) == re.findall(r"^\| `([\w-]+)`", table(), re.MULTILINE)
    assert {name for name in FORMATS if FORMATS[name].experimental} == {"msc", "text-show", "dawproject"}
    assert out.count("(experimental)") == 3


def test_every_file_has_a_name_of_its_own():
    assert len(set(EVERY_ENDING)) == len(EVERY_ENDING)


def test_names_choose_formats_and_single_files():
    assert [ending for _, ending in chosen("csv, midi")] == [".cues.csv", ".mid"]
    assert [ending for _, ending in chosen("osc.txt,osc")] == [".osc.txt"]
    assert [ending for _, ending in chosen("practice.wav, practice.count.wav")] == [".practice.wav", ".count.wav"]
    assert [ending for _, ending in chosen("all")] == EVERY_ENDING
    for wrong, says in (
        ("tapes", "no format 'tapes'"),
        ("midi.pdf", r"writes no \.pdf"),
        ("practice.mp3", r"one of these: practice\.wav, practice\.count\.wav\."),
        (" , ", "No format is named"),
    ):
        with pytest.raises(CuesuggestError, match=says):
            chosen(wrong)


@pytest.mark.parametrize("name", DESK)
def test_every_file_carries_title_take_date_and_caution(name):
    options = Options(date="2031-05-04", program="9.8.7")
    for ending, content in export(make_song("A8 B8 A8"), name, options).items():
        if ending == ".ltc.wav":
            continue  # sound and nothing else: a label in it would be heard
        text = re.sub(r"\s+", " ", content.decode("latin-1").replace("\r\n! ", " ").replace("\0", " "))
        for said in ("Paper Boats", "2031-05-04", "9.8.7", "5e5e5e5e5e5e", "keep people out of the beams"):
            assert said in text, (ending, said)


@pytest.mark.parametrize("name", AUTOMATIC)
def test_files_that_play_by_themselves_say_what_waits_for_a_person(name):
    for content in export(make_song("A8 B8 A8"), name).values():
        assert b"By hand" in content
        assert b"person" in content
    for content in export(make_song("A8 B8 A8"), name, Options(**AUTO)).values():
        assert b"By hand" not in content


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_goes_into_every_desk_format(text):
    song = hostile_song(text)
    for name in ("csv", *DESK):
        assert all(export(song, name).values())


@pytest.mark.parametrize("name", ["midi", "msc", "score"])
def test_nothing_is_built_for_each_beat_of_a_day_before_the_song(name):
    song = make_song("A8 B8 A8")
    laid = measures(song, Timing(86_400.0))
    assert (laid[0].start, len(laid)) == (0.0, pytest.approx(1_440, abs=40))
    assert all(before.end == after.start for before, after in pairwise(laid))
    assert next(each.start for each in laid if each.bar == 1) == pytest.approx(86_402.0)
    since = time.process_time()
    (data,) = export(song, name, Options(timing=Timing(86_400.0))).values()
    assert time.process_time() - since < 5.0
    assert len(data) < 400_000


def test_a_day_of_linear_timecode_is_refused_and_another_way_named():
    with pytest.raises(CuesuggestError, match=r"would last 24\.0 hours; at most 5 .* --start-timecode"):
        export(make_song("A8"), "timecode.wav", Options(timing=Timing(86_400.0)))


@pytest.mark.parametrize("offset", [-1000.0, -0.0001, 3601.25])
def test_any_offset_goes_into_every_desk_format(offset):
    for name in DESK:
        if name != "timecode" or offset < 1000:
            assert all(export(make_song("A8 B8 A8"), name, Options(timing=Timing(offset))).values())


def test_recordings_without_music_go_into_every_format():
    for name, form in FORMATS.items():
        if not form.needs_sound:
            assert all(export(make_song(""), name).values())


def test_the_registry_and_the_command_import_nothing_heavy():
    code = (
        "import sys, cuesuggest.cli, cuesuggest.export; "
        "print({'numpy', 'mido', 'pydantic', 'reportlab', 'soundfile', 'xlsxwriter'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "set()"


# The command.


@pytest.fixture
def document(tmp_path):
    path = tmp_path / "evening.cues.json"
    make_song("A8 B8 A8").save(path)
    return path


def beside(document):
    return sorted(path.name for path in document.parent.iterdir() if path != document)


def test_several_formats_go_beside_the_document(run, document):
    code, out, err = run("export", document, "--to", "midi,csv,osc")
    assert (code, err) == (0, "")
    assert beside(document) == ["evening.cues.csv", "evening.mid", "evening.osc.txt"]
    assert out.splitlines() == [
        *(f"Written: {document.parent / name}" for name in ("evening.mid", "evening.cues.csv", "evening.osc.txt")),
        "4 of 4 cues wait for a person; in files that play by themselves that is a reminder, and no more.",
    ]


def test_or_into_a_folder_that_is_made(run, document):
    code, _, _ = run("export", document, "--to", "midi,csv", "-o", document.parent / "for" / "desk")
    assert code == 0
    assert sorted(p.name for p in (document.parent / "for" / "desk").iterdir()) == ["evening.cues.csv", "evening.mid"]


def test_or_one_to_a_name_of_its_own(run, document):
    assert run("export", document, "--to", "midi", "-o", document.parent / "a.mid")[0] == 0
    assert beside(document) == ["a.mid"]


def test_a_file_that_is_there_is_kept_unless_forced(run, document):
    there = document.with_name("evening.mid")
    there.write_bytes(b"mine")
    code, _, err = run("export", document, "--to", "csv,midi")
    assert code == 2
    assert "evening.mid is there already; nothing was written" in err
    assert beside(document) == ["evening.mid"]
    assert there.read_bytes() == b"mine"
    assert run("export", document, "--to", "csv,midi", "--force")[0] == 0
    assert there.read_bytes().startswith(b"MThd")


def test_two_files_do_not_fit_into_one(run, document):
    (document.parent / "x").write_bytes(b"")
    for target in ("-", document.parent / "x"):
        code, _, err = run("export", document, "--to", "csv,midi", "-o", target)
        assert code == 2
        assert "2 files are to be written" in err


def _full_disk():
    """Let no file of a child process grow beyond 2000 bytes."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))


def test_a_full_disk_leaves_nothing_behind(document):
    words = [sys.executable, "-m", "cuesuggest", "export", document, "--to", "csv,midi,score"]
    done = subprocess.run(words, capture_output=True, text=True, cwd=ROOT, preexec_fn=_full_disk)
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert beside(document) == []


def test_a_place_that_is_no_folder_is_said(run, document):
    (document.parent / "x").write_bytes(b"")
    code, _, err = run("export", document, "--to", "csv,midi", "-o", document.parent / "x" / "y")
    assert code == 2
    assert "cannot be made" in err


def test_the_options_of_time_reach_the_file(run, document):
    words = ("--offset", "1.5", "--fps", "29.97df", "--start-timecode", "00:00:58;28")
    code, out, _ = run("export", document, "--to", "json", "-o", "-", *words)
    assert code == 0
    assert '"seconds": 3.5, "timecode": "00:01:02;15"' in " ".join(out.split())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), None),
        (("--fps", "25"), "01:00:22:00"),
        (("--start-timecode", "02:00:00:00"), "02:00:22:00"),
        (("--fps", "30", "--start-timecode", "00:00:00:15"), "00:00:22:15"),
    ],
)
def test_frame_rate_or_start_give_the_list_its_timecode(run, document, words, says):
    code, out, _ = run("export", document, "--to", "list.html", "-o", "-", *words)
    assert code == 0
    assert (">timecode<" in out) == (says is not None)
    assert says is None or f">{says}<" in out


def test_a_landmark_is_an_offset(run, document):
    code, out, _ = run("export", document, "--to", "json", "-o", "-", "--landmark", "B1 bar 1 = 0:43.2")
    assert code == 0
    assert '"offset": 21.2' in out


def test_a_song_in_a_longer_recording_starts_its_own_time(run, tmp_path):
    analysis = replace(make_song(start=64.0).analysis, duration=200.0)
    song = make_song(analysis=analysis)
    window = replace(song.recording.window, start=60.0, end=130.0)
    long = tmp_path / "evening.cues.json"
    song.replaced(recording=replace(song.recording, duration=200.0, window=window)).save(long)
    code, out, _ = run("export", long, "--to", "json,timecode.wav", "--from-window")
    assert code == 0
    assert '"seconds": 4' in " ".join(long.with_name("evening.list.json").read_text(encoding="utf-8").split())
    assert soundfile.info(long.with_name("evening.ltc.wav")).duration == 70.0
    assert "left out" not in out


WRONG = [
    (["--offset", "1", "--landmark", "bar 1 = 3"], "Give one of them"),
    (["--from-window", "--landmark", "bar 1 = 3"], "Give one of them"),
    (["--from-window", "--offset", "0"], "Give one of them"),
    (["--landmark", "bar 99 = 3"], "no bar 99"),
    (["--landmark", "bar 1 = 25:00:00"], "more than a day"),
    (["--landmark", f"bar {'9' * 5000} = 3"], "no landmark"),
    (["--offset", "nan"], "'nan' is no number from -86400 to 86400"),
    (["--offset", "inf"], "'inf' is no number from -86400 to 86400"),
    (["--offset", "1000000"], "'1000000' is no number from -86400 to 86400"),
    (["--start-timecode", "25:00:00:00"], "no timecode"),
    (["--fps", "29.97df", "--start-timecode", "00:01:00:00"], "leaves out"),
    (["--map", "none.toml"], "was not found"),
    (["--fps", "23"], "'23' is not one of"),
]


@pytest.mark.parametrize(("words", "says"), WRONG)
def test_wrong_options_are_refused_in_words(run, document, words, says):
    code, _, err = run("export", document, "--to", "midi", *words)
    assert code == 2
    assert says in " ".join(err.split())
    assert beside(document) == []


def test_cues_before_the_start_are_told(run, document):
    _, out, _ = run("export", document, "--to", "midi", "--offset", "-10")
    assert "In files that run in time: 1 cue before second 0 of the show left out: 1." in out


def test_a_map_is_written_changed_and_used(run, document):
    assert run("map", document)[0] == 0
    map_ = document.with_name("evening.map.toml")
    assert tomllib.loads(map_.read_text(encoding="utf-8"))["looks"]["lift"]["note"] == 2
    map_.write_text(map_.read_text(encoding="utf-8").replace("note = 2 ", "note = 77 "), encoding="utf-8")
    assert run("export", document, "--to", "midi", "--allow-auto", "lamps", "--map", map_)[0] == 0
    assert bytes([0x91, 77, 127]) in document.with_name("evening.mid").read_bytes()
    code, _, err = run("map", document)
    assert code == 2
    assert "there already" in err


def test_what_was_written_is_read_back(run, document):
    run("export", document, "--to", "midi")
    code, out, _ = run("read", document.with_name("evening.mid"))
    assert code == 0
    assert out.splitlines()[:2] == ["midi, 4 cues", "     1    0:02.0  by hand, fade-in: A up to 50 in 8 beats"]


@pytest.mark.parametrize(("content", "says"), [(None, "was not found"), (b"x", "no file that can be read back")])
def test_what_cannot_be_read_back_is_said(run, tmp_path, content, says):
    path = tmp_path / "x"
    if content is not None:
        path.write_bytes(content)
    code, _, err = run("read", path)
    assert code == 2
    assert says in err


def test_numbers_stay_once_they_have_left(run, document):
    run("export", document, "--to", "midi")
    assert Song.load(document).numbers_frozen


def test_marks_need_the_recording_that_the_document_is_about(run, document, tmp_path):
    code, _, err = run("export", document, "--to", "markers")
    assert (code, "was not found" in err) == (2, True)
    (tmp_path / "takes").mkdir()
    shutil.copy(ROOT / "samples" / "first_light.ogg", tmp_path / "takes" / "paper-boats.wav")
    code, _, err = run("export", document, "--to", "markers")
    assert (code, "is not the recording" in err) == (2, True)


@pytest.fixture
def evening(tmp_path):
    """Three songs of an evening, in a folder."""
    named = []
    for title in ("Paper Boats", "Tin Roof", "Last Ferry"):
        named.append(tmp_path / f"{title.split()[1].lower()}.cues.json")
        make_song("A8 B8 A8", title=title).save(named[-1])
    return named


def test_several_songs_are_one_file_for_the_tablet_in_the_order_given(run, evening, tmp_path):
    target = tmp_path / "evening.run.html"
    code, out, _ = run("export", evening[2], evening[0], evening[1], "--to", "run", "-o", target)
    assert (code, out) == (0, f"Written: {target}, 3 songs\n")
    page = target.read_text(encoding="utf-8")
    assert page.index('"Last Ferry"') < page.index('"Paper Boats"') < page.index('"Tin Roof"')
    assert all(Song.load(document).numbers_frozen for document in evening)
    code, _, err = run("export", *evening, "--to", "run", "-o", target)
    assert (code, "there already" in err) == (2, True)


def test_a_song_may_be_played_twice_of_an_evening(run, evening, tmp_path):
    target = tmp_path / "evening.run.html"
    code, _, err = run("export", evening[0], evening[1], evening[0], "--to", "run", "-o", target)
    assert (code, err) == (0, "")
    assert target.read_text(encoding="utf-8").count('"title": "Paper Boats"') == 2


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--to", "page", "-o", "x.pdf"], "3 songs go into one file only with --to run"),
        (["--to", "run,list", "-o", "x"], "3 songs go into one file only with --to run"),
        (["--to", "run"], "Say where the file for the 3 songs goes: -o evening.run.html"),
        (["--to", "run", "-o", "."], "Say where the file for the 3 songs goes"),
        (["--to", "run", "-o", "x.html", "--offset", "3"], "belong to one recording"),
        (["--to", "run", "-o", "x.html", "--who", "Nadia"], "Paper Boats has no cue for 'Nadia'"),
        (["--to", "run", "-o", "boats.cues.json", "--force"], "never written over"),
    ],
)
def test_what_several_songs_cannot_be_written_as_is_said(run, evening, tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    code, _, err = run("export", *evening, *words)
    assert code == 2
    assert says in " ".join(err.split())
    assert sorted(tmp_path.iterdir()) == sorted(evening)


def test_the_golden_walk(run, tmp_path, sample_song, sample_path):
    """The sample, suggested, accepted, in every format in one command, within eight seconds of computing.

    Five of the files hold the recording's sound, which is decoded for each: none is kept in memory for the others.
    """
    shutil.copy(sample_path, tmp_path / sample_path.name)
    document = tmp_path / "first_light.cues.json"
    sample_song.replaced(recording=replace(sample_song.recording, path=sample_path.name)).save(document)
    assert run("edit", document, "accept", "all")[0] == 0
    before = time.process_time()
    code, out, err = run("export", document, "--to", "all", "-o", tmp_path / "all")
    assert time.process_time() - before < 8
    assert (code, err) == (0, "")
    written = {path.name: path for path in (tmp_path / "all").iterdir()}
    assert written.keys() == {f"first_light{ending}" for ending in EVERY_ENDING}
    cues = [cue for cue in Song.load(document).cues if cue.status == "accepted"]
    assert len(cues) >= 5
    for ending in (".mid", ".msc.mid", ".markers.wav", ".show.txt", ".cues.csv"):
        code, out, _ = run("read", written[f"first_light{ending}"])
        assert code == 0
        assert all(f"\n{cue.number:>6g}  " in out for cue in cues)


CROWDED = {"midi": ".mid", "osc": ".osc.txt", "captions": ".vtt", "score": ".musicxml", "text-show": ".show.txt"}


@pytest.mark.parametrize(("name", "ending"), CROWDED.items())
def test_where_lines_are_short_what_the_hand_does_is_said_whole(sample_song, name, ending):
    content = export(sample_song, name)[ending].decode("utf-8", "replace")
    said = [each.action for each in told(sample_song, Options())]
    assert len(said) > 10
    for words in said:
        assert words in html.unescape(content)
    assert "..." not in content


def test_a_one_shot_says_how_early_to_press():
    song = make_song("A8 B8")
    shot = make_cue(1, "one-shot", place_at(song.analysis, 9), look="lift", anchor="lands-on")
    (each,) = told(song.replaced(cues=[shot]), Options())
    assert each.action == "Wide fans, press 0.5 s early"
