"""What becomes of a log once the case is over: parts of report, review, export and collection."""
