"""Where a point of the car lies, in words, for terminal, report and page alike."""


def station_words_mm(x: float) -> str:
    """A distance along the car. x: m ahead of the rear axle."""
    return f"{abs(x) * 1e3:.0f} mm {'ahead of' if x >= 0 else 'behind'} the rear axle"


def side_words_mm(y: float) -> str:
    """A distance across the car. y: m to the left of the middle."""
    return f"{abs(y) * 1e3:.0f} mm to the {'left' if y >= 0 else 'right'} of the middle"
