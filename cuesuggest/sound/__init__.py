"""Recordings as files: blocks of samples to listen to, and the samples as they are."""
