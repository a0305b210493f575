"""The door of the page: only this machine's browser, opened by us, gets in.

Other sites that the same browser has open can send requests to 127.0.0.1, and a name of theirs can be made to lead
there. So a request is answered only if it is addressed to us by a name of this machine, comes from our own page, and
carries the cookie that the opening address was exchanged for.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Guard", "Key"]

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


@dataclass(frozen=True, slots=True)
class Key:
    """What opens the page: a token in its first address, then a cookie."""

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24), repr=False)

    @property
    def cookie(self) -> str:
        """Name of the cookie; cookies do not know ports, so it does."""
        return f"cuesuggest-{self.port}"

    @property
    def address(self) -> str:
        """What the browser is opened with."""
        return f"http://127.0.0.1:{self.port}/?token={self.token}"

    @property
    def hosts(self) -> tuple[str, str]:
        """Names by which a request may address us."""
        return f"127.0.0.1:{self.port}", f"localhost:{self.port}"

    def opens(self, given: str | None) -> bool:
        """Whether this is the token."""
        return given is not None and hmac.compare_digest(given.encode(), self.token.encode())


class Guard:
    """Middleware that lets nothing through but what the page itself asks."""

    def __init__(self, app: ASGIApp, key: Key) -> None:
        self._app, self._key = app, key

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
        if host not in self._key.hosts:
            return _refused("This page is only for the machine that it runs on.", 421)
        origin = headers.get("origin")
        # A browser names the origin with everything that can change something.
        if (origin is not None or method not in _SAFE) and origin != f"http://{host}":
            return _refused("Only the page itself may ask this.")
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            return _refused("Another page asked for this.")
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [None])[0]
        if scope["path"] == "/" and method in _SAFE and self._key.opens(given):
            return self._opened()
        if not self._key.opens(_cookie(headers.get("cookie", ""), self._key.cookie)):
            return _refused("Open the page by the address that cuesuggest review printed.")
        if method not in _SAFE:
            if headers.get("content-type", "").split(";")[0].strip() != "application/json":
                return _refused("Changes come as JSON.", 415)
            if _length(headers) > MOST_BODY:
                return _refused("That is more than the page ever sends.", 413)
        return None

    def _opened(self) -> ASGIApp:
        # The token leaves the address bar, where it would be seen and kept.
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(self._key.cookie, self._key.token, httponly=True, samesite="strict", path="/")
        return answer


def _refused(text: str, status: int = 403) -> ASGIApp:
    return PlainTextResponse(text, status_code=status)


def _cookie(header: str, name: str) -> str | None:
    try:
        found = SimpleCookie(header).get(name)
    except CookieError:
        return None
    return None if found is None else found.value


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
