import json
import re
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cuesuggest.errors import ProfileError
from cuesuggest.rules import known_names, load_profile, load_rig, profile_from_values, rig_from_values
from cuesuggest.rules.settings.house import Speed

BAND = files("cuesuggest.rules.settings").joinpath("profiles", "band.toml").read_text("utf-8")
RIG = files("cuesuggest.rules.settings").joinpath("rigs", "example.toml").read_text("utf-8")


def line_of(text: str, start: str) -> int:
    return next(number for number, line in enumerate(text.splitlines(), 1) if line.startswith(start))


@pytest.fixture
def written(tmp_path):
    """Write a settings file and return its path."""

    def written(text: str | bytes, name: str = "own.toml") -> Path:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return written


def refused(load, path) -> str:
    with pytest.raises(ProfileError) as caught:
        load(path)
    return str(caught.value)


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


# What is changed in band.toml, and what the error has to say besides file and line.
WRONG = {
    "out of range": ("intense_share = 0.20", "intense_share = 1.2", "budget.intense_share is 1.2", "from 0 to 1"),
    "wrong kind": ("lit_from_bars = 48", "lit_from_bars = 48.5", "budget.lit_from_bars is 48.5", "whole number"),
    "text": ("step = 0.24", 'step = "wide"', "drive.step is 'wide'", "a number from 0.01 to 1 (drive)"),
    "true is no number": ("burst = 4", "burst = true", "hands.burst is true", "a whole number from 1 to 20"),
    "not a number": ("weak = 0.5", "weak = nan", "evidence.weak is nan", "from 0 to 1"),
    "without end": ("change = 0.15", "change = inf", "weights.change is inf", "from 0 to 10"),
    "a date": ("weak = 0.5", "weak = 1999-12-31", "evidence.weak is 1999-12-31", "from 0 to 1"),
    "number for text": ('name = "band"', "name = 3", "name is 3", "a text in quotes"),
    "empty name": ('name = "band"', 'name = " "', "name is ' '", "a text in quotes"),
    "lead too short": ("lead_seconds = 4.0", "lead_seconds = 2", "standby.lead_seconds is 2", "from 4 to 60"),
    "in a table of categories": (
        "subtle = 50",
        "subtle = 90",
        "looks.ceiling.subtle is 90",
        "from 5 to 80 (percent)",
    ),
    "range too narrow": ("lift = [3, 8]", "lift = [3, 5]", "looks.cycle_seconds.lift is [3, 5]", "twice the first"),
    "one number": ("lift = [3, 8]", "lift = [3]", "looks.cycle_seconds.lift is [3]", "two numbers in brackets"),
    "item of a list": ("series_every = [4, 8]", "series_every = [4, 80]", "shots.series_every is 80", "from 1 to 16"),
    "no list": ("series_every = [4, 8]", "series_every = 4", "shots.series_every is 4", "a list of whole numbers"),
    "empty list": ("series_every = [4, 8]", "series_every = []", "shots.series_every is []", "a list of"),
    "a long list": (
        "series_every = [4, 8]",
        "series_every = [  # bars\n  4,\n  0.5,\n]",
        "shots.series_every is 0.5",
        "from 1 to 16",
    ),
    "a table in the wrong place": (
        "[fades.out_beats] ",
        "[shots.out_beats] ",
        "shots.out_beats is not a known key",
        "out_beats belongs in [fades]",
    ),
    "order of categories": (
        "subtle = 0.46",
        "subtle = 0.68",
        "drive.subtle is 0.68",
        "below drive.lift, which is 0.68",
    ),
    "more intense than lit": (
        "intense_share = 0.20",
        "intense_share = 0.9",
        "budget.intense_share is 0.9",
        "from 0 to 0.88",
    ),
    "base above ceiling": (
        "subtle = 35",
        "subtle = 55",
        "looks.base_level.subtle is 55",
        "not be above looks.ceiling.subtle",
    ),
    "unknown key": ("contrast = 0.50", "pace = 1", "weights.pace is not a known key", "contrast, change"),
    "near miss": (
        "contrast = 0.50",
        "contrasts = 0.35",
        "weights.contrasts is not a known key",
        "did you mean contrast? Known here: contrast, change, short, finale",
    ),
    "hyphen": ("lit_from_bars = 48", "lit-from-bars = 48", "budget.lit-from-bars", "did you mean lit_from_bars?"),
    "wrong table": (
        "contrast = 0.50",
        "intense_share = 0.35",
        "weights.intense_share is not a known key",
        "intense_share belongs in [budget]",
    ),
    "unknown table": ("[budget]", "[budgets]", "budgets is not a known key", "did you mean budget?"),
    "key of a rig": ("burst = 4", "haze = true", "hands.haze is not a known key", "haze belongs in a rig"),
    "key of many tables": ("burst = 4", "intense = 4", "hands.intense is not a known key", "known here: peak_gap_"),
    "near miss elsewhere": (
        "burst = 4",
        "series_everys = 4",
        "hands.series_everys is not a known key",
        "did you mean series_every? It belongs in [shots]",
    ),
    "too far down": (
        "phrase_bars = 8",
        'based_on = "band"',
        "standby.based_on is not a known key",
        "stands at the top of a file, above the first table in brackets",
    ),
}


@pytest.mark.parametrize(("old", "new", "problem", "allowed"), WRONG.values(), ids=WRONG)
def test_a_wrong_value_is_named_with_file_key_line_and_what_is_allowed(written, old, new, problem, allowed):
    assert BAND.count(old) == 1
    text = BAND.replace(old, new)
    path = written(text)
    said = refused(load_profile, path)
    assert said.startswith(f"{path}, line {line_of(text, new.splitlines()[0])}: {problem}")
    assert allowed in said
    assert said.endswith(".")


# What is changed in example.toml.
WRONG_RIG = {
    "choice": ('practised = "operator"', 'practised = "robot"', "practised is 'robot'", "one of operator, volunteer"),
    "number": ("hands = 2", "hands = 0", "hands is 0", "a whole number from 1 to 4 (hands)"),
    "text for yes or no": ("haze = true", 'haze = "some"', "haze is 'some'", "true or false"),
    "number for text": ("kill = ", "kill = 3 # ", "kill is 3", "a text in quotes"),
    "in a list of tables": (
        'source = "laser"          # or',
        'source = "candle" # or',
        "sides.1.source is 'candle'",
        "one of laser, lamp, strobe",
    ),
    "two sides of one name": ('name = "B"', 'name = "A" ', "sides.2.name is 'A'", "give every side its own"),
    "peak after the end": (
        "peak_after = 0.15",
        "peak_after = 2",
        "one_shot.peak_after is 2",
        "a number from 0 to 1.5 (seconds)",
    ),
    "unknown key of a side": (
        "settle_seconds = 1.0      # how",
        "settle_time = 1.0 # how",
        "sides.1.settle_time is not a known key",
        "did you mean settle_seconds?",
    ),
    "table for one side": ("[one_shot] ", "[one_shots]", "one_shots is not a known key", "did you mean one_shot?"),
}


@pytest.mark.parametrize(("old", "new", "problem", "allowed"), WRONG_RIG.values(), ids=WRONG_RIG)
def test_a_wrong_rig_is_named_with_file_key_line_and_what_is_allowed(written, old, new, problem, allowed):
    assert RIG.count(old) == 1
    text = RIG.replace(old, new)
    path = written(text)
    said = refused(load_rig, path)
    assert said.startswith(f"{path}, line {line_of(text, new)}: {problem}")
    assert allowed in said


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("sides = []", "sides is []; it should be one or more tables, each headed in double brackets"),
        ('sides = ["A", "B"]', "sides.1 is 'A'; it should be a table with name, source, jumps"),
        (
            'sides = [{name = "A", source = "lamp", jumps = false, settle_seconds = 2}]\none_shot = 3',
            "one_shot is 3; it should be a table with name, source, run_seconds, peak_after",
        ),
    ],
)
def test_what_should_be_a_table_says_what_belongs_in_it(written, text, problem):
    assert problem in refused(load_rig, written(RIG[: RIG.index("[[sides]]")] + text))


def test_the_line_of_the_second_side_is_found(written):
    head, tail = RIG.split('name = "B"')
    text = head + 'name = "B"' + tail.replace("settle_seconds = 1.0", "settle_seconds = 99", 1)
    line = line_of(text, "settle_seconds = 99")
    path = written(text)
    assert refused(load_rig, path).startswith(f"{path}, line {line}: sides.2.settle_seconds is 99; ")


@pytest.mark.parametrize(
    "text",
    [
        "based_on = 'band'\n\nbudget.lit_share = 7\n",
        "based_on = 'band'\n# below\nbudget = { intense_share = 0.1, lit_share = 7 }\n",
        'based_on = "band"\nabout = """\n[budget]"""\n["budget"]\n"lit_share" = 7',
    ],
    ids=["dotted", "in braces", "in quotes"],
)
def test_the_line_is_found_in_whatever_way_the_key_is_written(written, text):
    path = written(text)
    line = line_of(text, ("budget", '"lit')) if "lit_share" in text else 0
    assert refused(load_profile, path).startswith(f"{path}, line {line}: budget.lit_share is 7; ")


def test_a_missing_key_is_named_with_its_table_and_what_it_should_be(written):
    text = BAND.replace("burst = 4\n", "")
    path = written(text)
    said = refused(load_profile, path)
    assert said.startswith(f"{path}, line {line_of(text, '[hands]')}: hands.burst is missing; ")
    assert "a whole number from 1 to 20 (actions)" in said
    assert 'based_on = "band"' in said


def test_all_missing_keys_are_named_at_once(written):
    text = re.sub(r"burst = 4\n|lit_share.*\n|\[min_stay_bars\]\n(\w+ = \d\n)+", "", BAND)
    said = refused(load_profile, written(text))
    assert "3 keys are missing" in said
    assert "budget.lit_share (a number from 0 to 1 (share of the bars))" in said
    assert "min_stay_bars (a table with subtle, lift, intense)" in said
    assert "hands.burst (a whole number from 1 to 20 (actions))" in said


def test_a_style_of_a_few_keys_says_which_are_missing_and_how_to_take_them_from_another(written):
    said = refused(load_profile, written("[budget]\nintense_share = 0.1\n"))
    for key in ("budget.lit_share", "drive", "weights", "fades", "looks", "hands", "standby"):
        assert key in said
    assert 'The first line based_on = "band" takes what is not in the file from that style.' in said


@pytest.mark.parametrize("key", ["hands = 2", "practised", "haze", "cameras", "settle_seconds = 1.0   "])
def test_a_rig_says_what_is_missing(written, key):
    text = re.sub(rf"(?m)^{key}.*\n", "", RIG, count=1)
    said = refused(load_rig, written(text))
    assert f"{key.split()[0]} is missing; it should be " in said
    assert "cuesuggest rigs show example" in said


def test_what_a_rig_may_leave_out(written):
    left_out = re.sub(r"(?m)^(name = \"example\"|about|kill|still_beam).*\n", "", RIG[: RIG.index("[one_shot]")])
    rig = load_rig(written(left_out, "our room.toml"))
    assert (rig.name, rig.about, rig.kill, rig.one_shot) == ("our room", "", "", None)
    assert [side.still_beam for side in rig.sides] == [False, False]


def test_a_style_may_be_based_on_another_and_tell_only_what_differs(written):
    own = load_profile(written('based_on = "club"\n[shots]\nmost_per_song = 3\n[looks.ceiling]\nlift = 60\n'))
    club = load_profile("club")
    assert own == replace(
        club,
        name="own",
        about="As club, with changes.",
        shots=replace(club.shots, most_per_song=3),
        looks=replace(club.looks, ceiling=replace(club.looks.ceiling, lift=60.0)),
    )


def test_a_style_may_be_based_on_a_file_beside_it_which_is_based_on_another(written, tmp_path):
    written('based_on = "band"\n[budget]\nintense_share = 0.1\nlit_share = 0.5\n', "house.toml")
    (tmp_path / "tour").mkdir()
    path = written('based_on = "../house.toml"\nname = "tour"\nabout = "On tour."\n[budget]\nlit_share = 0.6\n')
    moved = path.rename(tmp_path / "tour" / "own.toml")
    own = load_profile(moved)
    assert (own.name, own.about, own.budget.intense_share, own.budget.lit_share) == ("tour", "On tour.", 0.1, 0.6)
    assert own.hands == load_profile("band").hands


@pytest.mark.parametrize(
    ("base", "says"),
    [
        ('"bend"', "There is no house style or file called '{folder}bend'. Known names: band, club, gentle"),
        ("3", "based_on is 3; it should be one of band, club, gentle, or the path of a file, in quotes"),
        ('""', "based_on is ''; it should be one of band"),
        ('"own.toml"', "based on itself"),
    ],
)
def test_a_base_that_cannot_be_is_named_with_its_line(written, tmp_path, base, says):
    path = written(f'name = "mine"\nbased_on = {base}\n')
    said = refused(load_profile, path)
    assert said.startswith(f"{path}, line 2: based_on is ")
    assert says.format(folder=f"{tmp_path}/") in said


def test_styles_based_on_each_other_are_refused(written):
    written('based_on = "b.toml"\n', "a.toml")
    assert "based on itself" in refused(load_profile, written('based_on = "a.toml"\n', "b.toml"))


def test_an_error_in_the_base_is_told_with_the_file_it_is_in(written):
    written('based_on = "band"\n[hands]\nburst = 99\n', "base.toml")
    path = written('based_on = "base.toml"\n')
    assert "base.toml, line 3: hands.burst is 99" in refused(load_profile, path)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("[looks.ceiling]\nsubtle = 30", "looks.ceiling.subtle is 30; it should not be below looks.base_level.subtle"),
        ("[drive]\nlift = 0.3", "drive.lift is 0.3; it should be above drive.subtle, which is 0.46"),
        ("[drive]\nlift = 0.9", "drive.lift is 0.9; it should be below drive.intense, which is 0.88"),
        ("[budget]\nlit_share = 0.1", "budget.lit_share is 0.1; it should be a number from 0.2, the intense_share"),
    ],
)
def test_where_own_and_inherited_values_are_at_odds_the_own_one_is_told(written, text, problem):
    path = written(f'based_on = "band"\n{text}\n')
    assert refused(load_profile, path).startswith(f"{path}, line 3: {problem}")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("name = \n", 1),
        ('name = "x"\n\n[budget]\nintense_share = 0,2\n', 4),
        ('name = "x"\nabout = x\n', 2),
        ("[budget\n", 1),
        ('name = "x"\nname = "y"\n', 2),
        ("# own\n[budget]\n[budget]\n", 3),
        ("# own\nabout = [1,\n", 2),
    ],
)
def test_what_is_not_toml_is_told_with_its_line(written, text, line):
    path = written(text)
    said = refused(load_profile, path)
    assert said.startswith(f"{path}, line {line}: not valid TOML: ")
    assert "decimal point" in said


@pytest.mark.parametrize(
    "data",
    [BAND.encode("utf-8-sig"), BAND.encode("utf-16"), BAND.replace("\n", "\r\n").encode()],
    ids=["marked UTF-8", "UTF-16", "two characters a line end"],
)
def test_files_of_other_editors_and_shells_are_read(written, data):
    assert load_profile(written(data)) == load_profile("band")


def test_a_file_that_is_no_text_is_refused(written):
    said = refused(load_profile, written(b"\x89PNG\xff\xfe\x00\x00"))
    assert "is not UTF-8 text" in said


def test_an_unknown_name_lists_the_known_ones_and_the_nearest():
    said = refused(load_profile, "gentel")
    assert "no house style or file called 'gentel'. Did you mean gentle? Known names: band, club, gentle" in said
    said = refused(load_rig, "nowhere.toml")
    assert "no rig or file called 'nowhere.toml'. Known names: example" in said


def test_a_folder_is_no_style(tmp_path):
    assert f"{tmp_path} is a folder. Name a file in it." in refused(load_profile, tmp_path)


@pytest.mark.parametrize("name", known_names("profiles"))
def test_a_style_comes_back_out_of_a_document_as_it_went_in(name):
    profile = load_profile(name)
    assert profile_from_values(json.loads(json.dumps(profile.values()))) == profile


@pytest.mark.parametrize("name", known_names("rigs"))
def test_a_rig_comes_back_out_of_a_document_as_it_went_in(name):
    rig = load_rig(name)
    assert rig_from_values(json.loads(json.dumps(rig.values()))) == rig


@settings(max_examples=40, deadline=None)
@given(
    share=st.floats(0, 1),
    stays=st.integers(1, 32),
    every=st.lists(st.integers(1, 16), min_size=1, max_size=5),
    name=st.text(min_size=1).filter(str.strip),
)
def test_any_style_comes_back_out_of_its_values(share, stays, every, name):
    band = load_profile("band")
    own = replace(
        band,
        name=name,
        budget=replace(band.budget, intense_share=share, lit_share=1.0),
        min_stay_bars=replace(band.min_stay_bars, lift=float(stays)),
        shots=replace(band.shots, series_every=tuple(every)),
    )
    assert profile_from_values(own.values()) == own


def test_a_document_of_another_version_is_completed_from_this_one():
    band = load_profile("band")
    values = {**band.values(), "sparkle": 3, "hands": {"burst": 2, "juggling": True}}
    del values["budget"], values["about"]
    assert profile_from_values(values) == replace(band, hands=replace(band.hands, burst=2))
    assert profile_from_values({}) == band


def test_a_rig_of_another_version_is_completed_from_the_example():
    example = load_rig(None)
    values = {"hands": 1, "wings": 2, "sides": [{"name": "Left", "source": "lamp", "colour": 3}], "one_shot": None}
    side = replace(example.sides[0], name="Left", source="lamp")
    assert rig_from_values(values) == replace(example, hands=1, sides=(side,), one_shot=None, speed=Speed("none", ""))


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"budget": {"lit_share": 3}}, "budget.lit_share is 3; it should be a number from 0 to 1"),
        ({"looks": [1]}, "looks is [1]; it should be a table"),
        ({"name": None}, "name is None; it should be a text in quotes"),
        ({"looks": {"cycle_seconds": {"lift": [3]}}}, "looks.cycle_seconds.lift is [3]; it should be two numbers"),
    ],
)
def test_a_wrong_value_in_a_document_is_named(values, says):
    assert says in refused(profile_from_values, values)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"hands": 9}, "hands is 9; it should be a whole number from 1 to 4"),
        ({"sides": []}, "sides is []; it should be one or more tables, each headed in double brackets"),
        ({"sides": ["A"]}, "sides.1 is 'A'; it should be a table"),
        ({"sides": [{"settle_seconds": "soon"}]}, "sides.1.settle_seconds is 'soon'"),
    ],
)
def test_a_wrong_value_of_a_rig_in_a_document_is_named(values, says):
    assert says in refused(rig_from_values, values)
