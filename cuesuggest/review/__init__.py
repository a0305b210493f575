"""The page on which a draft is heard, seen and put right: a server on this machine, and what the browser shows."""
