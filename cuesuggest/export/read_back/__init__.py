"""Files that went out, read back as a list of cues."""
