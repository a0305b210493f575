"""The tables of docs/hearing.md on beats and bars: recordings with their truth, heard and judged by mir_eval.

    python -m tests.benchmarks.hearing FOLDER... [--by chain] [--librosa] [--jobs 2]

FOLDER holds audio with a JSON file of the same name beside each: `beats`, `downbeats`, `ignore` (spans that count
neither way, such as a count-in), optionally `tempo_bpm`, `time_signature`, `events` with false starts, `made`. The
first five seconds count. With --librosa its beat tracker is judged on the same files, each fourth of its beats taken
as a downbeat, from the best of the four.
"""

import argparse
from functools import partial
from pathlib import Path

import mir_eval
import numpy as np

from cuesuggest import analyze
from cuesuggest.analysis.training.fit_evidence import of_each

SAME = 0.07  # s, the tolerance of the field
SAME_TEMPO = 0.04
SURE = 0.8  # of a bar's confidence
SURE_SONG = 0.7  # mean of the bars' confidences
HALF = 0.5  # of the bars right: less is misread wholesale
DRAWS = 2000


def outside(times, spans):
    times = np.asarray(times, float)
    keep = np.ones(len(times), bool)
    for start, end in spans or []:
        keep &= (times < start) | (times > end)
    return times[keep]


def f_measure(true, told):
    return float(mir_eval.beat.f_measure(true, told)) if len(true) and len(told) else 0.0


def bars_right(bars, truth):
    """Whether each bar has both its ends on bar lines of the truth that follow each other.

    Returns
    -------
    list of (Bar, bool)
        Without bars that begin in an ignored span.
    """
    lines = np.array(truth["downbeats"])
    found = []
    for bar in bars:
        if any(start <= bar.start <= end for start, end in truth.get("ignore") or []):
            continue
        first = int(np.abs(lines - bar.start).argmin())
        ends = first + 1 < len(lines) and abs(lines[first + 1] - bar.end) <= SAME
        found.append((bar, bool(abs(lines[first] - bar.start) <= SAME and ends)))
    return found


def judge(path, truth, *, with_librosa=False):
    """Figures of one recording, by name."""
    analysis = analyze(path)
    row = {"name": path.stem, "made": truth.get("made") or {}, "told": len(analysis.beats)}
    if not truth["beats"]:
        return row | {"quiet": float(not analysis.beats)}
    beats, downbeats = (outside(truth[name], truth.get("ignore")) for name in ("beats", "downbeats"))
    told, ones = (outside(times, truth.get("ignore")) for times in (analysis.beats, analysis.downbeats))
    bars = bars_right([bar for bar in analysis.bars if bar.number >= 1], truth)
    right = np.array([ok for _, ok in bars], bool)
    sure = np.array([bar.confidence for bar, _ in bars])
    covered = sum(bar.end - bar.start for bar, _ in bars) / np.ptp(truth["downbeats"])
    row |= {"beats": f_measure(beats, told), "downbeats": f_measure(downbeats, ones)}
    row["misread"] = float(not len(right) or right.mean() < HALF or covered < HALF)
    row["misread and sure"] = float(row["misread"] and len(sure) > 0 and sure.mean() >= SURE_SONG)
    if (sure >= SURE).any():
        row["sure bars right"] = float(right[sure >= SURE].mean())
    row["bars sure"] = float((sure >= SURE).mean()) if len(sure) else 0.0
    row["reading"] = analysis.confidence.reading or 0.0
    if truth.get("tempo_bpm"):
        row["tempo"] = float(abs((analysis.tempo_bpm or 0) / truth["tempo_bpm"] - 1) < SAME_TEMPO)
    if truth.get("time_signature"):
        row["signature"] = float(analysis.time_signature == truth["time_signature"])
    if any(event["kind"] == "false-start" for event in truth.get("events") or []):
        one = next((bar.start for bar in analysis.bars if bar.number == 1), np.inf)
        row["bar 1 after false start"] = float(abs(one - downbeats[0]) < SAME)
    if with_librosa:
        row |= tracked(path, beats, downbeats, truth.get("ignore"))
    return row


def tracked(path, beats, downbeats, ignore):
    import librosa

    sound, rate = librosa.load(path, sr=None)
    found = librosa.beat.beat_track(y=sound, sr=rate, units="time")[1]
    told = outside(found, ignore)
    fourths = [f_measure(downbeats, outside(found[k::4], ignore)) for k in range(4)]
    return {"librosa beats": f_measure(beats, told), "librosa downbeats": max(fourths)}


def interval(values):
    """Bounds between which the mean lies in 95 of 100 draws of as many recordings."""
    draws = np.random.default_rng(0).choice(values, (DRAWS, len(values))).mean(axis=1)
    return np.percentile(draws, [2.5, 97.5])


def table(rows):
    """One line for each figure: recordings, mean, interval, worst tenth."""
    names = list(dict.fromkeys(name for row in rows for name in row if name not in ("name", "made", "told")))
    for name in names:
        values = np.array([row[name] for row in rows if name in row])
        low, high = interval(values)
        yield (
            f"  {name:24s} {len(values):4d}  {values.mean():.3f} ({low:.3f} to {high:.3f})"
            f"   a tenth below {np.percentile(values, 10):.2f}"
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--by", help="Key of `made` to group by, such as chain.")
    parser.add_argument("--librosa", action="store_true")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    rows = of_each(args.folders, partial(judge, with_librosa=args.librosa), args.jobs)
    groups = {"all": rows}
    if args.by:
        for row in rows:
            groups.setdefault(str(row["made"].get(args.by)), []).append(row)
    for group, inside in groups.items():
        print(f"{group}: {len(inside)} recordings")
        print("\n".join(table(inside)))
    misread = [f"{row['name']}{'!' if row['misread and sure'] else ''}" for row in rows if row.get("misread")]
    print(f"misread (! and sure): {', '.join(misread) or 'none'}")


if __name__ == "__main__":
    main()
