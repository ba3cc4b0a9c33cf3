"""voicecheck: an offline, voice-driven checklist for laparoscopic cholecystectomy.

Not a medical device. Research and training only. It records what people state; it sees nothing,
decides nothing and blocks no hand.

The names below are the public face: read a procedure, live a case by one input after another, and
prove what a log says. `voicecheck.live` drives a case on sound; `voicecheck.ears` hears.
"""

from voicecheck.core.case import Case, IllegalFact
from voicecheck.core.chain import Checkpoint, parse_checkpoint
from voicecheck.core.facts import Fact, Record
from voicecheck.core.inputs import Input
from voicecheck.core.procedure import Procedure
from voicecheck.core.replay import BrokenLog, replay

__version__ = "0.1.0"

__all__ = [
    "BrokenLog",
    "Case",
    "Checkpoint",
    "Fact",
    "IllegalFact",
    "Input",
    "Procedure",
    "Record",
    "__version__",
    "parse_checkpoint",
    "replay",
]
