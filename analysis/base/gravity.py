"""Standard gravity: what turns grams into newtons where no local value is known."""

STANDARD_GRAVITY = 9.80665
"""m/s2, exact by definition (3rd CGPM, 1901)."""
