"""Figures that a key cannot mean are refused with the likely meaning; what may be meant is taken.

Likely meanings are worked out by hand from the definitions of the units: 1 in = 25.4 mm, 1 kg weighs 9.80665 N.
"""

import pytest

from rig.base.errors import InputError
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.phases import PhasesCard
from rig.cards.keys.test import TestCard
from rig.cards.read import parse_card
from rig.cards.template import card_text
from rig.cards.written.edited import checked_card

HEADS = {
    CarCard: 'card = "car"\nname = "Dunlin"\n',
    TestCard: 'card = "test"\nname = "middle"\n',
    BenchCard: 'card = "bench"\nname = "Workshop bench"\n',
    PhasesCard: 'card = "phases"\nname = "drift"\n',
}
SIZE = "geometry.wheelbase_mm = 257\ngeometry.track_front_mm = 165\ngeometry.track_rear_mm = 160\n"
SMALL = "geometry.wheelbase_mm = 40\ngeometry.track_front_mm = 26\ngeometry.track_rear_mm = 28\n"
LARGE = "geometry.wheelbase_mm = 600\ngeometry.track_front_mm = 380\ngeometry.track_rear_mm = 410\n"
LONG_TRUCK = "geometry.wheelbase_mm = 620\ngeometry.track_front_mm = 150\ngeometry.track_rear_mm = 165\n"


def read(card_type: type, lines: str) -> object:
    return parse_card(HEADS[card_type] + lines, card_type, where="some.toml")


SLIPS = [
    # card, lines, key and value in the complaint, likely meaning
    (TestCard, "push.position_pct = 0.85", "push.position_pct = 0.85", "position_pct = 85?"),
    (TestCard, "push.position_pct = -0.12", "push.position_pct = -0.12", "position_pct = -12?"),
    (TestCard, "push.position_pct = 1", "push.position_pct = 1 ", "position_pct = 100?"),
    (TestCard, "push.height_mm = 0.9", "push.height_mm = 0.9", "height_mm = 9 "),
    (TestCard, "push.height_mm = 0.011", "push.height_mm = 0.011", "height_mm = 11?"),
    (TestCard, "push.speed_mm_s = 0.04", "push.speed_mm_s = 0.04", "speed_mm_s = 40?"),
    (TestCard, "push.finger_friction = 35", "push.finger_friction = 35", "finger_friction = 0.35?"),
    (TestCard, "push.position_pct_u = 50", "push.position_pct_u = 50", "0 to 30"),
    (TestCard, "grip.ratio_u = 5", "grip.ratio_u = 5", "ratio_u = 0.05?"),
    (TestCard, "grip.level_u = 20", "grip.level_u = 20", "level_u = 0.2?"),
    (TestCard, "grip.rear_along = 95", "grip.rear_along = 95", "rear_along = 0.95?"),
    (TestCard, "grip.front_along_u = 5", "grip.front_along_u = 5", "front_along_u = 0.05?"),
    (TestCard, "grip.front = 72", "grip.front = 72", "front = 0.72?"),
    (TestCard, "grip.front = 0", "grip.front = 0 ", "0.02 to 5"),
    (TestCard, "grip.rear = 0.008", "grip.rear = 0.008", "0.02 to 5"),
    (TestCard, "typed.weights_g = [0.41, 0.38, 0.39, 0.46]", "typed.weights_g", "[410, 380, 390, 460]"),
    (TestCard, "typed.pivot_pct = -0.35", "typed.pivot_pct = -0.35", "pivot_pct = -35?"),
    (TestCard, "conditions.air_temperature_c = 68", "air_temperature_c = 68", "air_temperature_c = 20?"),
    (TestCard, "conditions.humidity_pct = 0.45", "humidity_pct = 0.45", "humidity_pct = 45?"),
    (CarCard, SIZE.replace("257", "0.257"), "wheelbase_mm = 0.257", "wheelbase_mm = 257?"),
    (CarCard, SIZE.replace("257", "25.7"), "wheelbase_mm = 25.7", "wheelbase_mm = 257 "),
    (CarCard, SIZE.replace("257", "10.12"), "wheelbase_mm = 10.12", "wheelbase_mm = 257?"),
    (CarCard, SIZE.replace("257", "-257"), "wheelbase_mm = -257", "wheelbase_mm = 257?"),
    (CarCard, LARGE.replace("600", "60"), "track_front_mm = 380", "wheelbase_mm = 600?"),
    (CarCard, LARGE.replace("380", "38"), "track_front_mm = 38 ", "track_front_mm = 380"),
    (CarCard, SIZE + "masses.total_g = 1.6", "masses.total_g = 1.6", "total_g = 1600 "),
    (CarCard, SIZE + "masses.total_g = 15.69", "15.69 g", "1600 g (newtons)"),
    (CarCard, SIZE + "geometry.wheel_radius_mm = 3.1", "wheel_radius_mm = 3.1", "wheel_radius_mm = 31?"),
    (CarCard, SIZE + "geometry.cg_height_mm = 3.8", "cg_height_mm = 3.8", "cg_height_mm = 38 "),
    (
        CarCard,
        SIZE + "geometry.cg_height_mm_u = 40",
        "cg_height_mm_u = 40 cannot be meant: that is 114 % of the value 35",
        "0 to 34.9",
    ),
    (
        CarCard,
        SIZE + "geometry.wheelbase_mm_u = 300",
        "wheelbase_mm_u = 300 cannot be meant: that is 117 % of the value 257",
        "0 to 64.25",
    ),
    (CarCard, SIZE + "geometry.front_roll_share = 45", "front_roll_share = 45", "front_roll_share = 0.45?"),
    (CarCard, SIZE + "rear.drag = 3", "rear.drag = 3", "drag = 0.03?"),
    (CarCard, SIZE + "plate.height_mm = 6.2", "plate.height_mm = 6.2", "height_mm = 62 "),
    (CarCard, SIZE + "plate.middle_pct = 0.55", "plate.middle_pct = 0.55", "middle_pct = 55?"),
    (CarCard, SIZE + "plate.bar_mm = 9.97", "plate.bar_mm = 9.97", "bar_mm = 99.7?"),
    (CarCard, SIZE + "plate.bar_mm_u = 99", "plate.bar_mm_u = 99", "0 to 5"),
    (CarCard, SIZE + 'masses.parts = [{name = "lead", mass_g = 80, x_mm = 0.12}]', "parts[1].x_mm", "x_mm = 120?"),
    (CarCard, SIZE + "chassis.front.spring_n_per_mm = 0.4\nchassis.rear.spring_n_per_mm = 450", "450", "= 0.45 "),
    (BenchCard, "pads.capacity_g = 3", "pads.capacity_g = 3", "capacity_g = 3000 "),
    (BenchCard, "camera.readout_ms = 0.018", "camera.readout_ms = 0.018", "readout_ms = 18?"),
    (BenchCard, "floor.bar_mm = 0.0995", "floor.bar_mm = 0.0995", "bar_mm = 99.5?"),
    (PhasesCard, '[[phases]]\nname = "a"\nay_g = 4.9\nduration_s = 1', "phases[1].ay_g = 4.9", "ay_g = 0.4997?"),
    (PhasesCard, '[[phases]]\nname = "a"\nduration_s = 800', "phases[1].duration_s = 800", "duration_s = 0.8?"),
    (
        PhasesCard,
        '[[phases]]\nname = "a"\nsteer_deg = 0.2\nduration_s = 1\n'
        '[[phases]]\nname = "b"\nsteer_deg = -0.3\nduration_s = 1',
        "phases[1].steer_deg = 0.2",
        "steer_deg = 11.46?",
    ),
]


@pytest.mark.parametrize(
    ("lines", "allowed"),
    [
        ("front.drag_g = 0.0001", "drag_g can be 0.05 to 20000, or 0: check"),  # 0: it spins freely
        ("front.steer_deg = 0.0004", "steer_deg can be 0.09 to 60, or 0: check"),
        ("geometry.cg_height_mm_u = 40", "cg_height_mm_u can be 0 to 34.9"),
        ("plate.bar_mm_u = 99", "bar_mm_u can be 0 to 5: check"),
    ],
)
def test_zero_is_offered_where_it_means_something_else_than_the_least(lines: str, allowed: str) -> None:
    with pytest.raises(InputError) as caught:
        read(CarCard, SIZE + lines)
    assert allowed in caught.value.remedy


@pytest.mark.parametrize(("card_type", "lines", "given", "meant"), SLIPS)
def test_a_figure_that_cannot_be_meant_is_refused_with_its_likely_meaning(
    card_type: type, lines: str, given: str, meant: str
) -> None:
    with pytest.raises(InputError) as caught:
        read(card_type, lines)
    message = str(caught.value)
    assert message.startswith("some.toml: ")
    assert caught.value.exit_code == 2
    assert given in caught.value.what
    assert meant in caught.value.remedy
    assert "?." not in message


MEANT = [(TestCard, f"push.position_pct = {place}") for place in (0, 0.0, 1.01, -30, 130, 50, -1.2, 2)] + [
    (TestCard, "push.height_mm = 0"),
    (TestCard, "push.height_mm = 1.5"),
    (TestCard, "push.position_pct_u = 12"),
    (TestCard, "grip.ratio_u = 0.9\ngrip.level_u = 0.8"),
    (TestCard, "grip.front = 0.05\ngrip.rear = 2.4"),
    (TestCard, "typed.pivot_pct = 0.6\ntyped.pivot_pct_u = 0.3"),
    (TestCard, "typed.pivot_pct = -4000"),
    (TestCard, "typed.weights_g = [4.1, 5.3, 5.2, 4.9]"),
    (TestCard, "typed.weights_g = [0, 820, 400, 380]"),
    (CarCard, SMALL + "masses.total_g = 20\ngeometry.cg_height_mm = 8\ngeometry.wheel_radius_mm = 5"),
    (CarCard, SMALL + "plate.height_mm = 17"),
    (CarCard, SMALL),  # with the defaults of a larger car: nobody typed them
    (CarCard, LARGE + "masses.total_g = 15000\ngeometry.cg_height_mm = 95\nplate.height_mm = 180"),
    (CarCard, LONG_TRUCK + "masses.total_g = 4200\ngeometry.cg_height_mm = 140"),
    (CarCard, SIZE + "geometry.cg_height_mm_u = 30\nplate.height_mm = 0"),
    (CarCard, SIZE + "geometry.cg_height_mm = 20\nplate.height_mm = 34\nplate.middle_pct = 0"),
    (CarCard, SIZE + "front.drag = 1\nrear.drag = 0\nrear.drag_u = 0.3"),
    (CarCard, SIZE + 'masses.parts = [{name = "lead", mass_g = -35, x_mm = -40, y_mm = 0.2}]'),
    (CarCard, SIZE + "chassis.front.spring_n_per_mm = 0.05\nchassis.rear.spring_n_per_mm = 18"),
    (BenchCard, "pads.capacity_g = 100\ncamera.readout_ms = 0"),
    (PhasesCard, '[[phases]]\nname = "a"\nay_g = 1.9\nsteer_deg = 0.4\nduration_s = 0.05'),
]


@pytest.mark.parametrize(("card_type", "lines"), MEANT)
def test_what_may_be_meant_is_taken(card_type: type, lines: str) -> None:
    assert read(card_type, lines) is not None


@pytest.mark.parametrize("kind", [CarCard, BenchCard, TestCard, PhasesCard])
def test_every_default_can_be_meant(kind: type) -> None:
    name = next(
        key
        for key, known in {"car": CarCard, "bench": BenchCard, "test": TestCard, "phases": PhasesCard}.items()
        if known is kind
    )
    assert parse_card(card_text(name), kind, where="new.toml") is not None


def test_defaults_that_stand_on_a_card_of_another_scale_are_not_judged() -> None:
    # every key written out: a wheel radius of 32 mm and a sheet at 60 mm on a car of 40 mm, which nobody typed
    small = {"geometry.wheelbase_mm": 40.0, "geometry.track_front_mm": 26.0, "geometry.track_rear_mm": 28.0}
    assert parse_card(card_text("car", small), CarCard, where="car.toml").geometry.wheel_radius_mm == 32.0


def test_a_card_that_was_recorded_is_read_as_it_was_taken() -> None:
    # an older log holds what was typed then; what it says is history, not a mistake to be mended now
    text = HEADS[TestCard] + "push.position_pct = 0.5"
    assert parse_card(text, TestCard, where="record 4", as_recorded=True).push.position_pct == 0.5
    # nor are figures held against each other: a track of another car
    text = card_text(
        "car", {"geometry.wheelbase_mm": 257.0, "geometry.track_front_mm": 165.0, "geometry.track_rear_mm": 33.0}
    )
    assert parse_card(text, CarCard, where="record 5", as_recorded=True).geometry.track_rear_mm == 33.0
    with pytest.raises(InputError, match="other track"):
        parse_card(text, CarCard, where="car.toml")


LIMITS = [
    # card, line with {}, a figure that is just taken, one that is just refused; the wheelbase is 257 mm
    (CarCard, "geometry.wheelbase_mm = {}\ngeometry.track_front_mm = 99\ngeometry.track_rear_mm = 90", 40, 39.99),
    (CarCard, "geometry.wheelbase_mm = {}\ngeometry.track_front_mm = 800\ngeometry.track_rear_mm = 820", 2000, 2000.01),
    (CarCard, SIZE.replace("165", "{}").replace("160", "90"), 25.8, 25.6),  # a tenth of the wheelbase, by hand 25.7
    (CarCard, SIZE.replace("160", "{}"), 642, 643),  # two and a half, 642.5
    (CarCard, SIZE + "geometry.wheelbase_mm_u = {}", 64.2, 64.3),  # a quarter of the value
    (CarCard, SIZE + "geometry.cg_height_mm = {}", 7.8, 7.6),  # three hundredths of the wheelbase, 7.71
    (CarCard, SIZE + "geometry.cg_height_mm = {}", 256.9, 257.1),
    (CarCard, SIZE + "plate.height_mm = {}", 12.9, 12.8),  # a twentieth, 12.85
    (CarCard, SIZE + "plate.height_mm = {}", 514, 514.1),
    (CarCard, SIZE + "masses.total_g = {}", 69, 67),  # 4e-6 g per cubed mm, by hand 67.9 g
    (CarCard, SIZE + "masses.total_g = {}", 50_900, 50_950),  # 3e-3, by hand 50 923 g
    (TestCard, "grip.front = {}", 0.021, 0.02),
    (TestCard, "grip.rear = {}", 5, 5.01),
    (TestCard, "push.position_pct = {}", 1.01, 1.0),
    (TestCard, "push.position_pct = {}", -100, -100.1),
    (TestCard, "grip.ratio_u = {}", 0.99, 1),
]


@pytest.mark.parametrize(("card_type", "lines", "taken", "refused"), LIMITS)
def test_limits_stand_where_they_are_said_to(card_type: type, lines: str, taken: float, refused: float) -> None:
    assert read(card_type, lines.format(taken)) is not None
    with pytest.raises(InputError):
        read(card_type, lines.format(refused))


@pytest.mark.parametrize(
    ("kind", "keys"),
    [
        ("car", {"geometry.wheelbase_mm": 2.57}),
        ("bench", {"pads.capacity_g": 3.0}),
        ("bench", {"pads.reseat_g": -1.0}),
        ("test", {"push.position_pct": 0.5}),
    ],
)
def test_what_cannot_be_meant_is_written_onto_no_card(kind: str, keys: dict[str, float]) -> None:
    with pytest.raises(InputError):
        checked_card(kind, card_text(kind, keys), where=f"{kind}.toml")
    checked_card(kind, card_text(kind), where=f"{kind}.toml")
