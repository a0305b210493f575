"""A long recording, such as a rehearsal, as its songs: where each is played, and which are the same."""
