"""The door of the page: only this machine's browser, opened by us, gets in.

Other sites that the same browser has open can send requests to 127.0.0.1, and a name of theirs can be made to lead
there; other users of the machine can reach it with any program. So a request is answered only if it is addressed to us
by a name of this machine, comes from our own page, and carries the key of this run in a header. The page gets the key
for a token that is good once and stands in the fragment of its address, which no browser sends anywhere. There are no
cookies: they know no ports, so every other server on this machine would be sent them. The page's own files, the same
in every copy of the program, are for everybody who can reach us.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["BodyTooLongError", "Guard", "Keys"]

KEY_HEADER = "x-cuesuggest-key"
ENTRANCE = "/enter"
"""Where a token is exchanged for the key."""
SOUND = "/sound.wav"
MOST_BODY = 256 * 1024  # bytes; a form of two hundred parts or an hour of taps is far less
_SAFE = ("GET", "HEAD")
# No script, style or sound but our own files, nothing sent elsewhere, in nobody's frame.
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": _POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class Keys:
    """What opens the page: addresses that are good once, the key of this run, and one for the sound alone."""

    def __init__(self, port: int) -> None:
        self.port = port
        self._key, self._sound_key = secrets.token_urlsafe(24), secrets.token_urlsafe(24)
        self._tokens: dict[str, Callable[[], None]] = {}

    def address(self, used: Callable[[], None] = lambda: None) -> str:
        """Return an address that opens the page once.

        Parameters
        ----------
        used : callable
            Called when it was.
        """
        token = secrets.token_urlsafe(24)
        self._tokens[token] = used
        return f"http://127.0.0.1:{self.port}/#{token}"

    def exchange(self, token: str) -> str | None:
        """Return the key of this run for a token; None if it was used before, or never given out."""
        used = self._tokens.pop(token, None)
        if used is None:
            return None
        used()
        return self._key

    def sound(self, song: str) -> str:
        """Return the path of a song's sound, with a key that opens sound alone: a player sends no headers."""
        return f"{SOUND}?song={song}&key={self._sound_key}"

    @property
    def hosts(self) -> tuple[str, str]:
        """Names by which a request may address us."""
        return f"127.0.0.1:{self.port}", f"localhost:{self.port}"

    def opens(self, scope: Scope) -> bool:
        """Whether a request carries a key to what it asks for."""
        if _same(Headers(scope=scope).get(KEY_HEADER, ""), self._key):
            return True
        query = parse_qs(scope.get("query_string", b"").decode("latin-1"))
        return scope["path"] == SOUND and _same(query.get("key", [""])[0], self._sound_key)


class Guard:
    """Middleware that lets nothing through but what the page itself asks."""

    def __init__(self, app: ASGIApp, keys: Keys) -> None:
        self._app, self._keys = app, keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return  # no sockets; what the server says to itself needs no answer

        async def guarded_send(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers[name] = value
            await send(message)

        answer = self._answer(scope)
        if answer is not None:
            await answer(scope, receive, guarded_send)
            return
        await self._app(scope, _limited(receive), guarded_send)

    def _answer(self, scope: Scope) -> ASGIApp | None:
        """Return what to say instead of going on; None for a request that is ours."""
        headers, method = Headers(scope=scope), scope["method"]
        host = headers.get("host", "")
        if host not in self._keys.hosts:
            return _refused("This page is only for the machine that it runs on.", 421)
        origin = headers.get("origin")
        # A browser names the origin with everything that can change something.
        if (origin is not None or method not in _SAFE) and origin != f"http://{host}":
            return _refused("Only the page itself may ask this.")
        opening = scope["path"] == "/" and headers.get("sec-fetch-mode") == "navigate"  # from our file, or by a link
        if not opening and headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            return _refused("Another page asked for this.")
        if not _for_everybody(scope["path"]) and not self._keys.opens(scope):
            before = "The program was started again. " if headers.get(KEY_HEADER) else ""
            return _refused(f"{before}Open the page by the address that cuesuggest review printed last.")
        if method not in _SAFE:
            if headers.get("content-type", "").split(";")[0].strip() != "application/json":
                return _refused("Changes come as JSON.", 415)
            if _length(headers) > MOST_BODY:
                return _refused("That is more than the page ever sends.", 413)
        return None


def _for_everybody(path: str) -> bool:
    return path in ("/", ENTRANCE) or path.startswith("/static/")


def _same(given: str, secret: str) -> bool:
    return hmac.compare_digest(given.encode(), secret.encode())


def _refused(text: str, status: int = 403) -> ASGIApp:
    return JSONResponse({"error": text}, status_code=status)


def _length(headers: Headers) -> int:
    given = headers.get("content-length", "0")
    return int(given) if given.isdecimal() and len(given) < 12 else MOST_BODY + 1


class BodyTooLongError(Exception):
    """More was sent than was announced or is allowed."""


def _limited(receive: Receive) -> Receive:
    """Count what really comes: a body sent in parts announces no length."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > MOST_BODY:
            raise BodyTooLongError
        return message

    return counted
