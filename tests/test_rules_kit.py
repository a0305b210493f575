"""The kit for music without a fixed form: looks in order of size, phrases in seconds, rules in words."""

import re
from dataclasses import replace

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.analysis.types import TempoKnot
from cuesuggest.cli import cli
from cuesuggest.rules import kit, kit_text, load_profile, load_rig
from cuesuggest.rules.settings.settings_file import shipped_profiles, shipped_rigs
from cuesuggest.score.records import CATEGORIES
from tests.songs import make_analysis, make_song

BAND, RIG = load_profile("band"), load_rig(None)
CLUB = make_analysis("A16 B16", bpm=128)


# 8 bars of 4/4 at 128 BPM are 15.0 s, 16 at 120 are 32.0 s: arithmetic.
@pytest.mark.parametrize(
    ("bpm", "signature", "seconds"),
    [(128, "4/4", (15.0, 30.0, 60.0)), (120, "4/4", (16.0, 32.0, 64.0)), (90, "3/4", (16.0, 32.0, 64.0))],
)
def test_phrases_last_as_long_as_their_bars_at_the_found_tempo(bpm, signature, seconds):
    made = kit(make_analysis("A8", bpm=bpm, time_signature=signature), BAND, RIG)
    assert [(phrase.bars, phrase.seconds) for phrase in made.phrases] == list(zip((8, 16, 32), seconds, strict=True))


@given(
    st.sampled_from(shipped_profiles()),
    st.sampled_from(shipped_rigs()),
    st.sampled_from([40.0, 96.0, 128.0, 174.0, 200.0]),
    st.booleans(),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_a_kit_has_six_to_eight_looks_in_order_of_size(profile, rig, bpm, heard):
    made = kit(make_analysis("A8" if heard else "", bpm=bpm), profile, rig)
    assert 6 <= len(made.looks) <= 8
    ranks = [CATEGORIES.index(look.category) for look in made.looks]
    assert ranks == sorted(ranks)
    assert made.looks[0].home
    assert len({look.id for look in made.looks}) == len(made.looks)
    lit = [level for look, level in zip(made.looks, made.levels, strict=True) if look.category != "subtle"]
    assert lit == sorted(lit)
    assert all(level <= look.level_ceiling for look, level in zip(made.looks, made.levels, strict=True))
    for look in made.looks:
        if look.cycle_bars:
            assert look.cycle_seconds > 0
    words = kit_text(made, "Night", 100)
    assert not re.search(r"\bsafe|complian", words.lower())
    assert all(line == line.rstrip() and len(line) <= 100 for line in words.split("\n"))


@pytest.mark.parametrize("what", ["build", "drop", "breakdown", "8 bars", "16 bars", "32 bars", "talk", "end"])
def test_there_is_a_rule_for_everything_that_such_music_does(what):
    assert [rule for rule in kit(CLUB, BAND, RIG).rules if what in rule.when]


def test_there_is_no_time_line_in_it():
    words = kit_text(kit(CLUB, BAND, RIG), "Night", 100)
    assert not re.search(r"\d:\d\d|\bbar \d", words)


def test_numbers_come_from_the_style_and_the_rig():
    gentle = kit_text(kit(CLUB, load_profile("gentle"), load_rig("two-lamps-volunteer")), "Night", 100)
    assert "intense in no more than 8 % of the bars" in " ".join(gentle.split())
    assert "no two actions within 2 s" in gentle
    assert "kill button" not in gentle
    assert "kill button: press and hold" not in " ".join(
        rule.do for rule in kit(CLUB, BAND, replace(RIG, kill="")).rules
    )


def test_without_a_tempo_the_kit_says_so_and_counts_at_120():
    made = kit(make_analysis(""), BAND, RIG)
    assert (made.tempo_bpm, made.phrases[0].seconds) == (None, 16.0)
    assert "No tempo was found; seconds are for 120 beats a minute" in kit_text(made, "Night", 100)


def test_a_night_of_several_tempos_tells_the_slowest_and_the_fastest():
    knots = (TempoKnot(2.0, 122.0), TempoKnot(30.0, 128.0), TempoKnot(31.0, 200.0))
    made = kit(replace(CLUB, tempo_map=knots, music_end=80.0), BAND, RIG)
    assert (made.slowest, made.fastest) == (122.0, 200.0)
    assert "it goes from 122 to 200" in kit_text(made, "Night", 120)
    assert (kit(CLUB, BAND, RIG).slowest, kit(CLUB, BAND, RIG).fastest) == (None, None)


def test_the_command_writes_a_text_and_no_document(tmp_path):
    document = tmp_path / "set.cues.json"
    make_song("A8 B8", bpm=124).replaced(profile=_settings(BAND), rig=_settings(RIG)).save(document)
    before = document.read_bytes()
    result = CliRunner().invoke(cli, ["suggest", str(document), "--kit"])
    assert result.exit_code == 0, result.output
    written = (tmp_path / "set.kit.txt").read_text(encoding="utf-8")
    assert written in result.output
    assert written.startswith("set\n124.0 beats a minute, 4 to a bar.")
    assert document.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["set.cues.json", "set.kit.txt"]
    named = CliRunner().invoke(cli, ["--quiet", "suggest", str(document), "--kit", "-o", str(tmp_path / "mine.txt")])
    assert (named.exit_code, named.output) == (0, "")
    assert (tmp_path / "mine.txt").exists()


def _settings(record):
    from cuesuggest.song import Settings

    return Settings(record.name, record.values())
