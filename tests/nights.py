"""A night of an invented band: six songs, drafted for one rig from songs that are written down, and its set list."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from cuesuggest.analysis.types import SongAnalysis
from cuesuggest.rules import Profile, Rig, draft, load_profile, load_rig
from cuesuggest.song import RecordingFile, Settings, Song, SongWindow, Versions
from tests.songs import make_analysis

__all__ = ["SONGS", "drafted_song", "night_of_six", "shortened_to"]

# Title: form, tempo, drive by letter or pass. The last one is the biggest.
SONGS: Mapping[str, tuple[str, float, Mapping[str, float]]] = {
    "Paper Boats": ("A8 B16 A8 B16 C8 B16", 96, {"A": 0.35, "B": 0.62, "C": 0.3, "B3": 0.7}),
    "Tin Roof": ("A16 B16 A16 B16 B16", 128, {"A": 0.5, "B": 0.85}),
    "Slow Ferry": ("A16 B16 A16 B16", 66, {"A": 0.2, "B": 0.4}),
    "Salt Road": ("A8 B16 A8 B16 C16 B16", 112, {"A": 0.45, "B": 0.8, "C": 0.35}),
    "Two Rivers": ("A16 B16 C8 B16", 100, {"A": 0.4, "B": 0.7, "C": 0.2}),
    "Lantern Street": ("A8 B16 A8 B16 C8 B16 B16", 140, {"A": 0.55, "B": 0.9, "C": 0.4}),
}
AFTER = ("applause", "segue", "talk", "pad", "encore", "nothing")


def drafted_song(title: str, analysis: SongAnalysis, profile: Profile | None = None, rig: Rig | None = None) -> Song:
    """Draft a document from a song that is written down; its recording is not there."""
    profile, rig = profile or load_profile("band"), rig or load_rig("two-lamps-strobe")
    found = draft(analysis, profile, rig)
    return Song(
        title=title,
        recording=RecordingFile(
            path=f"{title.lower().replace(' ', '-')}.wav",
            sha256="5e" * 32,
            decoder="soundfile",
            sample_rate=48000,
            channels=2,
            duration=analysis.duration,
            window=SongWindow(start=0.0, end=analysis.duration),
        ),
        versions=Versions(program="0.1.0", features=1, weights=None, profile=profile.name),
        profile=Settings(profile.name, profile.values()),
        rig=Settings(rig.name, rig.values()),
        analysis=analysis,
        looks=found.looks,
        plan=found.plan,
        cues=found.cues,
        questions=found.questions,
        cautions=found.cautions,
    )


def night_of_six(folder: Path, rig: Rig | None = None, buttons: int = 12, **otherwise: Any) -> Path:
    """Write six documents and their set list into a folder; returns the set list."""
    rig = replace(rig or load_rig("two-lamps-strobe"), buttons=buttons)
    lines = ['title = "Friday at the Lantern"']
    for (title, (form, bpm, drive)), after in zip(SONGS.items(), AFTER, strict=True):
        song = drafted_song(title, make_analysis(form, bpm=bpm, drive=drive), rig=rig, **otherwise)
        name = f"{title.lower().replace(' ', '-')}.cues.json"
        song.save(folder / name)
        lines += ["", "[[songs]]", f'document = "{name}"', f'after = "{after}"']
    file = folder / "friday.toml"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def shortened_to(file: Path, count: int) -> None:
    """Leave only the first songs of a night in its set list, so that a test takes less long."""
    file.write_text("[[songs]]".join(file.read_text().split("[[songs]]")[: count + 1]))
