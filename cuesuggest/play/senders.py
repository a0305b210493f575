"""Where signals go: to an address by UDP, or out of a MIDI port of this machine.

What cannot be sent is noted and told, and stops nothing: a cable that is pulled must not keep the rest from going out.
"""

from __future__ import annotations

import ipaddress
import re
import socket
from typing import Any, Protocol

from cuesuggest.errors import CuesuggestError, reason_of

__all__ = ["EXTRA", "HERE", "PORT", "MidiSender", "OscSender", "Sender"]

HERE = "127.0.0.1"
PORT = 52370  # ours, from the range that is nobody's (RFC 6335: 49152 to 65535); OSC has no port of its own
EXTRA = "pip install 'cuesuggest[live]'"
_ADDRESS = re.compile(r"(?:\[(?P<six>[^\]]+)\]|(?P<host>[^:\s]*))(?::(?P<port>\d{1,5}))?")


class Sender(Protocol):
    """Something that sends."""

    where: str
    """In words."""
    problem: str
    """What went wrong last; empty if nothing did."""

    def send(self, data: bytes) -> None:
        """Send the data of one signal."""

    def close(self) -> None:
        """Let go what it holds."""


class OscSender:
    """Packets to an address; to this machine where none is named.

    Parameters
    ----------
    address : str or None
        HOST:PORT, HOST, or :PORT of this machine.

    Raises
    ------
    CuesuggestError
        If it is no address, or none is known by its name.
    """

    def __init__(self, address: str | None) -> None:
        named = HERE if address is None else address.strip()
        found = _ADDRESS.fullmatch(named)
        port = PORT if found is None or found["port"] is None else int(found["port"])
        if not named or found is None or not 1 <= port <= 65535:
            raise CuesuggestError(f"{address!r} is no address. Write HOST:PORT, such as 192.0.2.7:9001.")
        host = found["six"] or found["host"] or HERE
        family, self._to = _resolved(host, port)
        self._socket = socket.socket(family, socket.SOCK_DGRAM)
        # A network that is down must not hold up what comes after it.
        self._socket.setblocking(False)
        here = ipaddress.ip_address(self._to[0].partition("%")[0]).is_loopback
        self.where = f"{host} port {port}, {'this machine' if here else 'over the network'}"
        self.problem = ""

    def send(self, data: bytes) -> None:
        """Send a packet."""
        try:
            self._socket.sendto(data, self._to)
        except OSError as error:
            self.problem = reason_of(error)

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()


def _resolved(host: str, port: int) -> tuple[int, tuple[Any, ...]]:
    try:
        six = ipaddress.ip_address(host).version == 6
    except ValueError:
        try:
            known = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)
        except (OSError, UnicodeError) as error:
            raise CuesuggestError(
                f"No machine is known by the name {host!r} ({error}). Check the name, or give its number."
            ) from None
        # Most receivers listen on the older kind of number alone.
        family, _, _, _, to = min(known, key=lambda each: each[0] != socket.AF_INET)
        return family, to
    return (socket.AF_INET6, (host, port, 0, 0)) if six else (socket.AF_INET, (host, port))


class MidiSender:
    """Messages out of a MIDI port: one that is there by name, or one of our own that others connect to.

    Parameters
    ----------
    port : str or None
        The name of a port, or how one alone begins; None opens one that is called cuesuggest.

    Raises
    ------
    CuesuggestError
        If MIDI cannot be used here, or there is no such port.
    """

    def __init__(self, port: str | None) -> None:
        import mido

        self.problem = ""
        try:
            names = [] if port is None else list(dict.fromkeys(mido.get_output_names()))
            meant = [name for name in names if name == port] or [n for n in names if port and n.startswith(port)]
            if port is None or len(meant) == 1:
                self._port = mido.open_output(meant[0]) if meant else mido.open_output("cuesuggest", virtual=True)
        except ImportError:
            raise CuesuggestError(
                f"Playing to MIDI needs the package python-rtmidi. Install it with: {EXTRA}"
            ) from None
        except Exception as error:  # each system's driver has errors of its own
            raise CuesuggestError(
                f"MIDI cannot be used on this machine: {error} Play to OSC, or export --to midi."
            ) from None
        if port is not None and len(meant) != 1:
            there = f"There are: {', '.join(names)}." if names else "There is none on this machine."
            raise CuesuggestError(f"{port!r} names no MIDI port to send to. {there}")
        self.where = f"the MIDI port {meant[0]}" if meant else "the MIDI port cuesuggest, which others connect to"

    def send(self, data: bytes) -> None:
        """Send a message."""
        from mido import Message

        try:
            self._port.send(Message.from_bytes(data))
        except Exception as error:  # as above
            self.problem = str(error)

    def close(self) -> None:
        """Close the port."""
        self._port.close()
