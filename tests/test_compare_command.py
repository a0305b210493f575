"""The command `compare`, end to end: the two takes of the sample, documents with names, and what cannot be compared."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import replace

import pytest
import soundfile

from cuesuggest.song import Song
from tests.reading import text_of
from tests.sounds import RATE, play

SECOND = "first_light_take2.ogg"


def joined(out):
    """What was printed, its lines unbroken."""
    return " ".join(out.split())


@pytest.fixture(scope="module")
def folder(sample_path, sample_song, tmp_path_factory):
    """Both takes of the sample, and the first one's document with names, in a folder of its own."""
    made = tmp_path_factory.mktemp("takes")
    for name in (sample_path.name, SECOND):
        shutil.copy(sample_path.with_name(name), made / name)
    (made / "named").mkdir()
    shutil.copy(sample_path, made / "named" / sample_path.name)
    sections = [
        replace(each, name={"A1": "Start", "D'4": "Big chorus"}.get(each.mark, each.name))
        for each in sample_song.analysis.sections
    ]
    song = sample_song.replaced(
        recording=replace(sample_song.recording, path=sample_path.name),
        analysis=replace(sample_song.analysis, sections=tuple(sections)),
    )
    song.save(made / "named" / "first_light.cues.json")
    return made


@pytest.fixture(scope="module")
def told(folder):
    """What is printed of the sample pair, and its drawing."""
    words = [sys.executable, "-m", "cuesuggest", "compare", "first_light.ogg", SECOND, "-o", "both.pdf"]
    wide = os.environ | {"COLUMNS": "120"}
    done = subprocess.run(words, cwd=folder, env=wide, capture_output=True, check=True, text=True)
    assert done.stderr == ""
    return done.stdout


def test_the_samples_second_take_is_slower_and_has_a_chorus_more_between_bridge_and_build(told, sample_truth):
    said = joined(told)
    assert "and has 8 bars more." in said
    slower = re.search(r"It is (\d+) % slower \(101 beats a minute instead of 108\)", said)
    assert slower
    assert int(slower[1]) in (5, 6, 7)
    found = re.search(
        r"is played once more inside E1, after its bar 8 \(bars (\d+) to (\d+) of the second take\)", said
    )
    assert found
    bridge, build = (
        next(each for each in sample_truth["sections"] if each["name"] == name) for name in ("Bridge", "Build")
    )
    assert bridge["end"] == build["start"]
    # The bridge has the first eight bars of what was heard as one section; the chorus of eight bars stands behind it.
    assert (int(found[1]), int(found[2])) == (49, 56)
    assert "Heard in the second take alone: talk before the song" in said
    assert "semitone" not in said


def test_each_take_has_its_form_on_a_line_and_the_same_letters_for_the_same_parts(told):
    lines = told.splitlines()
    forms = [re.findall(r"(\w'?)\d+\((\d+)\)", line) for line in lines if re.match(r" +A1\(", line)]
    assert len(forms) == 2
    first, second = forms
    letters = [letter.rstrip("'") for letter, _ in first]
    assert [letter.rstrip("'") for letter, _ in second if letter.rstrip("'") not in letters] == []
    assert sum(int(bars) for _, bars in second) == sum(int(bars) for _, bars in first) + 8


def test_the_picture_on_paper_says_what_was_printed_and_names_both_takes(told, folder):
    drawn = joined(text_of((folder / "both.pdf").read_bytes()))
    assert "Written: both.pdf" in told
    assert "first_light.ogg and first_light_take2.ogg" in drawn
    for sentence in re.split(r"(?<=\.) (?=The second|It is|Heard)", joined(told).partition("The second take")[2]):
        assert sentence.removesuffix(" Written: both.pdf") in drawn
    assert "once more" in drawn


def test_names_of_a_document_are_used_in_either_order(run, folder):
    code, out, err = run("compare", folder / "named" / "first_light.cues.json", folder / SECOND)
    assert (code, err) == (0, "")
    said = joined(out)
    assert "first_light.ogg (bars and names of first_light.cues.json)" in said
    assert said.count("A1(Start 4)") == 2
    assert "Big chorus" in said
    code, out, _ = run("compare", folder / SECOND, folder / "named" / "first_light.ogg")
    turned = joined(out)
    assert code == 0
    assert "has 8 bars less" in turned
    assert "faster (108 beats a minute instead of 101)" in turned
    assert "left out (bars 49 to 56 of the first take)" in turned
    assert "Heard in the first take alone: talk before the song" in turned


def test_a_recording_and_its_document_do_not_differ(run, folder):
    named = folder / "named"
    code, out, _ = run("compare", named / "first_light.ogg", named / "first_light.cues.json")
    assert code == 0
    assert "Both are the same recording." in out
    assert "Nothing differs" in out


def test_a_document_is_compared_in_its_window(run, folder, tmp_path):
    song = Song.load(folder / "named" / "first_light.cues.json")
    shutil.copy(folder / "first_light.ogg", tmp_path)
    bars = {bar.number: bar for bar in song.analysis.bars}
    run("suggest", tmp_path / "first_light.ogg", "--from", "0:03", "--to", f"{bars[41].start:.2f}")
    code, out, _ = run("compare", folder / "first_light.ogg", tmp_path / "first_light.cues.json")
    assert code == 0
    said = joined(out)
    assert "left out (bars 41 to" in said
    assert "less." in said


def test_two_songs_are_no_takes_and_nothing_is_drawn(run, folder, tmp_path):
    other = play(tmp_path / "other.wav", "A8 B8", count_in=True)
    code, out, err = run("compare", folder / "first_light.ogg", other.path, "-o", tmp_path / "x.svg")
    assert "These are not two takes of one song" in joined(out)
    assert code == 2
    assert "Nothing was drawn" in err
    assert not (tmp_path / "x.svg").exists()


def test_songs_that_are_built_alike_may_be_two_and_this_comes_first(run, sample_path):
    """The samples' two songs have the same parts in the same order, and a tune that fits five semitones up."""
    code, out, _ = run("compare", sample_path, sample_path.with_name("salt_on_the_sill.m4a"))
    assert code == 0
    said = joined(out)
    assert "not two takes" in said or said.index("they may be two songs") < said.index("The second take is")


def test_silence_has_no_bars_to_compare(run, folder, tmp_path):
    soundfile.write(tmp_path / "nothing.wav", [0.0] * (20 * RATE), RATE)
    code, _, err = run("compare", folder / "first_light.ogg", tmp_path / "nothing.wav")
    assert code == 2
    assert "No music with bars was found in" in err
    assert "nothing.wav" in err


def test_quiet_prints_nothing_and_draws_all_the_same(run, folder, tmp_path):
    given = "--quiet", "compare", folder / "first_light.ogg", folder / SECOND
    code, out, err = run(*given, "-o", tmp_path / "both.svg")
    assert (code, out, err) == (0, "", "")
    assert (tmp_path / "both.svg").read_bytes().startswith(b"<?xml")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("first_light.ogg", "nowhere.ogg"), "nowhere.ogg was not found"),
        (("first_light.ogg", "nowhere.cues.json"), "nowhere.cues.json"),
        (("first_light.ogg", SECOND, "-o", "both.txt"), "has none of the endings"),
        (("first_light.ogg", SECOND, "-o", "-"), "has none of the endings"),
        (("first_light.ogg", SECOND, "-o", "there.pdf"), "there already; nothing was written"),
    ],
)
def test_what_cannot_be_done_is_said_before_anything_is_listened_to(run, folder, monkeypatch, words, said):
    from cuesuggest.draft import two_takes

    def never(*_):
        raise AssertionError("it was listened to")

    monkeypatch.chdir(folder)
    monkeypatch.setattr(two_takes, "framed", never)
    (folder / "there.pdf").write_bytes(b"mine")
    code, out, err = run("compare", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert (folder / "there.pdf").read_bytes() == b"mine"


def test_a_document_whose_recording_has_changed_says_so_and_beside_it_the_recording_is_heard(
    run, folder, tmp_path, take
):
    shutil.copy(folder / "named" / "first_light.cues.json", tmp_path)
    shutil.copy(folder / SECOND, tmp_path / "first_light.ogg")
    code, _, err = run("compare", tmp_path / "first_light.cues.json", folder / SECOND)
    assert code == 2
    assert "is not the file that" in err
    code, out, _ = run("compare", tmp_path / "first_light.ogg", folder / SECOND)
    assert code == 0
    assert "bars and names" not in out
    assert "Both are the same recording." in out


def test_recordings_are_never_written_over(run, folder, tmp_path):
    shutil.copy(folder / "first_light.ogg", tmp_path / "take.png")
    before = (tmp_path / "take.png").read_bytes()
    code, _, err = run("compare", tmp_path / "take.png", folder / SECOND, "-o", tmp_path / "take.png", "--force")
    assert code == 2
    assert "never written over" in err
    assert (tmp_path / "take.png").read_bytes() == before
