"""A new draft around what was decided: sections found again, cues moved, plans pinned, lists merged."""
