"""What several songs teach of a house style: whose taste is found, when nothing is, and what is written."""

import itertools
import json
import shutil
import sys
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest

from cuesuggest.cli.learning import style_text
from cuesuggest.decide.category import category_decided
from cuesuggest.decide.cue_edits import with_level
from cuesuggest.decide.quick import all_accepted, coloured, with_length
from cuesuggest.draft.again.redraft import redrafted
from cuesuggest.draft.taste.chance import chances
from cuesuggest.draft.taste.lessons import learned, songs_to_learn_from
from cuesuggest.draft.taste.reviewed import ReviewedSong, repairs, suggestion
from cuesuggest.draft.taste.style_numbers import bounded_number, number_of, styled
from cuesuggest.rules import load_profile
from cuesuggest.song import SetCue, Settings, Song, change, change_all
from cuesuggest.song.taken_over import TakenOver
from tests.designers import BAND, EXAMPLE, Designer, a_song, evenings, work_in
from tests.test_batch import on_a_terminal
from tests.test_rerun import drafted


def joined(text):
    return " ".join(text.split())


def left_by(designer, seed, songs=8):
    rng = np.random.default_rng(seed)
    made = evenings(designer, BAND, EXAMPLE, rng, [a_song(rng) for _ in range(songs)])
    return {f"song {number}": song for number, song in enumerate(made, 1)}


def taught(documents, base=BAND):
    songs, _ = songs_to_learn_from(documents, base)
    return learned(songs, base)


@pytest.fixture(scope="module")
def documents(gone_through):
    return {path.name: Song.load(path) for path in sorted(gone_through.glob("*.cues.json"))}


@pytest.fixture(scope="module")
def found(documents):
    return taught(documents)


# The designers. tests.benchmarks.learning has fifty draws of each; these are few, of plain tastes.


def test_somebody_who_wants_few_one_shots_and_dark_lifts_is_understood(found):
    assert abs(found.numbers["shots.most_per_song"] - 2) <= 1
    assert abs(found.numbers["looks.base_level.lift"] - (BAND.looks.base_level.lift - 15)) <= 5
    assert abs(found.numbers["looks.ceiling.lift"] - (BAND.looks.ceiling.lift - 15)) <= 5
    assert {lesson.about for lesson in found.lessons} == {"One-shots", "Levels of lift looks"}


def test_drafts_of_songs_left_out_need_fewer_repairs_in_the_new_style(found):
    assert found.after < 0.8 * found.before
    assert all(lesson.after < lesson.before for lesson in found.lessons)


def test_each_lesson_says_in_how_many_songs_what_was_done(found):
    shots = next(lesson for lesson in found.lessons if lesson.about == "One-shots")
    assert shots.evidence.startswith("In 7 of 8 songs you took one-shots out, in none the other way: ")
    assert shots.strength == "clear"
    assert shots.chance == pytest.approx(2 / 2**7)


def test_somebody_who_is_sparing_with_light_is_understood():
    found = taught(left_by(Designer(light=0.15, whims=0.5), 21))
    assert abs(found.numbers["drive.lift"] - BAND.drive.lift - 0.15) <= 0.04
    assert all(key.startswith("drive.") for key in found.numbers)
    assert "you gave sections less light" in found.lessons[0].evidence


def test_somebody_whose_lifts_come_in_slowly_is_understood():
    found = taught(left_by(Designer(lengths={"fades.lift_up_beats": 4.0}, whims=0.5), 7))
    assert found.numbers == {"fades.lift_up_beats": 4.0}
    assert "you made it longer" in found.lessons[0].evidence


def test_somebody_who_gives_lifts_one_colour_less_is_understood():
    found = taught(left_by(Designer(colours={"lift": -1}, whims=0.5), 9))
    assert found.numbers == {"looks.colours.lift": 1.0}
    assert "you gave them fewer colours" in found.lessons[0].evidence


@pytest.mark.parametrize("seed", range(3))
def test_nothing_is_found_where_songs_are_changed_for_their_own_sake_only(seed):
    found = taught(left_by(Designer(whims=1.5), [41, seed]))
    assert (found.lessons, found.style, found.numbers) == ((), None, {})


def test_nothing_is_found_where_nothing_was_changed():
    found = taught(left_by(Designer(whims=0.0), 2, songs=6))
    assert (found.lessons, found.notes) == ((), ())


def test_the_new_style_asks_less_work_of_the_same_designer_on_fresh_songs(found):
    designer = Designer(shots=2, levels={"lift": -15}, whims=0.0)
    work = {}
    for name, style in (("old", BAND), ("new", found.style)):
        songs = [a_song(np.random.default_rng([9, k])) for k in range(4)]
        work[name] = sum(map(work_in, evenings(designer, style, EXAMPLE, np.random.default_rng(77), songs)))
    assert work["new"] < work["old"] / 2


# What counts as what.


@pytest.fixture
def song():
    return drafted(a_song(np.random.default_rng(3)))


def reviewed(song):
    return ReviewedSong("a song", all_accepted(song).made_in(song, by="page"))


def of(song, **wanted):
    return next(cue for cue in song.cues if all(getattr(cue, name) == value for name, value in wanted.items()))


def test_a_draft_that_was_accepted_needs_no_repairs(song):
    kept = reviewed(song)
    assert repairs(kept, suggestion(kept, BAND)) == frozenset()


def test_each_thing_that_was_put_right_is_one_repair_of_its_kind(song):
    fade, shot = of(song, kind="crossfade"), of(song, kind="one-shot", series=None)
    changed = change_all(
        song,
        [with_length(song, fade, 2 * fade.up_beats), with_level(fade, fade.level - 10)],
        by="page",
    )
    changed = change(changed, SetCue(shot.id, {"status": "rejected"}), by="page")
    changed = change(changed, coloured(song, fade.look, 4), by="page")
    kept = reviewed(changed)
    assert repairs(kept, suggestion(kept, BAND)) == {
        ("lengths", f"{fade.id} up"),
        ("levels", fade.id),
        ("colours", fade.look),
        ("one-shots", f"{shot.place.seconds:.1f}"),
    }


def test_a_level_off_by_five_and_a_fade_a_quarter_longer_are_no_repairs(song):
    fade = of(song, kind="crossfade")
    changed = change(song, with_level(fade, fade.level - 5), by="page")
    changed = change(changed, with_length(changed, fade, 1.25 * fade.up_beats), by="page")
    kept = reviewed(changed)
    assert repairs(kept, suggestion(kept, BAND)) == frozenset()


def test_a_section_with_other_light_is_one_repair_and_what_follows_from_it_none(song):
    lift = next(each for each in song.plan if each.category == "lift" and not each.parts)
    section = next(each for each in song.analysis.sections if each.id == lift.section)
    darker = category_decided(song, section, "subtle", repeats=False).made_in(song, by="page")
    kept = reviewed(redrafted(darker)[0])
    assert repairs(kept, suggestion(kept, BAND)) == {("light", section.id)}


def test_an_entrance_that_was_rejected_leaves_its_section_dark_and_counts_as_light():
    heard = a_song(np.random.default_rng(3))
    song = drafted(heard)
    first = min((cue for cue in song.cues if cue.kind == "fade-in"), key=lambda cue: cue.place.seconds)
    kept = reviewed(change(song, SetCue(first.id, {"status": "rejected"}), by="page"))
    assert ("light", first.section_id) in repairs(kept, suggestion(kept, BAND))


# Which songs are looked at.


def why_left_out(song, base=BAND):
    used, left_out = songs_to_learn_from({"song.cues.json": song}, base)
    assert not used
    return left_out[0]


def test_a_song_that_nobody_went_through_says_nothing(song):
    assert "was not gone through" in why_left_out(song)
    taken_out = song.replaced(numbers_frozen=True)
    assert songs_to_learn_from({"song": taken_out}, BAND)[1] == ()


def test_a_song_of_another_style_says_nothing_of_this_one(song):
    assert "was drafted in the style band" in why_left_out(song, load_profile("gentle"))
    # Whatever it is called: the numbers count.
    renamed = all_accepted(song).made_in(song, by="page")
    renamed = renamed.replaced(profile=Settings("ours", {**BAND.values(), "name": "ours", "about": "x"}))
    assert songs_to_learn_from({"song": renamed}, BAND)[1] == ()


def test_what_one_night_asked_for_is_nobodys_taste(song):
    kept = all_accepted(song).made_in(song, by="sound check")
    assert "was changed at sound check, for one night" in why_left_out(kept)


def test_a_song_counts_once_however_often_it_is_named_or_taken(song):
    kept = all_accepted(song).made_in(song, by="page")
    used, left_out = songs_to_learn_from({"one": kept, "copy": kept}, BAND)
    assert [each.name for each in used] == ["one"]
    assert left_out == ("copy is of the same recording as one.",)
    retaken = kept.replaced(taken_over=TakenOver("b.wav", "aa" * 32, {}, (), (), (), ()))
    assert "has its cues from another take" in why_left_out(retaken)


# Chance.


@pytest.mark.parametrize("leaning", [8, 7, 6])
def test_one_number_alone_is_as_seldom_as_its_signs(leaning):
    signs = [1] * leaning + [-1] * (8 - leaning)
    assert chances({"a": signs})["a"] == pytest.approx(binomtest(leaning, 8, 0.5).pvalue)


def test_the_size_of_a_leaning_counts_a_song_that_hardly_leans_the_other_way_takes_little():
    weak, even = [0.8] * 7 + [-0.1], [0.8] * 7 + [-0.8]
    assert chances({"a": weak})["a"] == pytest.approx(4 / 256)
    assert chances({"a": even})["a"] == pytest.approx(18 / 256)


def test_the_more_numbers_are_looked_at_the_more_has_to_speak_for_one():
    rng = np.random.default_rng(1)
    noise = {f"n{k}": list(rng.normal(size=8)) for k in range(12)}
    alone, among = chances({"a": [1.0] * 7 + [0.0]})["a"], chances({"a": [1.0] * 7 + [0.0], **noise})["a"]
    assert alone == pytest.approx(2 / 128)
    assert among > 2 * alone


def test_of_numbers_without_a_leaning_one_stands_out_as_seldom_as_is_said():
    rng, times = np.random.default_rng(7), 0
    for _ in range(200):
        shown = rng.random((8, 7)) < 0.8
        drawn = np.where(shown, rng.normal(size=(8, 7)), 0.0)
        times += min(chances({str(k): list(row) for k, row in enumerate(drawn)}).values()) <= 0.1
    # At most one in ten; by chance 200 draws may show 30 (binomial, 99 %).
    assert 5 <= times <= 30


def test_a_number_that_leans_less_is_never_surer():
    rng = np.random.default_rng(5)
    for _ in range(20):
        found = chances({str(k): list(rng.normal(k / 3, 1, 7)) for k in range(5)})
        assert all(0 < each <= 1 for each in found.values())
    both = chances({"strong": [1.0] * 8, "weak": [0.0] * 3 + [1.0] * 5})
    assert both["strong"] <= both["weak"]


def test_many_songs_take_no_longer_than_a_moment_and_say_the_same_twice():
    leanings = {"a": [0.3] * 30, "b": list(itertools.islice(itertools.cycle((1.0, -1.0)), 30))}
    assert chances(leanings) == chances(leanings)
    assert chances(leanings)["a"] < 0.001 < 0.5 < chances(leanings)["b"]


# Numbers and files.


def test_a_number_stays_within_what_the_style_allows_and_whole_where_it_has_to():
    assert bounded_number("fades.subtle_up_bars", 9.2) == 4
    assert bounded_number("fades.subtle_up_bars", 1.34) == 1
    assert bounded_number("looks.ceiling.lift", 95) == 80
    assert bounded_number("fades.out_beats.lift", 0.2) == 1


def test_numbers_that_do_not_go_together_make_no_style():
    assert styled(BAND, {"looks.ceiling.lift": 20.0}) is None
    assert styled(BAND, {"fades.lift_up_beats": 4.0}).fades.lift_up_beats == 4


def test_a_style_that_is_written_is_read_as_it_was_meant(tmp_path):
    numbers = {"shots.most_per_song": 2.0, "looks.ceiling.lift": 55.0, "fades.lift_up_beats": 1.5, "drive.rest": 0.13}
    reasons = dict.fromkeys(numbers, 'In 7 of 8 songs\n[fades]\n"quoted" \\ and more')
    file = tmp_path / "mine.toml"
    file.write_text(style_text("band", 'Ours: "x" \\', numbers, reasons), encoding="utf-8")
    style = load_profile(file)
    assert {key: number_of(style, key) for key in numbers} == numbers
    assert (style.name, style.about) == ("mine", 'Ours: "x" \\')
    assert replace(styled(BAND, numbers), name=style.name, about=style.about) == style


# The command.


def test_learn_shows_each_proposal_with_its_evidence_and_writes_none_where_nobody_can_be_asked(
    run, gone_through, tmp_path
):
    before = {path: path.read_bytes() for path in gone_through.iterdir()}
    code, out, err = run("learn", gone_through, "-o", tmp_path / "mine.toml", columns=200)
    assert code == 2
    assert "In 7 of 8 songs you took one-shots out" in out
    assert "shots.most_per_song: 10 becomes 2 (one-shots)." in out
    assert "Chance alone would bring that about in about one case in 64." in out
    assert "All of it together: drafts of songs left out need" in out
    assert "nobody is there to be asked" in err
    assert not (tmp_path / "mine.toml").exists()
    assert {path: path.read_bytes() for path in gone_through.iterdir()} == before


def test_learn_writes_what_was_found_as_a_style_that_finds_its_base_from_where_it_lies(
    run, gone_through, tmp_path, found
):
    base, mine = tmp_path / "styles" / "base.toml", tmp_path / "new" / "mine.toml"
    for folder in (base.parent, mine.parent):
        folder.mkdir()
    base.write_text('based_on = "band"\n')
    code, out, err = run("learn", gone_through, "--profile", base, "-o", mine, "--yes")
    assert (code, err) == (0, "")
    assert out.endswith(f"Written: {mine}\nUse it with: cuesuggest suggest SONG --profile {mine}\n")
    assert 'based_on = "./../styles/base.toml"' in mine.read_text()
    assert "In 7 of 8 songs you took one-shots out" in joined(mine.read_text().replace("# ", ""))
    moved = tmp_path / "moved"
    moved.mkdir()
    shutil.move(base.parent, moved)
    shutil.move(mine.parent, moved)
    assert replace(load_profile(moved / "new" / "mine.toml"), name="", about="") == replace(
        found.style, name="", about=""
    )


def test_learn_asks_on_a_terminal_for_each_proposal_and_takes_those_with_a_yes(gone_through, tmp_path):
    mine = tmp_path / "mine.toml"
    words = [sys.executable, "-m", "cuesuggest", "learn", str(gone_through), "-o", str(mine)]
    shown, code = on_a_terminal(words, answer="n\ny\n")
    assert code == 0
    assert "Take 1 (One-shots)? [y/N]" in shown
    style = load_profile(mine)
    assert style.shots == BAND.shots
    assert style.looks.ceiling.lift < BAND.looks.ceiling.lift


def test_learn_never_writes_over_the_base_or_a_document(run, gone_through, tmp_path):
    below, base = tmp_path / "below.toml", tmp_path / "base.toml"
    below.write_text('based_on = "band"\n')
    base.write_text('based_on = "below.toml"\n')
    document = next(gone_through.glob("*.cues.json"))
    for target in (base, below, document):
        before = target.read_bytes()
        code, _, err = run("learn", gone_through, "--profile", base, "-o", target, "--yes", "--force")
        assert code == 2
        assert "never written over" in joined(err)
        assert target.read_bytes() == before


def test_the_new_style_goes_to_standard_output_alone_and_what_is_said_beside_it(run, gone_through):
    code, out, err = run("learn", gone_through, "-o", "-", "--yes")
    assert code == 0
    assert out.startswith('based_on = "band"\n')
    assert "In 7 of 8 songs" in joined(err)


def test_too_few_songs_are_told_with_why_the_others_do_not_count(run, gone_through, tmp_path):
    few = sorted(gone_through.glob("*.cues.json"))[:3]
    code, out, err = run("learn", *few, columns=300)
    assert code == 2
    assert "It takes 6 songs that were drafted in band and gone through" in err
    assert "here are 3 such songs. Nothing was written." in err
    code, out, err = run("learn", gone_through, "--profile", "gentle", columns=300)
    assert code == 2
    assert out.count("Left out: ") == 8
    assert "name its style with --profile" in joined(out)
    assert "here is none. Nothing was written." in err


def test_a_document_that_is_broken_is_told_and_nothing_written(run, gone_through, tmp_path):
    folder = shutil.copytree(gone_through, tmp_path / "songs")
    broken = folder / "song-2.cues.json"
    broken.write_text(json.dumps({"cuesuggest": 1}))
    code, _, err = run("learn", folder, "-o", tmp_path / "mine.toml", "--yes")
    assert code == 2
    assert "song-2.cues.json" in err
    assert "Traceback" not in err
    assert not (tmp_path / "mine.toml").exists()
