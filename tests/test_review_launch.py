"""How the page is opened: by a file that is nobody else's, with a token good for one use; and what is said without."""

import json
import shlex
import signal
import sys
import tempfile
import time
import webbrowser
from contextlib import ExitStack
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from stat import S_IMODE
from threading import Thread
from unittest.mock import Mock
from urllib.parse import unquote, urlsplit

import pytest

from cuesuggest.review import launch
from cuesuggest.review import server as serving_page
from tests.reviewing import barriers, copied, hosting, serving

RECORDER = """
import json, os, sys
from pathlib import Path
from urllib.parse import unquote, urlsplit
path = Path(unquote(urlsplit(sys.argv[-1]).path))
seen = {"words": sys.argv[1:], "modes": [path.stat().st_mode, path.parent.stat().st_mode], "holds": path.read_text()}
Path(sys.argv[1] + ".part").write_text(json.dumps(seen))
os.replace(sys.argv[1] + ".part", sys.argv[1])
"""


@pytest.fixture
def recorder(tmp_path, monkeypatch):
    """A browser that only writes down how it was called; and how to read that."""
    script, told = tmp_path / "browser.py", tmp_path / "called.json"
    script.write_text(RECORDER)
    (tmp_path / "temporary").mkdir()
    monkeypatch.setenv("TMPDIR", str(tmp_path / "temporary"))
    monkeypatch.setattr(launch, "_SNAPS", tmp_path / "none")

    def called():
        for _ in range(200):
            if told.exists():
                seen = json.loads(told.read_text())
                return seen, Path(unquote(urlsplit(seen["words"][-1]).path))
            time.sleep(0.05)
        raise AssertionError("no browser was opened")

    return shlex.join([sys.executable, str(script), str(told), "%s"]), called


@pytest.fixture
def window(chromium):
    """A new browser with nothing kept, and one page in it."""
    contexts = []

    def open_(server, **options):
        contexts.append(chromium.new_context(viewport={"width": 1200, "height": 800}, **options))
        server.windows.append(contexts[-1])
        return contexts[-1].new_page()

    return open_


@pytest.fixture(scope="module")
def server(drafted_take, tmp_path_factory):
    document = copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path_factory.mktemp("launched"))
    with hosting(document) as running:
        yield running


def closed(page):
    """What stands in place of the page."""
    page.wait_for_selector("#closed:not([hidden])")
    assert page.locator("#chart svg").count() == 0
    return page.inner_text("#closed")


def drawn(page):
    page.wait_for_selector("#chart[aria-busy=false] svg text")
    assert page.locator("#closed").is_hidden()


def test_the_browser_is_told_a_file_and_no_token(document, recorder, window):
    browser, called = recorder
    with serving(document, browser=browser) as server:
        seen, path = called()
        address = seen["holds"].partition('href="')[2].partition('"')[0]
        token = urlsplit(address).fragment
        assert len(token) >= 32
        assert not [word for word in seen["words"] if token in word]
        assert seen["words"][-1].startswith("file://")
        assert [S_IMODE(mode) for mode in seen["modes"]] == [0o600, 0o700]
        page = window(server)
        page.goto(seen["words"][-1])
        drawn(page)
        assert page.url == f"http://127.0.0.1:{server.port}/"
        assert not path.exists()
        assert not path.parent.exists()
        # The printed address has a token of its own.
        assert server.enter(token)[0] == 403
        assert server.song()["revision"] == 0


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_a_file_that_nobody_used_goes_with_the_program_however_it_is_stopped(document, recorder, name):
    browser, called = recorder
    with serving(document, browser=browser) as server:
        _, file = called()
        assert file.exists()
        server.process.send_signal(getattr(signal, name))
        assert server.process.wait(10) == 128 + getattr(signal, name)
        assert not file.parent.exists()
        assert "Traceback" not in server.process.stderr.read()


def test_stopped_with_ctrl_c_it_ends_well_and_says_nothing_untrue(document):
    with serving(document) as server:
        server.process.send_signal(signal.SIGINT)
        assert server.process.wait(10) == 0
        said = server.process.stderr.read()
        assert "Nothing was written" not in said
        assert "Traceback" not in said


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), RuntimeError("no home folder")])
def test_without_a_place_for_the_file_the_page_is_served_all_the_same(monkeypatch, error):
    monkeypatch.setattr(tempfile, "mkdtemp", Mock(side_effect=error))
    monkeypatch.setattr(webbrowser, "open", lambda _: pytest.fail("opened without a file"))
    with ExitStack() as ending:
        serving_page._open_browser(serving_page.Keys(1), ending)


def test_where_browsers_are_confined_the_file_lies_where_they_can_read_it(tmp_path, monkeypatch):
    monkeypatch.setattr(launch, "_SNAPS", tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    made = launch.Launch()
    made.lead_to("http://127.0.0.1:1/#x")
    assert made.path.parent.parent == tmp_path
    assert not made.path.parent.name.startswith(".")
    made.remove()
    assert list(tmp_path.iterdir()) == []


def test_a_printed_address_opens_one_window_and_a_new_one_is_printed(document, recorder, window):
    browser, called = recorder
    with serving(document, browser=browser) as server:
        first = server.address
        page, late = window(server), window(server)
        page.goto(first)
        drawn(page)
        late.goto(first)
        assert "used already" in closed(late)
        second = server.address
        assert second != first
        late.goto(second)
        drawn(late)
        _, file = called()
        assert file.exists()
    assert not file.parent.exists()  # nobody used it; it goes with the program


def test_the_token_leaves_the_address_and_the_window_can_be_loaded_again(server, window):
    page = window(server)
    page.goto(server.address)
    drawn(page)
    for _ in range(2):
        assert page.url == f"http://127.0.0.1:{server.port}/"
        page.reload()
        drawn(page)


def test_a_window_goes_on_with_an_address_that_it_used_itself(server, window):
    page, address = window(server), server.address
    page.goto(address)
    drawn(page)
    page.goto("about:blank")
    page.goto(address)
    drawn(page)


def test_a_second_tab_opened_from_the_first_works(server, window):
    page = window(server)
    page.goto(server.address)
    drawn(page)
    with page.context.expect_page() as coming:
        page.evaluate("() => { window.open('/') }")
    drawn(coming.value)


def test_without_a_token_the_page_says_how_to_get_in(server, window):
    page = window(server)
    page.goto(f"http://127.0.0.1:{server.port}/")
    assert "printed last" in closed(page)
    page.goto(f"http://127.0.0.1:{server.port}/#guess")
    assert "used already" in closed(page)
    assert page.url == f"http://127.0.0.1:{server.port}/"


def test_a_window_of_a_run_that_has_ended_says_so_and_takes_the_new_address(document, window):
    with hosting(document) as before:
        page = window(before)
        page.goto(before.address)
        drawn(page)
        before.windows.clear()
    with hosting(document, port=before.port) as again:
        again.windows.append(page.context)
        page.keyboard.press("Home")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        page.wait_for_function("() => document.querySelector('#told').innerText.includes('started again')")
        page.reload()
        assert "started again" in closed(page)
        page.goto(again.address)
        drawn(page)


class _Curious(BaseHTTPRequestHandler):
    def do_GET(self):
        self.server.heard.append((self.path, dict(self.headers)))
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>another</title>")

    def log_message(self, *_):
        pass


@pytest.fixture
def another():
    """Another server on this machine, which writes down what it is sent."""
    other = ThreadingHTTPServer(("127.0.0.1", 0), _Curious)
    other.heard = []
    Thread(target=other.serve_forever, daemon=True).start()
    yield other
    other.shutdown()
    other.server_close()


def test_another_server_of_this_machine_is_sent_nothing_and_reads_nothing(server, window, another):
    page = window(server)
    page.goto(server.address)
    drawn(page)
    sound = page.evaluate("() => sound.src")
    assert page.context.cookies() == []
    assert page.evaluate("() => [document.cookie, Object.keys(localStorage)]") == ["", []]
    page.goto(f"http://127.0.0.1:{another.server_port}/")
    assert page.evaluate("() => [document.cookie, Object.keys(sessionStorage)]") == ["", []]
    read = "url => fetch(url, {headers: {'X-Cuesuggest-Key': 'x'}}).then(() => 'read', () => 'refused')"
    for path in ("/", "/song", "/static/main.js"):
        assert page.evaluate(read, f"http://127.0.0.1:{server.port}{path}") == "refused"
    heard = """url => new Promise((done) => {
      const player = new Audio(url);
      player.oncanplay = () => done('heard');
      player.onerror = () => done('refused');
    })"""
    assert page.evaluate(heard, sound) == "refused"
    assert another.heard
    for path, headers in another.heard:
        assert server.key not in json.dumps([path, headers])
        assert server.host not in json.dumps(headers)
        assert not {name.lower() for name in headers} & {"cookie", "x-cuesuggest-key"}


def test_the_page_that_stays_closed_can_be_read_without_seeing(server, window):
    page = window(server)
    page.goto(f"http://127.0.0.1:{server.port}/#used")
    closed(page)
    assert barriers(page) == []
