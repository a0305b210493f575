"""The document as a file: what it says, and what it says about a broken one."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from pydantic import ValidationError

from cuesuggest.analysis.types import Confidence
from cuesuggest.errors import DocumentError, EditError
from cuesuggest.score.bounds import MOST_BYTES
from cuesuggest.score.records import Place, Series
from cuesuggest.song import (
    DownbeatCorrection,
    SetCue,
    Settings,
    SetTitle,
    Song,
    SongWindow,
    TempoCorrection,
    TimeSignatureCorrection,
    Unplaced,
    change,
    change_all,
    path_from,
    path_to,
    undo,
)
from cuesuggest.song.rig_facts import side_names
from tests.songs import make_cue, make_song, place_at

CORRECTIONS = (
    DownbeatCorrection(12.34),
    TempoCorrection(74.2, from_=0.0, to=30.0),
    TimeSignatureCorrection("6/8", from_=30.0),
)


def full_song() -> Song:
    """A song in which every part of a document holds something."""
    song = make_song("A8 B8 A'4", voice={"A": 0.9}, events=[("stop", 16, 4, 1)], corrections=CORRECTIONS)
    shot = make_cue(5, "one-shot", place_at(song.analysis, 9, 2.5), series=Series(2, 9, 15, (13,)), cautions=("loud",))
    lost = Unplaced(make_cue(6, "call", Place(3.0)), "the bar it stood in is gone")
    song = song.replaced(cues=(*song.cues, shot), unplaced=(lost,))
    return undo(change(change(song, SetTitle("Tin Roof"), by="page"), SetTitle("Tin Hat"), by="page"))


def test_a_song_comes_back_as_it_was_written():
    song = full_song()
    assert Song.from_json(song.to_json()) == song


def test_writing_again_what_was_read_gives_the_same_bytes():
    written = full_song().to_json()
    assert Song.from_json(written).to_json() == written


def test_a_song_without_music_is_a_document():
    song = make_song("")
    assert song.analysis.music_start is None
    assert Song.from_json(song.to_json()) == song


def test_the_file_calls_things_by_their_names_on_disk():
    data = json.loads(full_song().to_json())
    assert data["format"] == "cuesuggest-song"
    assert data["version"] == 1
    assert data["analysis"]["sections"][2]["pass"] == 2
    assert data["cues"][0]["place"]["pass"] == 1
    assert data["corrections"] == [
        {"time": 12.34, "kind": "downbeat"},
        {"bpm": 74.2, "from": 0, "to": 30, "kind": "tempo"},
        {"value": "6/8", "from": 30, "kind": "time-signature"},
    ]
    assert data["history"][0]["edit"] == {"title": "Tin Roof", "op": "set-title"}


def test_the_file_is_laid_out_for_a_reader():
    lines = make_song(title="Łódź at night").to_json().decode().split("\n")
    assert lines[-1] == ""
    assert '  "title": "Łódź at night",' in lines
    assert '    "window": {"start": 0, "end": 65}' in lines
    assert [line for line in lines if line.startswith('    "beats": [2, 2.625, 3.25,')]
    assert max(i for i, line in enumerate(lines) if '"cues"' in line) < lines.index('  "analysis": {')


def test_a_mark_in_front_of_the_text_as_some_editors_leave_it_does_no_harm():
    song = make_song()
    assert Song.from_json(b"\xef\xbb\xbf" + song.to_json()) == song


def test_cues_are_kept_in_order_of_time_and_number():
    song = make_song()
    shuffled = song.replaced(cues=song.cues[::-1])
    assert [cue.number for cue in shuffled.cues] == [1, 2, 3, 4]
    together = song.replaced(cues=[replace(cue, place=place_at(song.analysis, 1)) for cue in song.cues[::-1]])
    assert [cue.number for cue in together.cues] == [1, 2, 3, 4]


def _without(data, *path):
    for part in path[:-1]:
        data = data[part]
    del data[path[-1]]


def _with(value):
    def put(data, *path):
        for part in path[:-1]:
            data = data[part]
        data[path[-1]] = value

    return put


# (what is done, where, what the message says of it). Song: A8 B8 A'4 in 4/4.
BROKEN = [
    (_without, ["title"], "title: is missing"),
    (_without, ["cues", 2, "place", "seconds"], "cues[2].place.seconds: is missing"),
    (_without, ["corrections", 1, "from"], "corrections[1].from: is missing"),
    (_without, ["corrections", 1, "kind"], "corrections[1]: needs a kind"),
    (_with("tmpo"), ["corrections", 1, "kind"], "corrections[1]: has no known kind: it is 'tmpo'"),
    (_with(-3), ["corrections", 0, "time"], "corrections[0].time: must be 0 or more, not -3"),
    (_with(0), ["corrections", 1, "to"], "corrections[1].to: 0 s does not come after 0 s"),
    (_with("four"), ["corrections", 2, "value"], "corrections[2].value: 'four' is not written"),
    (_with(1), ["beets"], "beets: is not a field that this program knows here"),
    (_with(1), ["cues", 0, "place", "bat"], "cues[0].place.bat: is not a field"),
    (_with("fade in"), ["cues", 0, "kind"], "cues[0].kind: must be 'recall', 'fade-in'"),
    (_with("fade in"), ["cues", 0, "kind"], "not 'fade in' (perhaps 'fade-in')"),
    (_with("12"), ["cues", 0, "number"], "cues[0].number: must be a number, not '12'"),
    (_with(True), ["cues", 0, "number"], "cues[0].number: must be a number, not true"),
    (_with(0), ["cues", 0, "number"], "cues[0].number: must be above 0, not 0"),
    (_with(1.5), ["cues", 0, "level"], "cues[0].level: must be a whole number, not 1.5"),
    (_with(101), ["cues", 0, "level"], "cues[0].level: must be 0 to 100, not 101"),
    (_with(-1), ["cues", 0, "up_beats"], "cues[0].up_beats: must be 0 to 10000, not -1"),
    (_with(1.2), ["cues", 0, "confidence"], "cues[0].confidence: must be 0 to 1, not 1.2"),
    (_with(None), ["cues", 0, "note"], "cues[0].note: must be a text in quotes, not null"),
    (_with("loud"), ["cues", 0, "reasons"], "cues[0].reasons: must be a list in brackets, not 'loud'"),
    (_with([]), ["cues", 0, "place"], "cues[0].place: must be an object in braces, not a list in brackets"),
    (_with(""), ["cues", 0, "id"], "cues[0].id: must not be empty"),
    (_with("recall/2"), ["cues", 3, "id"], "cues[3].id: 'recall/2' is taken by cues[1] already"),
    (_with(2), ["cues", 3, "number"], "cues[3].number: 2 is taken by cues[1] already"),
    (_with("fog"), ["cues", 2, "look"], "cues[2].look: there is no look with the id 'fog'"),
    (_with("fog"), ["plan", 1, "look"], "plan[1].look: there is no look with the id 'fog'"),
    (_with("s9"), ["plan", 1, "section"], "plan[1].section: there is no section with the id 's9'"),
    (_with("s1"), ["plan", 1, "section"], "plan[1].section: 's1' is taken by plan[0] already"),
    (_with(120), ["plan", 1, "level"], "plan[1].level: must be 0 to 100, not 120"),
    (_with(-1), ["looks", 0, "level_ceiling"], "looks[0].level_ceiling: must be 0 to 100, not -1"),
    (_with("lift"), ["looks", 0, "id"], "looks[1].id: 'lift' is taken by looks[0] already"),
    (_with(97), ["cues", 0, "place", "bar"], "cues[0].place.bar: there is no bar 97; the song has bars 1 to 20"),
    (_with(5), ["cues", 0, "place", "beat"], "cues[0].place.beat: bar 1 has the beats 1 to 4, there is no beat 5"),
    (_with(0.5), ["cues", 0, "place", "beat"], "there is no beat 0.5"),
    (_with(None), ["cues", 0, "place", "beat"], "there is no beat null"),
    # Beyond the bounds of a song: what took gigabytes, or had no end.
    (_with(10**9), ["analysis", "bars", 3, "beats"], "analysis.bars[3].beats: must be 1 to 99, not 1e+09"),
    (_with(0), ["analysis", "bars", 3, "beats"], "analysis.bars[3].beats: must be 1 to 99, not 0"),
    (_with(1e15), ["analysis", "bars", 3, "end"], "analysis.bars[3].end: must be a number from -1e+09 to 1e+09"),
    (_with(3600), ["analysis", "bars", 19, "end"], "analysis.bars[19].end: must be 0 to"),
    (_with(12), ["analysis", "bars", 4, "end"], "analysis.bars[4].end: 12 s leaves no time for a bar"),
    (_with(1), ["analysis", "bars", 4, "start"], "analysis.bars[4].start: must be"),
    (_with(10**7), ["analysis", "bars", 19, "number"], "analysis.bars[19].number: must be 50000 or less"),
    (_with("4/0"), ["analysis", "bars", 2, "time_signature"], "'4/0' is no time signature such as '4/4'"),
    (_with(10**9), ["recording", "duration"], "recording.duration: must be 0 to 86400, not 1e+09"),
    (_with(10**9), ["recording", "channels"], "recording.channels: must be 1 to 1024"),
    (_with(10**9), ["analysis", "duration"], "analysis.duration: 1e+09 s is not inside the recording"),
    (_with(10**30), ["revision"], "revision: must be a number from -1e+09 to 1e+09"),
    (_with(10**400), ["cues", 0, "number"], "cues[0].number: must be a"),
    (_with(10**40), ["cues", 0, "standby"], "cues[0].standby: must be a number from -1e+09 to 1e+09"),
    (_with(10**400), ["profile", "values", "deep"], "profile.values.deep: must be a number from -1e+09 to 1e+09"),
    (_with([1.0]), ["analysis", "beat_confidence"], "analysis.beat_confidence: has 1 members, but there are 80 beats"),
    (_with(-1), ["analysis", "beat_confidence", 7], "analysis.beat_confidence[7]: must be 0 to 1, not -1"),
    (_with(1), ["analysis", "beats", 7], "analysis.beats[7]: 1 s comes after 5.75 s; times must rise"),
    (_with(1e6), ["analysis", "beats", 79], "analysis.beats[79]: must be 0 to"),
    (_with(-5), ["analysis", "downbeats", 0], "analysis.downbeats[0]: must be 0 to"),
    (_with(0), ["analysis", "tempo_bpm"], "analysis.tempo_bpm: must be 1 to 12000, not 0"),
    (_with(1e7), ["analysis", "tempo_map", 0, "bpm"], "analysis.tempo_map[0].bpm: must be 1 to 12000"),
    (_with(1e5), ["analysis", "events", 0, "end"], "analysis.events[0].end: must be 0 to"),
    (_with(0), ["analysis", "events", 0, "end"], "analysis.events[0].end: 0 s comes before"),
    (_with(8), ["analysis", "sections", 1, "first_bar"], "sections[1].first_bar: bar 8 belongs to the section before"),
    (_with(1e6), ["analysis", "sections", 0, "turns"], "analysis.sections[0].turns: must be a list"),
    (_with([1e6]), ["analysis", "sections", 0, "turns"], "analysis.sections[0].turns[0]: must be 0 to"),
    (_with(1e8), ["questions", 0, "listen_at"], "questions[0].listen_at: must be 0 to"),
    (_with(0), ["looks", 0, "cycle_seconds"], "looks[0].cycle_seconds: must be above 0, not 0"),
    (_with(1e8), ["cues", 0, "up_beats"], "cues[0].up_beats: must be 0 to 10000, not 1e+08"),
    (_with(1e6), ["corrections", 0, "time"], "corrections[0].time: must be 0 to 86400, not 1e+06"),
    (_with(5000), ["corrections", 1, "bpm"], "corrections[1].bpm: must be 20 to 400, not 5000"),
    (_with("x" * 20_001), ["title"], "title: has 20001 characters; at most 20000 are read"),
    (_with(["x"] * 400_001), ["cautions"], "cautions: has 400001 members; at most 400000 are read"),
    (_with([[[[[[[[[[[[[[1]]]]]]]]]]]]]]), ["rig", "values", "sides"], "is more than 12 levels deep"),
    (_with(None), ["cues", 0, "place", "bar"], "cues[0].place.beat: there is a beat but no bar"),
    (_with("Z"), ["cues", 0, "place", "section"], "cues[0].place.section: there is no section 'Z'"),
    (_with(999), ["cues", 0, "place", "seconds"], "cues[0].place.seconds: 999 s is not inside the recording"),
    (_with(0), ["cues", 3, "series", "every_bars"], "cues[3].series.every_bars: must be 1 or more, not 0"),
    (_with(90), ["cues", 3, "series", "last_bar"], "cues[3].series.last_bar: there is no bar 90"),
    (_with(2), ["cues", 3, "series", "last_bar"], "bar 2 comes before the first, bar 9"),
    (_with(30), ["analysis", "sections", 1, "last_bar"], "analysis.sections[1].last_bar: there is no bar 30"),
    (_with("s1"), ["analysis", "sections", 1, "id"], "analysis.sections[1].id: 's1' is taken"),
    (_with(1), ["analysis", "bars", 1, "number"], "analysis.bars[1].number: bar 1 comes after bar 1"),
    (_with(999), ["recording", "window", "end"], "recording.window: 0 to 999 s is not a stretch"),
    (_with("5E"), ["recording", "sha256"], "recording.sha256: '5E' is not written as it should be"),
    (_with("noon"), ["history", 0, "time"], "history[0].time: 'noon' is not a time in UTC"),
    (_with("2031-05-04T18:30:00+02:00"), ["history", 0, "time"], "is not a time in UTC"),
    (_with(7), ["history", 0, "edit", "title"], "history[0].edit.title: must be a text in quotes, not 7"),
    (_with(-1), ["revision"], "revision: must be 0 or more, not -1"),
    (_with(0), ["version"], "version must be a whole number, 1 or more"),
    (_with(True), ["version"], "version must be a whole number, 1 or more"),
]


@pytest.mark.parametrize(("act", "path", "says"), BROKEN, ids=[each[2] for each in BROKEN])
def test_a_broken_document_is_told_where_and_how(act, path, says):
    data = json.loads(full_song().to_json())
    act(data, *path)
    with pytest.raises(DocumentError) as told:
        Song.from_json(json.dumps(data).encode(), "night.cues.json")
    assert says in str(told.value)
    assert str(told.value).startswith("night.cues.json")
    assert "pydantic" not in str(told.value)
    assert "Input should" not in str(told.value)


def test_a_wrong_cue_is_counted_as_the_file_counts_it():
    data = json.loads(make_song().to_json())
    data["cues"].reverse()
    data["cues"][0]["level"] = 300
    with pytest.raises(DocumentError, match=r"cues\[0\]\.level: must be 0 to 100, not 300"):
        Song.from_json(json.dumps(data).encode())


def test_many_mistakes_are_told_five_at_a_time():
    data = json.loads(make_song().to_json())
    for look in data["looks"]:
        for name in ("id", "name", "source", "colours"):
            del look[name]
    with pytest.raises(DocumentError) as told:
        Song.from_json(json.dumps(data).encode())
    lines = str(told.value).splitlines()
    assert len(lines) == 7
    assert lines[5].endswith("and 3 more")
    assert lines[6] == "Correct that, or take a saved copy, and open it again."


# Not documents at all, or not ours to read.
REFUSED = {
    "broken": (b'{"format": "cuesuggest-song",\n  "title" }', "breaks at line 2, column 11"),
    "empty": (b"", "breaks at line 1, column 1"),
    "cut off": (make_song().to_json()[:500], "the JSON breaks at line"),
    "another encoding": ('{"title": "Łódź"}'.encode("utf-16"), "is not UTF-8 text"),
    "a picture": (b"\x89PNG\r\n\x1a\n", "is not UTF-8 text (byte 0 breaks it)"),
    "a list": (b"[1, 2]", "is not a song document (it does not name its format"),
    "without format": (b'{"version": 1}', "is not a song document (it does not name its format"),
    "another format": (b'{"format": "set-list"}', "its format is 'set-list', not 'cuesuggest-song'"),
    "newer": (b'{"format": "cuesuggest-song", "version": 2, "shape": []}', "was written by a newer cuesuggest"),
    "no number": (b'{"format": NaN}', "holds NaN, which is not a number in JSON"),
    "too deep": (b"[" * 100_000, "is JSON that no song document holds"),
    "too long": (b'{"revision": ' + b"9" * 5000 + b"}", "is JSON that no song document holds"),
}


@pytest.mark.parametrize(("data", "says"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_document_of_ours_is_refused_in_a_sentence(data, says):
    with pytest.raises(DocumentError) as told:
        Song.from_json(data, "night.cues.json")
    assert says in str(told.value)
    assert len(str(told.value).splitlines()) == 1


@pytest.mark.parametrize("number", ["1e999", "-1e999"])
def test_a_number_too_large_to_be_one_is_refused_where_it_stands(number):
    data = make_song().to_json().decode().replace('"loudness_lufs": -24', f'"loudness_lufs": {number}', 1)
    with pytest.raises(DocumentError, match=r"analysis\.bars\[0\]\.loudness_lufs: must be a finite number"):
        Song.from_json(data.encode())


def test_a_document_of_more_bytes_than_any_song_has_is_not_read(tmp_path):
    path = tmp_path / "song.cues.json"
    path.write_bytes(make_song().to_json())
    with path.open("ab") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(DocumentError, match="has more than 32 MiB"):
        Song.load(path)


def test_a_song_too_long_to_be_opened_again_is_not_written():
    song = make_song()
    long = song.replaced(cautions=[f"{k} {'x' * 19_900}" for k in range(1_700)])
    with pytest.raises(DocumentError, match="would have more than 32 MiB"):
        long.to_json()


def test_of_more_changes_than_are_kept_the_oldest_is_forgotten(monkeypatch):
    monkeypatch.setattr("cuesuggest.song.edits.MOST_CHANGES", 3)
    song = make_song()
    for number in range(5):
        song = change(song, SetTitle(f"{number}"), by="test")
    assert [entry.edit.title for entry in song.history] == ["2", "3", "4"]
    assert undo(undo(undo(song))).title == "1"
    with pytest.raises(EditError, match="no change to take back"):
        undo(undo(undo(undo(song))))


def test_an_action_is_forgotten_whole_and_never_taken_back_by_half(monkeypatch):
    monkeypatch.setattr("cuesuggest.song.edits.MOST_CHANGES", 3)
    song = make_song()
    song = change_all(song, [SetTitle("1"), SetCue(song.cues[0].id, {"note": "slowly"})], by="test")
    for title in ("2", "3"):
        song = change(song, SetTitle(title), by="test")
    assert [entry.edit.title for entry in song.history] == ["2", "3"]
    with pytest.raises(EditError, match="no change to take back"):
        undo(undo(undo(song)))


def test_bar_lines_too_near_to_be_played_are_refused():
    lines = [DownbeatCorrection(2.0), DownbeatCorrection(2.01)]
    with pytest.raises(ValidationError, match=r"corrections\[1\]\.time: 2\.01 s is too near to the bar line at 2 s"):
        make_song().replaced(corrections=lines)


def test_a_song_made_of_parts_that_do_not_agree_cannot_be_made():
    song = make_song()
    with pytest.raises(ValidationError, match="there is no look with the id 'lift'"):
        song.replaced(looks=song.looks[:1])
    with pytest.raises(ValidationError, match="must be a finite number"):
        song.replaced(analysis=replace(song.analysis, confidence=Confidence(float("nan"), None, None)))
    window = SongWindow(5.0, 5.0)
    with pytest.raises(ValidationError, match="is not a stretch of the recording"):
        song.replaced(recording=replace(song.recording, window=window))


def test_a_file_name_that_is_no_text_is_told_and_not_written():
    song = make_song()
    song = song.replaced(recording=replace(song.recording, path="takes/caf\udce9.wav"))
    with pytest.raises(DocumentError, match="cannot be written as UTF-8"):
        song.to_json()


def test_a_recording_is_named_from_where_the_document_lies(tmp_path):
    (tmp_path / "takes").mkdir()
    (tmp_path / "cues").mkdir()
    assert path_from(tmp_path / "song.cues.json", tmp_path / "takes" / "one.wav") == "takes/one.wav"
    assert path_from(tmp_path / "cues" / "song.cues.json", tmp_path / "takes" / "one.wav") == "../takes/one.wav"


def test_answers_that_are_command_lines_as_in_older_documents_are_dropped_and_the_rest_opens():
    song = make_song()
    older = json.loads(song.to_json())
    older["questions"][0]["answers"] = [{"text": "yes", "command": "correct DOC --shift-bar 0", "reading": None}]
    opened = Song.from_json(json.dumps(older).encode())
    assert opened == song
    older["questions"][0]["answers"] = [{"text": "half", "deed": {"factor": 0.3, "do": "beat-times"}, "reading": None}]
    assert Song.from_json(json.dumps(older).encode()) == song


def test_a_document_that_is_reached_by_a_link_names_its_recording_from_where_it_lies(tmp_path):
    (tmp_path / "set").mkdir()
    (tmp_path / "desk").mkdir()
    (tmp_path / "set" / "song.cues.json").write_bytes(b"")
    link = tmp_path / "desk" / "tonight.cues.json"
    link.symlink_to(tmp_path / "set" / "song.cues.json")
    named = path_from(link, tmp_path / "takes" / "one.wav")
    assert named == "../takes/one.wav"
    assert path_to(link, named).resolve() == (tmp_path / "takes" / "one.wav").resolve()


def test_sides_come_in_the_order_of_the_rig_and_then_as_they_are_played():
    song = make_song("A8")
    place = place_at(song.analysis, 1)
    played = [make_cue(k, "cut-in", place, side=side) for k, side in enumerate(("X", "B", None, "W", "A", "B"), 1)]
    gone = make_cue(9, "cut-in", place, side="C", status="rejected")
    rig = Settings("three sides", {"sides": [{"name": "A"}, {"name": "B"}, {"name": "C"}]})
    assert side_names(song.replaced(cues=[*played, gone], rig=rig)) == ["A", "B", "X", "W"]
