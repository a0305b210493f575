"""What several test files share: recordings heard once."""

import json
import os
import shutil
import signal
import sys
from pathlib import Path

import pytest
from hypothesis import settings

# Before numpy comes: two test processes with two threads each on two cores wait for each other more than they work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from cuesuggest.cli import main
from tests import outside
from tests.sounds import play

# The machine that tests may be busy; a slow example says nothing about the program. Every run in CI tries the same.
settings.register_profile("patient", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("patient")

# Run in the background, a shell has its children ignore Ctrl+C, and theirs too: what is tested would never stop.
signal.signal(signal.SIGINT, signal.default_int_handler)
# Likewise one that was started by `nohup`.
if hasattr(signal, "SIGHUP"):
    signal.signal(signal.SIGHUP, signal.SIG_DFL)

# Files whose tests share what takes long to make go to one process; any other file is a group of its own.
TOGETHER = {"test_review_song_ends.py": "test_split.py", "test_sample_song.py": "test_samples.py"}


def pytest_collection_modifyitems(items):
    for item in items:
        item.add_marker(pytest.mark.xdist_group(TOGETHER.get(item.path.name, item.path.name)))
        # A browser that says nothing for half a minute has been kept waiting by the machine, or waits for ever.
        if "chromium" in item.fixturenames and not item.get_closest_marker("flaky"):
            item.add_marker(pytest.mark.flaky(reruns=1, only_rerun="TimeoutError"))


SAMPLE = Path(__file__).parent.parent / "samples" / "first_light.ogg"


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory):
    """Nothing of the user's is read or written; child processes inherit this."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CUESUGGEST_CACHE", str(tmp_path_factory.mktemp("kept")))
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("states")))
        yield


@pytest.fixture(scope="session")
def take(tmp_path_factory):
    """A small band: thin and full sections, a count-in, a silent bar, a chord that rings out."""
    path = tmp_path_factory.mktemp("take") / "evening.wav"
    return play(path, "A8 B8 A8 B8 B8", count_in=True, stop_bar=31)


@pytest.fixture(scope="session")
def sample_path():
    return SAMPLE


@pytest.fixture(scope="session")
def sample_truth():
    return json.loads(SAMPLE.with_suffix(".json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def sample_song():
    """The bundled sample, suggested once."""
    from cuesuggest import suggest

    return suggest(SAMPLE)


@pytest.fixture(scope="session")
def rehearsal(tmp_path_factory):
    """A rehearsal of two songs with talk, tuning, a false start, and one song again."""
    from tests.rehearsals import rehearse

    return rehearse(tmp_path_factory.mktemp("thursday") / "thursday.wav")


@pytest.fixture(scope="session")
def rehearsal_as_split(rehearsal, tmp_path_factory):
    """What `split` says of it, the folder of documents that it writes, and what it found."""
    from click.testing import CliRunner

    from cuesuggest.cli import cli
    from cuesuggest.draft import rehearsing

    folder, found = tmp_path_factory.mktemp("songs") / "thursday", []
    with pytest.MonkeyPatch.context() as patch:
        find = rehearsing.rehearsal_of
        patch.setattr(rehearsing, "rehearsal_of", lambda *words, **more: found.append(find(*words, **more)) or found[0])
        ran = CliRunner().invoke(cli, ["split", str(rehearsal.path), "-o", str(folder)], obj={"written": []})
    assert ran.exit_code == 0, ran.output
    return ran.output, folder, found[0]


@pytest.fixture(scope="session")
def split_rehearsal(rehearsal_as_split):
    """What `split` says of it, and the folder of documents that it writes."""
    return rehearsal_as_split[:2]


@pytest.fixture
def run(monkeypatch, capfd):
    """Run the program in this process; gives its exit code, output and errors."""

    def run(*words, columns=None):
        if columns is not None:
            monkeypatch.setenv("COLUMNS", str(columns))
        monkeypatch.setattr(sys, "argv", ["cuesuggest", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capfd.readouterr()
        return ended.value.code, out, err

    return run


@pytest.fixture(scope="session")
def drafted_take(take, tmp_path_factory):
    """The small band's document, with its recording beside it."""
    from cuesuggest.draft.drafting import draft_file
    from tests.reviewing import copied

    document = tmp_path_factory.mktemp("drafted") / "evening.cues.json"
    draft_file(take.path, document=take.path.with_name("evening.cues.json"))
    return copied(take.path.with_name("evening.cues.json"), take.path, document.parent)


@pytest.fixture(scope="session")
def gone_through(tmp_path_factory):
    """A folder of eight documents, gone through by a designer who wants two one-shots a song and darker lifts."""
    import numpy as np

    from tests.designers import BAND, EXAMPLE, Designer, a_song, evenings

    folder, rng = tmp_path_factory.mktemp("gone_through"), np.random.default_rng(3)
    designer = Designer(shots=2, levels={"lift": -15}, whims=0.5)
    for number, song in enumerate(evenings(designer, BAND, EXAMPLE, rng, [a_song(rng) for _ in range(8)]), 1):
        song.save(folder / f"song-{number}.cues.json")
    return folder


@pytest.fixture
def document(drafted_take, tmp_path):
    """A copy of it that a test may change."""
    from tests.reviewing import copied

    return copied(drafted_take, drafted_take.with_name("evening.wav"), tmp_path / "evening")


@pytest.fixture(scope="session")
def drafted_night(tmp_path_factory):
    """The folder of a night of six songs."""
    from tests.nights import night_of_six

    return night_of_six(tmp_path_factory.mktemp("six")).parent


@pytest.fixture
def friday(drafted_night, tmp_path):
    """The set list of a copy of it that a test may change."""
    return Path(shutil.copytree(drafted_night, tmp_path / "night")) / "friday.toml"


@pytest.fixture(scope="session")
def chromium():
    """A browser, driven from outside."""
    from playwright.sync_api import sync_playwright

    path = outside.browser()
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=path,
            args=["--no-sandbox", "--disable-gpu", "--mute-audio", "--autoplay-policy=no-user-gesture-required"],
        )
        yield browser
        browser.close()


@pytest.fixture
def server(document):
    """The review page's server over a document."""
    from tests.reviewing import hosting

    with hosting(document) as running:
        yield running


@pytest.fixture
def opened(chromium):
    """Open a window on a server; a script given runs in it before the page's own."""
    from tests.reviewing import WIDE, Page

    def open_(server, script="", **options):
        context = chromium.new_context(**{"viewport": WIDE, "accept_downloads": True, **options})
        server.windows.append(context)
        if script:
            context.add_init_script(script)
        return Page(context.new_page(), server.address)

    return open_


@pytest.fixture
def page(server, opened):
    """The review page in a window; what it complains of fails the test."""
    shown = opened(server)
    yield shown
    assert shown.problems == []


@pytest.fixture(scope="module")
def scripts(chromium):
    """Run a body of a page's script with a module's exports as `it`."""
    from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
    from importlib.resources import files
    from threading import Thread

    class Quiet(SimpleHTTPRequestHandler):
        def __init__(self, *given):
            super().__init__(*given, directory=str(files("cuesuggest.review") / "static"))

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Quiet)
    Thread(target=server.serve_forever, daemon=True).start()
    page = chromium.new_page()
    page.goto(f"http://127.0.0.1:{server.server_port}/icon.svg")

    def run(module, body, argument=None):
        code = f"async (given) => {{ const it = await import('/{module}'); {body} }}"
        return page.evaluate(code, argument)

    yield run
    page.close()
    server.shutdown()
    server.server_close()
