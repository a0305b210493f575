"""Saving: whole or not at all, never over somebody else's work, nothing left lying about."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from cuesuggest.errors import DocumentError
from cuesuggest.song import SetTitle, Song, change, check_savable, saving_turn, undo
from cuesuggest.song.atomic import replace_file
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
@pytest.mark.parametrize("room", [0, 5000], ids=["none", "too little"])
def test_without_room_on_the_disk_the_old_document_stays_and_nothing_else(path, room):
    before = path.read_bytes()
    child = in_a_child(FULL_DISK, path, room)
    assert child.returncode == 1
    assert f"{path} could not be saved: file too large" in child.stderr
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


def nothing_beside(path):
    return [each.name for each in path.parent.iterdir()] == [path.name]


@pytest.fixture
def without_locks(monkeypatch):
    """A file system that refuses locks, as some network drives do."""
    fcntl = pytest.importorskip("fcntl")

    def refuse(*_):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", refuse)


@posix
def test_a_save_that_another_program_holds_up_ends_in_a_sentence(path, monkeypatch):
    import fcntl

    monkeypatch.setattr(saving_turn, "_WAIT_SECONDS", 0.05)
    song = renamed(Song.load(path), "Tin Roof")
    with path.open("rb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(DocumentError, match="is being saved by another program"):
            song.save(path)
    assert Song.load(path).title == "Paper Boats"
    assert nothing_beside(path)
    song.save(path)
    assert Song.load(path).title == "Tin Roof"


def mark_of(path, monkeypatch):
    """The mark that a save leaves if it never ends."""
    with monkeypatch.context() as patch:
        patch.setattr(saving_turn._Mark, "_free", lambda self: None)
        replaced = renamed(Song.load(path), "Tin Cup")
        replaced.save(path)
    (mark,) = (each for each in path.parent.iterdir() if each != path)
    return mark


@pytest.mark.usefixtures("without_locks")
def test_without_locks_a_mark_beside_the_document_keeps_others_out_while_it_is_being_saved(path, monkeypatch):
    mark = mark_of(path, monkeypatch)
    assert mark.name.startswith(".cuesuggest-")
    monkeypatch.setattr(saving_turn, "_WAIT_SECONDS", 0.05)
    with pytest.raises(DocumentError, match="is being saved by another program"):
        renamed(Song.load(path), "Tin Roof").save(path)
    mark.unlink()
    renamed(Song.load(path), "Tin Roof").save(path)
    assert Song.load(path).title == "Tin Roof"
    assert nothing_beside(path)


@pytest.mark.usefixtures("without_locks")
@pytest.mark.parametrize("hours", [-30, 0, 30])
def test_a_mark_that_a_killed_program_left_holds_nobody_up_whatever_the_clocks_say(path, monkeypatch, hours):
    mark = mark_of(path, monkeypatch)
    os.utime(mark, (time.time() + 3600 * hours,) * 2)
    monkeypatch.setattr(saving_turn, "_DEAD_SECONDS", 0.05)
    renamed(Song.load(path), "Tin Roof").save(path)
    assert Song.load(path).title == "Tin Roof"
    assert nothing_beside(path)


def test_a_system_that_knows_no_such_locks_saves_by_marks(path, monkeypatch):
    title = "Tin Roof"
    monkeypatch.setattr(saving_turn, "fcntl", None)
    renamed(Song.load(path), title).save(path)
    make_song(title=title).save(path.with_name("new.cues.json"))
    assert Song.load(path).title == Song.load(path.with_name("new.cues.json")).title == title
    assert len(list(path.parent.iterdir())) == 2


def test_a_mark_that_windows_has_not_let_go_of_yet_is_waited_for(path, monkeypatch):
    monkeypatch.setattr(saving_turn, "fcntl", None)
    real, refused = os.open, []

    def still_open(name, *how):
        if str(name).endswith(".saving") and len(refused) < 3:
            refused.append(name)
            raise PermissionError(errno.EACCES, "Permission denied")
        return real(name, *how)

    monkeypatch.setattr(os, "open", still_open)
    renamed(Song.load(path), "Tin Roof").save(path)
    assert (len(refused), Song.load(path).title) == (3, "Tin Roof")
    assert nothing_beside(path)


def test_a_document_that_another_program_makes_at_the_same_moment_is_not_replaced(path, monkeypatch):
    new = path.with_name("new.cues.json")
    real = os.link

    def late(fresh, target):
        new.write_bytes(path.read_bytes())
        real(fresh, target)

    monkeypatch.setattr(os, "link", late)
    with pytest.raises(DocumentError, match="exists already"):
        make_song(title="Tin Roof").save(new)
    assert Song.load(new).title == "Paper Boats"


def test_where_there_are_no_hard_links_a_new_document_is_saved_all_the_same(path, monkeypatch):
    def refuse(*_):
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    new = path.with_name("new.cues.json")
    make_song(title="Tin Roof").save(new)
    assert Song.load(new).title == "Tin Roof"
    assert len(list(path.parent.iterdir())) == 2


def test_permissions_that_cannot_be_kept_stop_no_save(path, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(errno.EPERM, "Operation not permitted")

    path.chmod(0o640)
    monkeypatch.setattr(os, "chmod", refuse)
    monkeypatch.setattr(Path, "chmod", refuse)
    renamed(Song.load(path), "Tin Roof").save(path)
    assert Song.load(path).title == "Tin Roof"


@pytest.mark.parametrize("hours", [-2, 2])
def test_what_a_killed_save_left_goes_with_the_next_one_and_nothing_else_does(path, hours):
    left = path.with_name(".cuesuggest-0123456789ab.tmp")
    recent = path.with_name(".cuesuggest-ba9876543210.tmp")
    others = [path.with_name(name) for name in (".cuesuggest-notes.tmp", "cuesuggest-0123456789ab.tmp", "a.tmp")]
    folder = path.with_name(".cuesuggest-aaaaaaaaaaaa.tmp")
    folder.mkdir()
    for each in (left, *others, folder):
        each.touch()
        os.utime(each, (time.time() + 3600 * hours,) * 2)
    recent.touch()
    renamed(Song.load(path), "Tin Roof").save(path)
    assert sorted(path.parent.iterdir()) == sorted([path, recent, folder, *others])


def test_any_file_written_whole_sweeps_its_folder(tmp_path):
    left = tmp_path / ".cuesuggest-0123456789ab.tmp"
    left.touch()
    os.utime(left, (0, 0))
    replace_file(tmp_path / "kept.npz", b"x")
    assert [each.name for each in tmp_path.iterdir()] == ["kept.npz"]


def test_whether_a_document_can_be_saved_is_known_before_the_work(path, tmp_path):
    for place, says in [
        (tmp_path, "is a folder"),
        (tmp_path / "none" / "song.cues.json", "There is no folder"),
        (path / "song.cues.json", "There is no folder"),
        (tmp_path / ("x" * 300), "could not be saved: file name too long"),
    ]:
        with pytest.raises(DocumentError, match=says):
            check_savable(place)
    check_savable(path)
    check_savable(tmp_path / "new.cues.json")
    assert nothing_beside(path)
    assert Song.load(path) == make_song()


@posix
def test_a_place_that_is_no_file_or_write_protected_is_known_before_the_work(path, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    path.chmod(0o444)
    for place, says in [(tmp_path / "pipe", "is a pipe or a device"), (path, "is write-protected")]:
        with pytest.raises(DocumentError, match=says):
            check_savable(place)
        with pytest.raises(DocumentError, match=says):
            make_song().save(place)


def test_a_folder_that_cannot_be_written_to_is_known_before_the_work(path, monkeypatch):
    real = os.open

    def read_only(name, flags, *mode):
        if flags & os.O_CREAT:
            raise OSError(errno.EROFS, "Read-only file system")
        return real(name, flags, *mode)

    monkeypatch.setattr(os, "open", read_only)
    with pytest.raises(DocumentError, match="could not be saved: read-only file system"):
        check_savable(path)


RACER = """
    import sys
    from cuesuggest.errors import DocumentError
    from cuesuggest.song import SetTitle, Song, change

    done = 0
    while done < 6:
        song = change(Song.load(sys.argv[1]), SetTitle(f"{sys.argv[2]} {done}"), by="page")
        try:
            song.save(sys.argv[1])
            done += 1
        except DocumentError as error:
            assert "changed by somebody else" in str(error) or "other content" in str(error), error
"""
NO_LOCKS = """
    import fcntl

    def refuse(*_):
        raise OSError(95, "Operation not supported")

    fcntl.flock = refuse
"""


@pytest.mark.parametrize("before", ["", pytest.param(NO_LOCKS, marks=posix)], ids=["locks", "marks"])
def test_programs_that_save_at_once_lose_no_change_though_their_temporary_folders_differ(path, tmp_path, before):
    words = [sys.executable, "-c", textwrap.dedent(before) + textwrap.dedent(RACER), str(path)]
    root = Path(__file__).parent.parent
    racers = []
    for name in ("one", "two", "three"):
        (tmp_path / name).mkdir()
        surroundings = {**os.environ, "TMPDIR": str(tmp_path / name)}
        racers.append(subprocess.Popen([*words, name], cwd=root, stderr=subprocess.PIPE, env=surroundings))
    for racer in racers:
        _, told = racer.communicate(timeout=60)
        assert racer.returncode == 0, told.decode()
    song = Song.load(path)
    assert (song.revision, len(song.history)) == (18, 18)
    saved = sorted(entry.edit.title for entry in song.history)
    assert saved == sorted(f"{name} {k}" for name in ("one", "two", "three") for k in range(6))
    assert not any(any((tmp_path / name).iterdir()) for name in ("one", "two", "three"))
    assert {each.name for each in tmp_path.iterdir()} == {path.name, "one", "two", "three"}
