"""The server behind the page: a few routes over the songs that are gone through, on this machine only."""

from __future__ import annotations

import contextlib
import json
import re
import socket
import threading
import webbrowser
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import replace
from importlib import import_module
from importlib.resources import files
from pathlib import Path
from typing import Any, cast
from urllib.parse import quote

import anyio.to_thread
import uvicorn
from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from cuesuggest.errors import CuesuggestError, EditError, reason_of
from cuesuggest.gate_out import ThereAlreadyError
from cuesuggest.review.actions import ACTIONS
from cuesuggest.review.asked import Asked
from cuesuggest.review.evening import Evening, NoSuchSongError
from cuesuggest.review.guard import ENTRANCE, SOUND, BodyTooLongError, Guard, Keys
from cuesuggest.review.kept_choices import keep_choices, kept_choices
from cuesuggest.review.launch import Launch
from cuesuggest.review.night_controls import at_sound_check
from cuesuggest.review.page_sound import Click, Sound, clicks_alone
from cuesuggest.review.patience import PatientProtocol
from cuesuggest.review.pressing import CLICKS, late_of, proposal_of
from cuesuggest.review.readings import clicked
from cuesuggest.review.session import BehindError, NotSavedError, Outcome, Session
from cuesuggest.review.taken_out import Written, offered, taken_out
from cuesuggest.review.view import page_of

__all__ = ["application", "listen", "serve", "server_for"]

_BACKLOG = 16  # connections taken at once: each is read before MOST_WAITING others could push it out
_CHUNK = 256 * 1024  # bytes of sound sent at once
_USED = (
    "This address was used already, or is of a run that has ended. "
    "Each is good for one window: go on in the one that is open, or use the address that was printed last."
)
_RANGE = re.compile(r"bytes=(\d{0,15})-(\d{0,15})")
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
}


def application(evening: Evening, keys: Keys) -> ASGIApp:
    """Return the page as an application for a server.

    Parameters
    ----------
    evening : Evening
    keys : Keys
        What opens it.
    """
    static = {
        each.name: (each.read_bytes(), _TYPES[Path(each.name).suffix])
        for each in (files("cuesuggest.review") / "static").iterdir()
        if Path(each.name).suffix in _TYPES
    }

    async def file(request: Request) -> Response:
        # Only names that were there at the start: no path from outside reaches the file system.
        found = static.get(request.path_params.get("name", "index.html"))
        return PlainTextResponse("Not here.", 404) if found is None else Response(found[0], media_type=found[1])

    async def first(request: Request) -> Response:
        kept = request.query_params.get("kept", "")
        return await _in_thread(lambda: _refused_or(lambda: {"song": evening.first(kept)}))

    async def songs(request: Request) -> Response:
        return await _in_thread(lambda: _refused_or(lambda: evening.listed(_named(request))))

    async def song(request: Request) -> Response:
        answer = await _in_thread(lambda: _refused_or(lambda: _page_now(evening, keys, request)))
        answer.background = BackgroundTask(_load_ahead)
        return cast(Response, answer)

    async def disk(request: Request) -> Response:
        def now() -> dict[str, Any]:
            session = evening.song(_named(request)).session
            return {"revision": session.song.revision, "disk": session.disk()}

        return await _in_thread(lambda: _refused_or(now))

    async def sound(request: Request) -> Response:
        return await _in_thread(lambda: _heard(evening, request))

    def posted(work: Callable[[Request, Asked], Response]) -> Callable[[Request], Awaitable[Response]]:
        """Take what was posted, and answer in a thread."""

        async def answer(request: Request) -> Response:
            try:
                asked = Asked(await request.json())
            except (ValueError, RecursionError):
                return JSONResponse({"error": "The page sent something that is no JSON, or is nested too deeply."}, 400)
            except EditError as error:
                return JSONResponse({"error": str(error)}, 422)
            except BodyTooLongError:
                return JSONResponse({"error": "That is more than the page ever sends."}, 413)
            except ClientDisconnect:
                return Response(status_code=400)  # for nobody: who asked has gone
            return cast(Response, await _in_thread(lambda: work(request, asked)))

        return answer

    def told(work: Callable[[Request, Asked], dict[str, Any]]) -> Callable[[Request], Awaitable[Response]]:
        """Answer what changes nothing in any song."""
        return posted(lambda request, asked: _refused_or(lambda: work(request, asked)))

    def pressed(request: Request, asked: Asked) -> dict[str, Any]:
        return proposal_of(evening.song(_named(request)).session.song, asked)

    routes = [
        Route("/", file),
        Route(ENTRANCE, posted(lambda _, asked: _entered(keys, asked)), methods=["POST"]),
        Route("/static/{name}", file),
        Route("/first", first),
        Route("/songs", songs),
        Route("/song", song),
        Route("/disk", disk),
        Route(SOUND, sound),
        Route("/act", posted(lambda request, asked: _acted(evening, keys, request, asked)), methods=["POST"]),
        Route("/export", posted(lambda request, asked: _exported(evening, request, asked)), methods=["POST"]),
        Route("/chosen", told(lambda _, asked: keep_choices(evening.choices, asked)), methods=["POST"]),
        Route("/late", told(lambda _, asked: {"late": late_of(asked)}), methods=["POST"]),
        Route("/night", told(lambda _, asked: at_sound_check(evening, asked)), methods=["POST"]),
        Route("/pressed", told(pressed), methods=["POST"]),
    ]
    return Guard(Starlette(routes=routes), keys)


async def _in_thread(work: Callable[[], Any]) -> Any:
    return await anyio.to_thread.run_sync(work)


def _load_ahead() -> None:
    """Load what listens and drafts while the first song is looked at, so that the first action need not wait for it."""
    import_module("cuesuggest.draft.undo")


def _named(request: Request) -> str:
    """The song that a request is about; every request names it, so that nothing is ever done to another."""
    named = request.query_params.getlist("song")
    if len(named) > 1:
        raise NoSuchSongError("The page named two songs at once. Open the page again.")
    return named[0] if named else ""


def _entered(keys: Keys, asked: Asked) -> Response:
    try:
        key = keys.exchange(asked.text("token"))
    except EditError as error:
        return _refusal(error)
    return JSONResponse({"error": _USED}, 403) if key is None else JSONResponse({"key": key})


def _refusal(error: CuesuggestError) -> Response:
    return JSONResponse({"error": str(error)}, 404 if isinstance(error, NoSuchSongError) else 422)


def _refused_or(work: Callable[[], dict[str, Any]]) -> Response:
    """What is told, or why not."""
    try:
        return JSONResponse(work())
    except CuesuggestError as error:
        return _refusal(error)


def _page_now(evening: Evening, keys: Keys, request: Request) -> dict[str, Any]:
    query = request.query_params

    def number(name: str, otherwise: float) -> float:
        given = query.get(name, "")
        return float(given) if re.fullmatch(r"\d{1,5}(\.\d{1,3})?", given) else otherwise

    named = _named(request)
    shown, place = evening.song(named), evening.place_of(named)
    evening.to_be_heard(shown)
    sound, no_sound = shown.sound()
    told = sound and {
        "start": sound.start,
        "seconds": sound.frames / sound.rate,
        # Another part of the recording is another sound.
        "address": f"{keys.sound(place['song'])}&part={sound.start:g}-{sound.frames}",
    }
    return {
        **page_of(shown.session, int(number("bars", 16)), number("width", 1400.0)),
        "evening": place,
        "sound": told,
        "no_sound": no_sound,
        "exports": offered(),
        "chosen": kept_choices(evening.choices),
    }


def _acted(evening: Evening, keys: Keys, request: Request, asked: Asked) -> Response:
    try:
        session = evening.song(_named(request)).session
        name = asked.text("do", 40)
        done = _do(session, name, asked)
    except BehindError as error:
        return JSONResponse({"error": str(error), "behind": True, **_page_now(evening, keys, request)}, 409)
    except NotSavedError as error:
        return JSONResponse({"error": str(error), "unsaved": True}, 422)
    except CuesuggestError as error:
        return _refusal(error)
    told = {"said": done.said, "lines": done.lines, "remarks": done.remarks, "added": done.added}
    return JSONResponse({**told, **_page_now(evening, keys, request)})


def _do(session: Session, name: str, asked: Asked) -> Outcome:
    if name == "take-file":
        return session.take_file()
    if name == "keep-shown":
        return session.keep_shown()
    revision = asked.whole("revision", 0)
    if name == "undo":
        return session.undo(revision)
    if name == "redo":
        return session.redo(revision)
    if name not in ACTIONS:
        raise EditError(f"There is no action {name!r}. Open the page again.")
    return session.act(revision, lambda song: ACTIONS[name](song, asked))


def _exported(evening: Evening, request: Request, asked: Asked) -> Response:
    try:
        out = taken_out(evening, _named(request), asked)
    except ThereAlreadyError as error:
        there = [path.name for path in error.there]
        said = f"There already: {', '.join(there)}. Nothing was written."
        return JSONResponse({"error": said, "there": there}, 409)
    except CuesuggestError as error:
        return JSONResponse({"error": str(error)}, 422)
    if isinstance(out, Written):
        return JSONResponse({"written": out.names, "left_out": out.left_out})
    # A header has only ASCII.
    headers = {"x-file-name": quote(out.name, errors="replace"), "x-left-out": quote(json.dumps(out.left_out))}
    return Response(out.data, media_type="application/octet-stream", headers=headers)


def _heard(evening: Evening, request: Request) -> Response:
    try:
        shown = evening.song(_named(request))
    except CuesuggestError as error:
        return PlainTextResponse(str(error), 404)
    evening.to_be_heard(shown)
    sound, no_sound = shown.sound()
    if sound is None:
        return PlainTextResponse(no_sound, 404)
    click = None
    query = request.query_params
    if query.get("clicks"):
        return Response(clicks_alone(Click(CLICKS, frozenset()), sound.rate), media_type="audio/wav")
    if query.get("click"):
        beats = clicked(shown.session.song.analysis, query.get("reading", ""))
        click = replace(
            beats, level=_share(query.get("level"), beats.level), song=_share(query.get("loud"), beats.song)
        )
    headers = {"accept-ranges": "bytes", "content-type": "audio/wav"}
    wanted = _range(request.headers.get("range"), sound.size)
    if wanted is None:
        return Response(status_code=416, headers={"content-range": f"bytes */{sound.size}"})
    start, stop, partial = wanted
    if partial:
        headers["content-range"] = f"bytes {start}-{stop - 1}/{sound.size}"
    headers["content-length"] = str(stop - start)
    if request.method == "HEAD":
        return Response(status_code=206 if partial else 200, headers=headers)
    return StreamingResponse(_parts(sound, start, stop, click), 206 if partial else 200, headers)


def _share(given: str | None, otherwise: float) -> float:
    """A share told in whole percents, 0 to 100; another value for what is none."""
    return int(given) / 100 if given and re.fullmatch(r"\d{1,2}|100", given, re.ASCII) else otherwise


def _range(header: str | None, size: int) -> tuple[int, int, bool] | None:
    """Start, stop, and whether it is a part; None for a part that is not there (RFC 9110, 14.1.2)."""
    found = _RANGE.fullmatch(header.strip()) if header else None
    if found is None or found[1] == found[2] == "":
        return 0, size, False  # several parts at once, or other units: the whole is a valid answer
    if not found[1]:
        last = int(found[2])
        return (max(size - last, 0), size, True) if last else None
    start, stop = int(found[1]), min(int(found[2]) + 1 if found[2] else size, size)
    return (start, stop, True) if start < stop else None


async def _parts(sound: Sound, start: int, stop: int, click: Click | None) -> AsyncIterator[bytes]:
    for at in range(start, stop, _CHUNK):
        end = min(at + _CHUNK, stop)
        yield await anyio.to_thread.run_sync(sound.read, at, end, click)


def serve(
    documents: Sequence[Path],
    *,
    port: int = 0,
    opened: Callable[[str], None],
    renewed: Callable[[str], None],
    browser: bool = True,
    night: Path | None = None,
) -> None:
    """Show songs on a page until the program is stopped.

    Parameters
    ----------
    documents : sequence of Path
        In the order in which they are gone through; those of recordings that are not drafted yet may be missing.
    port : int
        To listen on; 0 takes any that is free.
    opened : callable
        Told an address that opens the page once, as soon as it can be opened.
    renewed : callable
        Told another one each time that the last was used.
    browser : bool
        Whether to open the page in the browser; that uses none of these addresses.
    night : Path, optional
        The set list that names the documents.

    Raises
    ------
    CuesuggestError
        If none of them can be opened, or the port is taken.
    """
    evening = Evening(documents, night=night)
    evening.first("")
    try:
        listening = listen(port)
    except OSError as error:
        raise CuesuggestError(
            f"Port {port} cannot be used: {reason_of(error)}. Choose another with --port, or leave it out."
        ) from None
    keys = Keys(listening.getsockname()[1])
    server = server_for(evening, keys)

    def renew() -> None:
        renewed(keys.address(used=renew))

    with contextlib.ExitStack() as ending:
        ending.callback(evening.close)
        opened(keys.address(used=renew))
        if browser:
            # The socket listens already, so a browser that is quicker than the server waits.
            _open_browser(keys, ending)
        server.run(sockets=[listening])


def _open_browser(keys: Keys, ending: contextlib.ExitStack) -> None:
    try:
        launch = Launch()
        ending.callback(launch.remove)
        launch.lead_to(keys.address(used=launch.remove))
    except (OSError, RuntimeError):
        return  # no place for the file; the address that was printed opens the page as well
    threading.Thread(target=webbrowser.open, args=(launch.path.as_uri(),), daemon=True).start()


def server_for(evening: Evening, keys: Keys) -> uvicorn.Server:
    """Return the server of a page; it runs on a socket of `listen`."""
    config = uvicorn.Config(
        application(evening, keys),
        http=PatientProtocol,
        backlog=_BACKLOG,
        log_level="error",
        access_log=False,
        lifespan="off",
        server_header=False,
        timeout_graceful_shutdown=1,
    )
    return uvicorn.Server(config)


def listen(port: int) -> socket.socket:
    """Return a socket that only this machine can reach; port 0 is any that is free.

    Raises
    ------
    OSError
        If the port is taken.
    """
    # The protocol has to be named: only then does asyncio send the end of an answer before its begin is acknowledged.
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("127.0.0.1", port))
        listening.listen(_BACKLOG)
    except OSError:
        listening.close()
        raise
    return listening
