"""A live case: its parts put together, and the loop that drives it."""
