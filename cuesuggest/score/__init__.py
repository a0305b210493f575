"""The song written down, between hearing and everything else: plan, bars and beats, form, and what cues do to light."""
