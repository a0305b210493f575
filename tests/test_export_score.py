"""Scores, as music21 reads them."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from music21 import converter, expressions, tempo

from cuesuggest.export import Options
from cuesuggest.export.common.timing import Timing
from cuesuggest.export.common.told import told
from tests.exported import HOSTILE, hostile_song, in_sevens, one, random_song, seeds
from tests.songs import make_cue, make_song, place_at
from tests.test_export_midi import long_song


def part(song, **options):
    return converter.parse(one(song, "score", "musicxml", **options).decode("utf-8"), format="musicxml").parts[0]


def named(score, kind):
    return [(mark.content, mark.measureNumber, mark.beat) for mark in score.recurse().getElementsByClass(kind)]


def test_bars_have_the_songs_numbers_and_sections_stand_over_them():
    score = part(make_song("A8 B8 A8"))
    assert [measure.number for measure in score.getElementsByClass("Measure") if not measure.numberSuffix] == list(
        range(1, 25)
    )
    assert named(score, expressions.RehearsalMark) == [("A1", 1, 1.0), ("B1", 9, 1.0), ("A2", 17, 1.0)]


def test_cues_stand_at_their_beats():
    song = make_song("A8 B8 A8")
    between = make_cue(2.5, "one-shot", place_at(song.analysis, 8, 3.5))
    texts = named(part(song.replaced(cues=[*song.cues, between])), expressions.TextExpression)
    assert ("2.5 one-shot: one-shot", 8, 3.5) in texts
    assert ("3 cut-in: B in at 80", 9, 1.0) in texts


def test_what_lies_before_bar_one_is_whole_bars_that_are_marked():
    score = part(make_song("A8", start=7.0))
    first, *_ = score.getElementsByClass("Measure")
    assert first.numberSuffix == "XA"
    stretched = [measure for measure in score.getElementsByClass("Measure") if measure.numberSuffix]
    # 7 s are 2.8 bars of 2.5 s: three bars, and the bars after the song.
    assert len(stretched[:3]) == 3
    assert ("stretched: before bar 1", 0, 1.0) in named(score, expressions.TextExpression)
    shown = [mark for mark in score.recurse().getElementsByClass(tempo.MetronomeMark) if mark.number]
    assert [mark.getQuarterBPM() for mark in shown[:2]] == pytest.approx([60 * 12 / 7, 96], abs=0.1)


@pytest.mark.parametrize(("meter", "quarters"), [("4/4", 4), ("3/4", 3), ("6/8", 3), ("7/8", 3.5), ("12/8", 6)])
def test_meters_are_kept(meter, quarters):
    score = part(make_song("A8 B8", time_signature=meter))
    assert written_meters(score)[1] == meter
    assert {score.measure(number).duration.quarterLength for number in range(1, 17)} == {quarters}


def written_meters(score):
    """The meter of every bar of the song, as carried on from the last change."""
    meter, found = None, {}
    for measure in score.getElementsByClass("Measure"):
        meter = measure.timeSignature or meter
        if not measure.numberSuffix:
            found[measure.number] = meter.ratioString
    return found


def test_beats_of_a_bar_stand_where_it_is_felt():
    song = in_sevens("A8")
    cues = [make_cue(beat, "call", replace(place_at(song.analysis, 2), beat=float(beat))) for beat in (2, 3, 3.5)]
    root = ElementTree.fromstring(one(song.replaced(cues=cues, questions=()), "score", "musicxml"))
    # 2 + 2 + 3 eighths of 240 divisions; half of the last beat is an eighth and a half.
    assert [each.findtext("offset") for each in root.iter("direction") if each.find("offset") is not None] == [
        "480", "960", "1320",
    ]  # fmt: skip


def test_every_bar_has_the_tempo_that_it_is_played_at_and_rounding_does_not_add_up():
    song = long_song()
    root = ElementTree.fromstring(one(song, "score", "musicxml"))
    quarters, reached, starts = 4, 0.0, {}
    for measure in root.iter("measure"):
        (tempo,) = measure.findall("sound")
        quarters = int(measure.findtext("attributes/time/beats") or quarters)
        starts[measure.get("number")] = reached
        reached += 60 * quarters / float(tempo.get("tempo"))
    want = {f"{bar.number}": bar.start for bar in song.analysis.bars}
    assert {number: starts[number] for number in want} == pytest.approx(want, abs=1e-5)
    assert len(want) == 435


def test_changing_meters_are_kept():
    song = random_song(12)
    assert written_meters(part(song)) == {bar.number: bar.time_signature for bar in song.analysis.bars}


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_every_cue_of_any_song_is_in_its_bar(seed):
    song = random_song(seed)
    root = ElementTree.fromstring(one(song, "score", "musicxml"))
    where = {}
    for measure in root.iter("measure"):
        for words in measure.iter("words"):
            where.setdefault(words.text.split(" ")[0], set()).add(measure.attrib["number"])
    for each in told(song, Options()):
        if each.cue.place.bar is not None and each.at == each.cue.place.seconds:
            assert str(each.cue.place.bar) in where[f"{each.cue.number:g}"]


def test_cues_before_the_start_are_left_out_and_the_file_says_so():
    root = ElementTree.fromstring(one(make_song("A8 B8 A8"), "score", "musicxml", timing=Timing(-10.0)))
    said = "1 cue before second 0 of the show left out: 1. Bars 1 to 4 before second 0 of the show left out."
    assert said in {field.text for field in root.iter("miscellaneous-field")}
    assert [mark.text for mark in root.iter("rehearsal")] == ["A1 goes on", "B1", "A2"]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_any_text_is_well_formed_and_readable(text):
    data = one(hostile_song(text), "score", "musicxml")
    root = ElementTree.fromstring(data)
    assert len([words for words in root.iter("words") if words.text[0].isdigit()]) == 4


def test_music21_reads_hostile_text():
    score = part(hostile_song(HOSTILE["markup"]))
    assert any("<b onload" in text for text, _, _ in named(score, expressions.TextExpression))
