"""Things that happen once, each kind found by a module of its own; and where the music starts and ends.

A finder lists candidates with features; a logistic regression per kind (`sure`) says how likely each is, and what is
at least as likely as not is told. Precision comes before recall: what is told here becomes light.
"""

from cuesuggest.analysis.events.attempts import attempts, carried_over, unplayed
from cuesuggest.analysis.events.count_in import Count, counts, lead_in
from cuesuggest.analysis.events.edges import last_attack, loud_level, music_end, music_limit, music_start
from cuesuggest.analysis.events.find import find_moments, moments_without_music
from cuesuggest.analysis.events.scene import Candidate, Heard, Scene
from cuesuggest.analysis.events.sure import sure
from cuesuggest.analysis.events.talk import hear_around

__all__ = [
    "Candidate",
    "Count",
    "Heard",
    "Scene",
    "attempts",
    "carried_over",
    "counts",
    "find_moments",
    "hear_around",
    "last_attack",
    "lead_in",
    "loud_level",
    "moments_without_music",
    "music_end",
    "music_limit",
    "music_start",
    "sure",
    "unplayed",
]
