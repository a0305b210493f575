"""A reviewed cue list carried to another take of the song, as a user does it, against what is known of both takes."""

from __future__ import annotations

import json
import shutil
from bisect import bisect_right
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr

from cuesuggest.cli import cli
from cuesuggest.draft.drafting import draft_file
from cuesuggest.song import Song
from cuesuggest.song.compared import kind_words
from cuesuggest.song.decided import decided
from cuesuggest.song.open_questions import open_questions

SAMPLES = Path(__file__).parent.parent / "samples"
ON_TIME = 0.06  # s; both takes are played by hands that scatter about their bars


def truth_of(name: str) -> dict[str, Any]:
    return json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))


def program(*words: object) -> None:
    """Run a command; what goes wrong is raised."""
    cli.main([str(word) for word in words], standalone_mode=False, obj={"written": []})


@pytest.fixture(scope="module")
def both(tmp_path_factory) -> Path:
    """A folder with two takes of one song, the reviewed list of the first, and that list carried to the second."""
    folder = tmp_path_factory.mktemp("evening")
    for name in ("first_light.ogg", "first_light_take2.ogg"):
        shutil.copy(SAMPLES / name, folder / name)
    document = folder / "first_light.cues.json"
    draft_file(folder / "first_light.ogg")
    # Something of every kind is decided.
    for words in (
        ("section", "D1", "--name", "Chorus", "--all"),
        ("section", "C1", "--name", "Verse", "--first-words", "no one told me"),
        ("accept", "1-6"),
        ("reject", "9"),
        ("level", "4", "55"),
        ("note", "7", "watch the drummer"),
        ("lock", "8"),
        ("add", "call", "--section", "D2", "--bar", "5", "--note", "hands up"),
    ):
        program("--quiet", "edit", document, *words)
    program("--quiet", "retime", document, folder / "first_light_take2.ogg")
    return folder


@pytest.fixture
def carried(both, tmp_path) -> Path:
    """A copy of the carried list that a test may change, the other list and the recordings beside it."""
    shutil.copytree(both, tmp_path / "evening")
    return tmp_path / "evening" / "first_light_take2.cues.json"


@pytest.fixture
def reviewed(carried) -> Path:
    """A copy of the reviewed list; nothing was carried yet."""
    carried.unlink()
    return carried.with_name("first_light.cues.json")


def due(seconds: float) -> float:
    """Where a moment of the first take is played in the second, by what was played."""
    first, second = truth_of("first_light"), truth_of("first_light_take2")
    starts = [bar["start"] for bar in first["bars"]]
    index = bisect_right(starts, seconds + 0.05) - 1
    bar = first["bars"][index]
    part = (seconds - bar["start"]) / (bar["end"] - bar["start"])
    sections = [each["start"] for each in first["sections"]]
    section = bisect_right(sections, bar["start"] + 0.05) - 1
    inside = sum(sections[section] - 0.05 <= start < bar["start"] - 0.05 for start in starts)
    # Sections answer each other in order; the second take has one that answers none.
    answering = [number for number, each in enumerate(second["other_take"]["sections"]) if each["answers"]]
    begins = second["sections"][answering[section]]["start"]
    there = [each for each in second["bars"] if each["start"] >= begins - 0.05][inside]
    return there["start"] + part * (there["end"] - there["start"])


def test_every_cue_goes_to_its_bar_of_a_slower_take_with_a_chorus_more(carried):
    old, new = Song.load(carried.with_name("first_light.cues.json")), Song.load(carried)
    places = {cue.id: cue.place.seconds for cue in new.cues}
    assert {cue.id for cue in old.cues} <= places.keys()
    # Before bar 1 there is nothing to hold on to but the time to it.
    inside = [cue for cue in old.cues if cue.place.seconds > truth_of("first_light")["bars"][0]["start"]]
    assert len(inside) > 12
    late = [abs(places[cue.id] - due(cue.place.seconds)) for cue in inside]
    assert max(late) < ON_TIME
    assert np.median(late) < 0.03
    assert "This take is 6 % slower." in new.taken_over.lines[0]
    assert new.taken_over.sure.keys() == {cue.id for cue in old.cues}
    assert all(0 <= sure <= 1 for sure in new.taken_over.sure.values())


def test_what_was_decided_comes_along(carried):
    old, new = Song.load(carried.with_name("first_light.cues.json")), Song.load(carried)
    there = {cue.id: cue for cue in new.cues}
    for cue in old.cues:
        for name in ("number", "kind", "status", "note", "lock", "level", "look", "side", "up_beats", "down_beats"):
            assert getattr(there[cue.id], name) == getattr(cue, name), (cue.id, name)
    names = {section.id: (section.name, section.first_words) for section in new.analysis.sections}
    for section in old.analysis.sections:
        assert names[section.id] == (section.name, section.first_words)
    assert new.title == old.title


def test_a_part_that_only_the_new_take_has_is_told_and_what_is_suggested_for_it_says_so(reviewed, run):
    code, out, err = run("retime", reviewed, reviewed.with_name("first_light_take2.ogg"))
    assert code == 0, err
    assert "Written:" in out
    old, new = Song.load(reviewed), Song.load(reviewed.with_name("first_light_take2.cues.json"))
    known = {section.id for section in old.analysis.sections}
    added = [section for section in new.analysis.sections if section.id not in known]
    quiet = next(each for each in truth_of("first_light_take2")["sections"] if each["start"] > 130)
    assert any(abs(section.start - quiet["start"]) < 0.5 for section in added)
    for section in added:
        assert f"New: {section.mark}" in out
    for cue in (cue for cue in new.cues if cue.id in new.taken_over.new_cues):
        assert cue.status == "suggested"
        assert cue.reasons[0].startswith("New in this take")


def test_there_and_back_nothing_that_was_decided_is_lost(carried):
    back = carried.with_name("back.cues.json")
    program("--quiet", "retime", carried, carried.with_name("first_light.ogg"), "-o", back)
    old, new = Song.load(carried.with_name("first_light.cues.json")), Song.load(back)
    again = {cue.id: cue for cue in new.cues}
    for cue in filter(decided, old.cues):
        for name in ("number", "status", "note", "lock", "level", "look", "side", "up_beats", "down_beats", "kind"):
            assert getattr(again[cue.id], name) == getattr(cue, name), (cue.id, name)
        assert again[cue.id].place.bar == cue.place.bar
        assert again[cue.id].place.seconds == pytest.approx(cue.place.seconds, abs=ON_TIME)
    assert {cue.id for cue in new.cues} == {cue.id for cue in old.cues}
    assert [(each.mark, each.name) for each in new.analysis.sections if each.name] == [
        (each.mark, each.name) for each in old.analysis.sections if each.name
    ]


def test_a_cue_of_bars_that_are_not_played_is_kept_aside_and_comes_back(carried, run):
    shorter, again = carried.with_name("shorter.cues.json"), carried.with_name("again.cues.json")
    only = next(each for each in Song.load(carried).analysis.sections if each.first_bar == 49)
    for bar, note in (("3", "quiet now"), ("5", "still quiet")):
        assert run("edit", carried, "add", "call", "--section", only.mark, "--bar", bar, "--note", note)[0] == 0
    code, out, _ = run("retime", carried, carried.with_name("first_light.ogg"), "-o", shorter)
    assert code == 0
    aside = [each.cue for each in Song.load(shorter).unplaced]
    assert [cue.note for cue in aside] == ["quiet now", "still quiet"]
    said = "; ".join(f"cue {cue.number:g} ({kind_words(cue)}, {cue.place})" for cue in aside)
    assert f"Kept aside, as this take does not have these bars: {said}." in " ".join(out.split())
    assert run("retime", shorter, carried.with_name("first_light_take2.ogg"), "-o", again)[0] == 0
    song = Song.load(again)
    back = next(cue for cue in song.cues if cue.note == "quiet now")
    assert back.place.seconds == pytest.approx(next(iter(aside)).place.seconds, abs=ON_TIME)
    assert any(f"take/{back.id}" == question.id for question in open_questions(song))


def test_undo_takes_it_back_and_redo_makes_it_again(reviewed, run):
    target = reviewed.with_name("first_light_take2.cues.json")
    assert run("retime", reviewed, reviewed.with_name("first_light_take2.ogg"))[0] == 0
    carried = Song.load(target)
    code, out, _ = run("edit", target, "undo")
    assert code == 0
    assert "carried from first_light.ogg" in out
    old, back = Song.load(reviewed), Song.load(target)
    assert back.cues == old.cues
    assert back.analysis == old.analysis
    assert back.recording == old.recording
    assert run("edit", target, "redo")[0] == 0
    assert Song.load(target).cues == carried.cues


def test_in_place_the_document_itself_is_carried(reviewed, run):
    before = Song.load(reviewed)
    assert run("retime", reviewed, reviewed.with_name("first_light_take2.ogg"), "-o", reviewed)[0] == 0
    assert Song.load(reviewed).recording.path == "first_light_take2.ogg"
    assert run("edit", reviewed, "undo")[0] == 0
    assert Song.load(reviewed).cues == before.cues


def test_a_list_that_is_there_is_never_written_over(carried, run):
    before = carried.read_bytes()
    code, _, err = run("retime", carried.with_name("first_light.cues.json"), carried.with_name("first_light_take2.ogg"))
    assert code == 2
    assert "is there already" in err
    assert carried.read_bytes() == before


def test_a_tape_that_runs_fast_is_a_semitone_higher_and_every_cue_finds_its_bar(reviewed, run):
    sound, rate = soundfile.read(reviewed.with_name("first_light.ogg"), dtype="float32")
    ratio = 2 ** (1 / 12)
    fast = soxr.resample(sound.mean(axis=1), rate, rate / ratio)
    # A talk before it, and a telephone's band.
    silence = np.random.default_rng(1).normal(0, 0.001, 7 * rate)
    soundfile.write(reviewed.with_name("fast.wav"), np.concatenate([silence, fast]), rate)
    code, out, err = run("retime", reviewed, reviewed.with_name("fast.wav"))
    assert code == 0, err
    assert "1 semitone higher" in out
    assert "6 % faster" in out
    old, new = Song.load(reviewed), Song.load(reviewed.with_name("fast.cues.json"))
    places = {cue.id: cue.place.seconds for cue in new.cues}
    for cue in old.cues:
        assert places[cue.id] == pytest.approx(7 + cue.place.seconds / ratio, abs=ON_TIME)
    assert not open_questions(new) or all(not each.id.startswith("take/") for each in open_questions(new))


def test_a_recording_without_music_is_refused_in_words(reviewed, run):
    noise = np.random.default_rng(2).normal(0, 0.01, 20 * 22050)
    soundfile.write(reviewed.with_name("noise.wav"), noise, 22050)
    code, _, err = run("retime", reviewed, reviewed.with_name("noise.wav"))
    assert code == 2
    assert "Nothing of the song was found in noise.wav" in err
    assert not reviewed.with_name("noise.cues.json").exists()


def test_the_recording_of_the_list_must_be_there(reviewed, run):
    reviewed.with_name("first_light.ogg").unlink()
    code, _, err = run("retime", reviewed, reviewed.with_name("first_light_take2.ogg"))
    assert code == 2
    assert "first_light.ogg" in err
    assert "Traceback" not in err


def test_an_answer_says_that_a_cue_is_right_and_undo_asks_again(carried):
    from cuesuggest.decide.answers import answered
    from cuesuggest.song import Doubt, SetDoubts, change, undo

    song = Song.load(carried)
    cue = song.cues[3]
    doubt = Doubt(cue.id, cue.place.seconds, "this take goes another way beside it", (100.0,))
    song = change(song, SetDoubts((doubt,)), by="test")
    asked = next(each for each in open_questions(song) if each.id == f"take/{cue.id}")
    assert [each.text for each in asked.answers] == [
        "it is right here",
        "it belongs to 1:40.0",
        "take it out",
    ]
    kept = answered(song, asked.id, 0).made_in(song, by="test")
    assert not any(each.id == asked.id for each in open_questions(kept))
    assert any(each.id == asked.id for each in open_questions(undo(kept)))
    moved = answered(song, asked.id, 1).made_in(song, by="test")
    assert not any(each.id == asked.id for each in open_questions(moved))
    assert next(each for each in moved.cues if each.id == cue.id).place.seconds == pytest.approx(100, abs=0.4)


def test_a_cue_that_nobody_asks_about_is_not_kept_again(carried, run):
    from cuesuggest.song import Doubt, SetDoubts, change

    song = Song.load(carried)
    asked, other = song.cues[3], song.cues[4]
    doubt = Doubt(asked.id, asked.place.seconds, "this take goes another way beside it", (100.0,))
    change(song, SetDoubts((doubt,)), by="test").save(carried, expected_revision=song.revision)
    before = carried.read_bytes()
    code, _, err = run("edit", carried, "keep-place", f"{other.number:g}")
    assert (code, carried.read_bytes()) == (2, before)
    assert f"No uncertain cue was named. Uncertain: {asked.number:g}." in err
    code, out, _ = run("edit", carried, "keep-place", f"{asked.number:g}", f"{other.number:g}")
    assert (code, out) == (0, "No cue from another take left to listen to.\n")
    assert "Uncertain: none." in run("edit", carried, "keep-place", f"{asked.number:g}")[2]


def test_two_recordings_of_hours_are_refused_before_memory_runs_out():
    from types import SimpleNamespace

    from cuesuggest.draft.alike import laid_on
    from cuesuggest.errors import RecordingError

    hours = SimpleNamespace(analysis=SimpleNamespace(beats=range(12_000)))
    with pytest.raises(RecordingError, match="Find the songs in them with split"):
        laid_on(hours, None, hours.analysis, Path("night.wav"))
