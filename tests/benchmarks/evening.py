"""How soon the page is there with a set of songs, and how soon it shows the next.

    python -m tests.benchmarks.evening [--songs 20] [--minutes 4] [--runs 3]

The songs are made, not heard: each a document of its own with a dozen sections and a cue every four bars, and noise
as its recording beside it, 48 kHz stereo WAV, so that every sound is opened, hashed and decoded as a real one. `review`
is started on the folder as a process of its own, and a real browser opens it: "open" is from the command to the first
song's chart standing at its size, "first list" from the key to the rows of all songs while none of them was read
before, "song" from the key for the next song to its chart standing at its size, for each song in turn. Of several runs
the median counts, and the slowest song of all is told.
"""

import argparse
import hashlib
import statistics
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile
from playwright.sync_api import sync_playwright

from cuesuggest.song import Song
from tests import outside
from tests.reviewing import Page, serving
from tests.songs import make_analysis, make_cue, make_song, place_at

RATE = 48000
_STANDS = "title => document.title.startsWith(title) && document.querySelector('#chart').ariaBusy === 'false'"


def put(folder: Path, number: int, minutes: float) -> None:
    """Write a song's document and its recording."""
    bpm = 90.0 + 3 * number
    bars = int(minutes * bpm / 4) - 2
    form = " ".join(f"{'AB'[part % 2]}8" for part in range(bars // 8))
    analysis = make_analysis(form, bpm=bpm)
    cues = [
        make_cue(k + 1, "one-shot", place_at(analysis, bar), side="A", level=60, up_beats=0.0, down_beats=2.0)
        for k, bar in enumerate(range(1, 8 * (bars // 8), 4))
    ]
    sound = folder / f"{number:02d}.wav"
    noise = np.random.default_rng(number).standard_normal((round(analysis.duration * RATE), 2), np.float32) / 10
    soundfile.write(sound, noise, RATE, "PCM_16")
    song: Song = make_song(form, analysis=analysis, cues=tuple(cues), questions=(), title=f"Song {number:02d}")
    digest = hashlib.sha256(sound.read_bytes()).hexdigest()
    song.replaced(recording=replace(song.recording, path=sound.name, sha256=digest)).save(
        folder / f"{number:02d}.cues.json"
    )


def measured(folder: Path, browser, songs: int) -> tuple[float, float, list[float]]:
    """Seconds to open the set, to list it for the first time, and to show each next song."""
    start = time.perf_counter()
    with serving(folder) as server:
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        server.windows.append(context)
        page = Page(context.new_page(), server.address)
        opened = time.perf_counter() - start
        start = time.perf_counter()
        page.press("Shift+S")
        page.page.wait_for_selector("#songs tbody tr")
        listed = time.perf_counter() - start
        page.press("Escape")
        shown = []
        for number in range(2, songs + 1):
            start = time.perf_counter()
            page.press("Shift+N")
            page.page.wait_for_function(_STANDS, arg=f"Song {number:02d}", polling=10)
            shown.append(time.perf_counter() - start)
        assert page.problems == []
        return opened, listed, shown


def main() -> None:
    told = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    told.add_argument("--songs", type=int, default=20)
    told.add_argument("--minutes", type=float, default=4.0)
    told.add_argument("--runs", type=int, default=3)
    asked = told.parse_args()
    with tempfile.TemporaryDirectory() as named, sync_playwright() as play:
        folder = Path(named) / "set"
        folder.mkdir()
        for number in range(1, asked.songs + 1):
            put(folder, number, asked.minutes)
        size = sum(path.stat().st_size for path in folder.glob("*.cues.json")) / asked.songs / 1024
        browser = play.chromium.launch(
            executable_path=outside.browser(), args=["--no-sandbox", "--disable-gpu", "--mute-audio"]
        )
        runs = [measured(folder, browser, asked.songs) for _ in range(asked.runs)]
        browser.close()
    opened, listed, shown = zip(*runs, strict=True)
    every = [each for run in shown for each in run]
    print(f"{asked.songs} songs of {asked.minutes:g} minutes, documents of {size:.0f} KiB, {asked.runs} runs")
    print(f"open        {statistics.median(opened):.2f} s, slowest {max(opened):.2f} s")
    print(f"first list  {statistics.median(listed):.2f} s, slowest {max(listed):.2f} s")
    print(f"song        {statistics.median(every):.2f} s, slowest {max(every):.2f} s")


if __name__ == "__main__":
    main()
