"""Things that happen once in a song, each kind found by a module of its own.

A finder lists candidates with features; a logistic regression per kind (`finding.likely`) says how likely each is, and
what is at least as likely as not is told. Precision comes before recall: what is told here becomes light.
"""
