"""Fit the weights of `cuesuggest.analysis.events` on recordings with known events.

    python -m cuesuggest.analysis.training.fit_events FOLDER... [-o events.json] [--only KIND]

Take recordings that the network was not trained on, or the events will look surer than they are. Each entry of
`events.json` is one logistic regression: candidates that the finders list, right or wrong by the truth. The entries
are fitted in order, each with the ones before it in place; `--only` leaves all others as they are.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import click
import numpy as np

from cuesuggest.analysis.bars.attempts import attempts
from cuesuggest.analysis.bars.numbering import NumberedBars, possible_counts
from cuesuggest.analysis.energy import bar_energy
from cuesuggest.analysis.events.builds import BuildLine, breakdown_candidates, build_lines
from cuesuggest.analysis.events.ending import ending_candidates, ritardando_candidates
from cuesuggest.analysis.events.from_frames import quiet_stretches
from cuesuggest.analysis.events.gaps import find_gaps
from cuesuggest.analysis.events.pauses import pause_candidates
from cuesuggest.analysis.events.stops import hit_candidates, stop_candidates, struck_candidates
from cuesuggest.analysis.events.talk import find_crowd, find_talk
from cuesuggest.analysis.events.voice import voice_features
from cuesuggest.analysis.finding.likely import event_weights
from cuesuggest.analysis.finding.scene import Candidate, Heard, Scene
from cuesuggest.analysis.finding.talk_signs import STEP, hear_around, sound_features
from cuesuggest.analysis.frames import HEADS
from cuesuggest.analysis.rhythm import Rhythm
from cuesuggest.analysis.rhythm.choice import believed
from cuesuggest.analysis.spectrum import Spectrum, hear
from cuesuggest.analysis.training.fit_confidence import fit, reliability
from cuesuggest.analysis.training.fit_evidence import of_each
from cuesuggest.analysis.training.fit_level import fit as fit_choice
from cuesuggest.sound.recording import open_recording

__all__ = ["ENTRIES", "TaughtSong", "fit_entries"]

WEIGHT_OF_PRIOR = 1.0  # candidates

_HIT_BEATS = 0.35  # from a true hit: closer than half a beat, or it would be another

_STANDS_OUT = 0.8  # tens of dB over the noise of the room

Judged = tuple[Mapping[str, float], bool]
"""Features of a candidate, and whether it is right."""


class TaughtSong(NamedTuple):
    """What is known of a recording before events are sought, and the truth about it."""

    spectrum: Spectrum
    logits: np.ndarray
    rhythm: Rhythm
    truth: dict[str, Any]

    @property
    def has_music(self) -> bool:
        """Whether bars were found."""
        return bool(len(self.rhythm.times) and (self.rhythm.grid.slots == 0).any())

    def scene(self) -> Scene:
        """What the finders look at, with the weights fitted so far."""
        return NumberedBars(self.spectrum, self.rhythm, None).scene(self.logits)

    def spans(self, kind: str) -> list[tuple[float, float]]:
        """True events of a kind."""
        return [(e["start"], e["end"]) for e in self.truth["events"] if e["kind"] == kind]

    @property
    def beat(self) -> float:
        """Seconds of a true beat; half a second without music."""
        return float(np.median(np.diff(self.truth["beats"]))) if len(self.truth["beats"]) > 1 else 0.5

    @property
    def bar(self) -> float:
        """Seconds of a true bar; two without music."""
        return float(np.median(np.diff(self.truth["downbeats"]))) if len(self.truth["downbeats"]) > 1 else 2.0


def matched(
    candidates: Iterable[Candidate], spans: list[tuple[float, float]], tolerance: float, last: float = np.inf
) -> list[Judged]:
    """Judge candidates by their starts, and by their ends if a tolerance is given for them."""
    return [
        (each.features, any(abs(each.start - a) <= tolerance and abs(each.end - b) <= last for a, b in spans))
        for each in candidates
    ]


def _attempts(song: TaughtSong) -> list[Judged]:
    if not song.has_music or not song.truth["beats"]:
        return []
    grid, spans = song.rhythm.grid, song.spans("false-start")
    found = (each.candidate for each in attempts(song.spectrum, song.rhythm.times, grid.runs))
    return [(each.features, any(each.start < b and a < each.end for a, b in spans)) for each in found]


def _counts(song: TaughtSong) -> list[Judged]:
    if not song.has_music or not song.truth["beats"]:
        return []
    ends = [end for _, end in song.spans("false-start")]
    opens = song.rhythm.times[song.rhythm.grid.slots == 0]
    first = int(np.flatnonzero(song.rhythm.grid.slots == 0)[int((opens < max(ends, default=0.0)).sum()) % len(opens)])
    # Where bar 1 comes after the count is what matters; how many bars were counted is told by a rule.
    counts = (count.candidate for count in possible_counts(song.spectrum, song.rhythm, first))
    return matched(counts, song.spans("count-in"), np.inf, song.beat / 2)


def _sounds(kind: str) -> Callable[[TaughtSong], list[Judged]]:
    """Tenths of seconds without music; of the music itself, where the network doubts it."""

    def judged(song: TaughtSong) -> list[Judged]:
        features = sound_features(song.spectrum, song.logits[HEADS.index("music")])
        at = song.spectrum.seconds[::STEP]
        names = list(features)
        values = np.stack([features[name] for name in names], axis=1)
        right, clear = np.zeros(len(at), bool), np.ones(len(at), bool)
        for a, b in song.spans(kind):
            right |= (at > a + 0.2) & (at < b - 0.2)
        if kind == "crowd":  # one that fills a whole recording cannot be told from the noise of the room
            clear &= ~right | (features["over"] > _STANDS_OUT)
        for a, b in song.spans("talk") + song.spans("crowd"):
            clear &= (np.abs(at - a) > 0.5) & (np.abs(at - b) > 0.5)
        if song.truth["music_start"] is not None:
            music = (at > song.truth["music_start"] - 0.3) & (at < song.truth["music_end"] + 0.3)
            for a, b in song.spans("pause"):
                music &= (at < a + 2) | (at > b - 0.5)
            clear &= ~music | (features["music"] < 0)
        return [
            (dict(zip(names, row, strict=True)), bool(yes))
            for row, yes in zip(values[clear][::2], right[clear][::2], strict=True)
        ]

    return judged


def _quiet(song: TaughtSong) -> tuple[Heard, list[tuple[float, float]]]:
    if song.has_music:
        scene = song.scene()
        return scene.heard, quiet_stretches(scene, song.spans("pause"))
    heard = hear_around(song.spectrum, song.logits[HEADS.index("music")])
    return heard, [(song.spectrum.start, song.spectrum.end)]


def _pauses(song: TaughtSong) -> list[Judged]:
    if not song.has_music:
        return []
    spans = song.spans("pause")
    return [
        (each.features, any(each.start < b and a < each.end for a, b in spans))
        for each in pause_candidates(song.scene())
    ]


def _talk(song: TaughtSong) -> list[Judged]:
    return matched(find_talk(*_quiet(song)), song.spans("talk"), song.bar)


def _crowd(song: TaughtSong) -> list[Judged]:
    return matched(find_crowd(*_quiet(song)), song.spans("crowd"), song.bar)


def _stops(song: TaughtSong) -> list[Judged]:
    if not song.has_music:
        return []
    return matched(stop_candidates(find_gaps(song.scene())), song.spans("stop"), song.beat, song.beat)


def _struck(song: TaughtSong) -> list[Judged]:
    if not song.has_music:
        return []
    return matched(struck_candidates(find_gaps(song.scene())), song.spans("hit"), _HIT_BEATS * song.beat)


def _hits(song: TaughtSong) -> list[Judged]:
    if not song.has_music:
        return []
    scene = song.scene()
    return matched(hit_candidates(scene, find_gaps(scene)), song.spans("hit"), _HIT_BEATS * song.beat)


def _lines(song: TaughtSong) -> list[BuildLine]:
    if not song.has_music:
        return []
    scene = song.scene()
    return build_lines(scene, bar_energy(song.spectrum, scene.starts, scene.ends, song.logits))


def _fit_build_lengths(songs: list[TaughtSong]) -> None:
    """Put weights into the table that make the true length of a build the likeliest of its lengths."""
    cases, names = [], []
    for song in songs:
        for line in _lines(song):
            for start, end in song.spans("build"):
                bars = (line.build.end - start) / song.bar
                right = np.array([abs(bars - length) < 0.5 for length in line.lengths])
                if abs(line.build.end - end) <= song.beat and right.any():
                    names = list(next(iter(line.lengths.values())))
                    cases.append((np.array([list(each.values()) for each in line.lengths.values()]), right))
    w = fit_choice(cases)
    chosen = [right[(rows @ w).argmax()] for rows, right in cases]
    click.echo(f"build length: {len(cases)} builds, right {np.mean(chosen):.3f}")
    event_weights()["build length"] = {name: round(float(value), 4) for name, value in zip(names, w, strict=True)}
    event_weights()["build length"]["one"] = 0.0


def _builds(song: TaughtSong) -> list[Judged]:
    ends = [end for _, end in song.spans("build")]
    return [(each.build.features, any(abs(each.build.end - end) <= song.bar for end in ends)) for each in _lines(song)]


def _drops(song: TaughtSong) -> list[Judged]:
    return matched([each.drop for each in _lines(song) if each.returns], song.spans("drop"), song.beat)


def _breakdowns(song: TaughtSong) -> list[Judged]:
    if not song.has_music:
        return []
    scene = song.scene()
    energy = bar_energy(song.spectrum, scene.starts, scene.ends, song.logits)
    return matched(breakdown_candidates(scene, energy), song.spans("breakdown"), song.bar)


def _ending(entry: str) -> Callable[[TaughtSong], list[Judged]]:
    def judged(song: TaughtSong) -> list[Judged]:
        if not song.has_music or not song.truth["beats"]:
            return []
        found = [each for each in ending_candidates(song.scene()) if (each.entry or each.kind) == entry]
        return [judged for each in found for judged in matched([each], song.spans(each.kind), song.beat)]

    return judged


def _voice(song: TaughtSong) -> list[Judged]:
    """Bars of the sections that are known; a voice leads where there is a lead and a voice has it."""
    if not song.has_music:
        return []
    scene = song.scene()
    features = voice_features(scene)
    sung = bool((song.truth.get("made") or {}).get("lead") == "voice")
    judged: list[Judged] = []
    for bar, middle in enumerate((scene.starts + scene.ends) / 2):
        for section in song.truth["sections"]:
            if section["start"] <= middle < section["end"]:
                row = {name: float(values[bar]) for name, values in features.items()}
                judged.append((row, sung and "lead" in section["parts"]))
    return judged


def _ritardandi(song: TaughtSong) -> list[Judged]:
    if not song.has_music or "ritard" not in song.truth["made"]:
        return []
    right = song.truth["made"]["ritard"] and song.truth["made"]["ending"] != "fade"
    return [(each.features, bool(right)) for each in ritardando_candidates(song.scene())]


ENTRIES: dict[str, tuple[Callable[[TaughtSong], list[Judged]], tuple[str, ...] | None]] = {
    "false-start": (_attempts, None),
    "count-in": (_counts, None),
    "talk sound": (_sounds("talk"), ("swing", "sparse", "turns", "sharp", "hold", "over", "music")),
    # Without its colour, which differs from hall to hall.
    "crowd sound": (_sounds("crowd"), ("noise", "sparse", "turns", "music")),
    "pause": (_pauses, None),
    "talk": (_talk, None),
    "crowd": (_crowd, None),
    "stop": (_stops, None),
    "struck": (_struck, None),
    "hit": (_hits, None),
    "ring-out": (_ending("ring-out"), None),
    "last hit": (_ending("last hit"), None),
    "ritardando": (_ritardandi, None),
    "build": (_builds, None),
    "drop": (_drops, None),
    "breakdown": (_breakdowns, None),
    "voice": (_voice, None),
}
"""In the order of fitting: what judges the candidates of a song, and which of their features are used (None: all)."""


def fit_entries(songs: list[TaughtSong], only: str | None = None) -> None:
    """Fit the entries one after the other and put them into the table in use; say how well they tell."""
    if only in (None, "build"):
        _fit_build_lengths(songs)
    for name, (judge, chosen) in ENTRIES.items():
        if only and name != only:
            continue
        judged = [each for song in songs for each in judge(song)]
        if not judged:
            click.echo(f"{name}: nothing like it in these recordings; its weights stay as they are")
            continue
        right = np.array([yes for _, yes in judged])
        names = list(chosen or judged[0][0])
        x = np.array([[features[key] for key in names] + [1.0] for features, _ in judged])
        w = fit(x, right, ridge=WEIGHT_OF_PRIOR / len(x))
        lines, gap = reliability(1 / (1 + np.exp(-x @ w)), right)
        click.echo("\n".join([f"{name}: {len(x)}, right {right.mean():.3f}, gap {gap:.3f}", *lines]))
        event_weights()[name] = {key: round(float(value), 4) for key, value in zip([*names, "one"], w, strict=True)}


def _song(path: Path, truth: dict[str, Any]) -> TaughtSong | None:
    if truth.get("events") is None:
        return None
    spectrum = hear(open_recording(path))
    return TaughtSong(spectrum, *believed(spectrum), truth)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("-o", "--output", default="events.json", type=click.Path(path_type=Path))
@click.option("--only", type=click.Choice(list(ENTRIES)), help="Fit this entry alone.")
@click.option("--jobs", default=1)
def main(folders: tuple[Path, ...], output: Path, only: str | None, jobs: int) -> None:
    """Fit on every recording of the folders that has a truth file."""
    fit_entries([song for song in of_each(folders, _song, jobs) if song is not None], only)
    output.write_text(json.dumps(event_weights(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
