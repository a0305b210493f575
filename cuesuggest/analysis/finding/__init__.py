"""What every finder of events shares: what it looks at, what it hands back, how likely that is."""
