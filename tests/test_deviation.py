"""When the band plays otherwise: the right action is read from the printed live page alone.

docs/deviation.md has the same three nights for a person with the page in hand. Here the reader is a program that
knows nothing but the text that pypdf finds on the page, and the rules at its foot. What is right stands beside each
night, written from what the designer means, not from what the page says.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from cuesuggest.export import export
from cuesuggest.score.records import Look
from tests.reading import text_of
from tests.songs import HOME, LIFT, make_cue, make_song, place_at

FULL = replace(LIFT, id="full", name="Full sky", category="intense")
# What a place on the page looks like.
WHERE = re.compile(r"(?:bar \d+|last bar)(?: (?:on|before|after) \d+(?:1⁄2)?)?")


@dataclass
class Row:
    """A row of a block: the parts it is for, its light, and (where, what) of each action."""

    parts: tuple[str, ...]
    again: bool
    light: str = ""
    acts: list[tuple[str, str]] = field(default_factory=list)


@dataclass
class Reader:
    """Somebody who has the page and nothing else."""

    order: list[str]
    safe: set[str]
    rows: dict[str, list[Row]]
    rules: dict[str, str]

    def row(self, part: str, times: int) -> Row:
        """The row for a letter that comes round for the so manieth time."""
        rows = self.rows[part[0]]
        named = [row for row in rows if any(re.fullmatch(rf"{part[0]}'*{times}", each) for each in row.parts)]
        return named[0] if named else next(row for row in rows if row.again)

    def night(self, played: list[str]) -> list[tuple[str, str, list[str]]]:
        """What the reader does with the letters that the band plays: light and actions of each."""
        done, counts = [], {}
        for index, letter in enumerate(played):
            # comes again: at once its row once more, later the next row.
            if index == 0 or played[index - 1] != letter:
                counts[letter] = counts.get(letter, 0) + 1
            row = self.row(letter, counts[letter])
            after = played[index + 1] if index + 1 < len(played) else None
            acts = []
            for _where, what in row.acts:
                at_once = re.search(r" (?:before|into) (?:part|the next) (\w)$", what)
                meant = re.search(r" for (?:part|the next) (\w)$", what)
                # skipped: what is for, into or before another part is left out where that part does not come.
                if (at_once and at_once.group(1) != after) or (meant and meant.group(1) not in played[index + 1 :]):
                    continue
                if what.endswith(" at the end") and after is not None:
                    continue
                acts.append(what)
            done.append((letter, row.light, acts))
        return done


def read(page: str) -> Reader:
    lines = [line.strip() for line in page.split("\n") if line.strip()]
    head = lines.index("HOME")
    order = [line for line in lines[:head] if re.fullmatch(r"[A-Z]'*\d+", line)]
    unders = [line for line in lines[:head] if re.fullmatch(r"\d+(?: IN)?", line)]
    safe = {part for part, under in zip(order, unders, strict=True) if under.endswith("IN")}
    rows: dict[str, list[Row]] = {}
    row, where = Row((), again=False), ""
    what: list[str] = []
    for line in lines[head : lines.index("lost")]:
        if named := re.fullmatch(r"((?:[A-Z]'*\d+(?:, )?)+)( and again)?: \d+ bars?", line):
            parts = tuple(named.group(1).split(", "))
            row = Row(parts, bool(named.group(2)))
            rows.setdefault(parts[0][0], []).append(row)
        elif named := re.fullmatch(r"((?:[A-Z]'*\d+(?:, )?)+)(?: and again)?, continued", line):
            # At the head of a column: whose the next actions are is read from here, and not remembered.
            parts = tuple(named.group(1).split(", "))
            row = next(each for each in rows[parts[0][0]] if each.parts == parts)
        elif line.startswith("light: "):
            row.light = line.removeprefix("light: ")
        elif WHERE.fullmatch(line):
            where = line
        elif where and re.fullmatch(r"[\d.]+\*?", line):
            # The number of the cue ends it.
            row.acts.append((where, " ".join(what)))
            where, what = "", []
        elif where:
            what.append(line)
    foot = lines[lines.index("lost") :]
    names = ("lost", "comes again", "skipped", "not set", "ends early", "track stops")
    rules = {name: " ".join(foot[foot.index(name) + 1 :]).split(" ")[0] for name in names if name in foot}
    rules["ends early"] = " ".join(foot[foot.index("ends early") + 1 :])
    return Reader(order, safe, rows, rules)


def song_of(form: str, cues: list[tuple]):
    song = make_song(form, bpm=100)
    made = [
        make_cue(number, kind, place_at(song.analysis, bar), **fields)
        for number, (bar, kind, fields) in enumerate(cues, 1)
    ]
    looks: tuple[Look, ...] = (HOME, LIFT, FULL)
    return song.replaced(looks=looks, cues=made)


# Verse, chorus, verse, chorus, bridge, chorus: the chorus in the middle is played twice.
DOUBLED = song_of(
    "A8 B8 A8 B8 C8 B8",
    [
        (1, "fade-in", {"look": "home", "side": "A", "level": 40, "up_beats": 8.0}),
        (5, "recall", {"look": "lift", "side": "B"}),
        (9, "crossfade", {"look": "lift", "side": "B", "level": 65, "up_beats": 2.0}),
        (13, "recall", {"look": "home", "side": "A"}),
        (17, "crossfade", {"look": "home", "side": "A", "level": 40, "up_beats": 4.0}),
        (21, "recall", {"look": "lift", "side": "B"}),
        (25, "crossfade", {"look": "lift", "side": "B", "level": 70, "up_beats": 2.0}),
        (32, "fade-out", {"side": "B", "down_beats": 4.0, "level": 0}),
        (37, "recall", {"look": "full", "side": "A"}),
        (41, "cut-in", {"look": "full", "side": "A", "level": 80}),
        (48, "fade-out", {"side": "A", "down_seconds": 6.0, "level": 0}),
    ],
)
# The bridge, in which the last look is set up, is skipped.
SKIPPED = song_of(
    "A8 B8 C8 D8",
    [
        (1, "fade-in", {"look": "home", "side": "A", "level": 40, "up_beats": 8.0}),
        (5, "recall", {"look": "lift", "side": "B"}),
        (9, "crossfade", {"look": "lift", "side": "B", "level": 65, "up_beats": 2.0}),
        (16, "fade-out", {"side": "B", "down_beats": 4.0, "level": 0}),
        (21, "recall", {"look": "full", "side": "A"}),
        (25, "cut-in", {"look": "full", "side": "A", "level": 80}),
        (32, "fade-out", {"side": "A", "down_seconds": 5.0, "level": 0}),
    ],
)


def test_night_one_the_chorus_is_doubled():
    reader = read(text_of(export(DOUBLED, "page.pdf")[".page.pdf"]))
    assert reader.order == ["A1", "B1", "A2", "B2", "C1", "B3"]
    assert set(reader.rules) == {"lost", "comes again", "skipped", "not set", "ends early", "track stops"}
    night = reader.night(["A", "B", "A", "B", "B", "C", "B"])
    lights = [(letter, light) for letter, light, _ in night]
    assert lights == [
        ("A", "side A Slow drift 40 %"),
        ("B", "side B Wide fans 65 %"),
        ("A", "side A Slow drift 40 %"),
        ("B", "side B Wide fans 70 %"),
        ("B", "side B Wide fans 70 %"),  # the biggest look is kept for the end, and is not set yet
        ("C", "dark"),
        ("B", "side A Full sky 80 %"),
    ]
    # The light leaves in the second of the two choruses, since the bridge follows only that one.
    assert night[3][2] == ["over to B at 70 in 2 beats"]
    assert night[4][2] == ["over to B at 70 in 2 beats", "B down in 4 beats before part C"]
    assert night[5][2] == ["set A Full sky for part B"]
    assert night[6][2] == ["A in at 80", "A down in 6.0 s at the end"]


def test_a_chorus_more_after_the_end_is_played_like_the_last():
    reader = read(text_of(export(DOUBLED, "page.pdf")[".page.pdf"]))
    night = reader.night(["A", "B", "A", "B", "C", "B", "A", "B"])
    assert [light for letter, light, _ in night if letter == "B"][2:] == ["side A Full sky 80 %"] * 2
    assert night[5][2] == ["A in at 80"]


def test_night_two_the_bridge_is_skipped():
    reader = read(text_of(export(SKIPPED, "page.pdf")[".page.pdf"]))
    night = reader.night(["A", "B", "D"])
    assert [(letter, light) for letter, light, _ in night] == [
        ("A", "side A Slow drift 40 %"),
        ("B", "side B Wide fans 65 %"),
        ("D", "side A Full sky 80 %"),
    ]
    assert night[1][2] == ["over to B at 65 in 2 beats"]  # it leaves only before the bridge
    assert night[2][2] == ["A in at 80", "A down in 5.0 s at the end"]
    # That look was to be set in the bridge: the page says so, and what to do instead.
    assert any(what == "set A Full sky for part D" for row in reader.rows["C"] for _, what in row.acts)
    text = " ".join(text_of(export(SKIPPED, "page.pdf")[".page.pdf"]).split())
    assert "keep what is lit, or home; set it on the dark side, in at the next phrase" in text


@pytest.mark.parametrize("end", [1, 2, 3, 4])
def test_night_three_the_song_ends_early_anywhere(end):
    text = text_of(export(SKIPPED, "page.pdf")[".page.pdf"])
    reader = read(text)
    night = reader.night(list("ABCD")[:end])
    lit = {"A": "side A Slow drift 40 %", "B": "side B Wide fans 65 %", "C": "dark", "D": "side A Full sky 80 %"}
    assert night[-1][1] == lit["ABCD"[end - 1]]
    assert reader.rules["ends early"].startswith("hold to the cut-off, then what is lit down, about 5 s")


def test_who_is_lost_finds_the_next_entrance_in_the_order():
    reader = read(text_of(export(SKIPPED, "page.pdf")[".page.pdf"]))
    assert reader.safe == {"A1", "B1", "D1"}
    after_b = [part for part in reader.order[reader.order.index("B1") + 1 :] if part in reader.safe]
    assert after_b[0] == "D1"


# A bridge with so much to do that it goes on in the second column.
CROWDED = song_of(
    "A8 B8 C16 B8 D8",
    [
        (1, "fade-in", {"look": "home", "side": "A", "level": 40, "up_beats": 8.0}),
        (9, "crossfade", {"look": "lift", "side": "B", "level": 65, "up_beats": 2.0}),
        (17, "crossfade", {"look": "home", "side": "A", "level": 30, "up_beats": 2.0}),
        *((bar, "call", {"who": "house light", "note": "the room a little brighter"}) for bar in range(18, 27)),
        (33, "crossfade", {"look": "lift", "side": "B", "level": 70, "up_beats": 2.0}),
        (41, "crossfade", {"look": "home", "side": "A", "level": 40, "up_beats": 4.0}),
        *((bar, "ramp", {"side": "A", "level": bar, "up_beats": 1.0}) for bar in range(42, 49)),
    ],
)


def test_a_part_that_goes_on_in_the_next_column_is_read_whole_whatever_is_played_before_it():
    page = text_of(export(CROWDED, "page.pdf")[".page.pdf"])
    assert "continued" in page
    reader = read(page)
    for played in (["A", "B", "C", "B", "D"], ["C"], ["A", "C", "C", "D"]):
        for letter, light, acts in reader.night(played):
            if letter == "C":
                assert light == "side A Slow drift 30 %"
                assert acts[0] == "over to A at 30 in 2 beats"
                assert len(acts) == 10
            if letter == "D":
                assert acts == ["over to A at 40 in 4 beats", *(f"A to {bar} in 1 beat" for bar in range(42, 49))]


def print_pages(folder: str) -> None:
    """Write the two pages for people to try; see docs/deviation.md."""
    for name, song in (("one", DOUBLED), ("two", SKIPPED)):
        target = Path(folder) / f"night_{name}.pdf"
        target.write_bytes(export(song, "page.pdf")[".page.pdf"])
        print(target)


if __name__ == "__main__":
    print_pages(*sys.argv[1:2] or ["."])
