"""What may stand on the cards: keys with their units, ranges, defaults and meaning.

Every value `x` may have a standard uncertainty `x_u` beside it, in the same unit. This file is the only
place that knows a key: reading, the commented templates and the page's editor are all made from it.
"""

from typing import Annotated, Any, ClassVar, Literal

import msgspec
from msgspec import Meta, Struct

from analysis.base.finger import FingerName
from analysis.base.wheel_names import WHEEL_KEYS, WheelKey
from rig.base.plain_json import Json
from rig.cards.kinds_of_key import (
    UNMEASURED_BAR_MM_U,
    AxleKind,
    BarU,
    CardId,
    Fraction,
    Load,
    bar_length,
    number,
    text,
    uncertainty_of,
)


class Section(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One table of a card: a misspelt key is an error."""


class Geometry(Section, frozen=True, kw_only=True):
    """Where the tyres touch the floor."""

    wheelbase_mm: Annotated[float, number("front axle to rear axle", ge=40, le=2000)]
    wheelbase_mm_u: Annotated[float, uncertainty_of("the wheelbase")] = 0.5
    track_front_mm: Annotated[float, number("left to right contact, front (contact print, not rim)", ge=20, le=1500)]
    track_front_mm_u: Annotated[float, uncertainty_of("the front contact track")] = 3.0
    track_rear_mm: Annotated[float, number("left to right contact, rear", ge=20, le=1500)]
    track_rear_mm_u: Annotated[float, uncertainty_of("the rear contact track")] = 3.0
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
    wheel_radius_mm: Annotated[float, number("loaded wheel radius", gt=2, le=500)] = 32.0
    wheel_radius_mm_u: Annotated[float, uncertainty_of("the wheel radius")] = 1.0
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
    drag_g: Annotated[
        float,
        number(
            "what turns one wheel at its tread against bearings and gears, whatever it carries; beside drag, which "
            "grows with the load",
            ge=0,
            le=20_000,
        ),
    ] = 0.0
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
    load_sensitivity: Annotated[float, number("grip lost per share of load above the mean (0: none)", ge=0, le=1)] = 0.1
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
    chassis: Annotated[Chassis | None, Meta(description="springs, dampers and bars; only for the moving car")] = None
    notes: Annotated[str, text("anything worth remembering")] = ""


class Pads(Section, frozen=True):
    """The four scale pads."""

    port: Annotated[str, text("device name or pyserial URL of the pads; 'virtual' for the virtual bench")] = ""
    ports: Annotated[
        tuple[str, str, str, str] | None, Meta(description="four ports with one pad each, instead of one port")
    ] = None
    baud: Annotated[int, Meta(description="baud rate", ge=300, le=4_000_000)] = 115_200
    wheels: Annotated[
        tuple[WheelKey, WheelKey, WheelKey, WheelKey],
        Meta(description="the wheel that stands on pad 1, 2, 3, 4"),
    ] = WHEEL_KEYS
    capacity_g: Annotated[float, number("largest load of one pad", gt=0, le=200_000)] = 2000.0
    level_mm_u: Annotated[float, uncertainty_of("one pad's height against the others")] = 0.3
    line_pattern: Annotated[str, text("named-field pattern of another line format; empty: our own protocol")] = ""
    unit: Annotated[
        Literal["counts", "g", "kg", "oz", "lb"],
        Meta(description="what the numbers of a line pattern are; scales that show a weight need no check masses"),
    ] = "counts"
    decimal_mark: Annotated[
        Literal["point", "comma"], Meta(description="what stands before the decimals of a line pattern's numbers")
    ] = "point"
    pad_names: Annotated[
        tuple[str, str, str, str], Meta(description="what stands at <pad> of a line pattern for pad 1, 2, 3, 4")
    ] = ("1", "2", "3", "4")
    reseat_g: Annotated[
        float,
        number(
            "scatter of one corner between placings, until measured by repeats (3 to 10 g, common practice)",
            ge=0,
            le=1000,
        ),
    ] = 4.0


class MarkerOnFloor(Section, frozen=True):
    """One floor marker, measured by hand."""

    id: Annotated[int, Meta(description="number printed under the marker", ge=0, le=586)]
    size_mm: Annotated[float, number("side of its black square, as designed", gt=4, le=400)]
    x_mm: Annotated[float, number("its middle, floor axes", ge=-10_000, le=10_000)]
    y_mm: Annotated[float, number("its middle, floor axes", ge=-10_000, le=10_000)]
    turn_deg: Annotated[float, number("turned anticlockwise", ge=-360, le=360)] = 0.0
    sheet: Annotated[str, text("page it was printed on")] = ""


class Floor(Section, frozen=True):
    """The printed floor sheets."""

    paper: Annotated[Literal["A4", "Letter"], Meta(description="paper of the printed sheets")] = "A4"
    bar_mm: Annotated[float, bar_length("the floor sheets")] = 100.0
    bar_mm_u: BarU = UNMEASURED_BAR_MM_U
    place_mm_u: Annotated[float, uncertainty_of("each marker's place on the floor")] = 0.5
    learn_layout: Annotated[
        bool, Meta(description="true: sheets laid down by eye, their places are learned from the clip")
    ] = False
    dictionary: Annotated[str, text("marker family")] = "DICT_APRILTAG_36h11"
    markers: Annotated[list[MarkerOnFloor], Meta(description="only for a floor of your own")] = []


class Lens(Section, frozen=True, kw_only=True):
    """A lens that is known from elsewhere: pinhole and Brown-Conrady, as OpenCV writes them."""

    width_px: Annotated[int, Meta(description="picture width that these numbers belong to", ge=160, le=8192)]
    height_px: Annotated[int, Meta(description="picture height that they belong to", ge=120, le=8192)]
    fx_px: Annotated[float, number("focal length along the picture's width", gt=50, le=200_000)]
    fx_px_u: Annotated[float, uncertainty_of("fx; left out: 0.3 % of it")] | None = None
    fy_px: Annotated[float, number("focal length along its height", gt=50, le=200_000)]
    fy_px_u: Annotated[float, uncertainty_of("fy; left out: 0.3 % of it")] | None = None
    cx_px: Annotated[float, number("principal point from the left, centre of the first pixel 0", ge=0, le=8192)]
    cx_px_u: Annotated[float, uncertainty_of("cx; left out: 0.3 % of the width")] | None = None
    cy_px: Annotated[float, number("principal point from the top", ge=0, le=8192)]
    cy_px_u: Annotated[float, uncertainty_of("cy; left out: 0.3 % of the width")] | None = None
    k1: Annotated[float, number("first radial term", ge=-5, le=5)] = 0.0
    k1_u: Annotated[float, uncertainty_of("k1")] = 0.01
    k2: Annotated[float, number("second radial term", ge=-50, le=50)] = 0.0
    k2_u: Annotated[float, uncertainty_of("k2")] = 0.0
    p1: Annotated[float, number("first tangential term", ge=-1, le=1)] = 0.0
    p1_u: Annotated[float, uncertainty_of("p1")] = 0.0005
    p2: Annotated[float, number("second tangential term", ge=-1, le=1)] = 0.0
    p2_u: Annotated[float, uncertainty_of("p2")] = 0.0005
    k3: Annotated[float, number("third radial term", ge=-500, le=500)] = 0.0
    k3_u: Annotated[float, uncertainty_of("k3")] = 0.0


class CameraSection(Section, frozen=True):
    """The camera."""

    device: Annotated[str, text("camera number or path")] = "0"
    calibration: Annotated[
        str, text("name of a stored camera calibration; empty: estimated from the floor markers")
    ] = ""
    width_px: Annotated[int, Meta(description="picture width asked for", ge=160, le=8192)] = 1280
    height_px: Annotated[int, Meta(description="picture height asked for", ge=120, le=8192)] = 720
    frames_per_s: Annotated[float, number("frame rate asked for", ge=1, le=1000)] = 30.0
    readout_ms: (
        Annotated[
            float,
            number(
                "time to read a picture, first row to last (rolling shutter); 0: all rows at once; left out: unknown, "
                "any time up to a frame's interval",
                ge=0,
                le=200,
            ),
        ]
        | None
    ) = None
    lens: Annotated[
        Lens | None, Meta(description="only when the lens is known from elsewhere; calibration is then left empty")
    ] = None


class WornMarker(Section, frozen=True, kw_only=True):
    """A marker worn on the pushing finger; printed by new sheets --finger. It shows where the finger pushes."""

    id: Annotated[int, Meta(description="number printed under the marker", ge=0, le=586)] = 20
    size_mm: Annotated[float, number("side of its black square, as designed", gt=4, le=400)] = 30.0
    bar_mm: Annotated[float, bar_length("its sheet")] = 100.0
    bar_mm_u: BarU = UNMEASURED_BAR_MM_U
    tip_ahead_mm: Annotated[
        float, number("from the marker's middle to the fingertip, along its arrow", ge=-200, le=500)
    ]
    tip_ahead_mm_u: Annotated[float, uncertainty_of("that length")] = 1.0
    tip_left_mm: Annotated[float, number("the fingertip left of the arrow's line", ge=-200, le=200)] = 0.0
    tip_left_mm_u: Annotated[float, uncertainty_of("that offset")] = 1.0
    tip_below_mm: Annotated[float, number("the fingertip below the marker", ge=-200, le=500)]
    tip_below_mm_u: Annotated[float, uncertainty_of("that height")] = 2.0
    tilt_deg_u: Annotated[float, uncertainty_of("how level the marker is worn, each way")] = 10.0


class ForceCell(Section, frozen=True, kw_only=True):
    """A load cell on the pushing finger, on a board with that channel; pads calibrate --finger writes it."""

    counts_per_n: Annotated[
        float, number("counts that one newton of push adds; negative where they fall", ge=-1e7, le=1e7)
    ]
    counts_per_n_u: Annotated[float, number("standard uncertainty of the counts per newton", ge=0, le=1e6)]
    zero_counts: Annotated[float, number("counts with nothing touching the tip", ge=-1e7, le=1e7)] | None = None
    board: Annotated[str, text("how the board with this cell calls itself; empty: not kept")] = ""
    port: Annotated[str, text("its port, where it is not the pads' own; empty: the pads' port")] = ""


class Place(Section, frozen=True):
    """Where the bench stands, for pads calibrated elsewhere."""

    latitude_deg: Annotated[float, number("latitude", ge=-90, le=90)] | None = None
    height_m: Annotated[float, number("height above sea level", ge=-500, le=9000)] = 0.0


class TiltBoard(Section, frozen=True):
    """The board that tilts the pads, for load transfer measured at rest."""

    length_mm: Annotated[float, number("from its lower edge to where its height is taken", ge=100, le=5000)] = 600.0
    length_mm_u: Annotated[float, uncertainty_of("that length")] = 1.0
    height_mm_u: Annotated[float, uncertainty_of("the height of the raised end")] = 0.7
    side_force_pct_u: Annotated[float, uncertainty_of("what a pad reads of a side force on it, per cent")] = 0.5
    twist_mm_u: Annotated[float, uncertainty_of("one corner's height, as the board twists when it is tilted")] = 0.05
    twist_load_mm_u: Annotated[float, uncertainty_of("the same under the car's load, at 15 degrees")] = 0.015


class BenchCard(Section, frozen=True):
    """Written once: pads, floor sheets, camera."""

    card: Literal["bench"]
    name: Annotated[str, text("name of the bench")]
    id: CardId = ""
    pads: Pads = Pads()
    floor: Floor = Floor()
    camera: CameraSection = CameraSection()
    finger: Annotated[WornMarker | None, Meta(description="only when a marker is worn on the pushing finger")] = None
    force: Annotated[ForceCell | None, Meta(description="only with a load cell on the pushing finger")] = None
    place: Place = Place()
    tilt: TiltBoard = TiltBoard()
    notes: Annotated[str, text("anything worth remembering")] = ""


class Push(Section, frozen=True):
    """This push."""

    position_pct: Annotated[
        float,
        number("where the finger pushes, per cent of the wheelbase ahead of the rear axle", ge=-100, le=200),
    ] = 50.0
    position_pct_u: Annotated[float, uncertainty_of("the push position")] = 0.5
    position_from: Annotated[
        Literal["card", "finger marker"],
        Meta(
            description="what the forecast set beside a filmed push goes by: the position above, or what the clip's "
            "finger marker says; both are recorded, and a difference beyond their doubts is told"
        ),
    ] = "card"
    side: Annotated[Literal["left", "right"], Meta(description="the side of the car that the finger touches")] = "right"
    height_mm: Annotated[float, number("finger's height above the floor", ge=0, le=500)] = 8.0
    height_mm_u: Annotated[float, uncertainty_of("the finger's height")] = 2.0
    direction_deg_u: Annotated[float, uncertainty_of("the push direction (90 degrees to the car is meant)")] = 2.0
    finger: Annotated[
        FingerName,
        Meta(description="rolling or slippery tip; rubbing: friction below; sticking"),
    ] = "rolling"
    finger_path: Annotated[
        Literal["straight on the floor", "stays on the car"],
        Meta(description="straight on the floor: slips along the car's side as it turns; stays: notch or rail"),
    ] = "straight on the floor"
    finger_friction: Annotated[float, number("friction between finger and car; used when rubbing", ge=0, le=3)] = 0.3
    finger_friction_u: Annotated[float, uncertainty_of("the finger's friction")] = 0.15
    wheels: Annotated[Literal["blocked", "as on the car card"], Meta(description="wheels during the push")] = "blocked"
    front: Annotated[
        Literal["as above", "blocked", "as on the car card"], Meta(description="front wheels, where the axles differ")
    ] = "as above"
    rear: Annotated[
        Literal["as above", "blocked", "as on the car card"], Meta(description="rear wheels, where the axles differ")
    ] = "as above"
    steering: Annotated[
        Literal["held", "free"],
        Meta(description="held: straight, by the servo or a clip; free: an unplugged servo lets the front wheels turn"),
    ] = "held"
    floor_ahead_deg: Annotated[
        float, number("slope of the floor along the car at its start: above 0 it falls towards the nose", ge=-30, le=30)
    ] = 0.0
    floor_left_deg: Annotated[
        float, number("slope of the floor across the car at its start: above 0 it falls to the left", ge=-30, le=30)
    ] = 0.0
    floor_deg_u: Annotated[float, uncertainty_of("the slope of the floor, either way")] = 0.2
    distance_mm: Annotated[float, number("about how far the finger goes", gt=0, le=2000)] = 60.0
    speed_mm_s: Annotated[float, number("about how fast (slow: at most 50)", gt=0, le=5000)] = 30.0


class Grip(Section, frozen=True):
    """Grip factors of the tyres on this floor. Until measured, all four are taken alike."""

    front: Annotated[float, number("grip factor of the front tyres", ge=0, le=5)] = 0.8
    rear: Annotated[float, number("grip factor of the rear tyres", ge=0, le=5)] = 0.8
    ratio_u: Annotated[float, uncertainty_of("front / rear, relative")] = 0.05
    level_u: Annotated[float, uncertainty_of("the common level, relative")] = 0.2
    front_along: Annotated[
        float,
        number("grip of the front tyres along the car over that across, which front above is", ge=0, le=200),
    ] = 1.0
    front_along_u: Annotated[float, uncertainty_of("front_along; 1.00 ± 0.05 until measured")] = 0.05
    rear_along: Annotated[
        float, number("grip of the rear tyres along the car over that across, which rear above is", ge=0, le=200)
    ] = 1.0
    rear_along_u: Annotated[float, uncertainty_of("rear_along; 1.00 ± 0.05 until measured")] = 0.05
    measured: Annotated[bool, Meta(description="true once the factors were measured on this floor")] = False


class Typed(Section, frozen=True):
    """Weights and pivot measured by other means."""

    weights_g: Annotated[tuple[Load, Load, Load, Load] | None, Meta(description="FL FR RL RR")] = None
    weights_resolution_g: Annotated[float, number("smallest step of those scales", gt=0, le=1000)] = 1.0
    pivot_pct: (
        Annotated[
            float,
            number("pivot found with a ruler, per cent ahead of the rear axle", ge=-100_000, le=100_000),
        ]
        | None
    ) = None
    pivot_pct_u: Annotated[float, uncertainty_of("that pivot")] = 2.0


class Conditions(Section, frozen=True):
    """What the result may depend on; two tests that differ here are compared with a warning."""

    surface: Annotated[str, text("floor surface")] = ""
    dust: Annotated[str, text("dust on it")] = ""
    cleaning: Annotated[str, text("how floor and tyres were cleaned")] = ""
    compound_front: Annotated[str, text("front tyres")] = ""
    compound_rear: Annotated[str, text("rear tyres")] = ""
    treatment: Annotated[str, text("additive on the tyres; with air and gloves")] = ""
    treatment_minutes: Annotated[float, number("how long it stood", ge=0, le=10000)] | None = None
    runs: Annotated[int, Meta(description="runs on these tyres", ge=0, le=100000)] | None = None
    rest_minutes: Annotated[float, number("time since the last push on this spot", ge=0, le=100000)] | None = None
    floor_temperature_c: Annotated[float, number("floor temperature", ge=-40, le=90)] | None = None
    air_temperature_c: Annotated[float, number("air temperature", ge=-40, le=60)] | None = None
    humidity_pct: Annotated[float, number("relative humidity", ge=0, le=100)] | None = None
    notes: Annotated[str, text("anything worth remembering")] = ""


class TestCard(Section, frozen=True):
    """This push: it names the other two cards, as paths from its own folder."""

    __test__: ClassVar[bool] = False  # not a test class, whatever its name suggests to pytest

    card: Literal["test"]
    name: Annotated[str, text("name of this test")]
    id: CardId = ""
    car: Annotated[str, text("file of the car card")] = "car.toml"
    bench: Annotated[str, text("file of the bench card")] = "bench.toml"
    clip: Annotated[str, text("file of the clip, for push")] = ""
    captured_frames_per_s: (
        Annotated[
            float,
            number(
                "pictures a second at which the clip was taken, for slow motion stored to be played slowly",
                ge=10,
                le=10000,
            ),
        ]
        | None
    ) = None
    push: Push = Push()
    grip: Grip = Grip()
    typed: Typed = Typed()
    conditions: Conditions = Conditions()


class Phase(Section, frozen=True, kw_only=True):
    """One phase of a drift."""

    name: Annotated[str, text("approach, initiation, hold, transition, exit, or a name of your own")]
    ax_g: Annotated[float, number("acceleration forward (braking negative), in g", ge=-5, le=5)] = 0.0
    ay_g: Annotated[float, number("acceleration to the left, in g", ge=-5, le=5)] = 0.0
    steer_deg: Annotated[float, number("front wheels turned to the left", ge=-90, le=90)] = 0.0
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


CARD_TYPES: dict[str, type[Section]] = {"car": CarCard, "bench": BenchCard, "test": TestCard, "phases": PhasesCard}

AnyCard = CarCard | BenchCard | TestCard | PhasesCard


def plain_card(card: Section) -> Json:
    """A card as plain dictionaries and lists, missing values left out."""
    plain: Json = _without_none(msgspec.to_builtins(card))
    return plain


def _without_none(plain: Any) -> Any:
    if isinstance(plain, dict):
        return {key: _without_none(inner) for key, inner in plain.items() if inner is not None}
    return plain
