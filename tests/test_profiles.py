"""The shipped styles and rigs: all give lists that can be played, and the styles are in order of light."""

from collections import Counter
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.rules import check_playable, draft, load_profile, load_rig
from cuesuggest.rules.settings.settings_file import shipped_profiles, shipped_rigs
from tests.songs import make_analysis
from tests.test_rules_properties import RIGS, one_shot_times, songs

STYLES = shipped_profiles()
GENTLE, BAND, CLUB = STYLES
RIG = load_rig(None)
DOCS = Path(__file__).parent.parent / "docs"

# What people play, from a ballad to a dance track.
ORDERED = {
    "ballad": make_analysis("I4 A16 B8 A16 B8 O4", bpm=66, drive={"I": 0.15, "A": 0.28, "B": 0.5, "O": 0.15}),
    "hymn": make_analysis("A12 A12 A12 A12", bpm=84, time_signature="3/4", drive={"A": 0.35, "A4": 0.5}),
    "worship": make_analysis(
        "I8 A16 B16 A16 B16 C16 C16 B16 O8",
        bpm=72,
        drive={"I": 0.1, "A": 0.3, "B": 0.6, "C": 0.45, "C2": 0.75, "B3": 0.85, "O": 0.15},
        voice={"A": 1.0, "B": 1.0, "C": 1.0, "I": 0.0, "O": 0.0},
        events=[("build", 93, 1, 16)],
    ),
    "pop": make_analysis(
        "I4 A16 B8 A16 B8 C8 B16 O4",
        bpm=104,
        drive={"I": 0.3, "A": 0.42, "B": 0.74, "B3": 0.82, "C": 0.5, "O": 0.35},
        events=[("stop", 52, 3, 2), ("hit", 21, 1, 1), ("hit", 76, 4, 1)],
    ),
    "rock": make_analysis(
        "I8 A8 B8 A8 B8 C8 B8 B8 O8",
        bpm=128,
        drive={"I": 0.6, "A": 0.55, "B": 0.8, "B4": 0.95, "C": 0.4, "O": 0.6},
        events=[("drop", 49, 1, 1), ("hit", 32, 1, 1), ("hit", 32, 3, 1), ("hit", 64, 4, 1)],
    ),
    "slow six": make_analysis("A8 B8 A8 B8 C8 B8", bpm=62, time_signature="6/8", drive={"A": 0.4, "B": 0.7, "C": 0.5}),
    "dance": make_analysis(
        "I16 A16 D16 A8 B16 D16 C8 D16 O16",
        bpm=126,
        drive={"I": 0.5, "A": 0.6, "B": 0.2, "C": 0.35, "D": 0.85, "D3": 0.95, "O": 0.55},
        events=[("build", 69, 1, 16), ("drop", 73, 1, 1), ("drop", 97, 1, 1)],
    ),
    "short": make_analysis("A8 B8 A8 B8", bpm=120, drive={"A": 0.4, "B": 0.75}),
}


def light(analysis: SongAnalysis, profile) -> tuple[float, float, int]:
    """Intense share of the bars, lit share, one-shots."""
    found = draft(analysis, profile, RIG)
    bars = {section.id: section.bars for section in analysis.sections}
    spent = Counter()
    for each in found.plan:
        spent[each.category] += bars[each.section]
    total = sum(bars.values())
    return spent["intense"] / total, 1 - spent["rest"] / total, len(list(one_shot_times(analysis, found)))


@settings(max_examples=200, deadline=None)
@given(songs, st.sampled_from(STYLES), st.sampled_from((*RIGS, *shipped_rigs())))
def test_every_style_gives_a_list_that_can_be_played_and_keeps_its_one_shots_apart(analysis, profile, rig):
    found = draft(analysis, profile, rig)
    assert check_playable(found.cues, rig) == []
    shots = sorted(one_shot_times(analysis, found))
    assert len(shots) <= profile.shots.most_per_song
    assert all(np.diff(shots) >= profile.shots.spacing_seconds - 1e-3)


@pytest.mark.parametrize("analysis", ORDERED.values(), ids=ORDERED)
def test_gentle_gives_no_more_than_band_and_band_no_more_than_club(analysis):
    gentle, band, club = (light(analysis, profile) for profile in STYLES)
    for less, more in zip((*gentle, *band), (*band, *club), strict=True):
        assert less <= more + 1e-9


@cache
def over_many_songs() -> np.ndarray:
    """Mean light of each style, in rows, over songs of usual forms with drives and events drawn at random."""
    forms = ("I4 A16 B8 A16 B8 C8 B16 O4", "A8 B8 A8 B8 A8 B8", "I8 A8 P4 B8 A8 P4 B8 C8 B8 B8 O8", "A12 A12 A12 A12")
    random = np.random.default_rng(11)
    taken = []
    for number in range(40):
        form = forms[number % len(forms)]
        drive = {letter: round(float(random.uniform(0.1, 0.95)), 2) for letter in sorted(set(form) & set("IAPBCO"))}
        hits = [("hit", int(random.integers(1, 40)), float(random.integers(1, 5)), 1.0) for _ in range(4)]
        analysis = make_analysis(form, bpm=float(random.integers(60, 130)), drive=drive, events=hits)
        taken.append([light(analysis, profile) for profile in STYLES])
    return np.mean(taken, axis=0)


@pytest.mark.parametrize(("column", "apart"), [(0, 0.02), (1, 0.05), (2, 0.5)], ids=["intense", "lit", "one-shots"])
def test_over_many_songs_the_styles_are_well_apart(column, apart):
    gentle, band, club = over_many_songs()[:, column]
    assert gentle + apart < band
    assert band + apart < club


def test_gentle_has_an_intense_look_only_for_a_great_last_chorus():
    form = "I8 A16 B8 A16 B8 C16 B8 A16 B8"
    quiet = {"I": 0.1, "A": 0.35, "B": 0.7, "C": 0.4}
    assert light(make_analysis(form, bpm=72, drive=quiet), GENTLE)[0] == 0
    plan = draft(make_analysis(form, bpm=72, drive={**quiet, "B4": 0.97, "B3": 0.8}), GENTLE, RIG).plan
    assert [each.category == "intense" for each in plan] == [False] * 8 + [True]


def test_only_band_and_club_repeat_a_one_shot_and_club_does_it_longest():
    tracks = [make_analysis(form, bpm=126, drive={"A": 0.4, "D": 0.95}) for form in ("A40 D16 A40", "A32 D32 A32")]

    def longest(profile):
        cues = [cue for track in tracks for cue in draft(track, profile, RIG).cues]
        series = [cue.series for cue in cues if cue.series is not None]
        return max((1 + (each.last_bar - each.first_bar) // each.every_bars for each in series), default=0)

    assert [longest(profile) for profile in STYLES] == [0, 4, 8]


@pytest.mark.parametrize("category", ["subtle", "lift", "intense"])
def test_club_moves_faster_than_band_and_gentle_slower(category):
    gentle, band, club = (profile.looks.cycle_seconds.of(category) for profile in STYLES)
    assert all(slow >= middle >= fast for slow, middle, fast in zip(gentle, band, club, strict=True))
    assert gentle > band > club


@pytest.mark.parametrize("analysis", ORDERED.values(), ids=ORDERED)
def test_gentle_lets_looks_come_in_more_slowly_than_club(analysis):
    def slowest(profile):
        entries = [cue for cue in draft(analysis, profile, RIG).cues if cue.kind in ("fade-in", "crossfade")]
        fades = [(cue.role, cue.up_beats or 0.0) for cue in entries if cue.anchor == "starts-on"]
        return {role: min(beats for other, beats in fades if other == role) for role, _ in fades}

    gentle, club = slowest(GENTLE), slowest(CLUB)
    assert all(gentle[role] > club[role] for role in gentle.keys() & club.keys())


@pytest.mark.parametrize("folder", ["profiles", "rigs"])
def test_shipped_files_can_be_redirected_by_any_shell_and_say_what_they_are_for(folder):
    for file in files("cuesuggest.rules.settings").joinpath(folder).iterdir():
        text = file.read_text("utf-8")
        assert text.isascii(), file.name
        assert text.startswith("# ")
        name = file.name.removesuffix(".toml")
        record = load_profile(name) if folder == "profiles" else load_rig(name)
        assert record.name == name
        assert 20 <= len(record.about) <= 90
        assert record.about.endswith(".")


def test_a_fifth_of_the_level_stays_in_hand_in_every_style():
    assert all(profile.looks.ceiling.of(c) <= 80 for profile in STYLES for c in ("subtle", "lift", "intense"))


def test_the_document_names_every_shipped_style_and_rig():
    text = (DOCS / "house-styles.md").read_text(encoding="utf-8")
    for record in (*STYLES, *shipped_rigs()):
        assert f"| `{record.name}` |" in text


def test_the_example_of_the_document_is_a_style_and_its_errors_are_true(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    text = (DOCS / "house-styles.md").read_text(encoding="utf-8")
    example = text.split("```toml\n")[1].split("```")[0]
    Path("mine.toml").write_text(example, encoding="utf-8")
    mine = load_profile("mine.toml")
    assert (mine.name, mine.budget.intense_share, mine.shots.most_per_song) == ("mine", 0.1, 3)
    assert mine.budget.lit_share == BAND.budget.lit_share
    for old, new in (("0.10", "10"), ("most_per_song", "most_per_songs")):
        Path("mine.toml").write_text(example.replace(old, new), encoding="utf-8")
        with pytest.raises(Exception, match=r"mine\.toml") as caught:
            load_profile("mine.toml")
        assert any(
            str(caught.value).startswith(line.rstrip(" …")) for line in text.splitlines() if "mine.toml, " in line
        )
