"""From what was heard to a draft: pure functions, numbers from the profile, a reason beside every cue."""

from __future__ import annotations

from cuesuggest.rules.compose import Draft, draft
from cuesuggest.rules.kit import Kit, kit, kit_text
from cuesuggest.rules.person.flashes import check_flashes
from cuesuggest.rules.person.hands import check_hands
from cuesuggest.rules.person.playable import Unplayable, check_playable, unplayable
from cuesuggest.rules.plan.plan_parts import Pin
from cuesuggest.rules.settings.house import Profile, Rig
from cuesuggest.rules.settings.settings_file import (
    known_names,
    load_profile,
    load_rig,
    profile_from_values,
    rig_from_values,
)
from cuesuggest.score.grid import Grid, count_word

__all__ = [
    "Draft",
    "Grid",
    "Kit",
    "Pin",
    "Profile",
    "Rig",
    "Unplayable",
    "check_flashes",
    "check_hands",
    "check_playable",
    "count_word",
    "draft",
    "kit",
    "kit_text",
    "known_names",
    "load_profile",
    "load_rig",
    "profile_from_values",
    "rig_from_values",
    "unplayable",
]
