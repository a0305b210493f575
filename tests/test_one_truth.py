"""A cue says one thing: whatever is edited, every list, page and file tells the same action, place, level and time."""

import csv
import io
import json
import re
from html import unescape
from pathlib import Path

import mido
import numpy as np
import pytest
from hypothesis import example, given, settings

from cuesuggest.cli.report import song_text
from cuesuggest.decide.cue_edits import added
from cuesuggest.errors import CuesuggestError
from cuesuggest.export import Options, export
from cuesuggest.export.chart import lay_out
from cuesuggest.export.paper.list_table import table
from cuesuggest.review.actions import ACTIONS
from cuesuggest.review.asked import Asked
from cuesuggest.review.view import page_of
from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.score.grid import Grid
from cuesuggest.score.light import hand_place, presses
from cuesuggest.score.records import Place, clock
from cuesuggest.song import SetCue, Settings, Song, change
from cuesuggest.song.hand_words import HandWords, beside
from tests.exported import seeds
from tests.songs import HOME, LIFT, make_analysis, make_cue, make_song

RIG = load_rig(None)
KINDS = ("fade-in", "crossfade", "cut-in", "fade-out", "cut-out", "ramp", "one-shot", "recall", "speed")
EVENTS = [("build", 21, 1.0, 16), ("stop", 12, 3.0, 1), ("hit", 30, 1.0, 1)]


def drafted(random):
    """A song with its draft: another form, tempo and drive every time."""
    form = " ".join(f"{letter}{int(random.choice([4, 8, 8, 12]))}" for letter in random.choice(list("ABCD"), 6))
    drive = {letter: float(random.uniform(0.05, 0.95)) for letter in "ABCD"}
    analysis = make_analysis(form, bpm=float(random.uniform(60, 180)), drive=drive, events=EVENTS)
    found = draft(analysis, load_profile(str(random.choice(["band", "gentle", "club"]))), RIG)
    looks = (*found.looks, *(look for look in (HOME, LIFT) if look.id not in {each.id for each in found.looks}))
    rig = Settings("example", RIG.values())
    return make_song(form, analysis=analysis, looks=looks, plan=found.plan, cues=found.cues, questions=(), rig=rig)


def edited(song, random, count=8):
    """The song after as many edits at random as the page can make of it; what is refused is left out."""
    for _ in range(count):
        if not song.cues:
            break
        cue = song.cues[int(random.integers(len(song.cues)))]
        bar = song.analysis.bars[int(random.integers(len(song.analysis.bars)))].number
        beats, level = float(random.choice([0, 1, 2, 3.5, 4, 8])), int(random.integers(0, 101))
        what, values = [
            ("move", {"cue": cue.id, "beats": int(random.integers(-6, 7)), "bars": int(random.integers(-3, 4))}),
            ("level", {"cue": cue.id, "level": level}),
            ("set", {"cue": cue.id, "kind": str(random.choice(KINDS))}),
            ("set", {"cue": cue.id, "side": str(random.choice(["A", "B", ""]))}),
            ("set", {"cue": cue.id, "up_beats": beats}),
            ("set", {"cue": cue.id, "down_beats": beats}),
            ("set", {"cue": cue.id, "anchor": str(random.choice(["starts-on", "lands-on"]))}),
            ("set", {"cue": cue.id, "trigger": str(random.choice(["hand", "held", "follow-on", "chase"]))}),
            ("set", {"cue": cue.id, "look": str(random.choice([look.id for look in song.looks]))}),
            ("note", {"cue": cue.id, "note": "watch the drummer"}),
            ("status", {"cues": [cue.id], "status": str(random.choice(["accepted", "rejected", "suggested"]))}),
            ("add", {"kind": str(random.choice(KINDS)), "bar": bar, "beat": 1, "side": "B", "level": level}),
            ("add", {"kind": "call", "bar": bar, "beat": 1, "note": "house light to half", "who": "house light"}),
        ][int(random.integers(13))]
        try:
            for edit in ACTIONS[what](song, Asked(values)).edits:
                song = change(song, edit, by="test")
        except CuesuggestError:
            continue
    return song


class Page:
    """As much of the review page's session as `page_of` asks for."""

    def __init__(self, song):
        self.song, self.document, self.changed = song, Path("evening.cues.json"), ()

    def undo_text(self):
        return None

    redo_text = undo_text


def known(song):
    """For each cue that stands, by number: its action, its sentence, where the hand begins and when."""
    grid, words = Grid(song.analysis), HandWords(song)
    standing = [cue for cue in song.cues if cue.status != "rejected"]
    return {f"{cue.number:g}": (cue, words.short(cue), words.of(cue), hand_place(cue, grid)) for cue in standing}


@settings(max_examples=40, deadline=None)
@example(120615792)  # an action longer than a line of the text show
@given(seeds)
def test_every_list_page_and_file_tells_the_same_of_a_cue(seed):
    random = np.random.default_rng(seed)
    song = edited(drafted(random), random)
    cues = known(song)
    files = {name: data for each in ("csv", "json", "captions", "midi", "text-show", "run", "score")
             for name, data in export(song, each, Options()).items()}  # fmt: skip

    # What stands in cells.
    rows = {f"{float(row['number']):g}": row for row in csv.DictReader(io.StringIO(files[".cues.csv"].decode()))}
    listed = {f"{each['number']:g}": each for each in json.loads(files[".list.json"])["cues"]}
    lines = {row.cells[0]: row for row in table(song, Options())}
    shown = {f"{each['number']:g}": each for each in page_of(Page(song), 16, 1400.0)["cues"]}
    run = {each["number"]: each for each in tablet(files[".run.html"])["cues"]}
    assert cues.keys() == rows.keys() == listed.keys() == lines.keys()
    for number, (cue, short, sentence, place) in cues.items():
        lands = str(cue.place) if place != cue.place else None
        level = "" if cue.level is None else str(cue.level)
        row, entry, line, seen = rows[number], listed[number], lines[number], shown[number]
        assert (row["hand"], row["level %"], row["time"]) == (sentence, level, clock(place.seconds))
        assert (row["bar"], row["lands at"]) == (str(place.bar or ""), lands or "")
        assert (entry["hand"], entry["level"], entry["bar"]) == (sentence, cue.level, place.bar)
        assert entry["seconds"] == pytest.approx(place.seconds, abs=1e-4)
        assert (entry["lands"] or {"place": None})["place"] == lands
        assert line.line.seconds == pytest.approx(place.seconds, abs=1e-4)
        assert sentence in line.cells[7]
        assert (seen["hand"], seen["action"], seen["where"], seen["lands"]) == (sentence, short, str(place), lands)
        assert (seen["seconds"], seen["clock"]) == (place.seconds, clock(place.seconds))
        assert run[number]["action"] == short
        lengths = re.findall(r"\bin (?:about )?([\d.]+ (?:beats?|s))\b", short)
        assert [length for length in lengths if length not in sentence] == [], (short, sentence)
        if cue.kind in ("fade-in", "crossfade", "cut-in", "ramp") and cue.level is not None:
            assert (f"{cue.level} %" in sentence, re.search(rf"\b{cue.level}\b", short) is not None) == (True, True)
        assert sentence in run[number]["hand"]

    # What is running text.
    terminal = song_text(song, 5000)
    drawn = {each.cue: each.text for line in lay_out(song, 4, 4000.0).lines for each in line.words if each.cue}
    texts = {ending: unescape(files[ending].decode()) for ending in (".vtt", ".show.txt", ".musicxml")}
    for number, (cue, short, sentence, _) in cues.items():
        assert re.search(rf"(?m)^ +{re.escape(number)}  .*, {cue.kind}.*: {re.escape(sentence)}$", terminal)
        assert drawn[cue.id].endswith(short)
        assert [name for name, text in texts.items() if short not in " ".join(text.split())] == [], short

    # What is told at a moment.
    told = midi_times(files[".mid"])
    for number, (cue, short, _, place) in cues.items():
        early = place.seconds - cue.place.seconds
        expected = [max(at + early, 0.0) for at in presses(cue, Grid(song.analysis))]
        found = [at for at, text in told if re.match(rf"(By hand )?{re.escape(number)} ", text) and short in text]
        assert found == pytest.approx(expected, abs=2e-3)


def tablet(data):
    """What the tablet's page is given."""
    return json.loads(re.search(r'(?s)<script type="application/json" id="night">(.*?)</script>', data.decode())[1])[
        "songs"
    ][0]


def midi_times(data):
    """When which cue is told, in seconds."""
    told, now = [], 0.0
    for message in mido.MidiFile(file=io.BytesIO(data)):
        now += message.time
        if message.type == "cue_marker":
            told.append((now, message.text))
    return told


def test_words_come_from_the_values_and_what_a_person_wrote_stands_beside_them():
    song = drafted(np.random.default_rng(3))
    cue = next(each for each in song.cues if each.kind in ("fade-in", "crossfade"))
    changed = {"cue": cue.id, "level": 33, "up_beats": 6, "side": "B", "note": "softly"}
    for edit in ACTIONS["set"](song, Asked(changed)).edits:
        song = change(song, edit, by="test")
    now = next(each for each in song.cues if each.id == cue.id)
    assert HandWords(song).of(now).startswith("Side B: fader up to 33 % over 6 beats, from the 1")
    assert beside(now) == "softly"


KINDS_TOLD = [
    ("cut-in", {}, "Side A: fader to 50 % in one move on the 1"),
    ("fade-out", {}, "Side A: fader down over 8 beats, from the 1"),
    ("cut-out", {}, "Side A: out in one move on the 1"),
    ("cut-out", {"trigger": "held"}, "Everything out: press on the 1, hold, let go on the 2"),
    ("recall", {}, "Side A, dark: recall 'Slow drift' on the 1"),
    ("ramp", {"level": 20}, "Side A: to 20 % over 8 beats, from the 1"),
    ("one-shot", {}, "Slow drift: press on the 1"),
    ("call", {"note": "house light down"}, "house light down"),
    ("call", {}, "a line that is not written yet"),
    ("fade-in", {"anchor": "lands-on"}, "Side A: fader up to 50 % over 8 beats, from the 1, lands at A1, bar 1 of 8"),
    ("fade-in", {"trigger": "follow-on"}, "Side A: fader up to 50 % over 8 beats, from the 1; it follows by itself"),
]


@pytest.mark.parametrize(("kind", "values", "said"), KINDS_TOLD)
def test_a_cue_of_another_kind_says_what_it_is_now(kind, values, said):
    song = make_song("A8 B8 A8")
    first = song.cues[0]
    place = Grid(song.analysis).place(1 if "anchor" not in values else 3)
    song = song.replaced(cues=(change(song, SetCue(first.id, {"place": place}), by="test").cues[0],))
    for edit in ACTIONS["set"](song, Asked({"cue": first.id, "kind": kind, **values})).edits:
        song = change(song, edit, by="test")
    assert HandWords(song).of(song.cues[0]) == said.replace("bar 1 of 8", "bar 3 of 8")


def test_a_crossfade_names_the_side_that_leaves_only_while_it_is_lit():
    song = make_song("A8 B8 A8")
    over = next(cue for cue in song.cues if cue.kind == "cut-in")
    (edit,) = ACTIONS["set"](song, Asked({"cue": over.id, "kind": "crossfade", "up_beats": 4})).edits
    song = change(song, edit, by="test")
    cue = next(each for each in song.cues if each.id == over.id)
    assert HandWords(song).of(cue).endswith("; side A out over 4 beats once B is half up")
    gone = change(song, SetCue(song.cues[0].id, {"status": "rejected"}), by="test")
    assert "side A" not in HandWords(gone).of(cue)
    # What is left out still says what it would do.
    assert HandWords(gone).of(gone.cues[0]).startswith("Side A: fader up to 50 %")


def test_a_document_with_stored_words_opens_and_keeps_those_that_a_person_wrote():
    song = make_song("A8 B8 A8")
    own = added(song, "call", Grid(song.analysis).place(3), note="house light down", who="house light")
    data = json.loads(change(song, own, by="test").to_json())
    for cue in [*data["cues"], data["history"][0]["edit"]["cue"]]:
        cue["hand"] = cue.pop("note") or "Side A: words as they once were"
        del cue["cycle_bars"], cue["dark_by"]
    data["history"].append({**data["history"][0], "revision": 2, "edit": _set_hand(song), "inverse": _set_hand(song)})
    data["revision"] = 2
    opened = Song.from_json(json.dumps(data).encode())
    assert [cue.note for cue in opened.cues if cue.note] == ["house light down"]
    assert "hand" not in json.loads(opened.to_json())["cues"][0]


def _set_hand(song):
    return {"op": "set-cue", "cue": song.cues[0].id, "changes": {"hand": "words"}}


# (kind, fields, words)
WORDS = [
    ("recall", {"side": "B", "look": "lift"}, "set B Wide fans"),
    ("fade-in", {"side": "A", "level": 50, "up_beats": 8.0}, "A up to 50 in 8 beats"),
    ("crossfade", {"side": "B", "level": 65, "up_beats": 1.0}, "over to B at 65 in 1 beat"),
    ("cut-in", {"side": "B", "level": 80}, "B in at 80"),
    ("cut-in", {"side": "B", "level": 80, "down_beats": 2.0}, "B in at 80, then the other out in 2 beats"),
    ("ramp", {"side": "A", "level": 70, "up_beats": 4.0}, "A to 70 in 4 beats"),
    ("fade-out", {"side": "A", "down_seconds": 7.54}, "A down in 7.5 s"),
    ("fade-out", {}, "all down"),
    ("cut-out", {"side": "A"}, "A out"),
    ("cut-out", {"side": "A", "trigger": "held"}, "hold dark"),
    ("one-shot", {}, "one-shot"),
    ("speed", {"side": "B", "cycle_seconds": 4.0}, "B one round in 4.0 s"),
    ("speed", {"side": "B"}, "B new speed"),
    ("call", {"who": "house light", "note": "house to half"}, "[house light: house to half]"),
    ("fade-out", {"side": "A", "who": "Nadia"}, "[Nadia] A down"),
]


@pytest.mark.parametrize(("kind", "fields", "words"), WORDS)
def test_the_action_is_said_in_few_words(kind, fields, words):
    cue = make_cue(2, kind, Place(9.0), **fields)
    lit = make_cue(1, "cut-in", Place(1.0), side="A", level=50)
    assert HandWords(make_song("A8", cues=(lit, cue))).short(cue) == words
