"""`cuesuggest correct`: one word puts the bars right, for good."""

import json
import time

import numpy as np
import pytest

from cuesuggest.song import Song

pytestmark = pytest.mark.filterwarnings("default")


@pytest.fixture(scope="module")
def suggested(take, tmp_path_factory):
    """A folder with the recording and its document."""
    from cuesuggest.draft.drafting import draft_file

    folder = tmp_path_factory.mktemp("corrected")
    (folder / "evening.wav").write_bytes(take.path.read_bytes())
    draft_file(folder / "evening.wav")
    return folder


@pytest.fixture
def document(suggested, tmp_path):
    for file in suggested.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path / "evening.cues.json"


def content(path):
    """The document without what every change moves on."""
    song = json.loads(path.read_text(encoding="utf-8"))
    return {name: value for name, value in song.items() if name not in ("revision", "history", "undone")}


def test_a_document_that_cannot_be_saved_is_told_before_the_song_is_heard_anew(run, document, monkeypatch):
    def hears(*_, **__):
        raise AssertionError("the song was heard anew")

    monkeypatch.setattr("cuesuggest.draft.settling.settled", hears)
    document.chmod(0o444)
    code, out, err = run("correct", document, "--half")
    assert (code, out, "is write-protected" in err) == (2, "", True)


# words, what must hold of the song before and after
STATEMENTS = [
    (("--half",), lambda a, b: b.tempo_bpm == pytest.approx(a.tempo_bpm / 2, rel=0.02)),
    (("--double",), lambda a, b: b.tempo_bpm == pytest.approx(a.tempo_bpm * 2, rel=0.02)),
    (("--tempo", "112"), lambda a, b: b.tempo_bpm == pytest.approx(112, rel=0.02)),
    (("--meter", "3/4"), lambda a, b: {bar.time_signature for bar in b.bars} == {"3/4"}),
    (("--shift-bar", "1"), lambda a, b: near(starts(a), starts(b), 60 / 112)),
    (("--shift-bar", "-2"), lambda a, b: near(starts(a), starts(b), -120 / 112)),
    (("--bar-one-at", "9.8"), lambda a, b: abs(next(x.start for x in b.bars if x.number == 1) - 9.8) < 0.3),
]  # fmt: skip


def starts(analysis):
    return [bar.start for bar in analysis.bars]


def near(before, after, shift):
    """Whether nearly all bar lines lie where the old ones, moved by a shift, would."""
    moved = np.array(before) + shift
    return np.mean([np.abs(moved - line).min() < 0.07 for line in after]) > 0.9


@pytest.mark.parametrize(("words", "holds"), STATEMENTS)
def test_what_is_stated_holds_and_is_taken_back_without_a_trace(run, document, words, holds):
    before, as_it_was = Song.load(document), content(document)
    code, out, err = run("correct", document, *words)
    assert (code, err) == (0, "")
    assert "Stated" in out
    after = Song.load(document)
    assert after.corrections
    assert holds(before.analysis, after.analysis)
    assert run("edit", document, "undo")[0] == 0
    assert content(document) == as_it_was


def test_the_same_said_twice_is_said_once(run, document):
    run("correct", document, "--tempo", "56")
    once = content(document)
    run("correct", document, "--tempo", "56")
    assert content(document) == once


def test_a_statement_from_a_bar_on_leaves_the_bars_before_it(run, document):
    before = Song.load(document).analysis
    assert run("correct", document, "--shift-bar", "1", "--from-bar", "17")[0] == 0
    after = Song.load(document).analysis
    early = [bar.start for bar in before.bars if bar.number < 16]
    assert near(early, [bar.start for bar in after.bars if bar.number < 16], 0)
    late = [bar.start for bar in before.bars if bar.number >= 17]
    assert near(late, [bar.start for bar in after.bars if bar.number >= 18], 60 / 112)


def test_tapped_bar_lines_are_bar_lines(run, document, tmp_path):
    beat = 60 / 112
    lines = [bar.start + beat for bar in Song.load(document).analysis.bars[2:12]]
    taps = tmp_path / "taps.txt"
    taps.write_text("".join(f"{line + 0.02 * (-1) ** k:.3f}\n" for k, line in enumerate(lines)), encoding="utf-8")
    assert run("correct", document, "--downbeats", taps)[0] == 0
    found = np.array(Song.load(document).analysis.downbeats)
    assert max(np.abs(found - line).min() for line in lines) < 0.07


def test_statements_hold_when_the_song_is_suggested_again(run, document):
    run("correct", document, "--half")
    stated = Song.load(document)
    assert run("--quiet", "suggest", document.parent / "evening.wav", "--profile", "gentle")[0] == 0
    again = Song.load(document)
    assert again.corrections == stated.corrections
    assert again.analysis == stated.analysis


def test_a_decided_cue_keeps_its_bar_when_bars_move_and_its_time_when_they_are_counted_anew(run, document):
    song = Song.load(document)
    chosen = next(
        cue for cue in song.cues if (cue.place.bar or 0) > 1 and cue.kind in ("cut-in", "crossfade", "fade-in")
    )
    run("edit", document, "accept", f"{chosen.number:g}")
    run("correct", document, "--shift-bar", "1")
    moved = next(cue for cue in Song.load(document).cues if cue.id == chosen.id)
    assert (moved.place.bar, moved.place.beat) == (chosen.place.bar, chosen.place.beat)
    assert moved.place.seconds == pytest.approx(chosen.place.seconds + 60 / 112, abs=0.07)
    run("edit", document, "undo")
    run("correct", document, "--double")
    kept = next(cue for cue in Song.load(document).cues if cue.id == chosen.id)
    assert kept.place.seconds == pytest.approx(chosen.place.seconds, abs=0.07)
    assert kept.place.bar != chosen.place.bar


def test_without_words_what_is_stated_is_listed_and_forgotten_when_asked(run, document):
    assert "Nothing was stated" in run("correct", document)[1]
    run("correct", document, "--meter", "4/4", "--tempo", "112")
    assert run("correct", document)[1].splitlines() == ["112 BPM from 0.00 to " + _end(document), "4/4 from 0.00 s on"]
    run("correct", document, "--forget")
    assert Song.load(document).corrections == ()


def _end(document):
    return f"{Song.load(document).recording.window.end:.2f} s"


# words, what the message says
WRONG = [
    (("--tempo", "3"), "20 to 400"),
    (("--tempo", "nan"), "20 to 400"),
    (("--shift-bar", "1e308"), "-99 to 99"),
    (("--bar-one-at", "1e9"), "no time"),
    (("--bar-one-at", "999999:00:00"), "more than a day"),
    (("--starts", f"A{'9' * 5000}", "3"), "There is no section"),
    (("--meter", "4"), "time signature"),
    (("--bar-one-at", "99:00"), "outside"),
    (("--downbeats", "missing.txt"), "missing.txt"),
    (("--tempo", "80", "--half"), "either a tempo"),
    (("--half", "--from-bar", "999"), "last bar"),
]


@pytest.mark.parametrize(("words", "says"), WRONG)
def test_what_cannot_be_is_refused_and_nothing_is_changed(run, document, words, says):
    before = document.read_bytes()
    code, _, err = run("correct", document, *words)
    assert code == 2
    assert says in err
    assert document.read_bytes() == before


@pytest.mark.parametrize(
    ("taps", "says"),
    [
        ("2.0\nnan\n", "line 2: 'nan' is no time"),
        ("2.0\ninf\n", "line 2: 'inf' is no time"),
        ("2.0\n" + "9" * 5000, "line 2: '99"),
        ("".join(f"{3 + 1e-5 * k:.5f}\n" for k in range(20_000)), "are too near for two bar lines"),
        ("".join(f"{3 + 1e-5 * k:.5f}\n" for k in range(120_000)), "at most 20000 are kept"),
        ("".join(f"{3 + 1e-5 * k:.5f}\n" for k in range(200_000)), "has more than 1 MiB"),
    ],
)
def test_taps_that_cannot_be_bar_lines_are_refused(run, document, tmp_path, taps, says):
    (tmp_path / "taps.txt").write_text(taps, encoding="utf-8")
    code, _, err = run("correct", document, "--downbeats", tmp_path / "taps.txt")
    assert (code, says in err) == (2, True)
    assert len(err) < 500


def test_nothing_can_be_stated_about_times_of_another_file(run, document):
    (document.parent / "evening.wav").write_bytes(b"RIFF")
    assert run("correct", document, "--half")[0] == 2


def test_an_answer_comes_at_once_from_what_was_kept(document):
    from cuesuggest.decide import statements
    from cuesuggest.draft.settling import settled
    from cuesuggest.song import change

    song = Song.load(document)
    stated = change(song, statements.tempo_times(song, "half"), by="test")
    (document.parent / "evening.wav").touch()
    begin = time.process_time()
    settled(song, stated, document)
    assert time.process_time() - begin < 2.0  # a minute and a half of music; not a benchmark, a guard
