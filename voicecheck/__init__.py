"""voicecheck: an offline, voice-driven checklist for laparoscopic cholecystectomy.

Not a medical device. Research and training only. It records what people state; it sees nothing,
decides nothing and blocks no hand.
"""

__version__ = "0.1.0"
