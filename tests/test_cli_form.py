"""`cuesuggest correct --form`: the band's sheet becomes the sections of the song."""

import json

import pytest

from cuesuggest.song import FormCorrection, Song
from tests.sounds import play

pytestmark = pytest.mark.filterwarnings("default")

FORM = "verse 8, chorus 8, verse 8, chorus 8 x2"


@pytest.fixture(scope="module")
def suggested(take, tmp_path_factory):
    """A folder with the recording and its document."""
    from cuesuggest.draft.drafting import draft_file

    folder = tmp_path_factory.mktemp("formed")
    (folder / "evening.wav").write_bytes(take.path.read_bytes())
    draft_file(folder / "evening.wav")
    return folder


@pytest.fixture
def document(suggested, tmp_path):
    for file in suggested.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path / "evening.cues.json"


@pytest.fixture(scope="module")
def suggested_sample(sample_path, tmp_path_factory):
    from cuesuggest.draft.drafting import draft_file

    folder = tmp_path_factory.mktemp("sample")
    (folder / sample_path.name).write_bytes(sample_path.read_bytes())
    draft_file(folder / sample_path.name)
    return folder


@pytest.fixture
def sample(suggested_sample, tmp_path):
    for file in suggested_sample.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return tmp_path / "first_light.cues.json"


def content(path):
    """The document without what every change moves on."""
    song = json.loads(path.read_text(encoding="utf-8"))
    return {name: value for name, value in song.items() if name not in ("revision", "history", "undone")}


def sections(path):
    return Song.load(path).analysis.sections


def names(path):
    return [section.name for section in sections(path)]


def letters(path):
    return [section.label[0] for section in sections(path)]


def test_sections_get_the_names_of_the_form_in_its_order_and_letters_follow_names(run, document):
    code, out, err = run("correct", document, "--form", FORM)
    assert (code, err) == (0, "")
    assert f"Stated: form: {FORM}." in out
    assert names(document) == ["verse", "chorus", "verse", "chorus", "chorus"]
    assert [section.first_bar for section in sections(document)] == [1, 9, 17, 25, 33]
    assert letters(document) == ["A", "B", "A", "B", "B"]
    assert [section.pass_ for section in sections(document)] == [1, 1, 2, 2, 3]


def test_lengths_are_found_where_none_are_given_and_capitals_make_no_difference(run, document):
    assert run("correct", document, "--form", "Verse chorus verse Chorus")[0] == 0
    assert names(document) == ["Verse", "chorus", "verse", "Chorus"]
    assert letters(document) == ["A", "B", "A", "B"]


def test_a_form_is_taken_back_without_a_trace(run, document):
    as_it_was = content(document)
    run("correct", document, "--form", "opening 12, middle 12, end")
    assert names(document) == ["opening", "middle", "end"]
    assert run("edit", document, "undo")[0] == 0
    assert content(document) == as_it_was


def test_the_same_form_said_twice_is_said_once(run, document):
    run("correct", document, "--form", FORM)
    once = content(document)
    run("correct", document, "--form", "verse 8 chorus 8 verse 8 chorus 8 chorus 8")
    assert content(document) == once


def test_a_form_holds_when_the_song_is_suggested_again(run, document):
    run("correct", document, "--form", FORM)
    stated = Song.load(document)
    assert run("--quiet", "suggest", document.parent / "evening.wav", "--profile", "gentle")[0] == 0
    again = Song.load(document)
    assert again.corrections == stated.corrections == (FormCorrection(FORM),)
    assert again.analysis == stated.analysis


def test_a_form_holds_when_bars_are_put_right_and_is_said_with_them(run, document):
    run("correct", document, "--form", FORM, "--tempo", "112")
    run("correct", document, "--shift-bar", "1")
    assert names(document) == ["verse", "chorus", "verse", "chorus", "chorus"]
    assert f"form: {FORM}" in run("correct", document)[1].splitlines()


def test_a_form_is_listed_and_forgotten_when_asked(run, document):
    as_it_was = content(document)
    run("correct", document, "--form", FORM)
    assert run("correct", document)[1].splitlines() == [f"form: {FORM}"]
    run("correct", document, "--forget")
    assert content(document) == as_it_was
    assert "Nothing was stated" in run("correct", document)[1]


def test_first_words_of_the_form_are_those_of_its_sections(run, document):
    run("correct", document, "--form", 'verse 8 "when the morning comes", chorus 8, verse 8, chorus 8 x2')
    assert [section.first_words for section in sections(document)] == ["when the morning comes", "", "", "", ""]


def test_a_form_is_that_of_the_song_whatever_the_recording(run, document):
    run("correct", document, "--form", FORM)
    play(document.parent / "evening.wav", "A8 B8 A8 B8 B8", bpm=100)
    assert run("suggest", document, "--carry-over")[0] == 0
    assert names(document) == ["verse", "chorus", "verse", "chorus", "chorus"]
    assert Song.load(document).analysis.tempo_bpm == pytest.approx(100, rel=0.02)


@pytest.mark.parametrize("at", ["@", ""])
def test_a_form_is_read_from_a_file(run, document, tmp_path, monkeypatch, at):
    sheet = tmp_path / "sheet"
    sheet.write_text("# on the sheet\nverse 8\nchorus 8\n\nverse 8\nchorus 8 x2\n", encoding="utf-8-sig")
    assert run("correct", document, "--form", f"{at}{sheet}")[0] == 0
    assert Song.load(document).corrections == (FormCorrection(FORM),)


def test_numbers_that_count_verses_are_told(run, document):
    out = run("correct", document, "--form", "verse 1, chorus 8, verse 2, chorus 8 x2")[1]
    assert "“verse 1, verse 2”" in out
    assert Song.load(document).corrections == (FormCorrection("verse, chorus 8, verse, chorus 8 x2"),)


# the form, what the message says
WRONG = [
    ("verse 0, chorus", "The form, column 7"),
    ("", "no parts"),
    ("@missing.txt", "missing.txt"),
    ("missing.txt", "missing.txt"),
    ("@.", "is a folder"),
    ("@", "is a folder"),
    ("verse\0", "cannot be shown"),
    ("a, " * 300, "200 parts"),
    ("verse x100", "100 parts"),
]


@pytest.mark.parametrize(("form", "says"), WRONG)
def test_what_is_no_form_is_refused_and_nothing_is_changed(run, document, form, says):
    before = document.read_bytes()
    code, _, err = run("correct", document, "--form", form)
    assert code == 2
    assert says in err
    assert document.read_bytes() == before


def test_a_broken_line_of_a_file_is_named(run, document, tmp_path):
    sheet = tmp_path / "sheet.txt"
    sheet.write_text("verse 8\n\nchorus 8 bars long\n", encoding="utf-8")
    code, _, err = run("correct", document, "--form", f"@{sheet}")
    assert code == 2
    assert "sheet.txt, line 3, column 15" in err


def test_a_form_of_a_recording_without_music_does_no_harm(run, tmp_path):
    import numpy as np
    import soundfile

    soundfile.write(tmp_path / "still.wav", np.zeros(4 * 22050), 22050)
    run("--quiet", "suggest", tmp_path / "still.wav")
    document = tmp_path / "still.cues.json"
    assert run("correct", document, "--form", FORM)[0] == 0
    assert sections(document) == ()


def test_the_sheet_of_the_bundled_song_puts_its_sections_on_their_bars(run, sample, sample_truth):
    """In bars of the song: intro 8, verse, chorus, verse, chorus, bridge of 8 each, build 5, last chorus 16, tag."""
    as_it_was = content(sample)
    form = "intro 8, (verse 8, chorus 8) x2, bridge 8, build 5, last chorus 16, tag"
    assert run("correct", sample, "--form", form)[0] == 0
    assert names(sample) == [
        "intro", "verse", "chorus", "verse", "chorus", "bridge", "build", "last chorus", "tag",
    ]  # fmt: skip
    starts = [section["start"] for section in sample_truth["sections"]]
    assert [section.start for section in sections(sample)] == pytest.approx(starts, abs=0.1)
    pairs = set(zip(names(sample), letters(sample), strict=True))
    assert len(pairs) == len(set(names(sample))) == len(set(letters(sample))), "a letter for every name"
    assert run("edit", sample, "undo")[0] == 0
    assert content(sample) == as_it_was
