"""Keys of a plain terminal, one by one as they are pressed; none of them stops this process but Ctrl+C."""

from __future__ import annotations

import os
import re
import select
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["has_keys", "keys_in", "pressed_keys"]

# What a terminal sends for keys without a letter (ECMA-48, and "application mode" of the same keys).
_NAMED = {
    "[A": "up", "[B": "down", "[C": "right", "[D": "left", "[H": "home", "[1~": "home", "[7~": "home",
    "OA": "up", "OB": "down", "OC": "right", "OD": "left", "OH": "home",
}  # fmt: skip
_ONE = re.compile(r"\x1b(?P<named>\[[0-9;?]*[ -/]*[@-~]|O[A-Za-z])|\x1b|.", re.DOTALL)
_PLAIN = {"\x1b": "escape", "\r": "enter", "\n": "enter", " ": "space", "\x7f": "backspace", "\x08": "backspace"}
_REST = 0.03  # s; a key that is several bytes may come in two pieces over a slow line


def has_keys() -> bool:
    """Whether there is a terminal here whose keys can be read one by one."""
    try:
        import termios  # noqa: F401  # not on every system
    except ImportError:
        return False
    return sys.stdin is not None and sys.stdin.isatty()


def keys_in(text: str) -> list[str]:
    """Return the names of the keys in what a terminal sent; letters are small, keys that nobody knows are left out."""
    found = []
    for each in _ONE.finditer(text):
        if each["named"] is not None:
            found.append(_NAMED.get(each["named"], ""))
        else:
            found.append(_PLAIN.get(each[0], each[0].lower() if each[0].isprintable() else ""))
    return [key for key in found if key]


@contextmanager
def pressed_keys() -> Iterator[Callable[[float], list[str]]]:
    """Read single keys for a while.

    Yields
    ------
    callable
        Waits for so many seconds, and returns the keys that were pressed; "gone" once there is no terminal any more.
    """
    import termios

    keyboard = sys.stdin.fileno()
    before = termios.tcgetattr(keyboard)
    plain = termios.tcgetattr(keyboard)
    plain[0] &= ~termios.IXON  # Ctrl+S would hold up the screen, and all else with it
    plain[3] &= ~(termios.ICANON | termios.ECHO)
    # Ctrl+Z would leave everything as it is, lit, with nobody who can stop it.
    suspended = signal.signal(signal.SIGTSTP, signal.SIG_IGN)
    try:
        termios.tcsetattr(keyboard, termios.TCSADRAIN, plain)
        yield lambda seconds: _read(keyboard, seconds)
    finally:
        termios.tcsetattr(keyboard, termios.TCSADRAIN, before)
        signal.signal(signal.SIGTSTP, suspended)


def _read(keyboard: int, seconds: float) -> list[str]:
    if not select.select([keyboard], [], [], seconds)[0]:
        return []
    try:
        data = os.read(keyboard, 1024)
        if data == b"\x1b" and select.select([keyboard], [], [], _REST)[0]:
            data += os.read(keyboard, 1024)
    except OSError:
        return ["gone"]
    return keys_in(data.decode("utf-8", "ignore")) if data else ["gone"]
