"""`cuesuggest play` end to end: keys through a real pseudo-terminal, python-osc as the receiver, MIDI ports."""

import contextlib
import os
import select
import signal
import socket
import statistics
import subprocess
import sys
import threading
import time
from dataclasses import replace

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.dispatcher import Dispatcher
from pythonosc.osc_server import ThreadingOSCUDPServer

from cuesuggest.cli.plain_keys import keys_in
from cuesuggest.errors import CuesuggestError
from cuesuggest.play.senders import PORT, OscSender
from cuesuggest.score.records import Series
from cuesuggest.song import Settings, Song
from tests.songs import LIFT, make_cue, make_song, place_at

# Keys are pressed by a clock that runs on while the machine does something else: late is then the machine.
pytestmark = pytest.mark.flaky(reruns=2)

MAP = """
looks.home.address = "/home"
looks.lift.address = "/lift"
looks.hit.address = "/hit"
sides.A.address = "/a"
sides.B.address = "/b"
"""


@pytest.fixture
def evening(tmp_path):
    """Six quick bars: two sides, a one-shot on every bar of B, and one cue that waits for a person."""
    song = make_song("A2 B2 A2", bpm=240, start=0.5, ring_out=0.3, title="Evening")
    shots = make_cue(5, "one-shot", place_at(song.analysis, 3, 2.0), id="shots", series=Series(1, 3, 5), look="hit")
    cues = [replace(cue, operator_confirms=cue.number == 4) for cue in (*song.cues, shots)]
    path = tmp_path / "evening.cues.json"
    song.replaced(cues=cues, looks=(*song.looks, replace(LIFT, id="hit", name="Hit"))).save(path)
    path.with_name("desk.toml").write_text(MAP)
    return path


class Receiver:
    """A server on this machine that writes down what comes, and when."""

    def __init__(self):
        self.got = []
        dispatcher = Dispatcher()
        dispatcher.set_default_handler(lambda address, *given: self.got.append((time.monotonic(), address, given)))
        self.server = ThreadingOSCUDPServer(("127.0.0.1", 0), dispatcher)
        self.address = f"127.0.0.1:{self.server.server_address[1]}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def names(self):
        return [address for _, address, _ in self.got]


@pytest.fixture
def receiver():
    running = Receiver()
    yield running
    running.server.shutdown()
    running.server.server_close()


# The terminal is its own, so that Ctrl+C and closing it reach the program.
IN_A_TERMINAL = """
import fcntl, termios
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
from cuesuggest.cli import main
main()
"""


class Terminal:
    """The program in a terminal of its own, whose keys are pressed and whose screen is read."""

    def __init__(self, *words):
        import pty

        self.keyboard, inside = pty.openpty()
        words = [sys.executable, "-c", IN_A_TERMINAL, "play", *map(str, words)]
        environment = {**os.environ, "COLUMNS": "120", "TERM": "xterm"}
        self.process = subprocess.Popen(
            words,
            stdin=inside,
            stdout=inside,
            stderr=inside,
            env=environment,
            start_new_session=True,
        )
        os.close(inside)
        self.screen = ""

    def look(self, seconds):
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            if select.select([self.keyboard], [], [], left)[0]:
                try:
                    self.screen += os.read(self.keyboard, 65536).decode()
                except OSError:  # the other end is closed
                    return

    def shows(self, words, within=20.0):
        """Wait until something has been on the screen."""
        until = time.monotonic() + within
        while words not in self.screen and time.monotonic() < until:
            self.look(0.05)
        assert words in self.screen
        self.screen = self.screen.partition(words)[2]

    def press(self, keys):
        os.write(self.keyboard, keys.encode())
        return time.monotonic()

    def ended(self):
        until = time.monotonic() + 10
        while self.process.poll() is None and time.monotonic() < until:
            self.look(0.05)
        return self.process.wait(1)

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self.keyboard)


@pytest.fixture
def terminal():
    opened = []

    def open_(*words):
        opened.append(Terminal(*words))
        return opened[-1]

    yield open_
    for each in opened:
        each.close()


def after(got, seconds):
    return [each for each in got if each[0] > seconds]


OUT = {"/a": (0.0, 0.0), "/b": (0.0, 0.0), "/home": (0,), "/lift": (0,), "/hit": (0,)}


def test_a_song_is_started_by_key_sent_in_time_and_stopped_by_key(evening, receiver, terminal):
    desk = evening.with_name("desk.toml")
    shown = terminal(evening, "--to", "osc", "--address", receiver.address, "--map", desk)
    shown.shows("this machine")
    shown.shows("Waits 0:00.0")
    assert receiver.got == []
    started = shown.press(" ")
    shown.shows("Plays")
    shown.look(4.9 - (time.monotonic() - started))
    stopped = shown.press("s")
    shown.shows("Stopped at 0:0")
    shown.look(1.5)
    # In time: from each other they are as far as they belong, within 5 ms in the middle of them all.
    heard = [each for each in receiver.got if each[0] < stopped]
    # Home and its level, B set up; B comes in; one-shots, which run a second.
    belongs = [0.5, 0.5, 0.5, 2.5, 2.75, 3.75, 3.75, 4.75, 4.75]
    assert len(heard) >= len(belongs), receiver.names()  # more where the machine was slow to press the stop
    late = [at - heard[0][0] - (due - belongs[0]) for (at, _, _), due in zip(heard, belongs, strict=False)]
    middle = statistics.median(late)
    assert statistics.median(abs(each - middle) for each in late) < 0.005, late
    assert heard[0][0] - started == pytest.approx(0.5, abs=0.3)
    # The stop takes out all that came in, and after it there is nothing.
    last = after(receiver.got, stopped)
    assert {address: given for _, address, given in last} == {**OUT, "/cuesuggest/evening/stop": (1,)}
    assert last[-1][1] == "/cuesuggest/evening/stop"
    assert last[-1][0] - stopped < 1.0
    shown.press("q")
    assert shown.ended() == 0


def test_pause_and_going_to_a_bar_are_keys_too(evening, receiver, terminal):
    shown = terminal(evening, "--to", "osc", "--address", receiver.address, "--map", evening.with_name("desk.toml"))
    shown.shows("Waits 0:00.0")
    shown.press("3\r")
    shown.shows("Waits 0:02.5, B1, bar 1 of 2")
    shown.press("\x1b[C")
    shown.shows("Waits 0:03.5, B1, bar 2 of 2")
    shown.press("\x1b[A")
    shown.shows("Waits 0:02.5")
    shown.press("99\r")
    shown.shows("There is no bar 99.")
    assert receiver.got == []
    shown.press(" ")
    shown.shows("Plays 0:02.6")
    shown.press(" ")
    shown.shows("Waits 0:02")
    sent = len(receiver.got)
    # What is lit stays: home and B.
    assert ("/b", (pytest.approx(0.8), 0.0)) in [each[1:] for each in receiver.got]
    shown.look(1.0)
    assert len(receiver.got) == sent
    shown.press("\x03")
    assert shown.ended() == 0
    assert receiver.names()[-1] == "/cuesuggest/evening/stop"
    assert {name: given for _, name, given in receiver.got}["/b"] == (0.0, 0.0)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGHUP, "closed"])
def test_a_process_that_is_ended_and_a_terminal_that_is_closed_take_everything_out(evening, receiver, terminal, how):
    shown = terminal(evening, "--to", "osc", "--address", receiver.address, "--map", evening.with_name("desk.toml"))
    shown.shows("Waits")
    shown.press(" ")
    shown.shows("Plays 0:00.7")
    if how == "closed":
        os.close(shown.keyboard)
        shown.keyboard = os.open(os.devnull, os.O_RDONLY)
    else:
        os.kill(shown.process.pid, how)
    shown.process.wait(10)
    time.sleep(0.1)
    assert receiver.names()[-1] == "/cuesuggest/evening/stop"
    assert {name: given for _, name, given in receiver.got}["/a"] == (0.0, 0.0)


def test_the_screen_says_what_comes_and_whose_hand_it_waits_for(evening, receiver, terminal):
    shown = terminal(evening, "--to", "osc", "--address", receiver.address)
    shown.shows("4 of 5 cues by itself, 1 by hand.")
    shown.shows("S stops")
    shown.press("2\r")
    shown.shows("in 1 bar, 1.0 s: 3 cut-in: B in at 80")
    shown.press("6\r")
    shown.shows("in 0.0 s: By hand 4 fade-out")
    shown.press(" ")
    shown.shows("0:05.5  By hand 4 fade-out: A down in 3.0 s")
    # Nothing has an address of its own here: each cue is told as it comes, and the last as words for a screen.
    shown.shows("The song is over, and all is out.")
    assert receiver.names() == ["/cuesuggest/evening/reminder", "/cuesuggest/evening/stop"]
    shown.press("q")
    assert shown.ended() == 0


# Without a terminal.


def test_without_a_terminal_it_says_so_and_sends_nothing(run, evening, receiver):
    code, _, err = run("play", evening, "--to", "osc", "--address", receiver.address)
    assert code == 2
    assert "There is no terminal here whose keys could be read." in err
    assert "--start-now" in err
    assert receiver.got == []


def test_started_at_once_it_runs_to_the_end_and_takes_everything_out(run, evening, receiver):
    words = ("--address", receiver.address, "--map", evening.with_name("desk.toml"), "--start-now", "--from", "6.0")
    code, out, err = run("play", evening, "--to", "osc", *words)
    assert (code, err) == (0, "")
    assert "Stopped at 0:07." in out
    time.sleep(0.1)
    names = receiver.names()
    assert names[0] in ("/a", "/b")  # what is lit at 6 s
    assert names[-1] == "/cuesuggest/evening/stop"
    assert {name: given for _, name, given in receiver.got}["/lift"] == (0,)


def test_lasers_go_only_with_somebody_at_the_keys(run, evening, receiver, tmp_path):
    path = tmp_path / "beams.cues.json"
    song = Song.load(evening)
    sides = [{"name": name, "source": "laser"} for name in "AB"]
    Song.model_validate({**song.__dict__, "rig": Settings("beams", {"hands": 2, "sides": sides})}).save(path)
    words = ("--to", "osc", "--address", receiver.address, "--start-now", "--from", "7.0")
    code, _, err = run("play", path, *words, "--allow-auto", "lasers")
    assert code == 2
    assert "Lasers play by themselves only with somebody at the keys." in err
    # Unless they are named, they are words.
    assert run("play", path, *words)[0] == 0
    assert not [name for name in receiver.names() if "reminder" not in name and not name.endswith("stop")]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--to", "osc", "--address", "a b"), "'a b' is no address"),
        (("--to", "osc", "--address", ""), "'' is no address"),
        (("--to", "osc", "--address", "127.0.0.1:0"), "is no address"),
        (("--to", "osc", "--address", "127.0.0.1:70000"), "is no address"),
        (("--to", "osc", "--address", "no-such-machine.invalid:9001"), "No machine is known by the name"),
        (("--to", "osc", "--port", "x"), "--address goes with --to osc"),
        (("--to", "midi", "--address", "127.0.0.1:9001"), "--address goes with --to osc"),
        (("--to", "osc", "--from", "999"), "the song goes from 0 to"),
        (("--to", "lamp"), "'lamp' is not one of"),
    ],
)
def test_what_makes_no_sense_is_refused(run, evening, words, says):
    code, _, err = run("play", evening, "--start-now", *words)
    assert code == 2
    assert says in err
    assert "Traceback" not in err


def test_an_empty_list_is_refused(run, tmp_path):
    path = tmp_path / "empty.cues.json"
    make_song().replaced(cues=[]).save(path)
    assert "no cues to play" in run("play", path, "--to", "osc", "--start-now")[2]


# Where it goes.


def test_without_an_address_it_is_this_machine():
    sender = OscSender(None)
    assert (sender.where, sender._to) == (f"127.0.0.1 port {PORT}, this machine", ("127.0.0.1", PORT))
    sender.close()


@pytest.mark.parametrize(
    ("address", "to", "says"),
    [
        ("192.0.2.7:9001", ("192.0.2.7", 9001), "over the network"),
        ("192.0.2.7", ("192.0.2.7", PORT), "over the network"),
        (":9001", ("127.0.0.1", 9001), "this machine"),
        ("localhost:9001", ("127.0.0.1", 9001), "this machine"),
    ],
)
def test_an_address_is_a_machine_and_a_port(address, to, says):
    sender = OscSender(address)
    assert sender._to == to
    assert says in sender.where
    sender.close()


def test_what_cannot_be_sent_is_told_and_stops_nothing():
    sender = OscSender("255.255.255.255:9001")  # which no program may send to unasked
    sender.send(b"/a\0\0,\0\0\0")
    assert sender.problem
    sender.send(b"/b\0\0,\0\0\0")
    sender.close()
    with pytest.raises(CuesuggestError, match="no address"):
        OscSender("[::1")


# Keys.


def test_keys_have_names():
    assert keys_in("s \x1b[A\x1bOC\x1b\r7\x7f") == ["s", "space", "up", "right", "escape", "enter", "7", "backspace"]
    assert keys_in("\x1b[1;5C\x1b[200~Q\x1b[H") == ["q", "home"]


@given(st.text())
def test_any_text_is_keys_or_nothing(text):
    assert all(key and (key.isprintable() or key == "\x04") for key in keys_in(text))


# MIDI.


class Port:
    """What mido opens, as far as it is used."""

    def __init__(self):
        self.got = []
        self.closed = False

    def send(self, message):
        self.got.append(message)

    def close(self):
        self.closed = True


@pytest.fixture
def port(monkeypatch):
    opened = Port()

    def open_(name, virtual=False):
        assert (name, virtual) in [("cuesuggest", True), ("Desk 1", False)]
        return opened

    monkeypatch.setattr(mido, "get_output_names", lambda: ["Desk 1", "Desk 2", "Through"])
    monkeypatch.setattr(mido, "open_output", open_)
    return opened


@pytest.mark.parametrize("words", [(), ("--port", "Desk 1")])
def test_notes_and_controllers_go_to_a_port_and_all_of_them_off_again(run, evening, port, words):
    code, out, err = run("play", evening, "--to", "midi", "--start-now", "--from", "5.0", *words)
    assert (code, err) == (0, "")
    assert "MIDI has no words for them" in out
    notes = {(m.channel, m.note): m.type for m in port.got if m.type.startswith("note")}
    levels = {(m.channel, m.control): m.value for m in port.got if m.type == "control_change"}
    assert set(notes.values()) == {"note_off"}
    assert set(levels.values()) == {0}
    assert any(m.type == "note_on" for m in port.got)
    assert port.closed


@pytest.mark.parametrize("name", ["Desk", "Nowhere"])
def test_a_port_that_is_not_there_or_not_one_is_refused_with_those_that_are(run, evening, port, name):
    code, _, err = run("play", evening, "--to", "midi", "--start-now", "--port", name)
    assert code == 2
    assert f"'{name}' names no MIDI port to send to. There are: Desk 1, Desk 2, Through." in err


def test_without_the_package_for_midi_it_says_how_to_get_it(run, evening, monkeypatch):
    def missing(*_, **__):
        raise ModuleNotFoundError("rtmidi")

    monkeypatch.setattr(mido, "open_output", missing)
    code, _, err = run("play", evening, "--to", "midi", "--start-now")
    assert code == 2
    assert "pip install 'cuesuggest[live]'" in err


def test_a_machine_without_midi_says_so(run, evening, monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("no sequencer.")

    monkeypatch.setattr(mido, "open_output", broken)
    code, _, err = run("play", evening, "--to", "midi", "--start-now")
    assert code == 2
    assert "MIDI cannot be used on this machine: no sequencer." in err


def test_a_real_virtual_port_is_heard_in_time(run, evening):
    pytest.importorskip("rtmidi", reason="python-rtmidi is not installed")
    heard = []
    with contextlib.ExitStack() as stack:
        try:
            to = stack.enter_context(mido.open_input("cuesuggest test", virtual=True))
        except Exception as error:
            pytest.skip(f"this system has no virtual MIDI ports: {error}")
        to.callback = lambda message: heard.append((time.monotonic(), message))
        name = next(each for each in mido.get_output_names() if "cuesuggest test" in each)
        assert run("play", evening, "--to", "midi", "--start-now", "--port", name)[0] == 0
        time.sleep(0.2)
    levels = [(at, m) for at, m in heard if m.type == "control_change"]
    first = levels[0][0]
    into_b = next(at for at, m in levels if m.control == 2 and m.value > 0)
    assert into_b - first == pytest.approx(2.0 - 0.02, abs=0.03)
    assert {m.value for _, m in list({(m.channel, m.control): (0, m) for _, m in levels}.values())} == {0}


def test_nothing_listens_for_what_is_sent_here(run, evening):
    # Nobody there: packets to this machine are lost, and that is no failure.
    with contextlib.closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ("--start-now", "--from", "7.0", "--address", f":{port}")
    assert run("play", evening, "--to", "osc", *words)[0] == 0
