"""The command `play`: reminders, and what may play by itself, sent in time to a desk or another program."""

from __future__ import annotations

import math
import select
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cuesuggest.cli.allowing import allowing
from cuesuggest.cli.plain_keys import has_keys, pressed_keys
from cuesuggest.cli.screen import echo, shown
from cuesuggest.cli.shared import FILE, everywhere, load, width
from cuesuggest.cli.times import SECONDS
from cuesuggest.errors import CuesuggestError

if TYPE_CHECKING:
    from rich.live import Live

    from cuesuggest.export import Options
    from cuesuggest.export.common.told import Told
    from cuesuggest.play.senders import Sender
    from cuesuggest.play.transport import Transport
    from cuesuggest.score.grid import Grid
    from cuesuggest.song import Song

__all__ = ["play"]

_TICK = 0.05  # s; the screen is drawn as often, and the clock looked at
_KEYS = (
    "Space starts, pauses, goes on. S stops: everything that was brought in goes out. Left and right: a bar; up and "
    "down: a section; Home: the start; a number and Enter: that bar. Q stops and leaves."
)


@click.command()
@click.argument("document", metavar="DOC", type=FILE)
@click.option("--to", "to", type=click.Choice(["osc", "midi"]), required=True, help="What is sent.")
@click.option("--address", metavar="HOST:PORT", help="Where OSC goes. Without it: this machine, port 52370.")
@click.option("--port", metavar="NAME", help="The MIDI port. Without it: one of our own, called cuesuggest.")
@click.option(
    "--map",
    "map_file",
    type=FILE,
    metavar="FILE.toml",
    help="Notes, addresses … of your desk; `cuesuggest map` writes one.",
)
@allowing
@click.option("--from", "start", type=SECONDS, metavar="TIME", help="Where in the recording; else the song's start.")
@click.option("--start-now", is_flag=True, help="Start at once, without waiting for a key.")
@everywhere
@click.pass_obj
def play(
    obj: dict[str, Any],
    /,
    document: Path,
    to: str,
    address: str | None,
    port: str | None,
    map_file: Path | None,
    allow_auto: frozenset[Any],
    start: float | None,
    start_now: bool,
) -> None:
    """Send a list in time with the song's recording: reminders, and what may play by itself.

    Nothing goes over a network unless you give an address. Stay at the keys: S takes everything out.
    """
    from cuesuggest.export import Options
    from cuesuggest.export.common.desk_map import DeskMap, load_map
    from cuesuggest.export.common.told import told
    from cuesuggest.play.senders import MidiSender, OscSender

    if (address if to == "midi" else port) is not None:
        raise click.UsageError("--address goes with --to osc, and --port with --to midi.")
    song = load(document)
    options = Options(map=DeskMap() if map_file is None else load_map(map_file), allow_auto=allow_auto)
    listed = told(song, options)
    attended = has_keys()
    _check(song, listed, attended, start_now)
    sender: Sender = OscSender(address) if to == "osc" else MidiSender(port)
    try:
        transport = _transport(song, options, sender, to, start)
        run = _PlayedList(song, listed, transport, sender, quiet=obj["quiet"])
        run.tell_first(to, attended)
        with _handled(_ended), pressed_keys() if attended else nullcontext(_no_keys) as keys:
            run.go(keys, start_now=start_now, attended=attended)
    finally:
        sender.close()
    if sender.problem:
        raise CuesuggestError(f"Not all could be sent to {sender.where}: {sender.problem}.")


def _check(song: Song, listed: list[Told], attended: bool, start_now: bool) -> None:
    """Refuse what nobody could start or stop."""
    from cuesuggest.song.rig_facts import sources_moved

    if not listed:
        raise CuesuggestError("The list has no cues to play.")
    if not attended and not start_now:
        raise CuesuggestError(
            "There is no terminal here whose keys could be read. Run this in a terminal; or give --start-now, which "
            "starts at once, and stop it with Ctrl+C or by ending it."
        )
    if not attended and any(each.automatic and "laser" in sources_moved(song, each.cue) for each in listed):
        raise CuesuggestError(
            "Lasers play by themselves only with somebody at the keys. Run this in a terminal, or leave lasers out of "
            "--allow-auto."
        )


def _transport(song: Song, options: Options, sender: Sender, to: str, start: float | None) -> Transport:
    from cuesuggest.export.common.show_bars import song_end
    from cuesuggest.play.signals import midi_signals, osc_signals, osc_stop
    from cuesuggest.play.transport import Transport

    window, end = song.recording.window, song_end(song)
    if start is not None and not window.start <= start < end:
        raise CuesuggestError(
            f"--from is {start:g} s; the song goes from {window.start:g} to {end:g} s of its recording."
        )
    signals = osc_signals(song, options) if to == "osc" else midi_signals(song, options)
    transport = Transport(
        signals,
        sender.send,
        time.monotonic,
        start=window.start,
        end=end,
        farewell=osc_stop(song) if to == "osc" else None,
    )
    if start is not None:
        transport.locate(start)
    return transport


def _ended(*_: object) -> None:
    raise KeyboardInterrupt


@contextmanager
def _handled(handler: Any) -> Iterator[None]:
    """Handle what ends a process from outside, or tells that its terminal is gone."""
    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT")  # not every system has all of them
    before = {each: signal.signal(each, handler) for name in names if (each := getattr(signal, name, None)) is not None}
    try:
        yield
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)


def _no_keys(seconds: float) -> list[str]:
    time.sleep(seconds)
    return []


class _PlayedList:
    """A list that is played: keys in, what is due out, and on the screen what comes next."""

    def __init__(self, song: Song, listed: list[Told], transport: Transport, sender: Sender, *, quiet: bool) -> None:
        from cuesuggest.score.grid import Grid

        self._song, self._listed, self._transport, self._sender = song, listed, transport, sender
        self._grid: Grid = Grid(song.analysis)
        self._quiet = quiet
        self._typed = self._drawn = ""
        self._lines: list[str] = []
        self._shown_to = transport.position
        self._live: Live | None = None

    def tell_first(self, to: str, attended: bool) -> None:
        """Say where it goes, what plays by itself, and which keys there are."""
        if self._quiet:
            return
        cues = {each.cue.id: each.automatic for each in self._listed}
        alone = sum(cues.values())
        waiting = f", {len(cues) - alone} by hand" if alone < len(cues) else ""
        where = " (told here; MIDI has no words for them)" if waiting and to == "midi" else ""
        echo(f"{self._song.title}: to {self._sender.where}. {alone} of {len(cues)} cues by itself{waiting}{where}.")
        echo("It runs in the recording's time: for a band that plays to the recording, or to a click made from it.")
        if attended:
            from textwrap import fill

            echo(fill(_KEYS, width()))

    def go(self, keys: Callable[[float], list[str]], *, start_now: bool, attended: bool) -> None:
        """Run until somebody leaves; where there are no keys, until the list is over."""
        with self._screen(attended):
            try:
                if start_now:
                    self._transport.start()
                left = False
                while not left:
                    wait = min(self._transport.due(), _TICK)
                    for key in keys(wait):
                        left = self._do(key) or left
                    happened = self._transport.tick()
                    if happened == "stood still":
                        self._lines.append("This machine stood still for a while. It is a pause now; Space goes on.")
                    elif happened == "ended" and attended:
                        self._lines.append("The song is over, and all is out. Home goes back to its start; Q leaves.")
                    left = left or (happened != "" and not attended)
                    self._draw()
            except KeyboardInterrupt:
                pass
            finally:
                with _handled(signal.SIG_IGN):
                    self._transport.stop()
        if not self._quiet:
            echo(f"Stopped at {self._place()}; everything that was brought in is out.")

    def _do(self, key: str) -> bool:
        """Do what a key says; True if that is to leave."""
        transport = self._transport
        if key.isdigit():
            self._typed = (self._typed + key)[-4:]
            return False
        typed, self._typed = self._typed, ""
        match key:
            case "space":
                if transport.playing:
                    transport.pause()
                else:
                    transport.start()
            case "s" | "escape":
                transport.stop()
                self._lines.append(f"Stopped at {self._place()}; all is out. Space goes on from there.")
            case "q" | "gone" | "\x04":
                return True
            case "left" | "right":
                self._locate(self._bar_from(1 if key == "right" else -1))
            case "up" | "down":
                self._locate(self._section_from(1 if key == "down" else -1))
            case "home":
                self._locate(self._song.recording.window.start)
            case "enter" if typed:
                bar = self._grid.bar(int(typed))
                if bar is None:
                    self._lines.append(f"There is no bar {typed}.")
                else:
                    self._locate(bar.start)
            case "backspace":
                self._typed = typed[:-1]
        return False

    def _locate(self, seconds: float) -> None:
        self._transport.locate(seconds)
        self._shown_to = self._transport.position

    def _bar_from(self, step: int) -> float:
        return _stepped([bar.start for bar in self._grid.bars], self._transport.position, step)

    def _section_from(self, step: int) -> float:
        return _stepped([section.start for section in self._grid.sections], self._transport.position, step)

    # The screen.

    @contextmanager
    def _screen(self, attended: bool) -> Iterator[None]:
        if self._quiet or not attended or not sys.stdout.isatty():
            yield
            return
        from rich.console import Console
        from rich.live import Live

        self._live = Live(
            console=Console(), auto_refresh=False, transient=True, redirect_stdout=False, redirect_stderr=False
        )
        with self._live:
            yield
        self._live = None

    def _draw(self) -> None:
        """Print the cues that came since, and draw where it is and what comes next."""
        from cuesuggest.export.common.told import wording
        from cuesuggest.score.records import clock

        here = self._transport.position
        if self._transport.playing:
            self._lines += [
                f"{clock(each.at)}  {wording(each)}" for each in self._listed if self._shown_to <= each.at < here
            ]
            self._shown_to = max(here, self._shown_to)
        if self._quiet:
            self._lines.clear()
        elif self._live is None:
            while self._lines:
                echo(self._lines.pop(0))
        elif select.select([], [sys.stdout], [], 0)[1]:
            # A screen that takes nothing more, as one behind a line that is down, must hold up neither cues nor keys.
            from rich.text import Text

            while self._lines:
                self._live.console.print(Text(shown(self._lines.pop(0))), soft_wrap=True)
            status = shown(self._status())
            if status != self._drawn:
                self._drawn = status
                self._live.update(Text(status, no_wrap=True, overflow="ellipsis", style="bold"), refresh=True)

    def _status(self) -> str:
        if self._typed:
            return f"To bar {self._typed}: Enter"
        state = "Plays" if self._transport.playing else "Waits"
        problem = f" | not sent: {self._sender.problem}" if self._sender.problem else ""
        return f"{state} {self._place()} | {self._coming()}{problem}"

    def _place(self) -> str:
        from cuesuggest.score.records import clock

        here = self._transport.position
        place = self._grid.locate(here, "early")
        if place.bar is None or place.beat is None:
            return clock(here)
        return f"{clock(here)}, {replace(place, beat=1.0)}, beat {math.floor(place.beat)}"

    def _coming(self) -> str:
        from cuesuggest.export.common.told import wording
        from cuesuggest.score.records import counted

        here = self._transport.position
        upcoming = next((each for each in self._listed if each.at >= here), None)
        if upcoming is None:
            return "nothing more comes"
        seconds = upcoming.at - here
        bars = self._grid.bars_between(self._grid.locate(here), self._grid.locate(upcoming.at))
        far = f"{counted(math.floor(bars), 'bar')}, " if bars is not None and bars >= 1 else ""
        return f"in {far}{seconds:.1f} s: {wording(upcoming)}"


def _stepped(starts: list[float], here: float, step: int) -> float:
    """Return the start before a moment, or the next one; one that has only just begun is not the one before."""
    if step > 0:
        return next((start for start in starts if start > here + 1e-3), here)
    return next((start for start in reversed(starts) if start < here - 0.5), starts[0] if starts else 0.0)
