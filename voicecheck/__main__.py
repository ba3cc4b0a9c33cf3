"""`python -m voicecheck` is the command voicecheck."""

from voicecheck.cli import main

main()
