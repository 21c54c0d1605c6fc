"""The phases card: what may stand on it, with units, ranges, defaults and meaning."""

from typing import Annotated, Literal

from msgspec import Meta

from rig.cards.keys.kinds_of_key import Section, number, text


class Phase(Section, frozen=True, kw_only=True):
    """One phase of a drift."""

    name: Annotated[str, text("approach, initiation, hold, transition, exit, or a name of your own")]
    ax_g: Annotated[float, number("acceleration forward (braking negative), in g", ge=-5, le=5)] = 0.0
    ay_g: Annotated[float, number("acceleration to the left, in g", ge=-5, le=5)] = 0.0
    steer_deg: Annotated[
        float, number("front wheels turned to the left: their side force stands across them", ge=-90, le=90)
    ] = 0.0
    driven_grip_spent: (
        Annotated[
            float,
            number(
                "share of the driven axle's grip that its spinning or locked wheels take, 0 to 1; left out: what ax_g "
                "takes",
                ge=0,
                le=1,
            ),
        ]
        | None
    ) = None
    duration_s: Annotated[float, number("how long it lasts", gt=0, le=60)]


class PhasesCard(Section, frozen=True):
    """A drift told as phases, one after another; more or fewer if you like."""

    card: Literal["phases"]
    name: Annotated[str, text("name of this drift")]
    blend_s: Annotated[float, number("time in which one phase's accelerations go over to the next", ge=0, le=10)] = 0.1
    phases: Annotated[list[Phase], Meta(description="the phases, one table each", min_length=1, max_length=50)] = []
