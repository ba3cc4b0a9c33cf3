"""The pure core: one input in, one fact out, without clock, file, thread, randomness or sound."""
