"""Clients that send half a request, leave in the middle of one, or come in hundreds: the page goes on, and is quiet."""

import contextlib
import logging
import socket
import time

import pytest

from cuesuggest.review import patience
from tests.reviewing import copied, hosting

HALF_A_HEAD = b"GET /song HTTP/1.1\r\nHost: 127.0.0.1"


@pytest.fixture(scope="module")
def server(drafted_take, tmp_path_factory):
    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path_factory.mktemp("patient"))
    with hosting(document) as running:
        yield running


@pytest.fixture
def connect(server):
    with contextlib.ExitStack() as open_:
        yield lambda: open_.enter_context(socket.create_connection(("127.0.0.1", server.port), timeout=5))


@pytest.fixture
def said(capfd, caplog):
    """What the server says on the screen; its log is bound to the screen that was there when it was started."""
    logging.getLogger("uvicorn.error").addHandler(caplog.handler)
    yield lambda: [*filter(None, capfd.readouterr()), *(each.getMessage() for each in caplog.records)]
    logging.getLogger("uvicorn.error").removeHandler(caplog.handler)


def half_a_post(server):
    return (
        f"POST /act HTTP/1.1\r\nHost: {server.host}\r\nOrigin: http://{server.host}\r\n"
        f"X-Cuesuggest-Key: {server.key}\r\n"
        'Content-Type: application/json\r\nContent-Length: 1000\r\n\r\n{"do": '
    ).encode()


def whole(server, path="/disk", more=""):
    return f"GET {path} HTTP/1.1\r\nHost: {server.host}\r\nX-Cuesuggest-Key: {server.key}\r\n{more}\r\n".encode()


def answered(client):
    """Whether what was asked of /disk is answered with success."""
    got = b""
    while not got.endswith(b"}"):
        part = client.recv(4096)
        if not part:
            return False
        got += part
    return got.startswith(b"HTTP/1.1 200")


def hung_up_after(client):
    """Seconds until the other side closes, without an answer."""
    started = time.perf_counter()
    with contextlib.suppress(ConnectionError):
        assert client.recv(4096) == b""
    return time.perf_counter() - started


def test_an_answer_does_not_wait_until_its_begin_is_acknowledged(server, connect):
    """A system acknowledges after 40 ms or more: so much later every answer would come whole."""
    client, took = connect(), []
    for _ in range(20):
        started = time.perf_counter()
        client.sendall(whole(server))
        assert answered(client)
        took.append(time.perf_counter() - started)
    assert sorted(took)[10] < 0.03


@pytest.mark.parametrize("sent", ["nothing", "half a head", "half a body"])
def test_a_request_that_does_not_come_whole_is_let_go(server, connect, monkeypatch, sent):
    monkeypatch.setattr(patience, "SECONDS", 0.4)
    client = connect()
    client.sendall({"nothing": b"", "half a head": HALF_A_HEAD, "half a body": half_a_post(server)}[sent])
    assert 0.2 < hung_up_after(client) < 3


def test_a_request_that_comes_letter_by_letter_gains_no_time(server, connect, monkeypatch):
    monkeypatch.setattr(patience, "SECONDS", 0.4)
    client = connect()
    started = time.perf_counter()
    with contextlib.suppress(ConnectionError):
        for letter in whole(server, more=f"X-Long: {'x' * 400}\r\n"):
            client.sendall(bytes([letter]))
            time.sleep(0.02)
    assert time.perf_counter() - started < 3


def test_after_an_answer_the_next_request_has_its_own_time(server, connect, monkeypatch):
    monkeypatch.setattr(patience, "SECONDS", 0.6)
    client = connect()
    for _ in range(3):
        client.sendall(whole(server))
        assert answered(client)
        time.sleep(0.3)
    client.sendall(whole(server) + HALF_A_HEAD)
    assert answered(client)
    assert 0.3 < hung_up_after(client) < 3


def test_an_answer_may_take_its_time(server, connect, monkeypatch):
    """A player reads the sound as slowly as it plays."""
    monkeypatch.setattr(patience, "SECONDS", 0.3)
    client = connect()
    client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 16384)
    client.sendall(whole(server, "/sound.wav", "Connection: close\r\n"))
    head, _, body = client.recv(4096).partition(b"\r\n\r\n")
    size = int(head.lower().partition(b"content-length: ")[2].split()[0])
    time.sleep(1)
    got = len(body)
    while part := client.recv(1 << 16):
        got += len(part)
    assert got == size


def test_a_thousand_half_open_connections_do_not_keep_the_page_out(server, connect):
    waiting = []
    for number in range(1000):
        if number % 8 == 0:
            time.sleep(0.01)  # what comes faster than it is taken waits a second before it is tried again
        try:
            waiting.append(connect())
            waiting[-1].sendall((b"", HALF_A_HEAD, half_a_post(server))[number % 3])
        except OSError:
            continue  # let go already
    started = time.perf_counter()
    assert server.ask("GET", "/disk")[0] == 200
    assert server.act("title", title="Still here")[0] == 200
    assert time.perf_counter() - started < 3
    still_open = sum(_is_open(client) for client in waiting)
    assert still_open <= patience.MOST_WAITING


def _is_open(client):
    client.setblocking(False)
    try:
        return client.recv(1) != b""
    except BlockingIOError:
        return True
    except ConnectionError:
        return False


def test_a_client_that_leaves_in_the_middle_leaves_no_trace(server, connect, said):
    for sent in (b"", HALF_A_HEAD, half_a_post(server), whole(server, "/song"), whole(server, "/sound.wav")):
        for hard in (False, True):
            client = connect()
            client.sendall(sent)
            time.sleep(0.05)
            if hard:  # as a program that was killed
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
            client.close()
    time.sleep(0.2)
    assert server.ask("GET", "/disk")[0] == 200
    assert said() == []


def test_nonsense_is_answered_without_a_trace(server, connect, said):
    for sent in (
        b"\x16\x03\x01\x02\0",
        b"GET\r\n\r\n",
        b"A" * 100_000,
        b"POST /act HTTP/1.1\r\nContent-Length: -1\r\n\r\n",
    ):
        client = connect()
        with contextlib.suppress(ConnectionError):
            client.sendall(sent)
            assert client.recv(64).split()[1].startswith(b"4")
    assert said() == []
