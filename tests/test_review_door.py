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


def test_the_address_is_of_this_machine_and_its_token_is_sent_to_nobody(server):
    start, _, token = server.address.partition("#")  # a fragment stays in the browser
    assert start == f"http://127.0.0.1:{server.port}/"
    assert len(token) >= 32


def test_nothing_listens_beyond_this_machine():
    with listen(0) as listening:
        assert listening.getsockname()[0] == "127.0.0.1"
        # The same port is free on every other address.
        with socket.socket() as other:
            other.bind(("127.0.0.2", listening.getsockname()[1]))


def test_a_token_is_exchanged_once_for_the_key(server):
    token = server.address.partition("#")[2]
    status, answer = server.enter(token)
    assert (status, answer) == (200, {"key": server.key})
    for _ in range(2):
        status, answer = server.enter(token)
        assert status == 403
        assert "used already" in answer["error"]
    assert server.enter(server.address.partition("#")[2])[0] == 200  # another is as good as before


@pytest.mark.parametrize("token", ["", "guess", "\u00e9\ud83d\ude00", None, 7, [], {"a": 1}, "x" * 100_000])
def test_what_is_no_token_is_given_no_key(server, token):
    status, answer = server.enter(token)
    assert status in (403, 422)
    assert answer["error"].endswith(".")
    assert "key" not in answer


def test_the_key_is_neither_a_token_nor_the_key_to_the_sound(server):
    sound = server.song()["sound"]["address"].partition("key=")[2]
    assert server.enter(server.key)[0] == 403
    for path in ("/song", "/disk", f"/song?key={sound}", f"/song?key={server.key}"):
        assert server.ask("GET", path, X_Cuesuggest_Key=sound)[0] == 403


@pytest.mark.parametrize(
    "headers", [{"Origin": "http://evil.example"}, {"Origin": None}, {"Sec_Fetch_Site": "same-site"}]
)
def test_another_site_cannot_use_up_a_token(server, headers):
    token = server.address.partition("#")[2]
    assert server.enter(token, **headers)[0] == 403
    assert server.enter(token, Content_Type="text/plain")[0] == 415
    assert server.enter(token)[0] == 200


def test_no_cookie_is_set_and_none_opens_anything(server):
    for path in ("/", "/song", "/static/main.js"):
        assert "set-cookie" not in server.ask("GET", path)[1]
    cookie = f"cuesuggest-{server.port}={server.key}; key={server.key}; x-cuesuggest-key={server.key}"
    assert server.ask("GET", "/song", X_Cuesuggest_Key=None, Cookie=cookie)[0] == 403


@pytest.mark.parametrize("path", ["/song", "/sound.wav", "/disk", "/sound.wav?key=", "/song/", "/nothing", "/?token=x"])
@pytest.mark.parametrize("key", [None, "", "guess", "\x80"])
def test_without_the_key_nothing_of_the_song_is_shown(server, path, key):
    status, headers, body = server.ask("GET", path, X_Cuesuggest_Key=key)
    if path.startswith("/?"):
        assert status == 200  # the page's own file, the same in every copy of the program
    else:
        assert (status, headers["content-type"]) == (403, "application/json")
        assert json.loads(body)["error"].endswith("printed last.")
    assert b"evening" not in body


def test_without_the_key_nothing_is_done(server):
    before = server.song()
    for path in ("/act", "/export", "/chosen", "/night"):
        assert server.ask("POST", path, {"do": "undo", "revision": 0}, X_Cuesuggest_Key=None)[0] == 403
    assert server.song() == before


def test_the_sound_has_a_key_of_its_own_in_its_address(server):
    address = server.song()["sound"]["address"]
    status, _, part = server.ask("GET", address, X_Cuesuggest_Key=None, Range="bytes=0-3")
    assert (status, part) == (206, b"RIFF")
    assert server.ask("GET", f"{address}&click=1", X_Cuesuggest_Key=None, Range="bytes=0-3")[0] == 206
    assert server.ask("GET", address.replace("&part=", "x&part="), X_Cuesuggest_Key=None)[0] == 403


def test_the_page_opens_from_a_file_or_by_a_link_but_in_nobodys_frame(server):
    for site in ("cross-site", "none"):
        status, headers, _ = server.ask(
            "GET", "/", X_Cuesuggest_Key=None, Sec_Fetch_Site=site, Sec_Fetch_Mode="navigate"
        )
        assert status == 200
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert (
        server.ask("GET", "/", X_Cuesuggest_Key=None, Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="no-cors")[0] == 403
    )
    assert server.ask("GET", "/song", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate")[0] == 403


def test_another_site_is_not_even_allowed_to_ask_whether_it_may_send_the_key(server):
    asked = {"Access_Control_Request_Method": "GET", "Access_Control_Request_Headers": "x-cuesuggest-key"}
    status, headers, _ = server.ask("OPTIONS", "/song", Origin="http://127.0.0.1:1", X_Cuesuggest_Key=None, **asked)
    assert status == 403
    assert not [name for name in headers if name.startswith("access-control")]


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
    assert server.ask("GET", "/export")[0] == 405


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
            f"X-Cuesuggest-Key: {server.key}\r\n"
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


NO_ACTIONS = [
    b"", b"{", b"[]", b"null", b'"x"', b"\xff\xfe", b'{"do": 3}', b'{"do": "nothing"}', b"[" * 100_000,
    b'{"do": "undo", "revision": 1' + b"0" * 400 + b"}", b'{"do": "undo", "revision": -1' + b"0" * 4000 + b"}",
    b'{"do": "undo", "revision": 1' + b"0" * 5000 + b"}", b'{"do": "undo", "revision": NaN}',
    b'{"do": "undo", "revision": Infinity}', b'{"do": "undo", "revision": 1e400}', b'{"do": "undo", "revision": 0.5}',
]  # fmt: skip


@pytest.mark.parametrize("body", NO_ACTIONS, ids=lambda body: body[:32].decode("latin-1"))
def test_what_is_no_action_is_answered_in_a_sentence(server, body):
    status, _, answer = server.ask("POST", "/act", body)
    assert status in (400, 422)
    assert json.loads(answer)["error"].endswith(".")


@pytest.mark.parametrize(
    "query", ["bars=0", "bars=99999&width=99999", "bars=1&width=0", "bars=0.001", "bars=-1&width=nan"]
)
def test_any_room_that_the_page_may_claim_to_have_is_answered(server, query):
    assert server.ask("GET", f"/song?{query}")[0] == 200


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
