"""From what was heard to a draft: pure functions, numbers from the profile, a reason beside every cue."""

from __future__ import annotations

from cuesuggest.rules.compose import Draft, draft
from cuesuggest.rules.playable import check_playable
from cuesuggest.rules.settings import Profile, Rig, known_names, load_profile, load_rig

__all__ = ["Draft", "Profile", "Rig", "check_playable", "draft", "known_names", "load_profile", "load_rig"]
