"""What somebody names to be read is bounded: in size, in kind, and in the time that its text takes to parse."""

import os
import threading
import time

import pytest

from cuesuggest.bounded import MOST_TEXT_BYTES, parse_toml, read_bytes, read_text
from cuesuggest.errors import CuesuggestError, DocumentError, ProfileError
from cuesuggest.export.common.desk_map import load_map
from cuesuggest.rules import load_profile, load_rig
from cuesuggest.song import Song
from tests.songs import make_song

SECONDS = 5.0  # of the processor; each of these took minutes, or had no end

pipes = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no named pipes here")
devices = pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="there is no endless device here")


@devices
@pytest.mark.parametrize("read", [lambda path: read_bytes(path, 1000), load_map, load_profile, load_rig, Song.load])
def test_an_endless_device_is_read_no_further_than_the_bound(read):
    from pathlib import Path

    with pytest.raises(CuesuggestError, match=r"^/dev/zero (has more than|is no file)"):
        read(Path("/dev/zero"))


@devices
@pytest.mark.parametrize(
    "words",
    [
        ["list", "/dev/zero"],
        ["read", "/dev/zero"],
        ["correct", "song.cues.json", "--form", "@/dev/zero"],
        ["correct", "song.cues.json", "--downbeats", "/dev/zero"],
        ["export", "song.cues.json", "--to", "midi", "--map", "/dev/zero"],
        ["profiles", "show", "/dev/zero"],
    ],
)
def test_no_command_reads_on_without_end(run, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    make_song().save("song.cues.json")
    code, _, err = run(*words)
    assert (code, "/dev/zero" in err, "Traceback" in err) == (2, True, False)


@pipes
def test_a_pipe_is_read_to_its_end_as_shells_hand_it_over(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_bytes, args=(b"verse 8\n",))
    writer.start()
    assert read_text(pipe) == "verse 8\n"
    writer.join()


@pipes
def test_a_document_is_a_file_and_no_pipe(tmp_path):
    os.mkfifo(tmp_path / "song.cues.json")
    with pytest.raises(DocumentError, match="is no file but a pipe or a device"):
        Song.load(tmp_path / "song.cues.json")


def test_what_is_too_long_a_folder_missing_or_no_text_is_named(tmp_path):
    long = tmp_path / "long.txt"
    long.write_bytes(b"a" * 2048)
    (tmp_path / "latin.txt").write_bytes("Łódź".encode("cp1250"))
    for path, says in (
        (long, "long.txt has more than 1 KiB"),
        (tmp_path, "is a folder. Name a file in it."),
        (tmp_path / "none.txt", "none.txt was not found"),
        (tmp_path / "latin.txt", "latin.txt is not UTF-8 text"),
        (tmp_path / "a\0b", "is no name of a file"),
    ):
        with pytest.raises(ProfileError) as told:
            read_text(path, 1024, ProfileError)
        assert says in str(told.value)


# What made the parser go on for minutes, or ended in a trace.
TOML = {
    "brackets in brackets": ("a = " + "[" * 50_000, "brackets in brackets without end"),
    "tables in tables": ("a = " + "{a = " * 5_000, "brackets in brackets without end"),
    "a number of 5,000 digits": ("a = 1" + "0" * 5_000, "more than 4,300 digits"),
    "a number of 400 digits": ("a = [1, 1" + "0" * 400 + "]", "a.2 is a number of more than 64 bits"),
    "a hexadecimal number without end": ("a = 0x" + "f" * 20_000, "more than 64 bits"),
    "a key of 40,000 parts": (".".join(["a"] * 40_000) + " = 1", "line 1: more than 100 points in a line"),
    "keys that are each deep": (
        f"[{'.'.join('a' * 100)}]\n" + "".join(f"{'.'.join('a' * 90)}.x{k} = 1\n" for k in range(600)),
        "levels deep",
    ),
    "more text than there is room for": ("# long\n" * (MOST_TEXT_BYTES // 5), "has more than 131072 characters"),
}


@pytest.mark.parametrize(("text", "says"), TOML.values(), ids=TOML)
def test_toml_takes_no_longer_than_its_length_allows(text, says):
    since = time.process_time()
    with pytest.raises(CuesuggestError, match=says):
        parse_toml(text, "mine.toml")
    assert time.process_time() - since < SECONDS


def test_the_line_of_a_wrong_key_is_found_quickly_in_a_long_file_or_not_told(tmp_path):
    path = tmp_path / "own.toml"
    values = 'based_on = "band"\nabout = "x"\n'
    comments = "# what somebody wrote here\n" * 4_000
    path.write_text(f"{values}{comments}[budget]\nlit_shore = 0.5\n", encoding="utf-8")
    since = time.process_time()
    with pytest.raises(ProfileError, match=r"own\.toml, line 4004: budget\.lit_shore is not a known key"):
        load_profile(path)
    lines = "1,\n" * 30_000
    path.write_text(f"{values}[budget]\nlit_shore = [\n{lines}]\n", encoding="utf-8")
    with pytest.raises(ProfileError, match=r"own\.toml: budget\.lit_shore is not a known key"):
        load_profile(path)
    assert time.process_time() - since < SECONDS


def test_styles_are_based_on_no_more_than_sixteen_others(tmp_path):
    for number in range(30):
        below = "band" if number == 29 else f"{number + 1}.toml"
        (tmp_path / f"{number}.toml").write_text(f'based_on = "{below}"\n', encoding="utf-8")
    assert load_profile(tmp_path / "14.toml").budget == load_profile("band").budget
    with pytest.raises(ProfileError, match="more than 16 styles are based on each other"):
        load_profile(tmp_path / "0.toml")
