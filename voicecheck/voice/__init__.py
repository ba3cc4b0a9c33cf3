"""Words -> sound: the machine's own speech."""
