"""The test card: what may stand on it, with units, ranges, defaults and meaning."""

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from analysis.base.finger import FingerName
from rig.cards.keys.kinds_of_key import CardId, Load, ScalesKind, Section, number, text, uncertainty_of


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

    same_tyres: Annotated[
        bool,
        Meta(
            description="the same tyres front and rear: until measured they grip alike within 10 % (ratio_u 0.05); "
            "false: other ones, which nobody compared, within 60 % (0.3)"
        ),
    ] = True

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
    weights_scales: Annotated[
        ScalesKind,
        Meta(
            description="one scale: a wheel after the other, the other three on blocks of its height; four scales: all "
            "wheels at once, each scale wrong for itself; not said: the ± allows for either"
        ),
    ] = "not said"
    weights_accuracy_pct: Annotated[
        float,
        number("by how much of what it shows such a scale may be off at most; a known mass tells", ge=0, le=50),
    ] = 1.0
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
                "pictures a second at which the clip was taken, where it plays otherwise: slow motion, time lapse",
                ge=1,
                le=10000,
            ),
        ]
        | None
    ) = None
    push: Push = Push()
    grip: Grip = Grip()
    typed: Typed = Typed()
    conditions: Conditions = Conditions()
