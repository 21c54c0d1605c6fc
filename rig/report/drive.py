"""A filmed drive in words."""

import numpy as np

from rig.jobs.moving.drive import FilmedDrive
from rig.report.words.rounding import with_uncertainty


def drive_words(filmed: FilmedDrive) -> str:
    """A drive for a terminal: the sentence, the figures, the model beside it, what to expect of it."""
    s, length = filmed.steady, filmed.wheelbase
    side = "left" if s.ay > 0 else "right"
    pivot_pct, pivot_pct_u = 100 * s.pivot[0] / length, 100 * s.pivot_u[0] / length
    lines = [
        f"A turn to the {side} of {with_uncertainty(s.radius, s.radius_u, 'm')} at "
        f"{with_uncertainty(s.speed, s.speed_u, 'm/s')}, "
        f"sliding {with_uncertainty(abs(np.degrees(s.slide_angle)), np.degrees(s.slide_angle_u), 'degrees')}",
        f"side acceleration {with_uncertainty(abs(s.ay), s.ay_u, 'm/s2')}",
        f"moving pivot {with_uncertainty(pivot_pct, pivot_pct_u, '%')} of the wheelbase, "
        f"{abs(s.pivot[1]):.2f} m to the {'left' if s.pivot[1] > 0 else 'right'}",
    ]
    model = filmed.model
    if model is None:
        lines.append(f"no model beside it: {filmed.why_no_model}")
    elif model.rolls_over:
        lines.append("model: at this side acceleration the car of the cards would roll over; check height and track")
    else:
        lines.append(
            f"model: balance point {100 * model.balance / length:.1f} % "
            f"({100 * model.balance_rest / length:.1f} % at rest), roll {np.degrees(model.roll):+.1f} degrees, "
            f"{100 * model.grip_used:.0f} % of the grip used"
        )
        if model.grip_used > 1.05:
            lines.append("note: more side force than the grip on the test card allows; measure the grip on this floor")
    return "\n".join([*lines, *(f"note: {note}" for note in s.notes)])
