"""A list in time, from this machine: what is sent when, start, pause, locate, and one way to take all of it out."""
