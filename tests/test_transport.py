"""A list that is sent in time, under a clock that the test turns: what goes out when, and that all of it goes out."""

from dataclasses import replace

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pythonosc.osc_message import OscMessage

from cuesuggest.export import Options
from cuesuggest.export.common.desk_map import map_from_text
from cuesuggest.play.signals import midi_signals, osc_signals, osc_stop
from cuesuggest.play.transport import STOOD_STILL, Transport
from tests.exported import AUTO, random_song, seeds
from tests.songs import make_cue, make_song, place_at

MAP = map_from_text(
    '[looks.home]\naddress = "/home"\n[looks.lift]\naddress = "/lift"\n'
    '[sides.A]\naddress = "/a"\n[sides.B]\naddress = "/b"\n'
)


class Desk:
    """A receiver that stands as the last message of each kind says, and a clock beside it."""

    def __init__(self, song, kind="osc", **options):
        options = Options(map=MAP, **{**AUTO, **options})
        self.signals = osc_signals(song, options) if kind == "osc" else midi_signals(song, options)
        self.now = 100.0
        self.got = []
        self.state = {}
        self.transport = Transport(
            self.signals,
            self.take,
            lambda: self.now,
            start=song.recording.window.start,
            end=song.recording.window.end,
            farewell=osc_stop(song) if kind == "osc" else None,
        )
        self.read = self.osc if kind == "osc" else self.midi

    def take(self, data):
        name, value = self.read(data)
        self.state[name] = value
        self.got.append((round(self.transport.position, 3), name, value))

    @staticmethod
    def osc(data):
        message = OscMessage(data)
        return message.address, message.params[0]

    @staticmethod
    def midi(data):
        message = mido.Message.from_bytes(data)
        if message.type == "control_change":
            return ("level", message.channel, message.control), message.value
        return ("note", message.channel, message.note), int(message.type == "note_on")

    def run(self, seconds, step=0.05):
        """Let the clock go on, as the loop of the program does."""
        until = self.now + seconds
        told = []
        while self.now < until:
            self.now = min(self.now + max(min(self.transport.due(), step), 1e-4), until)
            told.append(self.transport.tick())
        return [each for each in told if each]

    def on(self):
        """What is brought in and not gone; cues without an address of their own are words, which a stop answers."""
        return {
            name: value
            for name, value in self.state.items()
            if value and not (str(name).startswith("/cuesuggest/") and not str(name).endswith("/dark"))
        }


def test_everything_is_sent_in_its_time():
    desk = Desk(make_song("A8 B8 A8"))
    desk.transport.start()
    desk.run(30)
    assert [(at, name, value) for at, name, value in desk.got] == [
        (2.0, "/a", 0.5),
        (2.0, "/home", 1),
        (17.0, "/lift", 1),
        (22.0, "/b", pytest.approx(0.8)),
    ]


def test_what_waits_for_a_person_is_sent_as_words_alone():
    desk = Desk(make_song("A8 B8 A8"), allow_auto=frozenset())
    desk.transport.start()
    desk.run(70)
    assert {name for _, name, _ in desk.got} == {"/cuesuggest/paper-boats/reminder", "/cuesuggest/paper-boats/stop"}
    assert len(desk.got) == 5
    assert Desk(make_song("A8 B8 A8"), "midi", allow_auto=frozenset()).signals == []


def test_a_stop_takes_everything_out_levels_first_and_sends_nothing_more():
    desk = Desk(make_song("A8 B8 A8"))
    desk.transport.start()
    desk.run(25)
    sent = len(desk.got)
    desk.transport.stop()
    assert [name for _, name, _ in desk.got[sent:]] == ["/a", "/b", "/home", "/lift", "/cuesuggest/paper-boats/stop"]
    assert desk.on() == {}
    after = len(desk.got)
    desk.run(60)
    assert len(desk.got) == after


def test_a_stop_that_was_lost_on_the_way_is_sent_again():
    desk = Desk(make_song("A8 B8 A8"))
    desk.transport.start()
    desk.run(25)
    desk.transport.stop()
    first = desk.got[4:]
    desk.transport.stop()
    assert desk.got[4 + len(first) :] == first


def test_nothing_is_sent_by_a_stop_before_the_start():
    desk = Desk(make_song("A8 B8 A8"))
    desk.transport.stop()
    assert desk.got == []


def test_after_a_stop_a_start_brings_in_what_belongs_there():
    desk = Desk(make_song("A8 B8 A8"))
    desk.transport.start()
    desk.run(25)
    desk.transport.stop()
    desk.got.clear()
    desk.transport.start()
    assert [name for _, name, _ in desk.got] == ["/a", "/b", "/home", "/lift"]
    assert desk.transport.position == pytest.approx(25)


def test_a_pause_leaves_what_is_lit_and_goes_on_from_there():
    desk = Desk(make_song("A8 B8 A8"))
    desk.transport.start()
    desk.run(20)
    lit = desk.on()
    desk.transport.pause()
    sent = len(desk.got)
    desk.run(500)
    assert (desk.on(), len(desk.got)) == (lit, sent)
    desk.transport.start()
    assert len(desk.got) == sent
    desk.run(3)
    assert desk.got[-1] == (22.0, "/b", pytest.approx(0.8))


def test_a_one_shot_ends_with_a_pause_and_is_not_begun_in_its_middle():
    song = make_song("A8 B8")
    shot = make_cue(1, "one-shot", place_at(song.analysis, 9), look="lift")
    song = song.replaced(cues=[shot])
    for kind in ("osc", "midi"):
        desk = Desk(song, kind)
        desk.transport.start()
        desk.run(22.3)
        assert desk.on()
        desk.transport.pause()
        assert desk.on() == {}
        again = Desk(song, kind)
        again.transport.locate(22.3)
        again.transport.start()
        assert again.on() == {}


def test_a_fade_that_is_under_way_is_sent_with_what_is_left_of_it():
    song = make_song("A8 B8 A8")
    desk = Desk(song)
    desk.read = lambda data: (OscMessage(data).address, tuple(OscMessage(data).params))
    desk.transport.locate(4.0)  # the home look takes 5 s to come in, from 2.0 on
    desk.transport.start()
    assert ("/a", (0.5, pytest.approx(3.0))) in [(name, value) for _, name, value in desk.got]


def test_a_dark_that_is_held_comes_first_where_a_start_is_made_in_it_and_is_let_go_last_on_a_stop():
    song = make_song("A8 B8 A8", events=[("stop", 12, 3.0, 1.0)])
    held = make_cue(3.5, "cut-out", place_at(song.analysis, 12, 3.0), side="B", level=0, trigger="held")
    desk = Desk(song.replaced(cues=[*song.cues, held]))
    desk.transport.locate(31.0)
    desk.transport.start()
    names = [name.rpartition("/")[2] for _, name, _ in desk.got]
    assert names == ["dark", "a", "b", "home", "lift"]
    desk.got.clear()
    desk.transport.stop()
    assert [name.rpartition("/")[2] for _, name, _ in desk.got] == ["a", "b", "home", "lift", "dark", "stop"]


def test_a_machine_that_stood_still_pauses_and_makes_up_for_nothing():
    desk = Desk(make_song("A8 B8 A8"))
    desk.transport.start()
    desk.run(10)
    sent = len(desk.got)
    desk.now += 40
    assert desk.transport.tick() == "stood still"
    assert len(desk.got) == sent
    assert not desk.transport.playing
    assert desk.transport.position == pytest.approx(10, abs=0.06)
    desk.now += STOOD_STILL / 2
    desk.transport.start()
    desk.now += STOOD_STILL / 2
    assert desk.transport.tick() == ""
    assert desk.transport.playing


def test_the_end_takes_everything_out():
    song = make_song("A8 B8 A8")
    left_on = song.replaced(cues=song.cues[:3])
    desk = Desk(left_on)
    desk.transport.start()
    assert desk.run(80) == ["ended"]
    assert desk.on() == {}
    assert desk.transport.position == pytest.approx(song.recording.window.end, abs=0.06)


def test_nobody_gets_past_the_ends_of_the_song():
    song = make_song("A8")
    desk = Desk(song)
    desk.transport.locate(-5)
    assert desk.transport.position == 0
    desk.transport.locate(1e6)
    assert desk.transport.position == song.recording.window.end


acts = st.lists(
    st.one_of(
        st.tuples(st.sampled_from(["start", "pause", "stop"]), st.none()),
        st.tuples(st.just("locate"), st.floats(0, 1)),
        st.tuples(st.just("run"), st.floats(0.01, 20)),
    ),
    max_size=12,
)


@given(seed=seeds, acts=acts, kind=st.sampled_from(["osc", "midi"]))
@settings(max_examples=60, deadline=None)
def test_whatever_is_done_a_stop_leaves_nothing_on_and_what_waits_sends_nothing(seed, acts, kind):
    song = random_song(seed)
    desk = Desk(song, kind, allow_auto=frozenset())
    for act, value in acts:
        if act == "run":
            sent = len(desk.got)
            playing = desk.transport.playing
            desk.run(value, step=0.5)
            assert playing or len(desk.got) == sent
        elif act == "locate":
            desk.transport.locate(value * song.recording.duration)
        else:
            getattr(desk.transport, act)()
    desk.transport.stop()
    assert desk.on() == {}
    assert kind == "midi" or not desk.got or desk.got[-1][1] == "/cuesuggest/paper-boats/stop"
    sent = len(desk.got)
    desk.run(5, step=0.5)
    assert len(desk.got) == sent


@given(seed=seeds, share=st.floats(0, 1), kind=st.sampled_from(["osc", "midi"]))
@settings(max_examples=60, deadline=None)
def test_a_start_anywhere_stands_as_a_run_from_the_beginning_does(seed, share, kind):
    song = random_song(seed)
    # One-shots are the exception: they are not begun in their middle.
    song = song.replaced(cues=[replace(cue, operator_confirms=False) for cue in song.cues if cue.kind != "one-shot"])
    at = share * (song.recording.window.end - 0.2)
    through, located = Desk(song, kind), Desk(song, kind)
    through.transport.start()
    through.run(at + 0.001, step=0.5)
    located.transport.locate(at)
    located.transport.start()
    located.run(0.001)
    assert located.on() == through.on()
