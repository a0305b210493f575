"""Whether designers' tastes are found in eight songs, and nothing where there is none.

    python -m tests.benchmarks.learning [--draws 50] [--style band] [--only NAME] [--json OUT]

Each draw makes eight songs and a designer (`tests.designers`) who goes through their drafts; then it is seen what
`learn` makes of the documents. A taste counts as found if what is proposed is within its tolerance: drive by 0.04,
levels by 5 %, fade lengths by a quarter, the number of one-shots in a song by one. Something that is proposed where the
designer has no taste is false. "repairs saved" is what the tool itself says of songs left out; "on fresh songs" is
counted on four more songs, drafted in both styles, by how many edits the same designer makes in each.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from cuesuggest.draft.taste.lessons import Learned, learned, songs_to_learn_from
from cuesuggest.draft.taste.style_numbers import number_of
from cuesuggest.rules import Profile, load_profile
from tests.designers import EXAMPLE, Designer, a_song, evenings, work_in

SONGS, FRESH = 8, 4


def _any(rng: np.random.Generator, *choices):
    return choices[int(rng.integers(len(choices)))]


SHOTS, LEVELS = (0, 2, 3), (-15, -10, 10, 15)
# In `band` a lift comes in over 2 beats, a subtle look over 2 bars, and the old look leaves for a lift over 2 beats.
OFTEN = ({"fades.lift_up_beats": 1.0}, {"fades.lift_up_beats": 4.0}, {"fades.subtle_up_bars": 1.0})
RARE = ({"fades.out_beats.lift": 1.0}, {"fades.out_beats.lift": 4.0}, {"fades.subtle_up_bars": 4.0})
TASTES: dict[str, Callable[[np.random.Generator, Profile], Designer]] = {
    "none": lambda rng, base: Designer(whims=float(rng.uniform(0.5, 2.0))),
    "restraint": lambda rng, base: Designer(light=_any(rng, 0.12, 0.16)),
    "one-shots": lambda rng, base: Designer(shots=_any(rng, *SHOTS)),
    "lengths": lambda rng, base: Designer(lengths=_any(rng, *OFTEN)),
    "levels": lambda rng, base: Designer(levels={_any(rng, "subtle", "lift"): _any(rng, *LEVELS)}),
    "colours": lambda rng, base: Designer(colours={"lift": _any(rng, -1, 1)}),
    # Harder to find: a third of a category less light; fades that a song has once or not at all, or has no room for.
    "slight restraint": lambda rng, base: Designer(light=0.08),
    "rare lengths": lambda rng, base: Designer(lengths=_any(rng, *RARE)),
    "all": lambda rng, base: Designer(
        light=_any(rng, 0.12, 0.16),
        shots=_any(rng, *SHOTS),
        lengths=_any(rng, *OFTEN),
        levels={_any(rng, "subtle", "lift"): _any(rng, *LEVELS)},
        colours={"lift": _any(rng, -1, 1)},
    ),
}


def judged(designer: Designer, found: Learned, base: Profile) -> tuple[dict[str, bool], list[str]]:
    """Each taste of a designer with whether it was found, and what was proposed beside them."""
    numbers = dict(found.numbers)
    ok: dict[str, bool] = {}
    drive = [key for key in numbers if key.startswith("drive.")]
    if designer.light:
        moved = numbers.get("drive.lift", base.drive.lift) - base.drive.lift
        ok[f"restraint {designer.light:g}"] = bool(drive) and abs(moved - designer.light) <= 0.0401
    if designer.shots is not None:
        ok[f"one-shots {designer.shots}"] = (
            abs(numbers.get("shots.most_per_song", base.shots.most_per_song) - designer.shots) <= 1
        )
    for key, value in designer.lengths.items():
        ok[f"{key} {value:g}"] = key in numbers and max(numbers[key] / value, value / numbers[key]) <= 1.25
    for category, by in designer.levels.items():
        key = f"looks.base_level.{category}"
        ok[f"level {category} {by}"] = key in numbers and abs(numbers[key] - number_of(base, key) - by) <= 5
    for category, by in designer.colours.items():
        key = f"looks.colours.{category}"
        ok[f"colours {category} {by}"] = numbers.get(key) == number_of(base, key) + by
    mine = (
        set(designer.lengths)
        | {f"looks.colours.{each}" for each in designer.colours}
        | {f"looks.{end}.{each}" for each in designer.levels for end in ("base_level", "ceiling")}
    )
    mine |= {
        key
        for key in numbers
        if (designer.light and key in drive) or (designer.shots is not None and key.startswith("shots."))
    }
    return ok, sorted(set(numbers) - mine)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=50)
    parser.add_argument("--style", default="band")
    parser.add_argument("--only", choices=TASTES)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--verbose", action="store_true")
    parser.add_argument("--json", type=Path)
    given = parser.parse_args()
    base = load_profile(given.style)
    table = {}
    for name, make in TASTES.items():
        if given.only not in (None, name):
            continue
        hits, tried, false, saved, wrong, work = Counter(), Counter(), 0, [], Counter(), Counter()
        begun = time.perf_counter()
        for number in range(given.draws):
            rng = np.random.default_rng([given.seed, number, *name.encode()])
            designer = make(rng, base)
            heard = [a_song(rng) for _ in range(SONGS)]
            documents = {f"song {k}": song for k, song in enumerate(evenings(designer, base, EXAMPLE, rng, heard), 1)}
            songs, _ = songs_to_learn_from(documents, base)
            found = learned(songs, base)
            ok, beside = judged(designer, found, base)
            tried.update(ok.keys())
            hits.update(key for key, good in ok.items() if good)
            false += bool(beside)
            wrong.update(beside)
            if found.style is not None:
                saved.append(1 - found.after / found.before)
                fresh = [a_song(rng) for _ in range(FRESH)]
                for kind, style in (("old", base), ("new", found.style)):
                    again = np.random.default_rng([given.seed, number])
                    work[kind] += sum(map(work_in, evenings(designer, style, EXAMPLE, again, fresh)))
            if given.verbose:
                print(name, number, designer, ok, beside, len(songs), found.before, found.after)
                for each in found.lessons:
                    print("    ", dict(each.then), each.evidence, round(each.chance, 4), each.before, each.after)
                for note in found.notes:
                    print("    -", note)
        seconds = (time.perf_counter() - begun) / given.draws
        row = {
            "draws": given.draws,
            "found": {key: f"{hits[key]}/{tried[key]}" for key in sorted(tried)},
            "all": f"{hits.total()}/{tried.total()}",
            "false": false,
            "false_what": dict(wrong),
            "repairs saved": round(float(np.mean(saved)), 3) if saved else None,
            "on fresh songs": f"{work['old']} -> {work['new']}",
            "seconds": round(seconds, 2),
        }
        table[name] = row
        print(name, row, flush=True)
    if given.json:
        given.json.write_text(json.dumps(table, indent=1))


if __name__ == "__main__":
    main()
