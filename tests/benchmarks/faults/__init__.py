"""Attacks on the program with broken inputs, kills and failing machines; see `__main__`."""
