"""Set-ups beside each other: repeats pooled, whether a change moved the balance point, effects of a series."""
