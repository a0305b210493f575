import json
import re
from importlib.resources import files

import pytest

from cuesuggest.errors import ProfileError
from cuesuggest.rules import known_names, load_profile, load_rig

BAND = files("cuesuggest.rules").joinpath("profiles", "band.toml").read_text("utf-8")
RIG = files("cuesuggest.rules").joinpath("rigs", "example.toml").read_text("utf-8")


def line_of(text: str, start: str) -> int:
    return next(number for number, line in enumerate(text.splitlines(), 1) if line.startswith(start))


@pytest.mark.parametrize("name", known_names("profiles"))
def test_every_shipped_style_loads_and_can_be_written_into_a_document(name):
    profile = load_profile(name)
    assert profile.name == name
    assert json.loads(json.dumps(profile.values())) == profile.values()


def test_the_example_rig_has_two_laser_sides_that_jump_and_a_button():
    rig = load_rig(None)
    assert [(side.name, side.source, side.jumps) for side in rig.sides] == [
        ("A", "laser", True),
        ("B", "laser", True),
    ]
    assert rig.one_shot is not None
    assert (rig.hands, rig.haze, rig.practised) == (2, True, "operator")
    assert json.loads(json.dumps(rig.values())) == rig.values()


def test_a_fifth_of_the_level_stays_in_hand():
    ceiling = load_profile("band").looks.ceiling
    assert max(ceiling.subtle, ceiling.lift, ceiling.intense) <= 80


# What is changed in band.toml, and what the error has to say besides file and line.
WRONG = {
    "out of range": (
        "intense_share = 0.20",
        "intense_share = 1.2",
        "budget.intense_share is 1.2",
        "from 0 to 1",
    ),
    "wrong type": (
        "lit_from_bars = 48",
        "lit_from_bars = 48.5",
        "budget.lit_from_bars is 48.5",
        "whole number",
    ),
    "text": (
        "step = 0.24",
        'step = "wide"',
        "drive.step is 'wide'",
        "a number from 0.01 to 1",
    ),
    "true is no number": (
        "burst = 4",
        "burst = true",
        "hands.burst is True",
        "whole number",
    ),
    "not a number": (
        "weak = 0.5",
        "weak = nan",
        "evidence.weak is nan",
        "from 0 to 1",
    ),
    "unknown key": (
        "contrast = 0.35",
        "contrasts = 0.35",
        "weights.contrasts is not a known key",
        "contrast, change",
    ),
    "lead too short": (
        "lead_seconds = 4.0",
        "lead_seconds = 2",
        "standby.lead_seconds is 2",
        "from 4 to 60",
    ),
    "range too narrow": (
        "lift = [3, 8]",
        "lift = [3, 5]",
        "looks.cycle_seconds.lift is [3, 5]",
        "twice the first",
    ),
    "one number": (
        "lift = [3, 8]",
        "lift = [3]",
        "looks.cycle_seconds.lift has 1 numbers",
        "[shortest, longest]",
    ),
    "list": (
        "series_every = [4, 8]",
        "series_every = 4",
        "shots.series_every is 4",
        "a list of",
    ),
}


@pytest.mark.parametrize(("old", "new", "problem", "allowed"), WRONG.values(), ids=WRONG)
def test_a_wrong_value_is_named_with_file_key_line_and_what_is_allowed(tmp_path, old, new, problem, allowed):
    path = tmp_path / "own.toml"
    text = BAND.replace(old, new, 1)
    path.write_text(text, "utf-8")
    with pytest.raises(ProfileError, match=re.escape(problem)) as caught:
        load_profile(path)
    assert allowed in str(caught.value)
    assert str(caught.value).startswith(f"{path}, line {line_of(text, new)}: ")


def test_a_missing_key_is_named_with_what_it_should_be(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(BAND.replace("burst = 4\n", ""), "utf-8")
    with pytest.raises(ProfileError, match=r"hands\.burst is missing; .* whole number from 1 to 20"):
        load_profile(path)


def test_a_base_level_above_its_ceiling_is_refused(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(BAND.replace("subtle = 35", "subtle = 55"), "utf-8")
    with pytest.raises(ProfileError, match=r"looks\.base_level\.subtle is 55, above its ceiling of 50"):
        load_profile(path)


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('source = "laser" ', 'source = "candle" ', "one of laser, lamp, strobe"),
        ("hands = 2", "hands = 0", "from 1 to 4"),
        ('name = "B"', 'name = "A"', "one name twice"),
        ("haze = true", 'haze = "some"', "true or false"),
        ("run_seconds = 1.5\n", "", "one_shot.run_seconds is missing"),
    ],
)
def test_a_wrong_rig_is_refused(tmp_path, old, new, problem):
    path = tmp_path / "rig.toml"
    path.write_text(RIG.replace(old, new), "utf-8")
    with pytest.raises(ProfileError, match=problem):
        load_rig(path)


def test_the_line_of_the_second_side_is_found(tmp_path):
    path = tmp_path / "rig.toml"
    head, tail = RIG.split('name = "B"')
    text = head + 'name = "B"' + tail.replace("settle_seconds = 1.0", "settle_seconds = 99", 1)
    path.write_text(text, "utf-8")
    line = line_of(text, "settle_seconds = 99")
    with pytest.raises(ProfileError, match=rf"line {line}: sides\.2\.settle_seconds is 99"):
        load_rig(path)


def test_a_rig_without_a_button_is_a_rig(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(RIG[: RIG.index("[one_shot]")], "utf-8")
    assert load_rig(path).one_shot is None


def test_an_unknown_name_lists_the_known_ones():
    with pytest.raises(ProfileError, match=r"no house style or file called 'bland'\. Known names: .*band"):
        load_profile("bland")
    with pytest.raises(ProfileError, match=r"no rig or file called 'nowhere\.toml'\. Known names: .*example"):
        load_rig("nowhere.toml")


def test_broken_toml_says_where(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text("name = \n", "utf-8")
    with pytest.raises(ProfileError, match=r"own\.toml: not valid TOML: .*line 1"):
        load_profile(path)
