"""The odds that two beats of two takes are the same are fitted on pairs whose correspondence is known."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from cuesuggest.analysis.takes.likeness import MEASURES
from cuesuggest.analysis.training.fit_takes import cells, fit, heard, in_first, main
from tests.sounds import play


def truth_of(take, name: str, froms: list[int] | None) -> dict[str, Any]:
    bars = [
        {"start": float(start), "end": float(end)}
        for start, end in zip(take.downbeats[:-1], take.downbeats[1:], strict=True)
    ]
    truth: dict[str, Any] = {"audio": f"{name}.wav", "bars": bars}
    if froms is not None:
        truth |= {"from_bars": froms[: len(bars)], "made": {"take": {"key": 0}}}
    return truth


@pytest.fixture(scope="module")
def pair(tmp_path_factory) -> Path:
    """A folder with one song played twice, the second time faster and without the first B."""
    folder = tmp_path_factory.mktemp("pair")
    first = play(folder / "song_a.wav", "A8 B8 A8 C8", bpm=104)
    second = play(folder / "song_b.wav", "A8 A8 C8", bpm=112)
    truths = (truth_of(first, "song_a", None), truth_of(second, "song_b", [*range(8), *range(16, 40)]))
    for truth in truths:
        name = Path(truth["audio"]).with_suffix(".json").name
        (folder / name).write_text(json.dumps(truth), encoding="utf-8")
    return folder


def test_a_time_of_the_second_take_is_a_time_of_the_first():
    first = {"bars": [{"start": k, "end": k + 1} for k in range(4)]}
    second = {"bars": [{"start": 10.0, "end": 12.0}, {"start": 12.0, "end": 14.0}], "from_bars": [0, 2]}
    assert in_first(first, second, np.array([10.0, 11.0, 13.0])) == pytest.approx([0.0, 0.5, 2.5])
    assert np.isnan(in_first(first, second, np.array([9.0, 15.0]))).all()


def test_what_is_fitted_tells_the_right_beats_from_wrong_ones(pair):
    truths = [json.loads((pair / f"song_{k}.json").read_text(encoding="utf-8")) for k in "ab"]
    rows, same = cells(heard(pair / "song_a.wav"), heard(pair / "song_b.wav"), *truths)
    odds = fit([(rows, same)])
    assert set(odds) == {"offset", *MEASURES}
    assert all(odds[name] >= 0 for name in MEASURES)
    told = rows @ np.array([odds[name] for name in MEASURES]) + odds["offset"]
    assert np.median(told[same]) > 0 > np.median(told[~same])


def test_the_command_writes_what_the_package_reads(pair, tmp_path):
    out = tmp_path / "takes.json"
    done = CliRunner().invoke(main, [str(pair), "-o", str(out)])
    assert done.exit_code == 0, done.output
    assert set(json.loads(out.read_text(encoding="utf-8"))["odds"]) == {"offset", *MEASURES}
