"""Editions: what is marked on the next print, and what `--changed` prints."""

from __future__ import annotations

import json

import pytest

from cuesuggest.draft.again.merge import merged
from cuesuggest.draft.again.same_sound import compare
from cuesuggest.errors import DocumentError
from cuesuggest.song import SetCue, SetSection, SetTitle, Song, apply, change
from cuesuggest.song.printed import changes, note_print, printed_now
from tests.reading import text_of
from tests.songs import make_cue, make_song, place_at

DATE = "2031-05-04"


def printed(song, date=DATE):
    return song.replaced(printed=printed_now(song, date), numbers_frozen=True)


def test_before_the_first_print_nothing_is_marked_and_everything_is_to_be_printed():
    found = changes(make_song())
    assert (found.edition, found.changed, found.removed, found.anything) == (1, (), (), True)


def test_printed_again_without_a_change_it_is_the_same_edition():
    found = changes(printed(make_song()))
    assert (found.edition, found.changed, found.removed, found.anything) == (1, (), (), False)


# (what is done, ids that are marked, numbers that are gone)
EDITS = {
    "a level": (SetCue("cut-in/3", {"level": 50}), ("cut-in/3",), ()),
    "a note": (SetCue("recall/2", {"note": "slowly"}), ("recall/2",), ()),
    "a name of a person": (SetCue("recall/2", {"who": "Nadia"}), ("recall/2",), ()),
    "left out": (SetCue("recall/2", {"status": "rejected"}), (), (2.0,)),
    "accepted only": (SetCue("recall/2", {"status": "accepted"}), (), ()),
    "locked only": (SetCue("recall/2", {"lock": True}), (), ()),
}


@pytest.mark.parametrize(("edit", "changed", "removed"), EDITS.values(), ids=EDITS)
def test_what_a_reader_sees_is_marked_and_nothing_else(edit, changed, removed):
    found = changes(apply(printed(make_song()), edit))
    assert (found.changed, found.removed) == (changed, removed)
    assert found.anything is bool(changed or removed)
    assert found.edition == 1 + found.anything


def test_an_insert_between_frozen_numbers_is_marked():
    song = printed(make_song("A8 B8 A8"))
    insert = make_cue(2.5, "one-shot", place_at(song.analysis, 8), look="lift")
    assert changes(song.replaced(cues=[*song.cues, insert])).changed == ("one-shot/2.5",)


@pytest.mark.parametrize("edit", [SetTitle("Tin Boats"), SetSection("s2", {"name": "Chorus"})])
def test_a_new_title_or_name_is_a_new_edition_without_marks(edit):
    found = changes(apply(printed(make_song()), edit))
    assert (found.changed, found.anything, found.edition) == ((), True, 2)


def test_a_cue_that_only_sounds_elsewhere_in_the_file_is_not_marked():
    song = printed(make_song("A8 B8", start=2.0))
    later = make_song("A8 B8", start=5.0)
    assert changes(later.replaced(printed=song.printed)).changed == ()


def test_everybody_who_gets_the_same_edition_gets_the_same_marks():
    song = printed(apply(printed(make_song()), SetCue("cut-in/3", {"level": 50})))
    again = changes(song)
    assert (again.edition, again.changed, again.anything) == (2, ("cut-in/3",), False)
    third = changes(apply(song, SetCue("recall/2", {"note": "early"})))
    assert (third.edition, third.changed) == (3, ("recall/2",))


def test_the_document_keeps_what_was_printed(tmp_path):
    path = tmp_path / "song.cues.json"
    song = make_song()
    song.save(path)
    note_print(Song.load(path), path, DATE)
    kept = Song.load(path)
    assert kept.numbers_frozen
    assert kept.revision == song.revision + 1
    assert kept.printed.date == DATE
    assert [(each.id, each.number) for each in kept.printed.cues] == [(cue.id, cue.number) for cue in song.cues]
    note_print(kept, path, "2031-06-01")  # the same edition: nothing is written
    assert Song.load(path) == kept


def test_a_document_from_before_there_were_editions_opens():
    data = json.loads(make_song().to_json())
    del data["printed"]
    assert Song.from_json(json.dumps(data).encode()).printed is None


def test_editions_are_checked_like_everything_in_a_document():
    data = json.loads(printed(make_song()).to_json())
    data["printed"]["edition"] = 0
    with pytest.raises(DocumentError, match=r"printed\.edition: must be 1 or more"):
        Song.from_json(json.dumps(data).encode())


def test_the_command_marks_changed_lines_and_prints_only_what_has_changed(run, tmp_path):
    path = tmp_path / "song.cues.json"
    make_song("A8 B8 A8").save(path)
    page = tmp_path / "song.page.pdf"
    code, _, _ = run("export", path, "--to", "page.pdf")
    assert code == 0
    assert "*" not in text_of(page.read_bytes())
    first = page.read_bytes()
    code, out, _ = run("export", path, "--to", "page.pdf", "--force", "--changed")
    assert (code, page.read_bytes()) == (0, first)
    assert "is as it was at the last print; nothing was written" in out
    change(Song.load(path), SetCue("cut-in/3", {"level": 50}), by="test").save(path)
    code, _, _ = run("export", path, "--to", "page.pdf", "--force", "--changed")
    assert code == 0
    text = text_of(page.read_bytes())
    assert "3*" in text
    assert "2*" not in text
    assert "* is new or not as at the last print." in text


def test_a_file_for_a_desk_is_no_print(run, tmp_path):
    path = tmp_path / "song.cues.json"
    make_song().save(path)
    run("export", path, "--to", "csv")
    kept = Song.load(path)
    assert (kept.numbers_frozen, kept.printed) == (True, None)


def test_a_new_draft_keeps_what_was_printed():
    old = printed(make_song("A8 B8 A8"))
    fresh = make_song("A8 B8 A8")
    song, _ = merged(old, fresh, compare(old.analysis, fresh.analysis))
    assert song.printed == old.printed
