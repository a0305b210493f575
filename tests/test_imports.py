"""Start-up is quick because of what is not imported."""

import json
import subprocess
import sys

import pytest

import cuesuggest

HEAVY = {"numpy", "scipy", "pydantic", "soundfile", "av", "rich", "librosa", "numba"}
SLOW = {"librosa", "numba", "scipy.signal", "matplotlib", "sklearn"}


def imported_by(code):
    """Names of the modules that a piece of code leaves in a fresh process."""
    script = f"import sys, json\n{code}\nsys.stderr.write(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(json.loads(done.stderr.splitlines()[-1]))


@pytest.mark.parametrize(
    "code",
    [
        "import cuesuggest",
        "from cuesuggest.cli import cli; cli.main(['--help'], standalone_mode=False)",
        "from cuesuggest.cli import cli; cli.main(['suggest', '--help'], standalone_mode=False)",
    ],
)
def test_help_leaves_the_heavy_packages_alone(code):
    assert not imported_by(code) & HEAVY


def test_suggest_leaves_the_slow_packages_alone(take, tmp_path):
    code = (
        f"from cuesuggest.cli import cli; cli.main(['--quiet', 'suggest', {str(take.path)!r}, "
        f"'-o', {str(tmp_path / 'a.cues.json')!r}], standalone_mode=False)"
    )
    found = imported_by(code)
    assert "numpy" in found
    assert not found & SLOW


def test_the_public_names_are_whole():
    assert set(cuesuggest.__all__) == {"HandWords", "Song", "__version__", "analyze", "suggest"}
    for name in cuesuggest.__all__:
        assert getattr(cuesuggest, name) is not None


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="nonesuch"):
        cuesuggest.nonesuch  # noqa: B018


def test_a_song_is_shown_without_what_listens():
    found = imported_by("import cuesuggest.review.server")
    assert not found & {"scipy", "cuesuggest.analysis.listen"}
