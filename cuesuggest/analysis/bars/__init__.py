"""Beats laid out as numbered bars: count-in, false starts, where the music starts and ends."""
