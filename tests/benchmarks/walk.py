"""How long a review takes with the song heard through: the steps of docs/review.md, at their own pace.

    python -m tests.benchmarks.walk [--sample samples/first_light.ogg] [--read 2]

A program takes the place of the person, in a real browser that plays the song in real time: it answers each open
question after hearing its first answer, presses along from the first bar to the end (the light that the draft has for
each section, one step more in the first lift, a hit on its first bar), takes over what differs, plays into each cue
that is unsure or stands in a section whose light was taken over, and accepts the draft. Before each decision it waits
as long as somebody reads (`--read`, seconds; ours, not measured). Printed are the seconds of each step, and all of them
as a share of the song.
"""

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from playwright.sync_api import sync_playwright

from cuesuggest import Song, suggest
from cuesuggest.score.records import CATEGORIES
from tests import outside
from tests.reviewing import Page, copied, hosting

SAMPLE = Path(__file__).parent.parent.parent / "samples" / "first_light.ogg"
LATE = 0.12  # s; how late this hand is, known before
UNSURE = 0.5


class Walk:
    """One person at the page, with a watch."""

    def __init__(self, page: Page, document: Path, read: float) -> None:
        self.page, self.document, self.read = page, document, read
        self.started = time.perf_counter()

    def song(self) -> Song:
        return Song.load(self.document)

    def look(self) -> None:
        """Read what stands there."""
        self.page.page.wait_for_timeout(1000 * self.read)

    def lap(self, name: str) -> float:
        now = time.perf_counter()
        took, self.started = now - self.started, now
        print(f"{name:<28}{took:6.1f} s")
        return took

    def answer(self) -> None:
        """Hear the first answer of each question for a few bars, and take it."""
        for _ in range(20):
            self.page.press("q")
            self.page.page.wait_for_timeout(300)
            if "Question" not in self.page.text("#slip"):
                return
            self.page.press("k")
            self.page.page.wait_for_timeout(5000)
            self.look()
            self.page.press("1")
            self.page.page.wait_for_timeout(500)

    def press_along(self) -> None:
        """Press what is wanted while the song plays once."""
        song = self.song()
        plan = {each.section: each for each in song.plan}
        raised = next((each.section for each in song.plan if each.category == "lift"), None)
        presses = []
        for section in song.analysis.sections:
            step = CATEGORIES.index(plan[section.id].category) + (section.id == raised)
            presses.append((section.start + LATE, str(min(step, 3))))
            if section.id == raised:
                presses.append((section.start + LATE + 0.2, "j"))
        self.page.press("Escape", "Home", "Shift+K")
        for seconds, key in sorted(presses):
            self.page.page.wait_for_function(
                "time => document.querySelector('#sound').currentTime >= time", arg=seconds, timeout=0, polling=20
            )
            self.page.press(key)
        self.page.page.wait_for_function("() => document.querySelector('#sound').ended", timeout=0)
        self.page.page.wait_for_timeout(500)

    def take_over(self) -> None:
        self.look()
        self.page.press("Shift+Enter")
        self.page.told("taken over")

    def listen(self) -> None:
        """Play into the cues that are unsure, and into those of sections whose light was taken over."""
        song = self.song()
        decided = {each.section for each in song.plan if each.decided}
        marks = {(each.label, each.pass_) for each in song.analysis.sections if each.id in decided}
        for cue in song.cues:
            if (cue.place.section, cue.place.pass_) not in marks and cue.confidence >= UNSURE:
                continue
            self.page.page.click(f'#chart text[data-cue="{cue.id}"]')
            self.page.press("p")
            self.page.page.wait_for_timeout(5000)
            self.look()
        self.page.page.evaluate("() => document.querySelector('#sound').pause()")

    def accept(self) -> None:
        self.look()
        self.page.press("Shift+Enter")
        self.page.told("accepted")


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--sample", type=Path, default=SAMPLE)
    given.add_argument("--read", type=float, default=2.0)
    options = given.parse_args()
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        folder = Path(name)
        song = suggest(options.sample)
        document = folder / "song.cues.json"
        song.replaced(recording=replace(song.recording, path=options.sample.name)).save(document)
        document = copied(document, options.sample, folder / "review")
        arguments = ["--no-sandbox", "--disable-gpu", "--mute-audio", "--autoplay-policy=no-user-gesture-required"]
        browser = play.chromium.launch(executable_path=outside.browser(), args=arguments)
        with hosting(document) as server:
            window = browser.new_context(viewport={"width": 1440, "height": 900})
            server.windows.append(window)
            page = Page(window.new_page(), server.address)
            known = {**page.page.evaluate("() => ({bars: 16, song: 100, click: 50, controls: {}})"), "late": 120}
            server.ask("POST", "/chosen", known)
            page.reload()
            walk = Walk(page, document, options.read)
            laps = []
            for step in (walk.answer, walk.press_along):
                step()
                laps.append(walk.lap(step.__name__.replace("_", " ")))
            walk.take_over()
            laps.append(walk.lap("take over"))
            walk.listen()
            laps.append(walk.lap("listen into cues"))
            walk.accept()
            laps.append(walk.lap("accept"))
        length = song.recording.window.end - song.recording.window.start
        print(f"{'all':<28}{sum(laps):6.1f} s, {sum(laps) / length:.2f} times the song ({length:.0f} s)")
        browser.close()


if __name__ == "__main__":
    main()
