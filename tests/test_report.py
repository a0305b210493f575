"""The list as text: what to build before rehearsal, and the way out."""

import pytest

from cuesuggest.cli.report import song_text
from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.song import Settings
from tests.songs import make_analysis, make_song, retimed

FORM = "A8 B8 A8 B8 C8 B8"


def written(rig_name="example", **values):
    analysis = retimed(
        make_analysis(FORM, bpm=120, drive={"A": 0.42, "B": 0.95, "C": 0.5}, count_in=1), tempos={29: 150.0}
    )
    rig = load_rig(rig_name)
    found = draft(analysis, load_profile("club"), rig)
    song = make_song(
        FORM,
        analysis=analysis,
        looks=found.looks,
        plan=found.plan,
        cues=found.cues,
        questions=(),
        rig=Settings(rig_name, {**rig.values(), **values}),
    )
    # Lines are long enough that nothing is wrapped.
    return found, song_text(song, 400).splitlines()


def test_every_look_is_told_with_what_to_build_its_round_its_colours_and_its_ceiling():
    found, lines = written()
    head = lines.index("Looks to build before rehearsal")
    told = lines[head + 1 : head + 1 + len(found.looks)]
    for look, line in zip(found.looks, told, strict=True):
        assert line.startswith(f"  {look.name}: {look.category}, {look.source}, {look.description}; ")
        assert f"{look.colours} colour" in line
        assert look.colour_relation in line
        assert line.endswith(f"up to {look.level_ceiling} %.")
    subtle, *_, shot, home = told
    assert "; one round in 4 bars (8.0 s); " in subtle
    assert "; runs 1.5 s, strongest 0.15 s after the press; " in shot
    assert "; one round in 15.0 s, whatever the tempo; " in home


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"kill": "kill button", "master": "master"}, "kill button, held"),
        ({"kill": "", "master": "master"}, "master down"),
        ({"kill": "", "master": ""}, "sides A and B down"),
        ({"kill": "", "master": "", "sides": [{"name": "A"}]}, "side A down"),
        ({"kill": "", "master": "", "sides": []}, "all faders down"),
    ],
)
def test_the_way_to_put_everything_out_stands_below_the_looks(values, said):
    _, lines = written(**values)
    assert f"  All out: {said}." in lines


def test_a_change_of_speed_is_in_the_list():
    found, lines = written("two-lamps-strobe")
    cues = [each for each in found.cues if each.kind == "speed"]
    told = [line for line in lines if ", speed: " in line]
    assert len(told) == len(cues) >= 1
    for cue, line in zip(cues, told, strict=True):
        assert f"bar {cue.place.bar}, speed: Side {cue.side}, " in line
        assert "speed wheel to 150 BPM" in line
