"""Samples in, facts about the music out. Knows nothing of light.

`listen` is the way in; `types` are the records that come out. Nothing is imported here, so that whoever needs only
the records does not pay for the rest.
"""
