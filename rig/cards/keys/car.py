"""The car card: what may stand on it, with units, ranges, defaults and meaning."""

from typing import Annotated, Literal

from msgspec import Meta

from rig.cards.keys.kinds_of_key import (
    MEASURED_RADIUS_MM_U,
    UNMEASURED_BAR_MM_U,
    UNMEASURED_RADIUS_MM_U,
    AxleKind,
    BarU,
    CardId,
    Fraction,
    Section,
    ShaftKind,
    bar_length,
    number,
    text,
    uncertainty_of,
)


class Geometry(Section, frozen=True, kw_only=True):
    """Where the tyres touch the floor."""

    wheelbase_mm: Annotated[float, number("front axle to rear axle", ge=40, le=2000)]
    wheelbase_mm_u: Annotated[float, uncertainty_of("the wheelbase")] = 0.5
    track_front_mm: Annotated[float, number("left to right contact, front (contact print, not rim)", ge=20, le=1500)]
    track_front_mm_u: Annotated[float, uncertainty_of("the front contact track")] = 3.0
    track_rear_mm: Annotated[float, number("left to right contact, rear", ge=20, le=1500)]
    track_rear_mm_u: Annotated[float, uncertainty_of("the rear contact track")] = 3.0
    sizes: Annotated[
        Literal["measured", "not measured"],
        Meta(description="wheelbase and tracks; not measured: figures that came with the card stand in, very unsure"),
    ] = "measured"
    contacts_mm: (
        Annotated[
            list[tuple[float, float]],
            Meta(
                description="contacts [ahead of rear axle, left of middle] FL FR RL RR; instead of tracks",
                min_length=4,
                max_length=4,
            ),
        ]
        | None
    ) = None
    wheel_radius_mm: Annotated[float, number("loaded wheel radius; left out: not measured", gt=2, le=500)] = 32.0
    wheel_radius_mm_u: Annotated[
        float,
        uncertainty_of(
            f"the wheel radius; left out: {MEASURED_RADIUS_MM_U:g} with the radius on the card, otherwise "
            f"{UNMEASURED_RADIUS_MM_U:g}"
        ),
    ] = UNMEASURED_RADIUS_MM_U
    cg_height_mm: Annotated[float, number("centre of gravity above the floor", gt=0, le=1000)] = 35.0
    cg_height_mm_u: Annotated[float, uncertainty_of("the centre of gravity's height")] = 12.0
    front_roll_share: Annotated[Fraction, Meta(description="front axle's share of a rolling moment")] = 0.5
    front_roll_share_u: Annotated[float, uncertainty_of("the front roll share")] = 0.15
    body_front_mm: Annotated[float, number("body outline ahead of the front axle, for pictures", ge=0, le=1000)] = 75.0
    body_rear_mm: Annotated[float, number("body outline behind the rear axle, for pictures", ge=0, le=1000)] = 80.0
    body_width_mm: Annotated[
        float, number("body width where the finger touches it; it counts for a finger that sticks", gt=0, le=1500)
    ] = 190.0


class Axle(Section, frozen=True):
    """How the two wheels of one axle turn."""

    kind: Annotated[
        AxleKind, Meta(description="free: each wheel turns alone; solid: both turn together; differential")
    ] = "free"
    drag: Annotated[
        Fraction, Meta(description="rolling drag as a share of the tyre's grip: 0.02 rolls well, 1 blocked")
    ] = 0.02
    drag_u: Annotated[float, uncertainty_of("the drag")] = 0.01
    drag_g: (
        Annotated[
            float,
            number(
                "what turns one wheel at its tread against bearings and gears, whatever it carries; beside drag, which "
                "then is what grows with the load; unset: any share of drag may be of bearings",
                ge=0,
                le=20_000,
            ),
        ]
        | None
    ) = None
    drag_g_u: Annotated[float, uncertainty_of("that bearing drag")] = 0.0
    toe_deg: Annotated[float, number("toe-in of each wheel", ge=-20, le=20)] = 0.0
    toe_deg_u: Annotated[float, uncertainty_of("the toe")] = 0.3
    steer_deg: Annotated[
        float, number("both wheels of this axle turned to the left while it is pushed, beside the toe", ge=-60, le=60)
    ] = 0.0
    steer_deg_u: Annotated[float, uncertainty_of("where both point")] = 0.5
    tyre_across_n_per_mm: (
        Annotated[
            float,
            number(
                "how much force one tyre of this axle takes per mm that it gives sideways before it slides; unset: "
                "about 1.5 for a 1:10 car",
                gt=0,
                le=10_000,
            ),
        ]
        | None
    ) = None
    tyre_across_n_per_mm_u: Annotated[float, uncertainty_of("that stiffness, once given")] = 0.3
    patch_mm: (
        Annotated[
            float,
            number(
                "length of a tyre's contact patch (ink on the tyre, paper under it); unset: a third of the wheel's "
                "radius, give or take 40 %",
                ge=0,
                le=100,
            ),
        ]
        | None
    ) = None
    patch_mm_u: Annotated[float, uncertainty_of("the contact patch, once given")] = 2.0
    load_sensitivity: (
        Annotated[
            float,
            number(
                "grip that the tyres of this axle lose per share of load above the one they were measured at, or above "
                "the mean of the four wheels (0: none); unset: as under chassis, else 0.1, give or take 0.1",
                ge=0,
                le=0.9,
            ),
        ]
        | None
    ) = None
    load_sensitivity_u: Annotated[float, uncertainty_of("that load sensitivity, once given")] = 0.1


class Mass(Section, frozen=True):
    """A part that is on the car when pushed but off when weighed (positive), or the reverse (negative)."""

    name: Annotated[str, text("what it is")]
    mass_g: Annotated[float, number("mass; negative when it was weighed but comes off for pushing", ge=-5000, le=5000)]
    x_mm: Annotated[float, number("its place ahead of the rear axle", ge=-1000, le=3000)]
    y_mm: Annotated[float, number("its place left of the middle", ge=-1000, le=1000)] = 0.0


class MassesSection(Section, frozen=True):
    """What the car weighs, as it is pushed."""

    total_g: Annotated[float, number("whole car, when known from elsewhere", gt=0, le=100000)] | None = None
    yaw_inertia_kgm2: Annotated[float, number("yaw inertia about the centre of gravity", gt=0, le=100)] | None = None
    yaw_inertia_kgm2_u: Annotated[float, uncertainty_of("the yaw inertia")] = 0.0
    parts: Annotated[list[Mass], Meta(description="differences between the car as weighed and as pushed")] = []


class MarkerOnCar(Section, frozen=True, kw_only=True):
    """One printed marker on the car's plate."""

    id: Annotated[int, Meta(description="number printed under the marker", ge=0, le=586)]
    size_mm: Annotated[float, number("side of its black square, as designed", gt=4, le=400)]
    x_mm: Annotated[float, number("its middle ahead of the rear axle", ge=-1000, le=3000)]
    y_mm: Annotated[float, number("its middle left of the car's middle", ge=-1000, le=1000)]
    turn_deg: Annotated[float, number("turned anticlockwise; 0: top edge points left", ge=-360, le=360)] = 0.0


class Plate(Section, frozen=True):
    """The marker plate. With no markers listed, the printed one is meant, its middle at middle_pct."""

    bar_mm: Annotated[float, bar_length("the marker plate")] = 100.0
    bar_mm_u: BarU = UNMEASURED_BAR_MM_U
    height_mm: Annotated[float, number("marker plate above the floor", ge=0, le=1000)] = 60.0
    height_mm_u: Annotated[float, uncertainty_of("the sheet's height")] = 2.0
    middle_pct: Annotated[
        float,
        number("middle of the marker plate, per cent of the wheelbase ahead of the rear axle", ge=-100, le=200),
    ] = 50.0
    place_mm_u: Annotated[float, uncertainty_of("where the plate sits on the car, each way")] = 1.0
    turn_deg_u: Annotated[float, uncertainty_of("the plate's turn on the car")] = 0.3
    dictionary: Annotated[str, text("marker family; empty: that of the floor's markers")] = ""
    markers: Annotated[list[MarkerOnCar], Meta(description="only for a plate of your own")] = []


class AxleSprings(Section, frozen=True, kw_only=True):
    """Springs, dampers and bar of one axle; both sides alike."""

    spring_n_per_mm: Annotated[float, number("spring rate, at the spring", gt=0, le=1000)]
    spring_n_per_mm_u: Annotated[float, uncertainty_of("the spring rate")] = 0.1
    motion_ratio: Annotated[float, number("spring travel per wheel travel", gt=0.05, le=2)] = 0.65
    motion_ratio_u: Annotated[float, uncertainty_of("the motion ratio")] = 0.03
    collar_pitch_mm: Annotated[float, number("collar travel of one turn", gt=0, le=10)] = 0.75
    tyre_n_per_mm: Annotated[float, number("tyre rate, each", gt=0, le=10000)] = 20.0
    bar_n_per_mm: Annotated[float, number("bar force at each wheel per mm of left-right difference", ge=0, le=100)] = (
        0.0
    )
    roll_centre_mm: Annotated[float, number("roll centre above the floor", ge=-200, le=200)] = 10.0
    unsprung_g: Annotated[float, number("what moves with the two wheels of this axle", ge=0, le=20000)] = 150.0
    unsprung_height_mm: Annotated[float, number("its height above the floor", gt=0, le=500)] = 32.0
    bump_travel_mm: Annotated[float, number("wheel travel up to the bump stop", gt=0, le=200)] = 8.0
    droop_travel_mm: Annotated[float, number("wheel travel down to the droop stop", gt=0, le=200)] = 5.0
    bump_ns_per_m: Annotated[float, number("damping in bump, at the damper", ge=0, le=10000)] = 20.0
    rebound_ns_per_m: Annotated[float, number("damping in rebound, at the damper", ge=0, le=10000)] = 25.0
    knee_mm_per_s: (
        Annotated[float, number("damper speed above which it gets softer (digressive)", gt=0, le=1e6)] | None
    ) = None
    beyond_knee: Annotated[Fraction, Meta(description="share of the damping above the knee")] = 0.3


class Chassis(Section, frozen=True, kw_only=True):
    """What the moving car needs beyond the bench: springs, dampers, bars, load-sensitive tyres."""

    front: AxleSprings
    rear: AxleSprings
    load_sensitivity: Annotated[
        float,
        number("grip lost per share of load above the mean (0: none); front and rear go before it", ge=0, le=1),
    ] = 0.1
    load_sensitivity_u: Annotated[float, uncertainty_of("the load sensitivity")] = 0.1


class CarCard(Section, frozen=True, kw_only=True):
    """One car in one state."""

    card: Literal["car"]
    name: Annotated[str, text("name of the car and its set-up")]
    id: CardId = ""
    geometry: Geometry
    front: Axle = Axle()
    rear: Axle = Axle()
    masses: MassesSection = MassesSection()
    plate: Plate = Plate()
    shaft: Annotated[
        ShaftKind,
        Meta(
            description="coupled: a driven shaft makes front and rear axle turn together while the car is pushed, the "
            "motor being free; blocking one axle then holds the other"
        ),
    ] = "none"
    chassis: Annotated[Chassis | None, Meta(description="springs, dampers and bars; only for the moving car")] = None
    notes: Annotated[str, text("anything worth remembering")] = ""
