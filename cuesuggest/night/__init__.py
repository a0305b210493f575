"""A night: songs in order on one rig, numbered, with their looks shared, and changed together at sound check."""
