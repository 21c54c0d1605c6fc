"""A filmed drive in words."""

import numpy as np

from analysis.statistics.quantiles import NORMAL_95
from rig.jobs.moving.drive import FilmedDrive


def drive_words(filmed: FilmedDrive) -> str:
    """A drive for a terminal: the sentence, the figures, the model beside it, what to expect of it."""
    s, length = filmed.steady, filmed.wheelbase
    side = "left" if s.ay > 0 else "right"
    lines = [
        f"A turn to the {side} of {s.radius:.2f} ± {NORMAL_95 * s.radius_u:.2f} m at "
        f"{s.speed:.2f} ± {NORMAL_95 * s.speed_u:.2f} m/s, "
        f"sliding {abs(np.degrees(s.slide_angle)):.1f} ± {NORMAL_95 * np.degrees(s.slide_angle_u):.1f} degrees",
        f"side acceleration {abs(s.ay):.2f} ± {NORMAL_95 * s.ay_u:.2f} m/s2",
        f"moving pivot {100 * s.pivot[0] / length:.0f} ± {196 * s.pivot_u[0] / length:.0f} % of the wheelbase, "
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
