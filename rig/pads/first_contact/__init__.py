"""Lines that nobody described yet: looked at, cut into columns, and a pattern proposed for the bench card."""
