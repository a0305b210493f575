"""A section that goes round until a sign: marked, drafted around, taken back."""

import json
from dataclasses import replace

import pytest

from cuesuggest.cli.report import song_text
from cuesuggest.decide.telling import describe
from cuesuggest.errors import EditError
from cuesuggest.rules import draft, load_profile, load_rig
from cuesuggest.song import SetSection, Song, change, redo, undo
from tests.songs import hands_of_draft, make_analysis, make_song

BAND, RIG = load_profile("band"), load_rig(None)
SIGN = "the singer raises a hand"


def with_vamp(analysis, section):
    return replace(analysis, sections=tuple(replace(s, vamp=SIGN) if s.id == section else s for s in analysis.sections))


def drafted(form, section, **kwargs):
    """The draft of a song in which a section goes round, and its sentences."""
    analysis = with_vamp(make_analysis(form, **kwargs), section)
    found = draft(analysis, BAND, RIG)
    return found, hands_of_draft(found, analysis, RIG)


def test_what_comes_after_a_vamp_waits_for_the_sign():
    found, words = drafted("A8 B8 A8 B8", "s2", drive={"A": 0.35, "B": 0.8})
    (enter,) = [cue for cue in found.cues if cue.id.startswith("enter/s3")]
    assert words.of(enter).endswith(f"only after the sign: {SIGN}")
    assert f"B1 goes round until {SIGN}" in enter.reasons[-1]


def test_in_a_vamp_a_look_is_set_up_and_brought_in_the_first_time_round():
    found, words = drafted("A8 B8 C8 B8", "s2", drive={"A": 0.45, "B": 0.8, "C": 0.95})
    inside = [cue for cue in found.cues if cue.place.section == "B" and cue.place.pass_ == 1]
    assert {cue.kind for cue in inside} == {"crossfade", "recall"}
    # The entrance itself comes with the section before, which does not go round.
    assert [words.of(cue).rpartition("; ")[2] for cue in inside] == ["the first time round"] * len(inside)


def test_nobody_leaves_a_vamp_early_since_its_last_round_is_not_known():
    plain = draft(make_analysis("B8 A8 B8 C8", drive={"A": 0.05, "B": 0.8, "C": 0.5}), BAND, RIG)
    (early,) = [cue for cue in plain.cues if cue.id.startswith("leave/s1")]
    assert early.place.bar == 8
    found, words = drafted("B8 A8 B8 C8", "s1", drive={"A": 0.05, "B": 0.8, "C": 0.5})
    (late,) = [cue for cue in found.cues if cue.id.startswith("leave/s1")]
    assert (late.place.bar, late.place.beat) == (9, 1.0)
    assert words.of(late).endswith(f"only after the sign: {SIGN}")


def test_a_song_without_a_vamp_says_nothing_of_signs():
    analysis = make_analysis("A8 B8 A8 B8", drive={"A": 0.35, "B": 0.8})
    found = draft(analysis, BAND, RIG)
    words = hands_of_draft(found, analysis, RIG)
    assert not [cue for cue in found.cues if "sign" in words.of(cue) or "round until" in " ".join(cue.reasons)]


def test_a_vamp_is_an_edit_like_any_other():
    song = make_song("A8 B8 A8")
    marked = change(song, SetSection("s2", {"vamp": SIGN}), by="test")
    assert marked.analysis.sections[1].vamp == SIGN
    assert describe(marked, marked.history[-1].edit) == f"B1: round until {SIGN}"
    assert undo(marked).analysis == song.analysis
    assert redo(undo(marked)).analysis == marked.analysis
    assert Song.from_json(marked.to_json()) == marked
    assert f"goes round until {SIGN}" in song_text(marked)
    with pytest.raises(EditError, match="no section"):
        change(song, SetSection("s9", {"vamp": SIGN}), by="test")


def test_a_document_from_before_vamps_loads():
    data = json.loads(make_song("A8 B8 A8").to_json())
    for section in data["analysis"]["sections"]:
        del section["vamp"]
    assert [s.vamp for s in Song.from_json(json.dumps(data).encode()).analysis.sections] == ["", "", ""]
