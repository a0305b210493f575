"""What cannot be played of decisions and draft together is said once, with the cues of which it is so."""

import re
from dataclasses import replace

from cuesuggest.draft.clashes import conflicts, new_clashes
from cuesuggest.rules import load_rig
from cuesuggest.song import Settings, Song
from tests.nights import drafted_song
from tests.songs import make_analysis

RIG = load_rig("two-lamps-strobe")


def without_side_b(song):
    rig = replace(RIG, sides=tuple(side for side in RIG.sides if side.name != "B"))
    return song.replaced(rig=Settings(rig.name, rig.values()))


def drafted():
    return drafted_song("Tin Roof", make_analysis("A16 B16 A16 B16 B16", bpm=128, drive={"A": 0.5, "B": 0.85}))


def test_a_side_that_is_gone_is_said_once_with_the_cues_on_it():
    song = drafted()
    assert conflicts(song) == ()
    (said,) = [words for words in conflicts(without_side_b(song)) if "no side B" in words]
    on_b = [cue for cue in song.cues if cue.side == "B"]
    assert len(on_b) > 2
    assert said == (
        f"Cues {', '.join(f'{cue.number:g} ({cue.place})' for cue in on_b)}: there is no side B; the rig has A."
    )


def test_only_what_came_with_a_change_is_told_whatever_was_said_with_it_before():
    song = without_side_b(drafted())
    cue = next(each for each in song.cues if each.side == "A" and each.kind == "fade-in")
    moved = song.replaced(cues=tuple(replace(each, side="B") if each is cue else each for each in song.cues))
    (said,) = [words for words in new_clashes(song, moved) if "no side B" in words]
    assert said == f"This does not go together now: Cue {cue.number:g} ({cue.place}): there is no side B; " + (
        "the rig has A."
    )
    assert new_clashes(moved, moved) == ()


def test_looks_are_told_by_their_names():
    song = drafted()
    late = next(cue for cue in song.cues if cue.kind == "recall" and cue.place.bar is not None)
    said = " ".join(conflicts(song.replaced(cues=tuple(cue for cue in song.cues if cue is not late))))
    look = next(look.name for look in song.looks if look.id == late.look)
    assert f"not {look}." in said


def test_a_song_drafted_again_on_one_side_less_tells_it_in_one_line(document, run, tmp_path):
    song = Song.load(document)
    on_b = [f"{cue.number:g}" for cue in song.cues if cue.side == "B"]
    assert len(on_b) > 1
    assert run("edit", document, "accept", *on_b)[0] == 0
    _, out, _ = run("rigs", "show", "example", "--toml")
    first, _, rest = out.partition("[[sides]]")
    a, b = rest.split("[[sides]]")
    file = tmp_path / "one-side.toml"
    file.write_text(f"{first}[[sides]]{a}{b[b.index('[one_shot]') :]}")
    code, out, _ = run("suggest", document, "--rig", file, columns=1000)
    assert code == 0
    (said,) = re.findall(r"Cues? ([^:]+): there is no side B; the rig has A\.", " ".join(out.split()))
    assert re.findall(r"([\d.]+) \(", said) == on_b
