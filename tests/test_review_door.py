"""The page's door: this machine's own browser, opened by us, and nobody else. One test for each way to try."""

import json
import socket

import pytest

from cuesuggest.review.server import listen
from tests.reviewing import copied, hosting


@pytest.fixture(scope="module")
def server(drafted_take, tmp_path_factory):
    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path_factory.mktemp("door"))
    with hosting(document) as running:
        yield running


def title(server):
    return server.song()["title"]


def test_the_address_is_printed_on_the_first_line_and_is_of_this_machine(server):
    assert server.address.startswith(f"http://127.0.0.1:{server.port}/?token=")
    assert len(server.address.split("token=")[1]) >= 32


def test_nothing_listens_beyond_this_machine():
    with listen(0) as listening:
        assert listening.getsockname()[0] == "127.0.0.1"
        # The same port is free on every other address.
        with socket.socket() as other:
            other.bind(("127.0.0.2", listening.getsockname()[1]))


def test_the_token_becomes_a_cookie_that_scripts_and_other_sites_do_not_get(server):
    path = server.address.split(str(server.port))[1]
    status, headers, _ = server.ask("GET", path, Cookie=None)
    assert (status, headers["location"]) == (303, "/")
    cookie = headers["set-cookie"]
    assert cookie.startswith(f"cuesuggest-{server.port}=")
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}


@pytest.mark.parametrize("path", ["/", "/song", "/sound.wav", "/static/main.js", "/disk", "/?token=wrong"])
def test_without_the_cookie_nothing_is_shown(server, path):
    status, _, body = server.ask("GET", path, Cookie=None)
    assert status == 403
    assert b"evening" not in body


@pytest.mark.parametrize("cookie", ["cuesuggest-{port}=", "cuesuggest-{port}=guess", "cuesuggest-1={token}", "\x80=;;"])
def test_another_cookie_opens_nothing(server, cookie):
    token = server.address.split("token=")[1]
    status, _, _ = server.ask("GET", "/song", Cookie=cookie.format(port=server.port, token=token))
    assert status == 403


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]:{port}", ""]
)
def test_a_name_that_was_made_to_lead_here_is_refused(server, host):
    status, _, body = server.ask("GET", "/song", Host=host.format(port=server.port))
    assert status in (400, 421)
    assert b"evening" not in body


def test_the_other_name_of_this_machine_is_fine(server):
    assert server.ask("GET", "/song", Host=f"localhost:{server.port}")[0] == 200


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1:1", "https://127.0.0.1:{port}", None]
)
def test_a_post_from_another_site_is_refused(server, origin):
    before = title(server)
    given = origin and origin.format(port=server.port)
    body = {"do": "title", "revision": server.song()["revision"], "title": "Theirs"}
    assert server.ask("POST", "/act", body, Origin=given)[0] == 403
    assert title(server) == before


def test_what_another_site_embeds_is_refused(server):
    for site in ("cross-site", "same-site"):
        assert server.ask("GET", "/sound.wav", Sec_Fetch_Site=site)[0] == 403
    assert server.ask("GET", "/disk", Sec_Fetch_Site="same-origin")[0] == 200


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", None])
def test_a_change_that_a_plain_form_could_send_is_refused(server, kind):
    body = {"do": "title", "revision": server.song()["revision"], "title": "Theirs"}
    assert server.ask("POST", "/act", body, Content_Type=kind)[0] == 415


def test_a_change_by_get_is_refused(server):
    assert server.ask("GET", "/act?do=undo")[0] == 405
    assert server.ask("GET", "/export/.cues.csv")[0] == 405


def test_scripts_and_everything_else_come_from_the_page_itself_only(server):
    for path in ("/", "/song", "/static/main.js", "/nothing"):
        _, headers, _ = server.ask("GET", path)
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self';" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cache-control"] == "no-store"


def test_the_page_has_no_script_or_style_in_it(server):
    _, _, body = server.ask("GET", "/")
    text = body.decode()
    assert "<style" not in text
    assert "style=" not in text
    assert "onclick" not in text
    assert text.count("<script") == text.count('<script type="module" src="/static/')


@pytest.mark.parametrize(
    "path",
    [
        "/static/../server.py", "/static/%2e%2e/server.py", "/static/..%2fserver.py", "/static//etc/passwd",
        "/static/%2fetc%2fpasswd", "/../../etc/passwd", "/static/main.js%00.css", "/export/..%2f..%2fx",
    ],
)  # fmt: skip
def test_no_path_leads_to_the_file_system(server, path):
    method = "POST" if path.startswith("/export") else "GET"
    status, _, body = server.ask(method, path, {} if method == "POST" else None)
    assert status in (404, 405)
    assert b"root:" not in body
    assert b"import " not in body


def test_more_than_the_page_ever_sends_is_refused(server):
    assert server.ask("POST", "/act", b"x" * 300_000)[0] == 413
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as raw:
        head = (
            f"POST /act HTTP/1.1\r\nHost: {server.host}\r\nOrigin: http://{server.host}\r\n"
            f"Cookie: {server.cookie()}\r\n"
            "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n"
        )
        raw.sendall(head.encode())
        part = b"8000\r\n" + b" " * 0x8000 + b"\r\n"
        try:
            for _ in range(20):
                raw.sendall(part)
            raw.sendall(b"0\r\n\r\n")
        except OSError:
            return  # hung up on: refused as well
        assert raw.recv(64).split()[1] == b"413"


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b"null", b'"x"', b"\xff\xfe", b'{"do": 3}', b'{"do": "nothing"}'])
def test_what_is_no_action_is_answered_in_a_sentence(server, body):
    status, _, answer = server.ask("POST", "/act", body)
    assert status in (400, 422)
    assert json.loads(answer)["error"].endswith(".")


def test_nothing_of_the_server_shows_in_errors(server):
    _, headers, body = server.ask("POST", "/act", {"do": "level", "revision": server.song()["revision"], "cue": {}})
    assert b"Traceback" not in body
    assert "server" not in headers


def test_a_title_that_is_code_stays_text(server):
    status, answer = server.act("title", title="<script>alert(1)</script>")
    assert status == 200
    assert answer["title"] == "<script>alert(1)</script>"
    _, headers, _ = server.ask("GET", "/song")
    assert headers["content-type"] == "application/json"


def test_an_export_is_one_of_the_known_ones(server):
    status, headers, body = server.ask("POST", "/export/.cues.csv", {})
    assert status == 200
    assert headers["x-file-name"] == "evening.cues.csv"
    assert body.count(b"\r\n") > 3
    assert server.ask("POST", "/export/.exe", {})[0] == 404
