"""Songs with many cues and with texts that nobody would type on purpose, from a seed."""

from __future__ import annotations

import random
from dataclasses import replace

from cuesuggest.score.records import Place, Series
from tests.songs import HOME, LIFT, make_cue, make_song, place_at

# What a name, note or title may hold: a word each for what it could break.
HOSTILE = {
    "umlauts": "Grüße aus Łódź, żółć, ñandú",
    "emoji": "Fire 🔥🎸 family 👩‍👩‍👧‍👦 flag 🇺🇳",
    "hebrew": "שלום עולם (abc) 12",
    "arabic": "سلام العالم",
    "turned": "a\u202eb\u2066c",
    "long": "The song of the two hundred characters " * 5 + "and no end",
    "one long word": "Donaudampfschifffahrtsgesellschaft" * 6,
    "quotes": '"It\'s" `quoted` «so» \\ %s {0} $x',
    "line breaks": "one\ntwo\r\nthree\u2028four\tfive",
    "formula": '=HYPERLINK("x";1+1)',
    "markup": "<script>alert('x')</script><!-- ]]> </title> &amp;",
    "controls": "bell\x07 nul\x00 del\x7f",
    "nothing": "",
    "chinese": "你好，世界",
}


def busy_song(count: int, seed: int = 0, form: str = "A8 B8 A8 B8 C8 B16", text: str | None = None):
    """Build a song with `count` cues that follow each other as hands could play them; `text` goes wherever one can."""
    draw = random.Random(seed)
    song = make_song(form, bpm=100.0, time_signature="4/4")
    bars = [bar.number for bar in song.analysis.bars]
    spots = sorted(draw.sample([(bar, beat) for bar in bars for beat in (1.0, 2.5, 3.0)], count))
    said = {"note": text} if text is not None else {}
    cues, dark = [], True
    for number, (bar, beat) in enumerate(spots, 1):
        place = place_at(song.analysis, bar, beat)
        side = "AB"[number // 2 % 2]
        kind = draw.choice(["one-shot", "recall", "ramp", "speed", "call", "held", "move", "move", "move"])
        if kind == "one-shot":
            series = Series(2, bar, min(bar + 6, bars[-1])) if draw.random() < 0.3 else None
            cue = make_cue(number, "one-shot", place, look="lift", series=series, **said)
        elif kind == "held":
            cue = make_cue(number, "cut-out", place, side=side, trigger="held", **said)
        elif kind == "call":
            cue = make_cue(number, "call", place, who="house light", **{"note": "house to half", **said})
        elif kind in ("recall", "speed"):
            cue = make_cue(number, kind, place, look="lift", side=side, **said)
        elif kind == "ramp":
            cue = make_cue(
                number, "ramp", place, look="home", side=side, level=draw.randrange(20, 80), up_beats=4.0, **said
            )
        elif dark:
            kind = draw.choice(["fade-in", "cut-in", "crossfade"])
            cue = make_cue(number, kind, place, look="home", side=side, level=60, up_beats=2.0, up_seconds=1.2, **said)
            dark = False
        else:
            kind = draw.choice(["fade-out", "cut-out"])
            cue = make_cue(number, kind, place, side=side, level=0, down_beats=4.0, down_seconds=2.4, **said)
            dark = True
        cues.append(replace(cue, standby=number // 3 if draw.random() < 0.6 else None))
    fields = {"cues": tuple(cues)}
    if text is not None:
        sections = tuple(replace(each, name=text, first_words=text) for each in song.analysis.sections)
        fields |= {
            "title": text,
            "analysis": replace(song.analysis, sections=sections),
            "looks": (replace(HOME, name=text), replace(LIFT, name=text)),
            "cues": (make_cue(0.5, "call", Place(0.4), who=text or "x", note=text), *cues),
        }
    return song.replaced(**fields)
