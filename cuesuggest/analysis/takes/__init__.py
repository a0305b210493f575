"""Two takes of one song: what each bar and beat of the one is in the other."""
