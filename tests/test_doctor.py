"""The doctor: what it says of a machine and of a document, and the way back to an earlier state."""

import importlib.util
import json
import os
import re
import subprocess
import sys
import tomllib
import webbrowser
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

from cuesuggest.cli import machine
from cuesuggest.draft.states import kept_folder
from cuesuggest.export.paper import further_fonts
from cuesuggest.export.paper.typeface import _typeface
from cuesuggest.song import Song

ROOT = Path(__file__).parent.parent


def flat(text):
    """A report without its line breaks."""
    return " ".join(text.split())


@pytest.fixture
def whole(monkeypatch):
    """A machine with a browser."""
    monkeypatch.setattr(webbrowser, "get", lambda: webbrowser.GenericBrowser("reader"))


# This machine.


def test_on_a_whole_machine_it_tells_versions_decoders_places_and_succeeds(run, whole, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = run("doctor")
    assert (code, err) == (0, "")
    said = flat(out)
    for part in (
        f"numpy {np.__version__}",
        f"libsndfile {soundfile.__libsndfile_version__} opens WAV",
        f"libavformat {'.'.join(map(str, av.library_versions['libavformat']))}",
        os.environ["CUESUGGEST_CACHE"],
        str(tmp_path),
        "reader",
        "Hebrew, Arabic",
        "Further fonts that are installed add Chinese, Japanese, Korean, emoji. It prints boxes for Thai",
    ):
        assert part in said, part
    assert said.endswith("Everything works here.")
    assert not list(tmp_path.iterdir())


def test_without_the_extra_it_says_how_more_scripts_come_on_paper(run, whole, monkeypatch):
    monkeypatch.setattr(further_fonts, "find_spec", lambda name: None)
    _typeface.cache_clear()
    code, out, _ = run("doctor")
    _typeface.cache_clear()
    assert code == 0
    said = flat(out)
    assert "boxes for Chinese, Japanese, Korean, Thai" in said
    assert 'For Chinese, Japanese, Korean and emoji: pip install "cuesuggest[fonts]".' in said
    assert "export --font FILE" in said


@pytest.mark.parametrize(
    ("found", "says"), [(None, "For MIDI as well: pip install 'cuesuggest[live]'."), (True, "play sends OSC and MIDI.")]
)
def test_it_says_what_a_list_can_be_played_to(run, whole, monkeypatch, found, says):
    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *more: found if name == "rtmidi" else real(name, *more)
    )
    code, out, _ = run("doctor")
    assert code == 0
    assert says in flat(out)


def test_it_knows_what_every_library_that_is_asked_for_is_needed_for():
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    assert set(machine.LIBRARIES) == {re.match(r"[\w.-]+", each)[0] for each in asked}


def test_what_it_calls_needed_for_the_cue_list_is_what_suggest_imports(take, tmp_path):
    words = ["cuesuggest", "--quiet", "suggest", str(take.path), "-o", str(tmp_path / "a.cues.json")]
    script = (
        f"import sys; sys.argv = {words!r}\nfrom cuesuggest.cli import main\ntry: main()\nfinally: print(*sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "CUESUGGEST_CACHE": ""},
    )
    needed = {module for module, purpose in machine.LIBRARIES.values() if not purpose}
    imported = set(done.stdout.split()) & {module for module, _ in machine.LIBRARIES.values()}
    # Where a cache is kept, platformdirs names its folder.
    assert imported | {"platformdirs"} == needed


@pytest.mark.parametrize(
    ("missing", "code", "said"),
    [
        ("scipy", 1, "Without it no cue list can be made."),
        ("reportlab", 0, "Without it there is no paper as PDF."),
    ],
)
def test_a_missing_library_is_told_with_what_it_is_for_and_how_to_get_it(run, whole, monkeypatch, missing, code, said):
    monkeypatch.setitem(sys.modules, missing, None)
    got, out, _ = run("doctor")
    assert got == code
    assert f"{missing} is not installed. {said} Install it: {sys.executable} -m pip install" in flat(out)


def test_a_library_that_is_older_than_what_is_asked_for_is_told(run, whole, monkeypatch):
    real = machine.importlib.metadata.version
    monkeypatch.setattr(machine.importlib.metadata, "version", lambda name: "9.2" if name == "pillow" else real(name))
    assert "pillow 9.2 is older than 9.3" in flat(run("doctor")[1])


def test_a_library_that_breaks_in_its_own_way_hides_nothing_else(run, whole, monkeypatch):
    def broken(*_):
        raise SystemError("of its own")

    monkeypatch.setattr(soundfile, "check_format", broken)
    monkeypatch.setattr(webbrowser, "get", broken)
    code, out, err = run("doctor")
    assert (code, err) == (1, "")
    assert "Decoders" in out
    assert "Typeface" in out


def test_decoders_that_lack_a_kind_of_file_are_told(run, whole, monkeypatch):
    monkeypatch.setattr(soundfile, "check_format", lambda box, coding: box != "FLAC")
    monkeypatch.setattr(av, "codecs_available", av.codecs_available - {"aac"})
    code, out, _ = run("doctor")
    assert code == 0
    assert f"libsndfile {soundfile.__libsndfile_version__} does not open FLAC." in flat(out)
    assert "does not open M4A, MP4 and MOV, AAC." in flat(out)


def test_without_a_browser_it_says_how_the_page_is_reached(run, monkeypatch):
    def none():
        raise webbrowser.Error

    monkeypatch.setattr(webbrowser, "get", none)
    code, out, _ = run("doctor")
    assert code == 0
    assert "open the address that review prints yourself" in flat(out)
    assert "What is lacking is needed for other things." in flat(out)


def test_a_folder_that_cannot_be_written_in_stops_the_work_there(run, whole, monkeypatch):
    def refuse(*_, **__):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(machine.tempfile, "TemporaryFile", refuse)
    code, out, err = run("doctor")
    assert (code, err) == (1, "")
    assert f"{Path.cwd()} cannot be written in: Read-only file system. Nothing can be saved here." in flat(out)
    assert "Cue lists cannot be made here" in out


def test_without_a_home_folder_it_and_the_work_go_on(run, whole, document, monkeypatch):
    def nobody(uid):
        raise KeyError(uid)

    monkeypatch.setattr(pytest.importorskip("pwd"), "getpwuid", nobody)
    for name in [name for name in os.environ if re.match("HOME|XDG|CUESUGGEST", name)]:
        monkeypatch.delenv(name)
    monkeypatch.chdir(document.parent)
    code, out, err = run("doctor")
    assert (code, err) == (0, "")
    assert out.count("Set HOME") == 2
    assert run("edit", document, "note", "1", "slowly")[::2] == (0, "")
    assert run("--quiet", "suggest", document.with_name("evening.wav"), "-o", document.with_name("b.cues.json"))[0] == 0
    assert run("doctor", document)[0] == 0
    assert not (document.parent / "~").exists()


def test_the_cache_is_cleared_and_what_else_lies_there_stays(run, whole, tmp_path, monkeypatch):
    monkeypatch.setenv("CUESUGGEST_CACHE", str(tmp_path))
    (tmp_path / f"{'0' * 40}-0-end-1-1.npz").write_bytes(b"0" * 1_500_000)
    (tmp_path / ".cuesuggest-1234.tmp").write_bytes(b"0")
    for name in ("mine.txt", "mine.npz"):
        (tmp_path / name).write_text("mine")
    assert "what was heard of 1 recording: 1.5 MB of 400.0 MB" in flat(run("doctor")[1])
    code, out, _ = run("doctor", "--clear-cache")
    assert (code, out) == (0, f"Removed from {tmp_path}: what was heard of 1 recording, 1.5 MB.\n")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine.npz", "mine.txt"]


def test_quiet_leaves_the_exit_code(run, whole):
    assert run("--quiet", "doctor") == (0, "", "")


# A document.


def test_of_a_good_document_nothing_is_said(run, document):
    code, out, err = run("doctor", document)
    assert (code, err) == (0, "")
    assert out.startswith(f"Nothing is wrong with {document}.")


def test_every_field_that_does_not_fit_is_told_with_its_place(run, document):
    held = json.loads(document.read_bytes())
    held["cues"][0]["level"] = 400
    held["looks"][0]["level_ceiling"] = -1
    document.write_text(json.dumps(held))
    code, out, _ = run("doctor", document)
    assert code == 1
    assert f"{document}: looks[0].level_ceiling" in flat(out)
    held["looks"][0]["level_ceiling"] = 50
    document.write_text(json.dumps(held))
    assert f"{document}: cues[0].level" in flat(run("doctor", document)[1])


def test_a_recording_that_is_gone_or_lies_elsewhere_or_has_changed_is_told(run, document):
    recording = document.with_name("evening.wav")
    sound = recording.read_bytes()
    held = json.loads(document.read_bytes())
    held["recording"]["path"] = "before/evening.wav"
    document.write_text(json.dumps(held))
    code, out, _ = run("doctor", document)
    assert code == 1
    assert "the recording before/evening.wav, which is not there" in flat(out)
    assert f"The same recording lies at {recording}." in flat(out)
    code, _, _ = run("--quiet", "suggest", recording, "-o", document)
    assert (code, run("doctor", document)[0]) == (0, 0)
    recording.write_bytes(sound + b"\0")
    code, out, _ = run("doctor", document)
    assert code == 1
    assert f"{recording} is not the file that {document} was made from" in flat(out)


def test_cues_that_do_not_go_together_and_cues_without_a_place_are_told(run, document):
    run("--quiet", "edit", document, "level", "all", "10")
    held = json.loads(document.read_bytes())
    lost = next(cue for cue in held["cues"] if cue["kind"] == "fade-in")
    held["cues"].remove(lost)
    held["unplaced"].append({"cue": lost, "why": "the section is gone"})
    document.write_text(json.dumps(held))
    code, out, _ = run("doctor", document)
    assert code == 1
    assert f"Cue {lost['number']} (fade-in, " in flat(out)
    assert "has lost its place: the section is gone." in flat(out)
    assert "This cannot be played as it stands: " in out


# Earlier states.


def test_an_earlier_state_comes_back_as_a_new_file_and_never_over_another(run, document, tmp_path):
    before = Song.load(document)
    run("--quiet", "edit", document, "note", "1", "slowly")
    run("--quiet", "edit", document, "note", "2", "on the breath")
    after = document.read_bytes()
    code, out, _ = run("doctor", document)
    assert code == 0
    names = re.findall(r"^  (\S+) +kept \d{4}-", out, re.MULTILINE)
    assert names == [str(before.revision), str(before.revision + 1)]
    target = tmp_path / "else" / "again.cues.json"
    target.parent.mkdir()
    assert run("doctor", document, "--restore", names[0], "-o", target)[0] == 0
    again = Song.load(target)
    assert again.cues == before.cues
    assert run("doctor", target)[0] == 0, "its recording is found from there"
    for there in (document, target):
        kept = there.read_bytes()
        code, out, err = run("doctor", document, "--restore", names[1], "-o", there)
        assert (code, out) == (2, "")
        assert f"{there} exists already" in err
        assert there.read_bytes() == kept
    assert document.read_bytes() == after


def test_of_a_broken_document_and_of_one_that_is_gone_the_states_can_be_had(run, document):
    revision = Song.load(document).revision
    run("--quiet", "edit", document, "note", "1", "slowly")
    last = document.read_bytes()
    document.write_bytes(last[: len(last) // 2])
    code, out, _ = run("doctor", document)
    assert code == 1
    assert "the JSON breaks at line" in flat(out)
    assert f"--restore {revision} -o NEW.cues.json" in flat(out)
    document.unlink()
    code, out, _ = run("doctor", document)
    assert code == 1
    assert f"{document} was not found." in flat(out)
    assert run("doctor", document, "--restore", revision, "-o", document)[0] == 0
    assert Song.load(document).revision == revision


def test_a_state_that_is_not_whole_is_not_offered(run, document):
    run("--quiet", "edit", document, "note", "1", "slowly")
    (state,) = kept_folder(document).iterdir()
    state.write_bytes(state.read_bytes()[:-40])
    assert "No other state of it is kept." in run("doctor", document)[1]
    code, _, err = run("doctor", document, "--restore", state.name.partition(".")[0], "-o", document.with_name("b"))
    assert code == 2
    assert "there is none" in err


def test_states_are_found_by_whatever_link_leads_to_the_document(run, document, tmp_path):
    link = tmp_path / "tonight.cues.json"
    link.symlink_to(document)
    run("--quiet", "edit", document, "note", "1", "slowly")
    assert kept_folder(link) == kept_folder(document)
    assert "Earlier states of it" in run("doctor", link)[1]


@pytest.mark.parametrize(
    "words",
    [("--restore", "1"), ("a.cues.json", "--restore", "1"), ("a.cues.json", "--clear-cache"), ("-o", "b")],
)
def test_options_that_do_not_belong_together_are_refused(run, words):
    code, out, err = run("doctor", *words)
    assert (code, out) == (2, "")
    assert "Traceback" not in err
