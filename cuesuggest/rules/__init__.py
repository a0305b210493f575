"""From what was heard to a draft: pure functions, numbers from the profile, a reason beside every cue."""

from __future__ import annotations

from cuesuggest.rules.compose import Draft, draft
from cuesuggest.rules.grid import Grid, count_word
from cuesuggest.rules.material import Pin
from cuesuggest.rules.playable import check_playable
from cuesuggest.rules.settings import Profile, Rig
from cuesuggest.rules.settings_file import (
    known_names,
    load_profile,
    load_rig,
    profile_from_values,
    rig_from_values,
)

__all__ = [
    "Draft",
    "Grid",
    "Pin",
    "Profile",
    "Rig",
    "check_playable",
    "count_word",
    "draft",
    "known_names",
    "load_profile",
    "load_rig",
    "profile_from_values",
    "rig_from_values",
]
