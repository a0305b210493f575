"""Weights were fitted to features that are measured in one way; measured otherwise, they would mean something else."""

import json
from functools import cache

import pytest

from tests.fitted_features import TABLE, measured, recordings

FITTED = json.loads(TABLE.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def features_of(tmp_path_factory):
    paths = {path.stem: path for path in recordings(tmp_path_factory.mktemp("played"))}
    return cache(lambda name: measured(paths[name]))


@pytest.mark.parametrize(
    ("recording", "kind"),
    [(name, kind) for name, kinds in FITTED.items() for kind in kinds],
    ids=lambda name: name,
)
def test_features_are_measured_as_they_were_when_their_weights_were_fitted(features_of, recording, kind):
    now, then = features_of(recording)[kind], FITTED[recording][kind]
    assert len(now) == len(then), "as many were found"
    for row, fitted in zip(now, then, strict=True):
        assert row == pytest.approx(fitted, rel=2e-3, abs=2e-3)


def test_every_kind_is_measured_on_one_of_the_recordings_at_least():
    first, second = ({kind for kind, rows in kinds.items() if rows} for kinds in FITTED.values())
    assert first | second == set(FITTED["evening"])
