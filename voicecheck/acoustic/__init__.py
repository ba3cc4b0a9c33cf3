"""The laboratory: making, calibrating and measuring the acoustic model. Not used in the theatre."""
