"""Designers who are made up: each has a taste that is known, and acts on drafts by the edits that a person makes.

None repairs everything: some songs are gone through carefully, some in a hurry, and in every song things are changed
for that song's sake, whatever the designer's taste. Values are set as people set them: in fives, in half beats, not
the same each time.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace

import numpy as np

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.decide.category import category_decided
from cuesuggest.decide.cue_edits import with_level
from cuesuggest.decide.quick import all_accepted, coloured, one_shot_at, with_length
from cuesuggest.draft.again.redraft import redrafted
from cuesuggest.draft.taste.style_numbers import styled
from cuesuggest.errors import EditError
from cuesuggest.rules import Grid, Profile, Rig, draft, load_profile, load_rig, profile_from_values
from cuesuggest.rules.plan.looks import LOOKS
from cuesuggest.score.light import presses
from cuesuggest.score.records import CATEGORIES, ENTRANCES, Cue
from cuesuggest.song import Edit, SetCue, Settings, Song, change_all
from tests.songs import make_analysis
from tests.test_rerun import drafted

BAND, EXAMPLE = load_profile("band"), load_rig(None)
BY = "page"
# Letters: D intro, A verse, F before the chorus, B chorus, C bridge, E outro.
ROLES = {"D": "intro", "A": "verse", "B": "chorus", "C": "bridge", "E": "outro"}
FORMS = (
    "D4 A16 B16 A16 B16 C8 B16 E4",
    "D8 A16 F8 B16 A8 F8 B16 C8 B16 E8",
    "A16 B8 A16 B8 C16 B16 E4",
    "D4 A8 A8 B8 A8 B8 C8 B8 B8 E4",
    "D8 A16 B16 D4 A16 B16 C8 C8 B16 E8",
    "A8 F8 B16 A8 F8 B16 C16 F8 B16 B8",
)


def a_song(rng: np.random.Generator) -> SongAnalysis:
    """A song as bands play them: verses below choruses, later passes above earlier ones, fills, stops, hits."""
    form = str(rng.choice(FORMS))
    low, step = rng.uniform(0.30, 0.48), rng.uniform(0.0, 0.05)
    big = low + rng.uniform(0.22, 0.42)
    drive: dict[str, float] = {}
    bar, events = 1, []
    seen: dict[str, int] = {}
    parts = [(word[0], int(word[1:])) for word in form.split()]
    for index, (letter, bars) in enumerate(parts):
        seen[letter] = seen.get(letter, 0) + 1
        nth = seen[letter] - 1
        middle = {"A": low, "B": big, "C": rng.uniform(0.2, 0.75), "F": (low + big) / 2}
        push = middle.get(letter, low - rng.uniform(0.0, 0.25)) + step * nth + rng.normal(0, 0.02)
        drive[f"{letter}{seen[letter]}"] = round(float(np.clip(push, 0.05, 0.97)), 3)
        leads = index + 1 < len(parts) and parts[index + 1][0] == "B"
        if leads and rng.random() < 0.6:
            events.append(("fill", bar + bars - 1, 3.0, 2.0))
        if leads and bars >= 8 and rng.random() < 0.3:
            events.append(("build", bar + bars - 4, 1.0, 16.0))
            events.append(("drop", bar + bars, 1.0, 0.0))
        if letter == "B":
            events += [("hit", bar + int(at), float(rng.choice([1, 4])), 0.5) for at in rng.integers(2, bars, 2)]
        if rng.random() < 0.12:
            events.append(("stop", bar + bars - 1, 3.0, 2.0))
        bar += bars
    heard = make_analysis(form, bpm=float(rng.integers(76, 148)), drive=drive, events=events, confidence=0.92)
    sections = tuple(replace(each, role=ROLES.get(each.label[0])) for each in heard.sections)
    return replace(heard, sections=sections)


@dataclass(frozen=True)
class Designer:
    """Somebody with a taste."""

    light: float = 0.0
    """How much harder a band has to push for the same light, as drive; positive is more restraint."""
    shots: int | None = None
    """So many one-shots a song they want at most."""
    lengths: Mapping[str, float] = field(default_factory=dict)
    """Their own fade lengths, by key of the style."""
    levels: Mapping[str, int] = field(default_factory=dict)
    """Percent by which looks of a category are set otherwise."""
    colours: Mapping[str, int] = field(default_factory=dict)
    """By how many colours looks of a category have more, or fewer if negative."""
    whims: float = 1.0
    """How much is changed for a song's sake, against the usual."""

    home: Profile = field(default=BAND, repr=False)
    """The style that their tastes are told against; they stay what they are, whatever style a draft is made in."""

    def _own(self) -> Profile:
        """The style that would draft the light that they want."""
        keys = ("rest", "subtle", "lift", "intense", "intense_floor")
        drive = {f"drive.{key}": min(max(getattr(self.home.drive, key) + self.light, 0.0), 1.0) for key in keys}
        own = styled(self.home, drive)
        assert own is not None
        return own

    def went_through(self, song: Song, style: Profile, rig: Rig, rng: np.random.Generator) -> Song:
        """The song as they leave it."""
        care = 0.2 if rng.random() < 0.1 else rng.uniform(0.75, 1.0)
        song = self._light(song, style, rig, care, rng)
        song = self._shots(song, care, rng)
        song = self._lengths(song, care, rng)
        song = self._levels(song, style, care, rng)
        song = self._colours(song, style, care, rng)
        song = self._moved(song, rng)
        return all_accepted(song).made_in(song, by=BY)

    def _whim(self, rng: np.random.Generator, often: float) -> bool:
        return bool(rng.random() < often * self.whims)

    def _light(self, song: Song, style: Profile, rig: Rig, care: float, rng: np.random.Generator) -> Song:
        own = self._own()
        wanted = song.plan if own.drive == style.drive else draft(song.analysis, own, rig).plan
        before = song
        for section, now, want in zip(song.analysis.sections, before.plan, wanted, strict=True):
            category = now.category
            if want.category != now.category and rng.random() < care:
                category = want.category
            elif self._whim(rng, 0.07):
                at = CATEGORIES.index(now.category) + int(rng.choice([-1, 1]))
                category = CATEGORIES[min(max(at, 0), len(CATEGORIES) - 1)]
            if category != now.category:
                song = category_decided(song, section, category, repeats=False).made_in(song, by=BY)
        return song if song is before else redrafted(song)[0]

    def _shots(self, song: Song, care: float, rng: np.random.Generator) -> Song:
        grid = Grid(song.analysis)
        edits: list[SetCue] = []
        wanted, left = self._wanted_shots(song), set[float]()
        for cue in [cue for cue in song.cues if cue.kind == "one-shot"]:
            there = presses(cue, grid)
            mine = there if wanted is None or rng.random() > care else tuple(at for at in there if at in wanted)
            if self._whim(rng, 0.08) or not mine or mine[0] != there[0]:
                edits.append(SetCue(cue.id, {"status": "rejected"}))
                continue
            left |= set(mine)
            if mine != there and cue.series is not None:
                kept = [
                    bar
                    for bar in range(cue.series.first_bar, cue.series.last_bar + 1)
                    if grid.place(bar).seconds in mine
                ]
                skip = tuple(bar for bar in range(kept[0], kept[-1], cue.series.every_bars) if bar not in kept)
                fewer = replace(cue.series, last_bar=kept[-1], skip=skip) if len(kept) > 1 else None
                edits.append(SetCue(cue.id, {"series": fewer}))
        song = change_all(song, edits, by=BY)
        for at in sorted((wanted or set()) - left):
            if rng.random() < care:
                with suppress(EditError):  # there is one by now
                    song = one_shot_at(song, grid.locate(at)).made_in(song, by=BY)
        if self._whim(rng, 0.3):
            bar = int(rng.choice([each.number for each in grid.bars]))
            with suppress(EditError):  # there is one already
                song = one_shot_at(song, grid.place(bar)).made_in(song, by=BY)
        return song

    def _wanted_shots(self, song: Song) -> set[float] | None:
        """Where they want one-shots, with the light as they have made it; None where they have no taste in them."""
        if self.shots is None:
            return None
        own = styled(profile_from_values(song.profile.values), {"shots.most_per_song": self.shots})
        assert own is not None
        grid = Grid(song.analysis)
        alike = redrafted(song.replaced(profile=Settings(own.name, own.values())))[0]
        return {at for cue in alike.cues if cue.kind == "one-shot" for at in presses(cue, grid)}

    def _lengths(self, song: Song, care: float, rng: np.random.Generator) -> Song:
        edits: list[SetCue] = []
        category = {look.id: look.category for look in song.looks}
        for cue in _there(song):
            if cue.kind not in ("fade-in", "fade-out", "crossfade", "ramp"):
                continue
            out = cue.kind == "fade-out" or (cue.kind == "ramp" and not cue.up_beats)
            length, others = (cue.down_beats, None) if out else (cue.up_beats, cue.down_beats)
            if not length:
                continue
            wish, others_wish = length, others
            for key, value in self.lengths.items():
                if rng.random() < care and _is_of(key, cue, category.get(cue.look or "")):
                    beats = value * _unit(song, cue, value) if "bars" in key else value
                    set_to = max(round(2 * beats * math.exp(rng.normal(0, 0.08))) / 2, 0.5)
                    wish, others_wish = (wish, set_to) if "out_beats" in key else (set_to, others_wish)
            if self._whim(rng, 0.1):
                wish = max(round(2 * wish * float(rng.choice([0.5, 0.75, 1.5, 2]))) / 2, 0.5)
            if (wish, others_wish) != (length, others):
                edits.append(with_length(song, cue, wish, others_wish if others else None))
        return change_all(song, edits, by=BY)

    def _levels(self, song: Song, style: Profile, care: float, rng: np.random.Generator) -> Song:
        edits: list[SetCue] = []
        category = {look.id: look.category for look in song.looks}
        for cue in _there(song):
            if not cue.level or cue.kind not in (*ENTRANCES, "ramp"):
                continue
            name = category.get(cue.look or "", "subtle")
            home, here = self.home.looks.base_level.of(name), style.looks.base_level.of(name)
            by = home + self.levels.get(name, 0) - here
            level = float(cue.level)
            if by and rng.random() < care:
                level += by + rng.normal(0, 2.0)
            if self._whim(rng, 0.12):
                level += float(rng.choice([-15, -10, 10, 15]))
            fives = min(max(5 * round(level / 5), 5), 100)
            if fives != cue.level:
                edits.append(with_level(cue, fives))
        return change_all(song, edits, by=BY)

    def _colours(self, song: Song, style: Profile, care: float, rng: np.random.Generator) -> Song:
        edits: list[Edit] = []
        for look in song.looks:
            home, here = (int(each.looks.colours.of(look.category)) for each in (self.home, style))
            wanted = home + self.colours.get(look.category, 0) - here
            by = wanted if look.id in LOOKS and rng.random() < care else 0
            if self._whim(rng, 0.1):
                by += int(rng.choice([-1, 1]))
            if by and look.colours + by >= 1:
                edits.append(coloured(song, look.id, look.colours + by))
        return change_all(song, edits, by=BY)

    def _moved(self, song: Song, rng: np.random.Generator) -> Song:
        edits: list[SetCue] = []
        for cue in _there(song):
            if cue.kind == "ramp" and self._whim(rng, 0.1):
                edits.append(SetCue(cue.id, {"status": "rejected"}))
            elif self._whim(rng, 0.03):
                edits.append(SetCue(cue.id, {"note": "watch the singer"}))
        return change_all(song, edits, by=BY)


def _there(song: Song) -> list[Cue]:
    return [cue for cue in song.cues if cue.status != "rejected" and not cue.lock]


def _unit(song: Song, cue: Cue, bars: float) -> float:
    """Beats for each of so many bars; of a short section nobody lets a fade take more than a quarter."""
    grid = Grid(song.analysis)
    whole = cue.place.bars_in_section or int(4 * bars)
    return grid.beats_in_bars(cue.place.bar or 1, 1) * min(1.0, max(whole // 4, 1) / bars)


def _is_of(key: str, cue: Cue, category: str | None) -> bool:
    """Whether a designer who has a length of their own in mind means this fade."""
    coming = cue.rule == "enter" and cue.kind in ("fade-in", "crossfade")
    if key == "fades.lift_up_beats":
        return coming and category == "lift"
    if key == "fades.subtle_up_bars":
        return coming and category == "subtle"
    if key.startswith("fades.out_beats."):
        return cue.kind == "crossfade" and category == key.rpartition(".")[2]
    return cue.rule == "ending" and key == "fades.ending_beats"


def evenings(
    designer: Designer, style: Profile, rig: Rig, rng: np.random.Generator, songs: list[SongAnalysis]
) -> Iterator[Song]:
    """Each song as the designer leaves it."""
    for number, analysis in enumerate(songs, 1):
        song = drafted(analysis, style, rig=rig)
        recording = replace(song.recording, sha256=f"{number:064x}")
        yield designer.went_through(song.replaced(recording=recording), style, rig, rng)


def work_in(song: Song) -> int:
    """How many changes somebody has made in a song, what was only accepted or noted left out."""
    edits = [entry.edit for entry in song.history]
    return sum(not isinstance(edit, SetCue) or not {"note"} >= _said(edit) for edit in edits)


def _said(edit: SetCue) -> set[str]:
    return {name for name, value in edit.changes.items() if (name, value) != ("status", "accepted")}
