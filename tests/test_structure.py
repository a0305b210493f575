"""Sections on bars: their starts, letters, turns and confidence; and a form that the user states."""

from __future__ import annotations

import json
import time
from itertools import combinations, pairwise

import mir_eval
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cuesuggest.analysis.form import Part, letter
from cuesuggest.analysis.frames import FRAME_RATE
from cuesuggest.analysis.spectrum import CHROMA_RATE, Spectrum
from cuesuggest.analysis.structure import SongBars, find_structure
from cuesuggest.analysis.structure.bar_vectors import BarVectors
from cuesuggest.analysis.structure.boundary_signs import SIGNS
from cuesuggest.analysis.structure.divide import (
    LONGEST,
    best_edges,
    boundary_odds,
    length_features,
    section_sounds,
    section_worth,
)
from cuesuggest.analysis.structure.letters import LIKENESS, PAIRS, groups, pair_odds, same_odds
from cuesuggest.analysis.structure.roles import guess_roles
from cuesuggest.analysis.structure.section_confidence import next_likely, sure_features, sureness
from cuesuggest.analysis.structure.stated_form import StatedForm, length_remarks, longest_part
from cuesuggest.analysis.structure.turns import find_turns
from cuesuggest.analysis.structure.weights import Weights, shipped
from cuesuggest.errors import CuesuggestError, FormError
from cuesuggest.song import Song
from tests.songs import make_song

BAR = 0.8  # s; short, so that a song is little to compute
BAR_FRAMES, BAR_CHROMA = round(BAR * FRAME_RATE), round(BAR * CHROMA_RATE)


def parts_of(form):
    return [(word[0], int(word[1:])) for word in form.split()]


def made(form, seed=1):
    """Spectrum, logits and bars of a song in which each letter has a sound, a rhythm and four chords of its own."""
    rng = np.random.default_rng(seed)
    bands, chroma, loudness, material = [], [], [], {}
    for name, length in parts_of(form):
        if name not in material:
            struck = np.repeat(rng.random((8, 1, 64)) < 0.5, BAR_FRAMES // 8, axis=1).reshape(BAR_FRAMES, 64)
            ring = np.tile(np.exp(-np.arange(BAR_FRAMES // 8) / 2), 8)[:, None]
            material[name] = (
                rng.random(64) * 3 * (0.3 + struck * ring),
                rng.random((4, 1, 12)) ** 4,
                -20 + 6 * rng.random(),
            )
        sound, chords, level = material[name]
        for bar in range(length):
            bands.append(sound + 0.2 * rng.random((BAR_FRAMES, 64)))
            chroma.append(chords[bar % 4] + 0.05 * rng.random((BAR_CHROMA, 12)))
            loudness.append(level + rng.normal() * 0.3)
    count = len(bands)
    spectrum = Spectrum(
        start=0.0,
        end=count * BAR,
        bands=np.concatenate(bands).astype(np.float32),
        level=np.full(count * BAR_FRAMES, 0.01, np.float32),
        chroma=np.concatenate(chroma).astype(np.float32),
        power=np.full(round(count * BAR * 10), 0.01),
        power_step=0.1,
    )
    starts = np.arange(count) * BAR
    bars = SongBars(np.arange(1, count + 1), starts, starts + BAR, np.array(loudness), np.full(count, 0.95), BAR / 4)
    logits = np.full((7, len(spectrum.bands)), -4.0, np.float32)  # the network has no opinion
    return spectrum, logits, bars


def first_bars(structure):
    return [section.first_bar for section in structure.sections]


def true_first_bars(form):
    return (1 + np.cumsum([0, *(length for _, length in parts_of(form))][:-1])).tolist()


# --- Found


FORMS = ("A8 B8 A8 B8 C4 B8", "A4 B16 C8 B16 C8 D4", "A6 B9 A6 B9", "A8 B8 C8")


@pytest.mark.parametrize("form", FORMS)
def test_sections_start_where_material_changes_and_repeats_get_their_letter(form):
    structure = find_structure(*made(form))
    truth = parts_of(form)
    edges = np.cumsum([0, *(length for _, length in truth)]) * BAR
    reference, named = np.stack([edges[:-1], edges[1:]], axis=1).round(4), [name for name, _ in truth]
    estimate = np.array([[each.start, each.end] for each in structure.sections])
    labels = [each.label.rstrip("'") for each in structure.sections]
    assert mir_eval.segment.detection(reference, estimate, window=0.1, trim=True)[2] == 1.0
    assert mir_eval.segment.pairwise(reference, named, estimate, labels)[2] == 1.0


def test_sections_cover_all_bars_and_count_their_passes():
    sections = find_structure(*made("A8 B8 A8 B8 A8")).sections
    assert (sections[0].first_bar, sections[-1].last_bar) == (1, 40)
    assert all(one.last_bar + 1 == other.first_bar for one, other in pairwise(sections))
    assert [(each.label[0], each.pass_) for each in sections] == [("A", 1), ("B", 1), ("A", 2), ("B", 2), ("A", 3)]
    assert len({each.id for each in sections}) == len(sections)


@pytest.mark.parametrize("form", ["A1", "A2", "A3", "A1 B1", "A5 B2"])
def test_songs_of_a_few_bars_are_divided_too(form):
    spectrum, logits, bars = made(form)
    sections = find_structure(spectrum, logits, bars).sections
    assert (sections[0].first_bar, sections[-1].last_bar) == (1, len(bars))


def test_silence_is_one_letter():
    spectrum, logits, bars = made("A32")
    silent = Spectrum(
        0.0, spectrum.end, spectrum.bands * 0, spectrum.level * 0, spectrum.chroma * 0, spectrum.power * 0, 0.1
    )
    flat = SongBars(bars.numbers, bars.starts, bars.ends, np.full(32, -70.0), bars.confidence, bars.beat)
    sections = find_structure(silent, logits, flat).sections
    assert len({each.label.rstrip("'") for each in sections}) == 1 or len(sections) == 1
    assert all(np.isfinite(each.confidence) for each in sections)


def test_six_hundred_bars_take_less_than_a_tenth_of_a_second_a_minute():
    song = made(" ".join(["A8 B8 A8 B8 C8"] * 15))
    form = tuple(Part(name) for name in "ABABC" * 15)
    minutes = 20.0  # that so many bars last at 120 beats a minute
    for stated, most in (((), 0.1 * minutes), (form, 0.3 * minutes)):
        begin = time.process_time()
        structure = find_structure(*song, stated)
        assert time.process_time() - begin < most
        assert structure.sections[-1].last_bar == 600


def test_bar_numbers_are_those_of_the_bars():
    spectrum, logits, bars = made("A8 B8")
    later = SongBars(bars.numbers + 4, bars.starts, bars.ends, bars.loudness, bars.confidence, bars.beat)
    assert first_bars(find_structure(spectrum, logits, later)) == [5, 13]


# --- The division itself


def divisions(count):
    for size in range(count):
        for inner in combinations(range(1, count), size):
            yield [0, *inner, count]


def random_worth(seed, count):
    worth = np.random.default_rng(seed).normal(size=(count, count + 1))
    worth[:, 0] = -np.inf
    worth[np.arange(count)[:, None] + np.arange(count + 1) > count] = -np.inf
    return worth


def total(worth, edges):
    return sum(worth[first, end - first] for first, end in pairwise(edges))


@given(st.integers(0, 10**6), st.integers(1, 8))
def test_the_best_division_is_the_best_of_all(seed, count):
    worth = random_worth(seed, count)
    assert best_edges(worth) == max(divisions(count), key=lambda edges: total(worth, edges))


@given(st.integers(0, 10**6), st.integers(1, 8))
def test_the_odds_of_a_boundary_are_its_share_of_all_divisions(seed, count):
    worth = random_worth(seed, count)
    each = [(set(edges), np.exp(total(worth, edges))) for edges in divisions(count)]
    whole = sum(share for _, share in each)
    expected = [sum(share for edges, share in each if place in edges) / whole for place in range(count + 1)]
    assert boundary_odds(worth) == pytest.approx(expected)


@given(st.integers(0, 10**6), st.integers(1, 70), st.integers(1, 40))
def test_edges_rise_and_cover_all_bars(seed, count, longest):
    edges = best_edges(random_worth(seed, count)[:, : longest + 1])
    assert (edges[0], edges[-1]) == (0, count)
    assert all(1 <= end - first <= longest for first, end in pairwise(edges))


# --- Stated


def random_vectors(seed, count):
    rng = np.random.default_rng(seed)

    def unit():
        rows = rng.normal(size=(count, 12)).astype(np.float32)
        return rows / np.linalg.norm(rows, axis=1, keepdims=True)

    return BarVectors(unit(), (), unit(), unit())


@given(st.integers(0, 10**6), st.integers(3, 9), st.sampled_from(["AB", "ABA", "AAA", "ABAB", "AABB"]))
def test_a_stated_form_gets_the_best_division_of_so_many_parts(seed, count, names):
    names = names[:count]
    form = [Part(name, bars=1 + seed % 3 if k == 1 else None) for k, name in enumerate(names)]
    loudness = np.random.default_rng(seed).normal(size=count)
    asked = StatedForm(form, random_worth(seed, count), random_vectors(seed, count), loudness, shipped())
    edges = asked.edges()
    assert (len(edges), edges[0], edges[-1]) == (len(form) + 1, 0, count)
    assert all(first < end for first, end in pairwise(edges))
    every = np.array([each for each in divisions(count) if len(each) == len(edges)])
    assert edges == every[int(asked._value(every, np.arange(len(form))).argmax())].tolist()


def test_a_section_that_is_found_has_as_many_bars_as_the_song_or_32():
    for count, longest in ((10, 10), (32, 32), (40, 32)):
        worth = section_worth(random_vectors(1, count), np.zeros((count, len(SIGNS))), shipped())
        assert worth.shape == (count, longest + 1)
        fits = np.arange(count)[:, None] + np.arange(longest + 1) <= count
        fits[:, 0] = False
        assert (np.isfinite(worth) == fits).all()


def test_of_a_section_longer_than_32_bars_the_first_32_say_how_it_repeats():
    sounds = section_sounds(random_vectors(1, 90), 0, 50, 40)
    mean = sounds[:, 1:, 2] / np.arange(1, 41)
    assert (mean[:, LONGEST - 1] > 0).any()
    assert mean[:, LONGEST:] == pytest.approx(np.repeat(mean[:, LONGEST - 1 : LONGEST], 8, axis=1))


def test_lengths_are_told_by_the_common_ones_the_odd_ones_and_octaves_from_eight():
    each, one, *usual, odd, log, squared = length_features(16).T
    assert (each == 1).all()
    assert [np.flatnonzero(row).tolist() for row in (one, *usual)] == [[1], [2], [4], [8], [16]]
    assert np.flatnonzero(odd).tolist() == [5, 7, 9, 11, 13, 15]
    assert log[[1, 4, 8, 16]].tolist() == [-3, -1, 0, 1]
    assert (squared == log**2).all()


def test_sections_are_alike_as_their_bars_are_from_the_first_on_or_to_the_last_whichever_is_more():
    count, spans = 24, [(0, 4), (4, 10), (10, 13), (13, 21), (21, 24)]
    vectors, loudness = random_vectors(3, count), np.random.default_rng(3).normal(size=count)
    every = vectors.alike(slice(None), slice(None), shipped().of("same", LIKENESS))
    odds = same_odds(vectors, loudness, spans, shipped())
    assert (odds == odds.T).all()
    assert not odds.diagonal().any()
    for (j, one), (k, other) in combinations(enumerate(spans), 2):
        lengths = one[1] - one[0], other[1] - other[0]
        bars = np.arange(min(lengths))
        begin = every[other[0] + bars, one[0] + bars].mean()
        close = every[other[1] - 1 - bars, one[1] - 1 - bars].mean()
        apart = abs(loudness[slice(*one)].mean() - loudness[slice(*other)].mean()) / 6
        longer = abs(np.log2(lengths[0] / lengths[1]))
        assert odds[j, k] == pytest.approx(pair_odds(max(begin, close), longer, apart, shipped()), abs=1e-4)


def test_parts_of_one_name_are_as_alike_as_sections_that_are_found_up_to_four_nats():
    count, spans = 24, [(0, 4), (4, 10), (10, 13), (13, 21), (21, 24)]
    vectors, loudness = random_vectors(3, count), np.random.default_rng(3).normal(size=count)
    odds = same_odds(vectors, loudness, spans, shipped())
    asked = StatedForm([Part("A")] * 5, random_worth(1, count), vectors, loudness, shipped())
    for (j, one), (k, other) in combinations(enumerate(spans), 2):
        found = asked._odds(*(np.array([edge]) for edge in (*other, *one)))
        assert found[0] == pytest.approx(np.clip(odds[j, k], -4, 4), abs=1e-3)


@pytest.mark.parametrize(
    ("bars", "count", "longest"),
    [([None] * 8, 100, 64), ([None, 40, None, None], 200, 150), ([40] * 8, 200, 80), ([None] * 2, 50, 50)],
    ids=["twice the longest that is found", "three times the mean", "twice the longest that is stated", "all bars"],
)
def test_a_stated_part_may_be_much_longer_than_others_but_not_endless(bars, count, longest):
    assert longest_part([Part("A", each) for each in bars], count) == longest


def test_the_odds_of_a_stated_boundary_are_its_share_among_the_places_between_its_neighbours():
    count, form = 9, [Part("A"), Part("B"), Part("A")]
    loudness = np.random.default_rng(2).normal(size=count)
    asked = StatedForm(form, random_worth(2, count), random_vectors(2, count), loudness, shipped())
    edges = asked.edges()
    found = asked.odds(edges)
    assert len(found) == 2
    for place, odds in enumerate(found, 1):
        between = range(edges[place - 1] + 1, edges[place + 1])
        every = np.array([[*edges[:place], at, *edges[place + 1 :]] for at in between])
        worth = np.exp(asked._value(every, np.arange(len(form))))
        assert odds[list(between)] == pytest.approx(worth / worth.sum())
        assert odds.sum() == pytest.approx(1.0)
        assert int(odds.argmax()) == edges[place]


NAMED = "intro verse chorus verse chorus bridge chorus outro"
NAMED_BARS = "A4 B8 C8 B8 C8 D6 C8 E4"


def stated(text, lengths=None):
    return tuple(Part(name, (lengths or {}).get(k)) for k, name in enumerate(text.split()))


def test_names_and_order_alone_land_on_the_right_bars():
    structure = find_structure(*made(NAMED_BARS), stated(NAMED))
    assert first_bars(structure) == true_first_bars(NAMED_BARS)
    assert [each.name for each in structure.sections] == NAMED.split()
    assert "".join(each.label for each in structure.sections) == "ABCBCDCE"
    assert [each.pass_ for each in structure.sections] == [1, 1, 1, 2, 2, 1, 3, 1]
    assert [each.role for each in structure.sections] == NAMED.split()
    assert structure.remarks == ()


def test_two_parts_of_one_name_in_a_row_are_two_sections():
    structure = find_structure(*made("A8 B16 C8"), stated("verse chorus chorus outro"))
    assert first_bars(structure) == [1, 9, 17, 25]


def test_names_are_equal_whatever_their_capitals():
    structure = find_structure(*made("A8 B8 A8"), (Part("Verse"), Part("Solo"), Part("verse")))
    assert [each.label for each in structure.sections] == ["A", "B", "A"]
    assert [each.name for each in structure.sections] == ["Verse", "Solo", "verse"]
    assert [each.role for each in structure.sections] == ["verse", None, "verse"]


def test_first_words_go_with_their_part():
    form = (Part("verse"), Part("chorus", first_words="All the tin roofs"))
    assert [each.first_words for each in find_structure(*made("A8 B8"), form).sections] == ["", "All the tin roofs"]


def test_a_length_decides_where_the_sound_does_not():
    song, names = made("A8 B16 A8"), "verse chorus tag verse"
    for bars in (12, 4):
        assert first_bars(find_structure(*song, stated(names, {1: bars, 2: 16 - bars}))) == [1, 9, 9 + bars, 25]


def test_a_length_that_the_sound_contradicts_gives_way_and_is_told():
    structure = find_structure(*made("A8 B8 A8 B9 C8"), stated("verse chorus verse chorus outro", {3: 8}))
    assert first_bars(structure) == [1, 9, 17, 25, 34]
    assert structure.remarks == ("The form says 8 bars for chorus (pass 2); heard are 9, bars 25 to 33.",)


def test_remarks_speak_of_one_bar_as_one():
    form = [Part("stab", 2), Part("vamp", 1), Part("end")]
    assert length_remarks(form, [0, 1, 3, 4], [1, 2, 3, 4]) == (
        "The form says 2 bars for stab (pass 1); heard is 1, bar 1.",
        "The form says 1 bar for vamp (pass 1); heard are 2, bars 2 to 3.",
    )


def test_a_form_of_one_part_is_the_whole_song():
    structure = find_structure(*made("A8 B40"), (Part("jam"),))
    assert [(each.first_bar, each.last_bar) for each in structure.sections] == [(1, 48)]


def test_as_many_parts_as_bars_are_a_bar_each():
    structure = find_structure(*made("A3 B3"), stated("a b c d e f"))
    assert first_bars(structure) == [1, 2, 3, 4, 5, 6]


def test_more_parts_than_bars_are_refused_with_what_to_do():
    with pytest.raises(FormError, match=r"The form has 4 parts, but the song only 3 bars.*Leave parts out") as caught:
        find_structure(*made("A3"), stated("a b c d"))
    assert isinstance(caught.value, CuesuggestError)


# --- Letters, roles, turns, confidence


def test_sections_are_joined_while_the_mean_of_all_pairs_is_for_it():
    odds = np.array([[0, -1, 3, -2], [-1, 0, -2, 1], [3, -2, 0, -1], [-2, 1, -1, 0.0]])
    assert groups(odds) == [0, 1, 0, 1]
    # The third is like both of the first, but they are unlike one another by more.
    assert groups(np.array([[0, -5, 2], [-5, 0, 1], [2, 1, 0.0]])) == [0, 1, 0]
    assert groups(np.zeros((1, 1))) == [0]


def test_letters_go_on_after_z():
    assert [letter(k) for k in (0, 25, 26, 27, 52)] == ["A", "Z", "AA", "AB", "BA"]


ROLES = [
    # letters, bars, loudness, roles
    ("ABCBCD", [4, 8, 8, 8, 8, 4], [-26, -22, -18, -22, -18, -24], "intro verse chorus verse chorus outro"),
    ("ABCBCD", [4, 8, 8, 8, 8, 4], [-26, -19, -18, -19, -18, -24], "intro - - - - outro"),  # no louder than verses
    ("ABAB", [8, 8, 8, 8], [-22, -18, -22, -18], "verse chorus verse chorus"),
    ("ABCD", [8, 8, 8, 8], [-30, -20, -25, -18], "- - - -"),  # nothing comes back
    ("ABCBC", [32, 8, 8, 8, 8], [-26, -22, -18, -22, -18], "- verse chorus verse chorus"),  # too long for an intro
    ("ABCABC", [4, 8, 8, 4, 8, 8], [-26, -22, -18, -26, -22, -18], "- verse chorus - verse chorus"),  # A comes back
    ("A", [8], [-20], "-"),
]


@pytest.mark.parametrize(("letters", "bars", "loudness", "roles"), ROLES)
def test_roles_are_guessed_only_where_letters_and_loudness_speak_for_them(letters, bars, loudness, roles):
    found = guess_roles([ord(each) for each in letters], bars, loudness)
    assert found == [None if each == "-" else each for each in roles.split()]


def test_a_section_turns_where_a_division_is_nearly_as_good():
    worth = np.full((16, 17), -6.0)
    worth[0, 16] = 0.0
    worth[0, 8] = worth[8, 8] = -1.0
    assert find_turns(worth, 0, 16) == [8]
    worth[0, 8] = -4.0
    assert find_turns(worth, 0, 16) == []


def test_short_sections_have_no_turns():
    assert find_turns(np.zeros((20, 21)), 3, 10) == []


def test_turns_lie_inside_their_section_on_bar_lines():
    spectrum, logits, bars = made("A8 B16 C8 B16")
    for each in find_structure(spectrum, logits, bars, stated("verse chorus bridge chorus")).sections:
        assert all(each.start < turn < each.end and np.abs(bars.starts - turn).min() < 1e-3 for turn in each.turns)


def test_the_next_likely_start_is_told_where_it_is_nearly_as_likely():
    odds = np.zeros(17)
    odds[[7, 8]] = 0.3, 0.6
    assert next_likely([0, 8, 16], 1, odds) == 7
    odds[7] = 0.1
    assert next_likely([0, 8, 16], 1, odds) is None
    assert next_likely([0, 1, 2], 1, odds) is None  # no other bar line lies between the neighbours


def test_a_likelier_boundary_on_a_surer_bar_is_surer():
    for kind in (True, False):
        odds = [np.full(17, 0.0)]
        found = []
        for likely, bar in ((0.5, 0.6), (0.95, 0.6), (0.95, 0.99)):
            odds[0][8] = likely
            found.append(sureness(sure_features([0, 8, 16], odds, np.full(16, bar)), shipped(), stated=kind)[1])
        assert 0 < found[0] < found[1] < found[2] < 1


def test_without_an_alternative_older_documents_still_load():
    data = json.loads(make_song().to_json())
    for section in data["analysis"]["sections"]:
        del section["alternative"]
    assert [each.alternative for each in Song.model_validate(data).analysis.sections] == [None, None, None]


def test_weights_are_read_by_name():
    weights = Weights({"same": {name: float(k) for k, name in enumerate(PAIRS)}})
    assert weights.of("same", PAIRS[::-1]).tolist() == [5, 4, 3, 2, 1, 0]


def test_stated_starts_are_obeyed_to_the_bar():
    parts = stated("verse chorus verse")
    spectrum, logits, bars = made("A8 B8 A8")
    starts = tuple(float(bars.starts[place]) + 0.2 for place in (0, 5, 19))
    structure = find_structure(spectrum, logits, bars, parts, starts)
    assert [each.first_bar for each in structure.sections] == [int(bars.numbers[place]) for place in (0, 5, 19)]
    # Two that fall on one bar keep a bar each.
    close = (starts[0], starts[1], starts[1] + 0.1)
    assert [each.bars for each in find_structure(spectrum, logits, bars, parts, close).sections] == [5, 1, 18]
