"""The pure core: one input in, one fact out. It knows no clock, file, thread, chance or sound."""
