"""The bounds of a song: what a document, an option or a message may say at most, each with its reason.

They are generous: no song that somebody plays comes near them. What is beyond is a slip or nonsense, which would take
hours and gigabytes behind the gate; it is refused with a sentence, never changed.
"""

from __future__ import annotations

__all__ = [
    "DAY",
    "DEEPEST",
    "FASTEST_HEARD",
    "FASTEST_STATED",
    "LARGEST",
    "LEAST_BAR",
    "LEAST_BEAT",
    "MOST_BARS",
    "MOST_BEATS_IN_BAR",
    "MOST_BYTES",
    "MOST_CHANGES",
    "MOST_CHANNELS",
    "MOST_COLOURS",
    "MOST_CORRECTIONS",
    "MOST_CUES",
    "MOST_FADE_BEATS",
    "MOST_LISTED",
    "MOST_TEXT",
    "PAST_THE_END",
    "SLOWEST_HEARD",
    "SLOWEST_STATED",
]

DAY = 86_400.0
"""Seconds. Recordings run on over an evening, and a show's clock begins again after a day."""
PAST_THE_END = 1.0
"""Seconds by which what was heard may end after the recording: the last beats lie on a line through those before."""
MOST_BEATS_IN_BAR = 99
"""The largest upper number of a time signature that anything writes."""
MOST_BARS = 50_000
"""A day of bars of 1.7 s."""
LEAST_BEAT, LEAST_BAR = 1e-3, 0.05
"""Seconds. Heard beats are 10 ms or more apart and stored to 0.1 ms; bar lines are played and tapped by hand."""
SLOWEST_HEARD, FASTEST_HEARD = 1.0, 12_000.0
"""Beats a minute: the frames that are listened to are 10 ms long, and another reading may be twice as fast."""
SLOWEST_STATED, FASTEST_STATED = 20.0, 400.0
"""Beats a minute that a felt beat can have, as somebody states it."""
MOST_CUES = 5_000
"""A cue every three seconds for four hours, the longest that is listened to."""
MOST_COLOURS = 12
"""In one look; nobody tells more of them apart."""
MOST_CORRECTIONS = 20_000
"""A bar line every 0.7 s for four hours."""
MOST_CHANGES = 10_000
"""Changes that can be taken back; older ones are forgotten."""
MOST_FADE_BEATS = 10_000.0
"""An hour and a half of beats in one fade."""
MOST_LISTED = 400_000
"""Members of any list: beats are the longest, a day of them at 277 a minute."""
MOST_TEXT = 20_000
"""Characters of any text: a form on several pages."""
MOST_CHANNELS = 1024
"""Of a recording; the widest files have some hundreds."""
LARGEST = 1e9
"""Of any number beside: nine digits, which every format and every kind of number holds exactly."""
DEEPEST = 12
"""Lists in objects in lists of the values of a house style or rig, which have three."""
MOST_BYTES = 32 * 1024 * 1024
"""Of a document: four hours of music with 2,000 cues and 10,000 changes take 9 MiB and are read in a second."""
