"""The format of all sound inside the program: mono, 16-bit samples, 16 kHz."""

RATE_HZ = 16_000
BYTES_A_SECOND = 2 * RATE_HZ
