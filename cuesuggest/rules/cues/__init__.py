"""The plan as cues: coming in, staying, going out, one-shots, speed, and what has to be asked or said with them."""
