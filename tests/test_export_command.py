"""What `export` and `map` say to odd words: where files go, levels of a mix, times in which nothing is left."""

from dataclasses import replace

import pytest

from cuesuggest.export import FORMATS
from tests.songs import make_song
from tests.test_export_formats import beside


@pytest.fixture
def document(tmp_path):
    """A song whose recording is not there."""
    make_song("A8 B8 A8").save(tmp_path / "evening.cues.json")
    return tmp_path / "evening.cues.json"


@pytest.mark.parametrize(
    ("words", "name"), [(("export", "--to", "midi"), "evening.mid"), (("map",), "evening.map.toml")]
)
def test_a_slash_at_the_end_makes_a_folder_also_for_one_file(run, document, words, name):
    command, *more = words
    assert run(command, document, *more, "-o", f"{document.parent}/for/desk/")[0] == 0
    assert [path.name for path in (document.parent / "for" / "desk").iterdir()] == [name]


def test_several_songs_do_not_go_into_a_folder_of_that_name(run, document):
    code, _, err = run("export", document, document, "--to", "run", "-o", f"{document.parent}/evening/")
    assert (code, "Say where the file for the 2 songs goes" in err) == (2, True)
    assert beside(document) == []


@pytest.mark.parametrize("name", [name for name, form in FORMATS.items() if form.needs_sound])
def test_a_recording_that_is_gone_is_named_with_what_holds_its_sound(run, document, name):
    code, _, err = run("export", document, "--to", f"csv,{name}")
    said = " ".join(err.split())
    assert code == 2
    assert f"evening.cues.json is about, was not found, and {name} holds its sound. Put it back there" in said
    assert beside(document) == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--to", "midi", "--mix", "click -3"), "--mix is about practice and show-audio, and neither is written here"),
        (("--to", "run", "--mix", "song -3"), "--mix is about practice and show-audio"),
        (("--to", "show-audio", "--mix", "click -3"), "--mix names click, and nothing that is written has it"),
        (("--to", "show-audio", "--mix", "click -3"), "show-audio has song, timecode."),
        (("--to", "practice", "--mix", "song off, click off, count off"), "practice would be silent"),
        (("--to", "practice", "--mix", "song loud"), "'song loud' is no part of a mix"),
        (("--to", "practice", "--mix", ""), "'' is no part of a mix"),
        (("--to", "practice", "--mix", "song 3"), "it goes from -60 to 0"),
        (
            (
                "--to",
                "practice.mp3",
            ),
            "practice.wav, practice.count.wav",
        ),
        (("--to", "csv", "--fps", "twelve"), "'twelve' is not one of"),
        (("--to", "csv", "--start-timecode", "1:2:3"), "no timecode"),
    ],
)
def test_words_that_mean_nothing_here_are_refused_before_anything_is_written(run, document, words, says):
    code, _, err = run("export", document, *words)
    assert code == 2
    assert says in " ".join(err.split())
    assert beside(document) == []


def test_levels_of_two_formats_go_together(run, document):
    _, _, err = run("export", document, "--to", "practice,show-audio", "--mix", "click -3, timecode -18")
    assert "was not found, and practice, show-audio hold its sound" in err  # no word about the levels


def test_a_time_in_which_nothing_is_left_is_refused(run, document):
    code, _, err = run("export", document, "--to", "midi,csv", "--offset", "-500")
    assert code == 2
    said = "with an offset of -500 s it is over before second 0 of the show, and nothing of it would be left"
    assert said in " ".join(err.split())
    assert beside(document) == []
    assert run("export", document, "--to", "midi,csv", "--landmark", "bar 3 = 0")[0] == 0


@pytest.mark.parametrize(("name", "told"), [("midi", True), ("captions", True), ("csv", False), ("jams", False)])
def test_cues_before_second_0_are_told_where_a_file_has_no_room_for_them(run, document, name, told):
    code, out, _ = run("export", document, "--to", name, "--offset", "-10")
    assert code == 0
    assert ("left out: 1" in out) == told


def test_several_songs_have_no_window_in_common(run, document):
    out = document.with_name("x.run.html")
    code, _, err = run("export", document, document, "--to", "run", "-o", out, "--from-window")
    assert (code, "belong to one recording" in err) == (2, True)


def test_the_list_of_formats_breaks_no_name_of_a_file(run):
    _, out, _ = run("formats", columns=80)
    assert "docs/cue-list.schema.json" in out
    assert all(len(line) <= 80 for line in out.splitlines())
    assert all(line.startswith(" " * 15) or line[:15].strip() in FORMATS for line in out.splitlines())


def test_songs_without_bars_or_cues_go_everywhere_that_needs_no_sound(run, tmp_path):
    song = make_song("")
    document = tmp_path / "silence.cues.json"
    song.replaced(recording=replace(song.recording, path="silence.wav")).save(document)
    names = ",".join(name for name, form in FORMATS.items() if not form.needs_sound)
    code, out, err = run("export", document, "--to", names)
    assert (code, err) == (0, "")
    assert "Traceback" not in out
    code, _, err = run("export", document, "--to", "csv", "--landmark", "bar 1 = 3", "--force")
    assert (code, "it has no bars" in err) == (2, True)
    code, _, err = run("play", document, "--to", "osc", "--start-now")
    assert (code, "no cues to play" in err) == (2, True)
