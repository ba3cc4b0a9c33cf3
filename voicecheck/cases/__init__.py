"""Many cases: collected from their logs, summed up and charted."""
