"""One table of what each key of a card can be, in size, and what it usually is.

The schema says what a key may hold at all; this says what a scale car from 1:64 (20 g, 40 mm of wheelbase) to 1:5
(15 kg, 600 mm) and a bench beside it can have, with room around. Lengths on a car are judged by its wheelbase, so that
one row serves all scales.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """What the size (without its sign) of some keys can be, and what it usually is.

    keys: patterns, [] for any place in a list.  above, most: the size is greater than the one and at most the other.
    of: "" for the key's own unit; "wheelbase" or "value" for shares of the car's wheelbase, of what a ± belongs to.
    zero: whether 0 means something.  why: what speaks against a size outside, completed by "{of}" where it is a share.
    """

    keys: tuple[str, ...]
    above: float
    most: float
    usual: tuple[float, float]
    why: str
    of: str = ""
    zero: bool = False


ENDS = ("chassis.front.", "chassis.rear.")


def _ends(*names: str) -> tuple[str, ...]:
    return tuple(f"{end}{name}" for end in ENDS for name in names)


TABLE: tuple[Sizes, ...] = (
    # lengths of the car; from memory of what kits from 1:64 to 1:5 state, which spans half of each range
    Sizes(keys=("geometry.wheelbase_mm",), above=0, most=2000, usual=(40, 1000), why="a model's wheelbase is longer"),
    Sizes(
        keys=("geometry.track_front_mm", "geometry.track_rear_mm"),
        above=0.1,
        most=2.5,
        usual=(0.2, 1.3),
        of="wheelbase",
        why="that is {share:.2g} times the wheelbase of {of:g} mm",
    ),
    Sizes(
        keys=("geometry.wheel_radius_mm", *_ends("unsprung_height_mm")),
        above=0.025,
        most=0.5,
        usual=(0.05, 0.3),
        of="wheelbase",
        why="that is {share:.2g} times the wheelbase of {of:g} mm, and two wheels must find room in it",
    ),
    Sizes(
        keys=("front.patch_mm", "rear.patch_mm"),
        above=-1,
        most=0.3,
        usual=(0.0, 0.12),
        of="wheelbase",
        why="that is {share:.2g} times the wheelbase of {of:g} mm, longer than any wheel stands on the floor",
    ),
    Sizes(
        keys=("front.drag_g", "rear.drag_g"),
        above=0.05,
        most=20_000,
        usual=(0.2, 2000),
        zero=True,
        why="no weight that small turns a wheel; 0 where it spins freely",
    ),
    Sizes(
        keys=("front.tyre_across_n_per_mm", "rear.tyre_across_n_per_mm"),
        above=0.02,
        most=500,
        usual=(0.1, 50),
        why="a scale tyre takes 0.3 to 10 N per mm sideways",
    ),
    # one degree is 0.017 rad: less than a third of a degree of steering or slope is straight, or radians
    Sizes(
        keys=("front.steer_deg", "rear.steer_deg"),
        above=0.09,
        most=60,
        usual=(0.2, 45),
        zero=True,
        why="nobody sees a wheel turned by so little; it looks like radians",
    ),
    Sizes(
        keys=("push.floor_ahead_deg", "push.floor_left_deg"),
        above=0.009,
        most=15,
        usual=(0.02, 6),
        zero=True,
        why="a floor is not known to that, nor does a car stand on it",
    ),
    Sizes(
        keys=("geometry.cg_height_mm",),
        above=0.03,
        most=1.0,
        usual=(0.05, 0.6),
        of="wheelbase",
        why="that is {share:.2g} times the wheelbase of {of:g} mm",
    ),
    Sizes(
        keys=("plate.height_mm",),
        above=0.05,
        most=2.0,
        usual=(0.08, 1.2),
        of="wheelbase",
        zero=True,
        why="a sheet on top of a car with a wheelbase of {of:g} mm does not lie there",
    ),
    Sizes(
        keys=("geometry.front_roll_share", "front.drag", "rear.drag"),
        above=-1,
        most=1,
        usual=(0.002, 1),
        why="it is a share from 0 to 1",
    ),
    # masses and their places
    Sizes(
        keys=("masses.total_g",),
        above=8,
        most=100_000,
        usual=(15, 50_000),
        why="no scale car weighs that, in grams",
    ),
    Sizes(
        keys=("masses.parts[].x_mm",),
        above=0.7,
        most=3000,
        usual=(5, 1000),
        zero=True,
        why="no part is placed to a fraction of a millimetre from the rear axle",
    ),
    # per cent of the wheelbase: 1 % is less than the width of a finger on any scale car
    Sizes(
        keys=("push.position_pct",),
        above=1,
        most=200,
        usual=(5, 150),
        zero=True,
        why="1 % of the wheelbase is less than a finger's width; at the rear axle itself it would be 0",
    ),
    Sizes(
        keys=("plate.middle_pct",),
        above=1,
        most=200,
        usual=(5, 150),
        zero=True,
        why="the middle of a sheet is not placed to a per cent of the wheelbase from the rear axle",
    ),
    Sizes(
        keys=("conditions.humidity_pct",),
        above=1,
        most=100,
        usual=(10, 100),
        zero=True,
        why="no room is that dry",
    ),
    # the printed bar and the marks
    Sizes(
        keys=("plate.bar_mm", "floor.bar_mm", "finger.bar_mm"),
        above=79.99,
        most=120,
        usual=(90, 110),
        why="100 mm are printed",
    ),
    Sizes(
        keys=("plate.markers[].size_mm", "floor.markers[].size_mm", "finger.size_mm"),
        above=6,
        most=400,
        usual=(8, 200),
        why="no camera reads a marker of that size",
    ),
    Sizes(
        keys=("finger.tip_ahead_mm", "finger.tip_below_mm"),
        above=0.3,
        most=500,
        usual=(1, 200),
        zero=True,
        why="no ruler tells that from 0",
    ),
    # pads and camera
    Sizes(keys=("pads.capacity_g",), above=40, most=200_000, usual=(100, 50_000), why="no pad carries so little"),
    Sizes(
        keys=("camera.readout_ms",),
        above=0.3,
        most=200,
        usual=(1, 60),
        zero=True,
        why="no rolling shutter is so quick; a picture taken all at once is 0",
    ),
    # the push
    Sizes(
        keys=("push.height_mm",),
        above=0.99,
        most=500,
        usual=(2, 200),
        zero=True,
        why="no finger pushes so low",
    ),
    Sizes(keys=("push.distance_mm",), above=1.99, most=2000, usual=(5, 600), why="that turns no car to be seen"),
    Sizes(keys=("push.speed_mm_s",), above=0.5, most=5000, usual=(2, 500), why="no hand moves so slowly"),
    Sizes(
        keys=("push.finger_friction",),
        above=0.005,
        most=3,
        usual=(0.02, 1.5),
        zero=True,
        why="friction against rubber or plastic is a number about 0.3",
    ),
    Sizes(
        keys=("grip.front", "grip.rear"),
        above=0.02,
        most=5,
        usual=(0.1, 3),
        why="nothing slides with so little grip; a tyre has about 0.3 to 2",
    ),
    Sizes(
        keys=("grip.front_along", "grip.rear_along"),
        above=0.3,
        most=3,
        usual=(0.5, 2),
        why="it is grip along over grip across, about 0.8 to 1.2: 1 where both are alike",
    ),
    # springs and dampers; from memory of what is sold for 1:28 to 1:5 cars, no source; a tenth and ten times around
    Sizes(keys=_ends("spring_n_per_mm"), above=0.004, most=200, usual=(0.03, 30), why="no car's spring is that"),
    Sizes(keys=_ends("tyre_n_per_mm"), above=0.04, most=10_000, usual=(1, 300), why="no tyre yields by that"),
    Sizes(keys=_ends("motion_ratio"), above=0.05, most=2, usual=(0.2, 1.3), why="it is about 0.4 to 1"),
    Sizes(keys=_ends("collar_pitch_mm"), above=0.1, most=10, usual=(0.3, 4), why="no thread has that pitch"),
    Sizes(keys=_ends("unsprung_g"), above=0.3, most=20_000, usual=(1, 8000), zero=True, why="two wheels weigh more"),
    Sizes(keys=_ends("bump_travel_mm", "droop_travel_mm"), above=0.02, most=200, usual=(0.5, 80), why="too little"),
    Sizes(
        keys=_ends("bump_ns_per_m", "rebound_ns_per_m"),
        above=0.2,
        most=10_000,
        usual=(1, 3000),
        zero=True,
        why="no damper is that soft",
    ),
    # a drift
    Sizes(
        keys=("phases[].ax_g", "phases[].ay_g"),
        above=0,
        most=3,
        usual=(0.05, 2.5),
        zero=True,
        why="no model accelerates so hard",
    ),
    Sizes(keys=("phases[].duration_s",), above=0.01, most=60, usual=(0.05, 20), why="no phase is so short or long"),
    Sizes(keys=("conditions.air_temperature_c",), above=-1, most=60, usual=(0, 45), why="no one works there"),
    Sizes(keys=("conditions.floor_temperature_c",), above=-1, most=90, usual=(0, 60), why="no one works there"),
    # what is ±: one larger than its value says that the value was not measured
    Sizes(
        keys=("geometry.wheelbase_mm_u",),
        above=-1,
        most=0.25,
        usual=(0, 0.1),
        of="value",
        why="that is {percent:.0f} % of the value {of:g} itself",
    ),
    Sizes(
        keys=(
            "geometry.track_front_mm_u",
            "geometry.track_rear_mm_u",
            "geometry.wheel_radius_mm_u",
            *_ends("motion_ratio_u"),
        ),
        above=-1,
        most=0.5,
        usual=(0, 0.2),
        of="value",
        why="that is {percent:.0f} % of the value {of:g} itself",
    ),
    Sizes(
        keys=("geometry.cg_height_mm_u", "masses.yaw_inertia_kgm2_u", *_ends("spring_n_per_mm_u")),
        above=-1,
        most=0.999,
        usual=(0, 0.4),
        of="value",
        why="that is {percent:.0f} % of the value {of:g} itself",
    ),
    Sizes(
        keys=("grip.ratio_u", "grip.level_u", "grip.front_along_u", "grip.rear_along_u"),
        above=-1,
        most=0.999,
        usual=(0.001, 0.5),
        why="it is relative, as a share: 0.05 for 5 %; as it stands the grip would be known to {percent:.0f} %",
    ),
    Sizes(
        keys=(
            "geometry.front_roll_share_u",
            "front.drag_u",
            "rear.drag_u",
            "front.load_sensitivity_u",
            "rear.load_sensitivity_u",
            "chassis.load_sensitivity_u",
        ),
        above=-1,
        most=0.6,
        usual=(0.001, 0.4),
        why="the value it belongs to is a share from 0 to 1",
    ),
    Sizes(keys=("push.finger_friction_u",), above=-1, most=1.5, usual=(0.001, 0.5), why="friction is about 0.3"),
    Sizes(keys=("push.position_pct_u",), above=-1, most=30, usual=(0, 10), why="the finger would be anywhere"),
    Sizes(
        keys=("push.height_mm_u", "plate.height_mm_u"), above=-1, most=100, usual=(0, 30), why="it would be anywhere"
    ),
    Sizes(
        keys=("push.direction_deg_u", "finger.tilt_deg_u", "plate.turn_deg_u"),
        above=-1,
        most=45,
        usual=(0, 20),
        why="it would point anywhere",
    ),
    Sizes(keys=("front.patch_mm_u", "rear.patch_mm_u"), above=-1, most=60, usual=(0, 15), why="a patch is shorter"),
    Sizes(keys=("front.drag_g_u", "rear.drag_g_u"), above=-1, most=2000, usual=(0, 200), why="no bearing drags so"),
    Sizes(
        keys=("front.steer_deg_u", "rear.steer_deg_u"), above=-1, most=15, usual=(0, 5), why="a steering plays by less"
    ),
    Sizes(
        keys=("front.tyre_across_n_per_mm_u", "rear.tyre_across_n_per_mm_u"),
        above=-1,
        most=200,
        usual=(0, 10),
        why="it would be known to nothing",
    ),
    Sizes(keys=("push.floor_deg_u",), above=-1, most=5, usual=(0, 1), why="one would see it, and the car would roll"),
    Sizes(keys=("front.toe_deg_u", "rear.toe_deg_u"), above=-1, most=10, usual=(0, 3), why="wheels are set truer"),
    Sizes(
        keys=("plate.bar_mm_u", "floor.bar_mm_u", "finger.bar_mm_u"),
        above=-1,
        most=5,
        usual=(0, 2),
        why="a ruler tells a bar of 100 mm better",
    ),
    Sizes(
        keys=("plate.place_mm_u", "floor.place_mm_u", "finger.tip_ahead_mm_u", "finger.tip_below_mm_u"),
        above=-1,
        most=60,
        usual=(0, 10),
        why="it would lie anywhere",
    ),
    Sizes(keys=("pads.level_mm_u",), above=-1, most=15, usual=(0, 3), why="no bench is so uneven"),
)
BY_KEY = {key: row for row in TABLE for key in row.keys}
