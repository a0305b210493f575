"""Saving: whole or not at all, never over somebody else's work, nothing left lying about."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path

import pytest
from filelock import FileLock

from cuesuggest.errors import DocumentError
from cuesuggest.song import SetTitle, Song, change, files, undo
from tests.songs import make_song

posix = pytest.mark.skipif(os.name != "posix", reason="permissions, links and limits as POSIX has them")


@pytest.fixture
def path(tmp_path):
    """A saved song's document, alone in its folder."""
    path = tmp_path / "paper-boats.cues.json"
    make_song().save(path)
    return path


def renamed(song, title):
    return change(song, SetTitle(title), by="command line")


def test_a_saved_song_is_loaded_again(path):
    assert Song.load(path) == make_song()
    assert Song.load(str(path)).to_json() == path.read_bytes()


def test_a_changed_song_replaces_the_one_it_was_made_from(path):
    song = renamed(Song.load(path), "Tin Roof")
    song.save(path)
    renamed(renamed(song, "Tin Hat"), "Tin Cup").save(path)
    assert Song.load(path).title == "Tin Cup"
    undo(Song.load(path)).save(path)
    assert (Song.load(path).title, Song.load(path).revision) == ("Tin Hat", 4)


def test_nothing_is_left_beside_the_document(path):
    renamed(Song.load(path), "Tin Roof").save(path)
    assert [each.name for each in path.parent.iterdir()] == [path.name]


def test_who_saves_second_is_told_and_the_first_keeps_what_was_saved(path):
    mine, yours = Song.load(path), Song.load(path)
    renamed(yours, "Yours").save(path)
    with pytest.raises(DocumentError, match=r"changed by somebody else: it holds revision 1, .* revision 0\. Open"):
        renamed(mine, "Mine").save(path)
    with pytest.raises(DocumentError, match="changed by somebody else"):
        renamed(renamed(mine, "Mine"), "Mine again").save(path)
    assert Song.load(path).title == "Yours"


def test_other_content_under_the_same_revision_is_refused(path):
    with pytest.raises(DocumentError, match="holds revision 0 with other content"):
        Song.load(path).replaced(title="Tin Roof").save(path)
    assert Song.load(path).title == "Paper Boats"


def test_a_new_song_never_replaces_a_document_it_does_not_come_from(path, tmp_path):
    with pytest.raises(DocumentError, match="exists already and was not opened to be changed"):
        make_song(title="Tin Roof").save(path)
    other = tmp_path / "other.cues.json"
    make_song(title="Other").save(other)
    with pytest.raises(DocumentError, match="exists already"):
        renamed(Song.load(path), "Tin Roof").save(other)
    assert Song.load(other).title == "Other"


def test_saving_what_is_there_already_is_no_conflict(path):
    make_song().save(path)
    assert Song.load(path) == make_song()


def test_a_song_can_be_saved_under_another_name(path, tmp_path):
    song = renamed(Song.load(path), "Tin Roof")
    song.save(tmp_path / "tin-roof.cues.json")
    assert Song.load(path).title == "Paper Boats"
    assert Song.load(tmp_path / "tin-roof.cues.json") == song


def test_a_draft_that_names_the_revision_it_replaces_may_replace_it(path):
    fresh = make_song(title="Drafted again", revision=1)
    with pytest.raises(DocumentError, match="it holds revision 0, this change is based on revision 7"):
        fresh.save(path, expected_revision=7)
    fresh.save(path, expected_revision=0)
    assert Song.load(path).title == "Drafted again"


def test_a_file_that_is_no_document_is_never_replaced(tmp_path):
    notes = tmp_path / "notes.json"
    notes.write_text('{"format": "notes"}')
    with pytest.raises(DocumentError, match="exists already"):
        make_song().save(notes)
    with pytest.raises(DocumentError, match="is not a song document"):
        make_song().save(notes, expected_revision=0)
    assert notes.read_text() == '{"format": "notes"}'


def test_a_newer_document_is_not_replaced_by_an_older_program(path):
    newer = path.read_text().replace('"version": 1', '"version": 2', 1)
    path.write_text(newer)
    with pytest.raises(DocumentError, match="written by a newer cuesuggest"):
        make_song(revision=1).save(path, expected_revision=0)
    assert path.read_text() == newer


@posix
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_the_permissions_of_a_document_stay_as_they_are(path, mode):
    path.chmod(mode)
    renamed(Song.load(path), "Tin Roof").save(path)
    assert stat.S_IMODE(path.stat().st_mode) == mode


@posix
def test_a_new_document_has_the_permissions_that_any_new_file_gets(path):
    other = path.with_name("other")
    other.touch()
    assert path.stat().st_mode == other.stat().st_mode


@posix
def test_a_write_protected_document_is_not_replaced(path):
    song = renamed(Song.load(path), "Tin Roof")
    path.chmod(0o444)
    with pytest.raises(DocumentError, match="is write-protected"):
        song.save(path)
    assert Song.load(path).title == "Paper Boats"


@posix
def test_a_link_stays_a_link_and_leads_to_what_was_saved(path, tmp_path):
    (tmp_path / "links").mkdir()
    link = tmp_path / "links" / "today.cues.json"
    link.symlink_to(path)
    renamed(Song.load(link), "Tin Roof").save(link)
    assert link.is_symlink()
    assert Song.load(path).title == "Tin Roof"
    renamed(Song.load(path), "Tin Hat").save(link)
    assert [each.name for each in link.parent.iterdir()] == [link.name]


def test_what_cannot_be_read_or_written_is_told(tmp_path):
    with pytest.raises(DocumentError, match="was not found"):
        Song.load(tmp_path / "none.cues.json")
    with pytest.raises(DocumentError, match="is a folder"):
        Song.load(tmp_path)
    with pytest.raises(DocumentError, match="is a folder"):
        make_song().save(tmp_path)
    with pytest.raises(DocumentError, match="There is no folder"):
        make_song().save(tmp_path / "none" / "song.cues.json")
    with pytest.raises(DocumentError, match="could not be saved: file name too long"):
        make_song().save(tmp_path / ("x" * 300))


def in_a_child(code, *arguments):
    """Run Python apart from this process, so that its limits and its end are its own."""
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parent.parent,
        timeout=60,
        check=False,
    )


FULL_DISK = """
    import resource, sys
    from cuesuggest.errors import DocumentError
    from cuesuggest.song import SetTitle, Song, change

    song = change(Song.load(sys.argv[1]), SetTitle("Tin Roof"), by="page")
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]),) * 2)
    try:
        song.save(sys.argv[1])
    except DocumentError as error:
        sys.exit(str(error))
"""


@posix
@pytest.mark.parametrize(
    ("room", "why"), [(0, "no usable temporary directory"), (5000, "file too large")], ids=["none", "too little"]
)
def test_without_room_on_the_disk_the_old_document_stays_and_nothing_else(path, room, why):
    before = path.read_bytes()
    child = in_a_child(FULL_DISK, path, room)
    assert child.returncode == 1
    assert f"{path} could not be saved: {why}" in child.stderr
    assert "Make room or choose another folder" in child.stderr
    assert "Traceback" not in child.stderr
    assert path.read_bytes() == before
    assert [each.name for each in path.parent.iterdir()] == [path.name]


@posix
def test_a_replacement_that_fails_leaves_nothing_behind(path, monkeypatch):
    before = path.read_bytes()

    def fail(*_):
        raise OSError(5, "Input/output error")

    song = renamed(Song.load(path), "Tin Roof")
    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(DocumentError, match="could not be saved: input/output error"):
        song.save(path)
    assert path.read_bytes() == before
    assert [each.name for each in path.parent.iterdir()] == [path.name]


def test_file_and_folder_are_on_the_disk_before_a_save_is_done(path, monkeypatch):
    done = []
    real_sync, real_replace = os.fsync, os.replace

    def sync(descriptor):
        done.append("folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file")
        real_sync(descriptor)

    def put(fresh, target):
        done.append("replace")
        real_replace(fresh, target)

    song = renamed(Song.load(path), "Tin Roof")
    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(os, "replace", put)
    song.save(path)
    assert done == (["file", "replace", "folder"] if os.name == "posix" else ["file", "replace"])


def test_a_save_that_another_program_holds_up_ends_in_a_sentence(path, monkeypatch, tmp_path):
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    monkeypatch.setattr(files, "LOCK_SECONDS", 0.05)
    song = renamed(Song.load(path), "Tin Roof")
    song.save(path)
    (lock,) = (tmp_path / "temporary").rglob("*.lock")
    with FileLock(lock), pytest.raises(DocumentError, match="is being saved by another program"):
        renamed(song, "Tin Hat").save(path)
    assert Song.load(path).title == "Tin Roof"
    renamed(song, "Tin Hat").save(path)


RACER = """
    import sys, time
    from cuesuggest.errors import DocumentError
    from cuesuggest.song import SetTitle, Song, change

    done = 0
    while done < 5:
        song = change(Song.load(sys.argv[1]), SetTitle(sys.argv[2]), by="page")
        try:
            song.save(sys.argv[1])
            done += 1
        except DocumentError as error:
            assert "changed by somebody else" in str(error) or "other content" in str(error), error
"""


def test_two_programs_that_save_at_once_lose_no_change(path):
    command = [sys.executable, "-c", textwrap.dedent(RACER), str(path)]
    root = Path(__file__).parent.parent
    racers = [subprocess.Popen([*command, name], cwd=root, stderr=subprocess.PIPE) for name in ("one", "two")]
    for racer in racers:
        _, told = racer.communicate(timeout=60)
        assert racer.returncode == 0, told.decode()
    song = Song.load(path)
    assert (song.revision, len(song.history)) == (10, 10)
    assert sorted(entry.edit.title for entry in song.history) == ["one"] * 5 + ["two"] * 5
