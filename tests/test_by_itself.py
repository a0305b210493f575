"""What a machine may play by itself: what the rig, a cue and an export say of it, and that lasers are held back."""

import io
import json
from dataclasses import replace

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.decide.cue_edits import added, played_by_itself
from cuesuggest.decide.quick import dark_held
from cuesuggest.errors import EditError, ProfileError
from cuesuggest.export import FORMATS, Options, export
from cuesuggest.export.common.desk_map import CueMap, DeskMap, LookMap, SideMap
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import is_automatic, told
from cuesuggest.export.desk.automatic import acts, moves
from cuesuggest.export.desk.osc import timed_messages
from cuesuggest.rules import draft, load_profile, load_rig, rig_from_values
from cuesuggest.song import Settings, Song
from cuesuggest.song.rig_facts import sources_moved
from tests.exported import AUTO, random_song, seeds
from tests.songs import make_analysis, make_cue, make_song, place_at

SOURCES = ("lamp", "strobe", "laser")
BAND = load_profile("band")
FORM = "A8 B8 A8 B8"
EVENTS = [("drop", 9, 1.0, 1.0), ("stop", 20, 3.0, 1.5)]


def drafted(rig):
    """A draft for a rig, as a song."""
    analysis = make_analysis(FORM, events=EVENTS)
    found = draft(analysis, BAND, rig)
    return make_song(
        analysis=analysis,
        looks=found.looks,
        cues=found.cues,
        plan=(),
        questions=(),
        rig=Settings(rig.name, rig.values()),
    )


def by_itself(song, options=None):
    return {cue.id for cue in song.cues if is_automatic(song, cue, options or Options())}


# The rig.


def test_lamps_play_by_themselves_and_a_strobe_waits():
    song = drafted(load_rig("two-lamps-strobe"))
    shots = {cue.id for cue in song.cues if cue.kind == "one-shot"}
    held = {cue.id for cue in song.cues if cue.trigger == "held"}
    assert shots
    # The dark that is held is the strobe's as well.
    assert by_itself(song) == {cue.id for cue in song.cues} - shots - held
    assert by_itself(song)


def test_lamps_on_every_part_of_the_rig_play_all_of_the_list():
    song = drafted(load_rig("two-lamps-volunteer"))
    assert by_itself(song) == {cue.id for cue in song.cues}


@pytest.mark.parametrize("name", ["example", "one-laser"])
def test_a_rig_of_lasers_plays_nothing_that_moves_one(name):
    song = drafted(load_rig(name))
    assert {cue.kind for cue in song.cues if cue.id in by_itself(song)} <= {"one-shot"}
    assert not any("laser" in sources_moved(song, cue) for cue in song.cues if cue.id in by_itself(song))


def rig_file(tmp_path, **more):
    sides = "".join(
        f'[[sides]]\nname = "{name}"\nsource = "{source}"\njumps = true\nsettle_seconds = 1.0\n{more.get(name, "")}\n'
        for name, source in (("L", "laser"), ("S", "strobe"), ("M", "lamp"))
    )
    path = tmp_path / "own.toml"
    path.write_text(
        'hands = 2\npractised = "operator"\nreaction_seconds = 0.3\nhaze = true\ncameras = false\n' + sides,
        encoding="utf-8",
    )
    return path


def test_a_rig_that_does_not_say_lets_lamps_alone(tmp_path):
    rig = load_rig(rig_file(tmp_path))
    assert [(side.source, side.by_itself) for side in rig.sides] == [
        ("laser", False), ("strobe", False), ("lamp", True),
    ]  # fmt: skip


def test_a_rig_says_it_for_every_side(tmp_path):
    rig = load_rig(rig_file(tmp_path, S="by_itself = true", M="by_itself = false"))
    assert [side.by_itself for side in rig.sides] == [False, True, False]


def test_a_rig_cannot_let_a_laser_go(tmp_path):
    with pytest.raises(ProfileError, match=r"own.toml, line 11: sides.1.by_itself is true; a laser always waits"):
        load_rig(rig_file(tmp_path, L="by_itself = true"))


def test_a_side_that_waits_keeps_its_cues_back_alone():
    rig = load_rig("two-lamps-volunteer")
    half = replace(rig, sides=(rig.sides[0], replace(rig.sides[1], by_itself=False)))
    song = drafted(half)
    assert {cue.side for cue in song.cues if cue.id in by_itself(song)} == {"A", None}
    assert {cue.side for cue in song.cues if cue.id not in by_itself(song)} == {"B"}


# Documents from before.


def before_rigs_said(song):
    """The same document as it was saved before rigs said anything: every cue waits."""
    values = json.loads(json.dumps(song.rig.values))
    for part in (*values["sides"], values["one_shot"]):
        del part["by_itself"]
    cues = tuple(replace(cue, operator_confirms=True) for cue in song.cues)
    return song.replaced(rig=Settings(song.rig.name, values), cues=cues)


def test_a_document_from_before_opens_and_all_of_it_waits():
    old = before_rigs_said(drafted(load_rig("two-lamps-volunteer")))
    again = Song.from_json(old.to_json())
    assert by_itself(again) == set()
    assert by_itself(again, Options(allow_auto=frozenset({"lamp"}))) == {cue.id for cue in again.cues}


def test_what_is_drafted_anew_in_it_waits_as_all_else_does():
    rig = rig_from_values(before_rigs_said(drafted(load_rig("two-lamps-strobe"))).rig.values)
    assert not any(side.by_itself for side in rig.sides)
    assert not rig.one_shot.by_itself
    assert all(cue.operator_confirms for cue in draft(make_analysis(FORM), BAND, rig).cues)


# One export.


def test_an_export_lets_go_what_is_named_and_nothing_else():
    song = before_rigs_said(drafted(load_rig("two-lamps-strobe")))
    shots = {cue.id for cue in song.cues if cue.kind == "one-shot"}
    held = {cue.id for cue in song.cues if cue.trigger == "held"}
    assert by_itself(song, Options(allow_auto=frozenset({"strobe"}))) == shots
    assert by_itself(song, Options(allow_auto=frozenset({"lamp"}))) == {cue.id for cue in song.cues} - shots - held
    assert by_itself(song, Options(allow_auto=frozenset({"lamp", "strobe"}))) == {cue.id for cue in song.cues}


def test_a_side_that_the_rig_does_not_know_is_taken_for_a_laser():
    song = make_song(rig=Settings("bare", {}))
    freed = song.replaced(cues=[replace(cue, operator_confirms=False) for cue in song.cues])
    assert by_itself(freed) == set()
    assert by_itself(freed, Options(**AUTO)) == {cue.id for cue in freed.cues}


def test_a_call_is_never_let_go_by_an_option():
    song = make_song()
    call = make_cue(9, "call", place_at(song.analysis, 3), who="house light", note="half")
    assert not is_automatic(song.replaced(cues=[call]), call, Options(**AUTO))


# Never a laser.

MIXED = {
    "hands": 2,
    "sides": [
        {"name": "A", "source": "lamp", "by_itself": True},
        {"name": "B", "source": "laser", "by_itself": True},  # as somebody may have written into a document
    ],
    "one_shot": {"name": "button", "source": "strobe", "run_seconds": 0.5},
}
maps = st.sampled_from(
    [
        DeskMap(),
        DeskMap(
            looks={"lift": LookMap(note=9, cue="7", address="/laser/on")},
            sides={"B": SideMap(midi_channel=5, controller=50, channels=(900,), address="/laser/level")},
            cues={"c/1": CueMap("GO", "99"), "c/2": CueMap("FIRE", macro=3)},
            timed=True,
        ),
    ]
)


def reaches_a_laser(cue, laser_look):
    """Whether a cue of such a song has anything to do with side B, or with a look that is the laser's."""
    held = cue.trigger == "held" and cue.kind in ("fade-out", "cut-out")
    return cue.kind != "call" and (cue.side == "B" or held or (laser_look and cue.look == "lift"))


@given(
    seed=seeds,
    confirms=st.sampled_from([None, False, True]),
    allowed=st.sets(st.sampled_from(["lamp", "strobe"])),
    map_=maps,
    offset=st.sampled_from([-5.0, 0.0, 12.5]),
    laser_look=st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_no_combination_of_options_lets_a_laser_go_but_its_name(seed, confirms, allowed, map_, offset, laser_look):
    song = random_song(seed, confirms=confirms)
    looks = tuple(replace(look, source="laser" if laser_look and look.id == "lift" else "lamp") for look in song.looks)
    song = song.replaced(rig=Settings("mixed", MIXED), looks=looks)
    options = Options(allow_auto=frozenset(allowed), map=map_, timing=Timing(offset), plain=bool(seed % 2))
    lasers = {cue.id for cue in song.cues if reaches_a_laser(cue, laser_look)}
    found = moves(song, options)
    assert not lasers & {cue.id for _, cue in acts(song, options)}
    assert not lasers & {each.cue.id for each in (*found.levels, *found.looks, *found.darks)}
    assert not any(each.automatic for each in told(song, options) if each.cue.id in lasers)
    assert "B" not in {each.side for each in found.levels}
    # The files, read: nothing goes to what is the laser's on the desk.
    if map_.sides:
        played = mido.MidiFile(file=io.BytesIO(export(song, "midi", options)[".mid"]))
        sent = [message for track in played.tracks for message in track]
        assert not [m for m in sent if m.type == "control_change" and m.control == 50]
        assert not [m for m in sent if m.type == "note_on" and m.channel == 4]
        assert b" 900@" not in export(song, "text-show", options)[".show.txt"]
        assert not [each for each in timed_messages(song, options) if each.address == "/laser/level"]


@given(seed=seeds)
@settings(max_examples=40, deadline=None)
def test_named_lasers_go_and_every_file_says_so(seed):
    song = random_song(seed, confirms=True)
    song = song.replaced(rig=Settings("mixed", MIXED))
    options = Options(allow_auto=frozenset({"laser"}))
    only = {cue.id for cue in song.cues if sources_moved(song, cue) == {"laser"}}
    assert {cue.id for cue in song.cues if is_automatic(song, cue, options)} == only
    shown = {each.cue.id for each in told(song, options)}
    for name in ("midi", "osc", "text-show"):
        (data,) = export(song, name, options).values()
        words = " ".join(data.decode("latin-1").replace("!", " ").split())
        assert ("Lasers play by themselves here" in words) == bool(only & shown), name


# Decisions about single cues.


def test_a_cue_is_let_go_and_waits_again(run, tmp_path):
    path = tmp_path / "evening.cues.json"
    make_song().save(path)
    assert by_itself(Song.load(path)) == set()
    code, out, _ = run("edit", path, "by-itself", "1-3")
    assert (code, out.splitlines()) == (
        0,
        [
            "Cue 1 in A1, bar 1 of 8: may play by itself.",
            "Cue 2 in A1, bar 7 of 8: may play by itself.",
            "Cue 3 in B1, bar 1 of 8: may play by itself.",
        ],
    )
    song = Song.load(path)
    assert [cue.status for cue in song.cues] == ["edited", "edited", "edited", "suggested"]
    assert by_itself(song) == {cue.id for cue in song.cues[:3]}
    assert run("edit", path, "by-hand", "2")[1] == "Cue 2 in A1, bar 7 of 8: waits for a person.\n"
    run("edit", path, "undo", "2")
    assert by_itself(Song.load(path)) == set()


LASER = Settings("laser", {"hands": 2, "sides": [{"name": "A", "source": "laser"}, {"name": "B", "source": "lamp"}]})


def test_no_cue_that_moves_a_laser_can_be_let_go(run, tmp_path):
    path = tmp_path / "evening.cues.json"
    make_song(rig=LASER).save(path)
    before = path.read_bytes()
    code, _, err = run("edit", path, "by-itself", "1")
    assert code == 2
    assert "Cue 1 moves a laser, and a laser waits for a person's go." in err
    assert path.read_bytes() == before
    assert run("edit", path, "by-itself", "3")[0] == 0


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"kind": "call", "who": "sound", "note": "go"}, "is called to people"),
        ({"kind": "cut-in", "side": "A", "who": "Nele"}, "is for Nele"),
        ({"kind": "cut-out", "side": "B", "trigger": "held"}, "moves a laser"),
        ({"kind": "speed"}, "moves a laser"),
    ],
)
def test_what_others_do_and_what_reaches_a_laser_stays_by_hand(fields, says):
    song = make_song(rig=LASER)
    cue = make_cue(9, fields.pop("kind"), place_at(song.analysis, 3), **fields)
    with pytest.raises(EditError, match=says):
        played_by_itself(song, cue, True)
    assert played_by_itself(song, cue, False).changes == {"operator_confirms": True}


def test_a_cue_that_is_added_waits_if_its_rig_says_so():
    song = drafted(load_rig("two-lamps-strobe"))
    place = place_at(song.analysis, 3)
    assert not added(song, "cut-in", place, side="A", look=song.looks[0].id).cue.operator_confirms
    assert added(song, "one-shot", place).cue.operator_confirms
    assert added(song, "cut-in", place, side="A", who="Nele").cue.operator_confirms
    assert added(song, "call", place, note="go").cue.operator_confirms
    lit = next(cue for cue in song.cues if cue.kind in ("fade-in", "cut-in", "crossfade"))
    (dark,) = dark_held(song, lit.place.seconds + 4).edits
    assert dark.cue.trigger == "held"
    assert dark.cue.operator_confirms


# What is said.


def test_every_format_that_plays_is_marked():
    assert {name for name, form in FORMATS.items() if form.plays} == {"midi", "msc", "osc", "text-show"}


def test_the_export_says_how_many_cues_wait(run, tmp_path):
    path = tmp_path / "evening.cues.json"
    drafted(load_rig("two-lamps-strobe")).save(path)
    song = Song.load(path)
    waiting = len(song.cues) - len(by_itself(song))
    _, out, _ = run("export", path, "--to", "midi")
    assert f"{waiting} of {len(song.cues)} cues wait for a person" in out
    _, out, _ = run("export", path, "--to", "midi", "--allow-auto", "strobes", "--force")
    assert "wait for a person" not in out
    _, out, _ = run("export", path, "--to", "csv")
    assert "wait for a person" not in out


@pytest.mark.parametrize("words", [("--allow-auto", "beams"), ("--allow-auto", ""), ("--allow-auto", "--force")])
def test_what_is_no_light_is_refused(run, tmp_path, words):
    path = tmp_path / "evening.cues.json"
    make_song().save(path)
    code, _, err = run("export", path, "--to", "midi", *words)
    assert code == 2
    assert "lamps, strobes, lasers" in " ".join(err.split())
