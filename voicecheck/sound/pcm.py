"""The form that all sound has inside: one channel of 16-bit samples, 16 000 a second."""

RATE_HZ = 16_000
BYTES_A_SECOND = 2 * RATE_HZ
