"""What can be played at all, what one person can play, and how often light may flash."""
