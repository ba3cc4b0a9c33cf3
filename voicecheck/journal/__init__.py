"""The log file of one case: every line is durable before it counts."""

from voicecheck.journal.content import LONGEST, Content, fault
from voicecheck.journal.files import JournalError
from voicecheck.journal.journal import Journal, read

__all__ = ["LONGEST", "Content", "Journal", "JournalError", "fault", "read"]
