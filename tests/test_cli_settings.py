"""`cuesuggest profiles` and `cuesuggest rigs`: what they print, and what they say when something is wrong."""

import re
import sys

import pytest

from cuesuggest.cli import main
from cuesuggest.rules import known_names, load_profile, load_rig
from cuesuggest.rules.settings.settings_file import settings_toml
from tests.test_imports import HEAVY, imported_by


@pytest.fixture(autouse=True)
def _narrow(monkeypatch):
    """A narrow screen, unless a test asks for another."""
    monkeypatch.setenv("COLUMNS", "80")


def joined(text):
    return " ".join(text.split())


@pytest.mark.parametrize("folder", ["profiles", "rigs"])
def test_the_list_names_every_one_with_what_it_is_for(run, folder):
    code, out, err = run(folder)
    assert (code, err) == (0, "")
    for name in known_names(folder):
        record = load_profile(name) if folder == "profiles" else load_rig(name)
        assert f"  {name} " in out
        assert record.about in joined(out)
    assert f"cuesuggest {folder} show NAME --toml > mine.toml" in out


def test_the_styles_are_listed_from_little_light_to_much(run):
    _, out, _ = run("profiles")
    assert re.findall(r"(?m)^  (\w+) ", out)[:3] == ["gentle", "band", "club"]


@pytest.mark.parametrize(("folder", "name"), [("profiles", n) for n in known_names("profiles")])
@pytest.mark.parametrize("columns", [80, 100, 200])
def test_a_style_is_shown_with_every_value_in_lines_that_fit(run, folder, name, columns):
    code, out, err = run(folder, "show", name, columns=columns)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= min(columns, 100)
    assert out.isascii()

    def leaves(values):
        for key, value in values.items():
            if isinstance(value, dict):
                yield from leaves(value)
            else:
                yield key, value

    shown = [line.split() for line in out.splitlines()]
    for key, value in leaves(load_profile(name).values()):
        told = [f"{value:g}"] if isinstance(value, float | int) else None
        assert any(words[:1] == [key] and (told is None or words[1:2] == told) for words in shown), key


def test_a_value_is_shown_with_its_unit_range_and_reason(run):
    _, out, _ = run("profiles", "show", "band", columns=100)
    said = joined(out)
    assert "[budget] How much of a song may be lit, and how much of it intense." in said
    assert "intense_share 0.2 share of the bars, 0 to 1: what is always there is not intense" in said
    assert "lit_from_bars 48 bars, whole, 1 to 1000: in a shorter piece the lit share means nothing" in said
    assert "[min_stay_bars] bars, 1 to 32: a look that goes at once was not worth the hand subtle 4 lift 4" in said
    assert "series_every [4, 8] bars, whole, 1 to 16: the distances" in said
    assert "cycle_seconds seconds, 0.5 to 120: shortest and longest round of the motion subtle [8, 24]" in said


def test_a_rig_is_shown_side_by_side_with_what_each_value_may_be(run):
    code, out, _ = run("rigs", "show", "example", columns=100)
    said = joined(out)
    assert code == 0
    assert 'practised "operator" one of operator, volunteer: who plays' in said
    assert "[[sides]] 1 of 2" in said
    assert '[[sides]] 2 of 2 name "B" source "laser" jumps true settle_seconds 1 still_beam false' in said
    assert "peak_after 0.15 seconds, 0 to 10: from the press to its strongest moment" in said


def test_a_rig_without_a_button_shows_that_there_is_none(run):
    _, out, _ = run("rigs", "show", "one-laser")
    assert "one_shot none a table, may be left out: the button for one-shots, if there is one" in joined(out)


@pytest.mark.parametrize(("folder", "name"), [("profiles", "gentle"), ("rigs", "two-lamps-strobe")])
def test_toml_prints_the_very_file_which_starts_an_own_one(run, tmp_path, folder, name):
    code, out, _ = run(folder, "show", name, "--toml")
    assert code == 0
    assert out == settings_toml(folder, name)
    (tmp_path / "mine.toml").write_text(out, encoding="utf-8")
    again = run(folder, "show", tmp_path / "mine.toml", "--toml")
    assert again == (0, out, "")
    assert run(folder, "show", tmp_path / "mine.toml") == run(folder, "show", name)


def test_an_own_style_is_shown_whole(run, tmp_path):
    (tmp_path / "mine.toml").write_text('based_on = "gentle"\n[hands]\nburst = 7\n', encoding="utf-8")
    code, out, _ = run("profiles", "show", tmp_path / "mine.toml")
    assert code == 0
    assert 'name "mine"' in joined(out)
    assert '"As gentle, with changes."' in joined(out)
    assert "burst 7 actions" in joined(out)
    assert "lit_share 0.6" in joined(out)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["profiles", "show", "gentel"], "Did you mean gentle?"),
        (["profiles", "show", "gentel", "--toml"], "Did you mean gentle?"),
        (["rigs", "show", "nowhere.toml"], "There is no rig or file called 'nowhere.toml'"),
        (["rigs", "show"], "NAME|FILE"),
        (["profiles", "shwo"], "shwo"),
    ],
)
def test_wrong_words_end_with_2_and_an_explanation(run, words, says, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert says in err
    assert "Traceback" not in err


def test_a_wrong_file_is_told_with_line_and_range(run, tmp_path):
    (tmp_path / "mine.toml").write_text('based_on = "band"\n\n[hands]\nburst = 70\n', encoding="utf-8")
    code, out, err = run("profiles", "show", tmp_path / "mine.toml")
    assert (code, out) == (2, "")
    assert "mine.toml, line 4: hands.burst is 70; it should be a whole number from 1 to 20 (actions)." in err


def test_debug_may_stand_behind_the_command(monkeypatch):
    monkeypatch.setattr(sys, "argv", ["cuesuggest", "profiles", "show", "nonesuch", "--debug"])
    with pytest.raises(Exception, match="no house style"):
        main()


@pytest.mark.parametrize("words", [["profiles"], ["rigs", "show", "example"]])
def test_the_commands_leave_the_heavy_packages_alone(words):
    assert not imported_by(f"from cuesuggest.cli import cli; cli.main({words}, standalone_mode=False)") & HEAVY
