"""What desks, sequencers and players run: notes, show control, timecode, markers, captions."""
