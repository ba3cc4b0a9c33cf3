"""Sound -> words: what was said, when, and how surely. Runs in the theatre."""
