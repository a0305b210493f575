"""What the tests of exports share: songs at random, and texts that break careless writers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import strategies as st

from cuesuggest.analysis.types import Bar, Event, Section
from cuesuggest.export import Options, export
from cuesuggest.score.records import Place, Series
from tests.songs import make_cue, make_song, place_at

HOSTILE = {
    "umlauts": "Größenwahn über Łódź, Ærøskøbing",
    "emoji": "lights 🔦👨‍👩‍👧‍👦 on",
    "right to left": "שלום עולם",
    "direction marks": "abc\u202edef\u2066ghi",
    "200 characters": "ab cd " * 33 + "xy",
    "no spaces": "w" * 200,
    "quotes": "\"He said 'go' now\" \\ `x`",
    "line breaks": "one\r\ntwo\nthree\u2028four\x0bfive",
    "formula": "=1+1;=2\t@x",
    "markup": "<b onload=x>&amp;</b>--><!-- ]]> {{x}} ${y}",
    "caption arrow": "00:00.000 --> 00:01.000",
    "comment mark": "! Cue 9",
    "control": "a\x00b\x1bc\x7f",
    "lone surrogate": "x\udc80y",
    "blank": "   ",
    "empty": "",
}


def hostile_song(text, **fields):
    """A song in which every text that a user can write is this one; a title needs no letters."""
    song = make_song("A8 B8 A8", title=text, **fields)
    sections = tuple(replace(each, name=text, first_words=text) for each in song.analysis.sections)
    return song.replaced(
        analysis=replace(song.analysis, sections=sections),
        looks=tuple(replace(look, name=text, description=text, colour_relation=text) for look in song.looks),
        cues=tuple(replace(cue, note=text, reasons=(text,), cautions=(text,), who=text) for cue in song.cues),
        cautions=(text,),
    )


seeds = st.integers(0, 2**32 - 1)


def random_song(seed, *, confirms=None):
    """A song with uneven tempo, odd bars, a pause, talk before it, and cues of every kind anywhere.

    `confirms` is whether every cue waits for a person; None leaves it to chance.
    """
    random = np.random.default_rng(seed)
    bars = _bars(random)
    beats = tuple(time for bar in bars for time in np.round(np.linspace(bar.start, bar.end, bar.beats + 1)[:-1], 4))
    end = bars[-1].end
    base = make_song("A4")
    analysis = replace(
        base.analysis,
        duration=round(end + 3, 4),
        beats=tuple(map(float, beats)),
        beat_confidence=(0.9,) * len(beats),
        downbeats=tuple(bar.start for bar in bars),
        bars=bars,
        sections=_sections(bars),
        events=(Event("stop", bars[2].start, bars[2].start + 0.4, bars[2].number, 1.0, 0.9),),
        music_end=end,
    )
    song = base.replaced(
        recording=replace(
            base.recording, duration=analysis.duration, window=replace(base.recording.window, end=analysis.duration)
        ),
        analysis=analysis,
        plan=(),
        questions=(),
        cues=(),
    )
    return song.replaced(cues=tuple(_cues(random, song, confirms)))


def _bars(random):
    start = float(np.round(random.uniform(0, 12), 4))
    tempo = random.uniform(50, 190)
    bars = []
    for number in range(1 - int(random.integers(0, 3)), 25):
        signature = str(random.choice(["4/4", "4/4", "4/4", "3/4", "6/8", "7/8", "2/4", "5/4"]))
        count = {"6/8": 2}.get(signature) or int(signature[0])
        end = round(start + count * 60 / tempo, 4)
        bars.append(
            Bar(
                number,
                start,
                end,
                count,
                signature,
                0.5,
                make_song("A1").analysis.bars[0].drive_parts,
                -20.0,
                (),
                None,
                0.9,
            )
            if not bars
            else replace(bars[0], number=number, start=start, end=end, beats=count, time_signature=signature)
        )
        tempo *= random.uniform(0.97, 1.03)
        start = round(end + (random.uniform(0.5, 9) if random.random() < 0.05 else 0), 4)
    return tuple(bars)


def _sections(bars):
    model = make_song("A1").analysis.sections[0]
    numbers = [bar.number for bar in bars if bar.number >= 1]
    found = []
    for index, first in enumerate(range(1, numbers[-1] + 1, 8)):
        last = min(first + 7, numbers[-1])
        start = next(bar.start for bar in bars if bar.number == first)
        end = next(bar.end for bar in bars if bar.number == last)
        found.append(
            Section(**{**_fields(model), "id": f"s{index + 1}", "start": start, "end": end, "first_bar": first,
                       "last_bar": last, "label": "AB"[index % 2], "pass_": index // 2 + 1})
        )  # fmt: skip
    return tuple(found)


def _fields(record):
    return {name: getattr(record, name) for name in record.__slots__}


def _cues(random, song, confirms):
    kinds = ["recall", "fade-in", "crossfade", "fade-out", "cut-in", "cut-out", "ramp", "one-shot", "speed", "call"]
    bars = [bar for bar in song.analysis.bars if bar.number >= 1]
    for number in range(1, int(random.integers(1, 25))):
        kind = str(random.choice(kinds))
        bar = bars[int(random.integers(len(bars)))]
        place = place_at(song.analysis, bar.number, float(random.integers(1, bar.beats + 1)))
        if random.random() < 0.1:
            place = Place(float(np.round(random.uniform(0, song.analysis.duration), 4)))
        up, down = (None if random.random() < 0.3 else float(np.round(random.uniform(0, 6), 4)) for _ in range(2))
        series = None
        if kind == "one-shot" and place.bar is not None and place.bar + 4 <= bars[-1].number:
            series = Series(2, place.bar, place.bar + 4)
        yield make_cue(
            float(number),
            kind,
            place,
            id=f"c/{number}",
            look=str(random.choice(["home", "lift"])) if kind not in ("call", "fade-out") else None,
            side=str(random.choice(["A", "B"])) if kind not in ("call", "one-shot") else None,
            level=int(random.integers(0, 101)) if random.random() < 0.8 else None,
            trigger=str(random.choice(["hand", "hand", "held", "follow-on"])),
            anchor=str(random.choice(["starts-on", "lands-on"])),
            up_seconds=up,
            down_seconds=down,
            series=series,
            operator_confirms=bool(random.random() < 0.5) if confirms is None else confirms,
            status=str(random.choice(["suggested", "accepted", "rejected"])),
        )


def one(song, name, ending, **options):
    """One file of a format."""
    return export(song, f"{name}.{ending}", Options(**options))[_ending(name, ending)]


def _ending(name, ending):
    from cuesuggest.export import FORMATS

    return next(each for each in FORMATS[name].files if each.endswith(f".{ending}"))


def in_sevens(form="A8 B8 A8", bpm=171, **fields):
    """A song in 7/8 that is felt as 2 + 2 + 3 with even eighths; the tempo is that of two of them."""
    counted = make_song(form, bpm=2 * bpm, time_signature="7/8", **fields)
    analysis = counted.analysis
    bars = tuple(replace(bar, beats=3) for bar in analysis.bars)
    beats = [time for index, time in enumerate(analysis.beats) if index % 7 in (0, 2, 4)]
    analysis = replace(
        analysis, bars=bars, beats=tuple(beats), beat_confidence=(0.9,) * len(beats), meter=3, tempo_bpm=bpm * 6 / 7
    )
    return counted.replaced(analysis=analysis)
