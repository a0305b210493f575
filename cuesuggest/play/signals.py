"""A song's list as signals: when each is sent, and what takes out again what it brings in."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cuesuggest.export.common.desk_map import completed
from cuesuggest.export.common.options import Options
from cuesuggest.export.desk.automatic import moves
from cuesuggest.export.desk.midi import light
from cuesuggest.export.desk.osc import OscSent, message, song_address, timed_messages

if TYPE_CHECKING:
    from cuesuggest.song import Song

__all__ = ["DARK", "LEVEL", "LOOK", "WORDS", "Signal", "midi_signals", "osc_signals", "osc_stop"]

LEVEL, LOOK, DARK, WORDS = 0, 1, 2, 3
"""What a signal is about, in the order in which things are taken out: levels first, the dark that is held last."""


@dataclass(frozen=True, slots=True)
class Signal:
    """Something that is sent at a moment of the song."""

    at: float
    """Seconds of the recording."""
    data: bytes
    """One packet, or one MIDI message."""
    about: int
    """LEVEL, LOOK, DARK or WORDS."""
    part: Hashable = None
    """What it moves, such as an address or a note: the later signal stands. None if nothing stays of it."""
    out: bytes | None = None
    """What takes its part out, whatever it is at."""
    on: bool = False
    """Whether something is brought in, or held, by it."""
    once: bool = False
    """A one-shot: it is not begun again where a start is made in its middle, and does not run on through a pause."""
    late: Callable[[float], bytes] | None = None
    """What is sent instead so many seconds after its time."""


def osc_signals(song: Song, options: Options) -> list[Signal]:
    """Return the messages of a list, reminders among them, each as a packet.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of Signal
        In order of time; what comes in at one moment comes after what goes.
    """
    return _in_order([_osc_signal(each) for each in timed_messages(song, options)])


def osc_stop(song: Song) -> bytes:
    """Return the packet that follows all others on a stop, for whoever listens to cues without addresses."""
    return message(f"{song_address(song)}/stop", (1,))


def _osc_signal(sent: OscSent) -> Signal:
    data, address = message(sent.address, sent.arguments), sent.address
    match sent.what:
        case "level":
            to, seconds = float(sent.arguments[0]), float(sent.arguments[1])
            out = message(address, (0.0, 0.0))
            return Signal(
                sent.at,
                data,
                LEVEL,
                address,
                out,
                on=to > 0,
                late=lambda after: message(address, (to, max(seconds - after, 0.0))),
            )
        case "look" | "one-shot" | "dark":
            about = DARK if sent.what == "dark" else LOOK
            out = message(address, (0,))
            return Signal(sent.at, data, about, address, out, on=data != out, once=sent.what == "one-shot")
        case _:
            return Signal(sent.at, data, WORDS)


def midi_signals(song: Song, options: Options) -> list[Signal]:
    """Return the notes and controllers of a list; MIDI has no words, so reminders are not among them.

    Parameters
    ----------
    song : Song
    options : Options

    Returns
    -------
    list of Signal
        As `osc_signals`.
    """
    desk = completed(song, options.map)
    shots = {
        ((desk.one_shot_channel or 1) - 1, desk.looks[each.look].note)
        for each in moves(song, options).looks
        if each.side is None and each.look in desk.looks
    }
    found = []
    for at, _, sent in light(song, options):
        data = bytes(sent.bytes())
        if sent.type == "control_change":
            out = bytes(sent.copy(value=0).bytes())
            part = ("controller", sent.channel, sent.control)
            found.append(Signal(at, data, LEVEL, part, out, on=sent.value > 0))
        else:
            out = bytes([0x80 | sent.channel, sent.note, 0])
            once = (sent.channel, sent.note) in shots
            part = ("note", sent.channel, sent.note)
            found.append(Signal(at, data, LOOK, part, out, on=sent.type == "note_on", once=once))
    return _in_order(found)


def _in_order(signals: list[Signal]) -> list[Signal]:
    """Put what goes before what comes, and a level before its look, where they are at one moment."""
    return sorted(signals, key=lambda each: (each.at, each.on, each.about))
