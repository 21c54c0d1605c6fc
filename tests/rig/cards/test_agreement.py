"""Figures of one car that contradict each other: refused, or told before the answer with both sides.

Contacts, lengths and weights are worked out by hand on an unsymmetric car: no two tracks or places alike.
"""

import pytest

from rig.base.errors import InputError
from rig.cards.agreement import notes_on
from rig.cards.keys.car import CarCard
from rig.cards.keys.test import TestCard
from rig.cards.left_out import OTHER_TYRES_RATIO_U, taken_without
from rig.cards.read import parse_card

CAR = 'card = "car"\nname = "Dunlin"\ngeometry.wheelbase_mm = 257\n'
TRACKS = "geometry.track_front_mm = 165\ngeometry.track_rear_mm = 150\n"
FL, FR, RL, RR = [258, 83], [256, -82], [1, 74], [-1, -76]


def car(lines: str, tracks: str = TRACKS) -> CarCard:
    return parse_card(CAR + tracks + lines, CarCard, where="car.toml")


def push(lines: str = "") -> TestCard:
    return parse_card(f'card = "test"\nname = "middle"\n{lines}', TestCard, where="test.toml")


@pytest.mark.parametrize(
    ("contacts", "hint"),
    [
        ([RL, RR, FL, FR], "order is FL FR RL RR"),
        ([FL, FR, RR, RL], "order is FL FR RL RR"),
        ([FR, FL, RL, RR], "order is FL FR RL RR"),
        ([FL, RL, FR, RR], "order is FL FR RL RR"),
        ([RL, FL, FR, RR], "order is FL FR RL RR"),
        ([[y, x] for x, y in (FL, FR, RL, RR)], "Ahead of the rear axle comes first"),
        ([[x - 257, y] for x, y in (FL, FR, RL, RR)], "counted from the rear axle"),
        ([[x / 10, y / 10] for x, y in (FL, FR, RL, RR)], "look like centimetres"),
        ([[x / 1000, y / 1000] for x, y in (FL, FR, RL, RR)], "look like metres"),
    ],
)
def test_contacts_that_are_no_car_are_refused_with_the_corrected_list(contacts: list[list[float]], hint: str) -> None:
    with pytest.raises(InputError) as caught:
        car(f"geometry.contacts_mm = {contacts}")
    assert "wheelbase_mm = 257" in caught.value.what
    assert hint in caught.value.remedy
    assert "[[258.0, 83.0], [256.0, -82.0], [1.0, 74.0], [-1.0, -76.0]]" in caught.value.remedy


def test_contacts_of_another_car_are_refused_and_none_is_made_up() -> None:
    with pytest.raises(InputError) as caught:
        car(f"geometry.contacts_mm = {[[300, 83], [298, -82], RL, RR]}")
    assert "299 mm ahead of the rear ones" in caught.value.what
    assert "Did you mean" not in caught.value.remedy


def test_contacts_a_little_off_the_wheelbase_are_told_with_both_lengths() -> None:
    # front places 263 and 261 mm: a wheelbase of 262, 5 mm or 2 % more than typed, ten times its ± of 0.5
    off = car(f"geometry.contacts_mm = {[[263, 83], [261, -82], RL, RR]}")
    assert notes_on(off, push()) == [
        "contacts_mm make a wheelbase of 262 mm, wheelbase_mm says 257: one of them is wrong"
    ]
    assert notes_on(car(f"geometry.contacts_mm = {[FL, FR, RL, RR]}"), push()) == []


def test_contacts_and_tracks_that_differ_are_told() -> None:
    tracks = "geometry.track_front_mm = 165\ngeometry.track_rear_mm = 190\n"  # the contacts make 165 and 150
    (said,) = notes_on(car(f"geometry.contacts_mm = {[FL, FR, RL, RR]}", tracks), push())
    assert "rear track of 150 mm" in said
    assert "190" in said


@pytest.mark.parametrize(("front_u", "rear_u", "told"), [(6, 1, "rear"), (1, 6, "front")])
def test_each_track_is_held_against_the_contacts_by_its_own_doubt(front_u: int, rear_u: int, told: str) -> None:
    """15 mm off on both axles, 165 and 150 mm by the contacts: three times 6 mm, or a thirtieth of the track."""
    tracks = "geometry.track_front_mm = 180\ngeometry.track_rear_mm = 135\n"
    doubts = f"geometry.track_front_mm_u = {front_u}\ngeometry.track_rear_mm_u = {rear_u}\n"
    (said,) = notes_on(car(f"geometry.contacts_mm = {[FL, FR, RL, RR]}\n{doubts}", tracks), push())
    made, typed = {"front": (165, 180), "rear": (150, 135)}[told]
    assert said == (f"contacts_mm make a {told} track of {made} mm, track_{told}_mm says {typed}: the contacts count")


@pytest.mark.parametrize(
    ("lines", "tracks", "sentence"),
    [
        (
            "",
            "geometry.track_front_mm = 300\ngeometry.track_rear_mm = 160\n",
            "track_front_mm = 300 is more than wheelbase_mm = 257: right only if the car is wider than long, otherwise "
            "the two are exchanged",
        ),
        (
            "",
            "geometry.track_front_mm = 96\ngeometry.track_rear_mm = 160\n",
            "the tracks are 96 mm in front and 160 at the rear: measure them again",
        ),
        (
            "geometry.body_width_mm = 340",
            TRACKS,
            "the tracks of 165 and 150 mm are about half of body_width_mm = 340: is a track measured to the middle "
            "only?",
        ),
        (
            "geometry.cg_height_mm = 60\nplate.height_mm = 52",
            TRACKS,
            "the marker plate at plate.height_mm = 52 lies below the centre of gravity at cg_height_mm = 60: measure "
            "both from the floor, in mm",
        ),
        (
            "geometry.cg_height_mm = 155",
            TRACKS,
            "a centre of gravity at cg_height_mm = 155 is higher than the track is wide (150 mm): such a car falls "
            "over before it slides",
        ),
        (
            "geometry.cg_height_mm = 22\ngeometry.wheel_radius_mm = 64",
            TRACKS,
            "cg_height_mm = 22 is less than half of wheel_radius_mm = 64: is that its diameter?",
        ),
    ],
)
def test_an_odd_car_is_taken_and_told(lines: str, tracks: str, sentence: str) -> None:
    assert notes_on(car(lines, tracks), push()) == [sentence]


UNIT = "check its sign and its unit (per cent of the wheelbase)"


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        # -50 % of 257 mm is 128.5 mm behind the rear axle; the body may reach 0.3 wheelbases, 77 mm
        (
            "push.position_pct = -50",
            f"position_pct = -50 lies 128 mm beyond the rear axle, where the body reaches 77: {UNIT}",
        ),
        (
            "push.position_pct = 160",
            f"position_pct = 160 lies 154 mm beyond the front axle, where the body reaches 77: {UNIT}",
        ),
        ("push.position_pct = 1.3", "position_pct = 1.3 is 3.3 mm from the rear axle: a fraction is written as 85"),
        ("push.height_mm = 71", "the finger at push.height_mm = 71 pushes above the marker plate at 66 mm"),
    ],
)
def test_an_odd_push_is_taken_and_told(lines: str, sentence: str) -> None:
    assert notes_on(car("plate.height_mm = 66"), push(lines)) == [sentence]


@pytest.mark.parametrize("place", [-30, 0, 2.5, 50, 100, 130])
def test_a_push_on_the_car_is_nothing_odd(place: float) -> None:
    assert notes_on(car(""), push(f"push.position_pct = {place}")) == []
    long = car("geometry.body_rear_mm = 200\ngeometry.body_front_mm = 190")
    assert notes_on(long, push(f"push.position_pct = {-70 if place < 0 else place}")) == []


@pytest.mark.parametrize(
    ("lines", "parts"),
    [
        ('{name = "lead", mass_g = 80, x_mm = 900}', ["parts[1]", "lead", "900", "257"]),
        ('{name = "lead", mass_g = 80, x_mm = 90, y_mm = -450}', ["parts[1]", "-450"]),
        ('{name = "a", mass_g = 8, x_mm = 9}, {name = "b", mass_g = -1700, x_mm = 90}', ["parts[2]", "-1700", "1600"]),
    ],
)
def test_a_part_that_is_not_on_this_car_is_refused(lines: str, parts: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        car(f"masses.total_g = 1600\nmasses.parts = [{lines}]")
    for part in parts:
        assert part in caught.value.what


def test_two_tracks_of_two_cars_are_refused_with_the_likely_one() -> None:
    with pytest.raises(InputError) as caught:
        parse_card(
            CAR.replace("257", "120") + "geometry.track_front_mm = 82\ngeometry.track_rear_mm = 20.1",
            CarCard,
            where="c",
        )
    assert "track_rear_mm = 20.1" in caught.value.what
    assert "82" in caught.value.what


def test_tyres_that_differ_are_doubted_more_until_somebody_compared_them() -> None:
    """One value for "not measured": 0.05 for the same tyres, 0.3 for others, which `grip` says too."""
    assert push().grip.ratio_u == 0.05
    assert push("grip.same_tyres = false").grip.ratio_u == OTHER_TYRES_RATIO_U == 0.3
    assert push("grip.same_tyres = false\ngrip.ratio_u = 0.12").grip.ratio_u == 0.12
    assert taken_without("grip.ratio_u", 0.05, {"grip": {"same_tyres": False}}) == 0.3
    named = 'conditions.compound_front = "soft"\nconditions.compound_rear = "hard"\n'
    (said,) = notes_on(car(""), push(named))
    assert '"soft" in front and "hard" at the rear are taken to grip alike within 10 %' in said
    (said,) = notes_on(car(""), push("grip.same_tyres = false\ngrip.ratio_u = 0.05"))
    assert "take ratio_u out" in said
    for fine in (named + "grip.same_tyres = false", named + "grip.measured = true", named.replace("hard", "Soft ")):
        assert notes_on(car(""), push(fine)) == []
