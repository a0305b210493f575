"""What several test files share: recordings heard once."""

import json
import sys
from pathlib import Path

import pytest

from cuesuggest.cli import main
from tests.sounds import play

SAMPLE = Path(__file__).parent.parent / "samples" / "first_light.ogg"


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory):
    """Nothing of the user's is read or written; child processes inherit this."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CUESUGGEST_CACHE", str(tmp_path_factory.mktemp("kept")))
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
