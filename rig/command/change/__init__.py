"""Two set-ups or a series of them: what moved."""
