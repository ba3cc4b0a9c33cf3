"""One record after the case: proved, reported on, shown as a page and exported."""
