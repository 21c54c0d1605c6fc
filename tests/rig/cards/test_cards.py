"""Cards: what a person may write, and what they are told when it is wrong."""

import math
from pathlib import Path

import numpy as np
import pytest

from analysis.sliding.contacts import Contacts
from analysis.sliding.finger import Finger
from analysis.sliding.solve import solve_push
from rig.base.errors import InputError
from rig.cards.keys.bench import BenchCard
from rig.cards.keys.car import CarCard
from rig.cards.keys.phases import PhasesCard
from rig.cards.keys.test import TestCard
from rig.cards.measures import car_markers, contact_place, floor_layout
from rig.cards.mechanics import car_state, push_state
from rig.cards.read import parse_card, read_card, read_set
from rig.cards.template import card_text
from tests.rig.cards.new_cards import write_new_cards

CAR = """card = "car"
name = "Dunlin"
[geometry]
wheelbase_mm = 257
track_front_mm = 165
track_rear_mm = 160
"""


def test_new_cards_can_be_read_at_once_and_are_not_overwritten(tmp_path: Path) -> None:
    write_new_cards(tmp_path)
    cards = read_set(tmp_path / "test.toml")
    assert cards.car.geometry.wheelbase_mm == 257.0
    drift = read_card(tmp_path / "phases.toml", PhasesCard)
    assert [phase.name for phase in drift.phases] == ["approach", "initiation", "hold", "transition", "exit"]
    (tmp_path / "car.toml").write_text("mine")
    with pytest.raises(InputError, match="there is a card already"):
        write_new_cards(tmp_path)
    assert (tmp_path / "car.toml").read_text() == "mine"


def test_four_numbers_are_enough_to_start() -> None:
    car = parse_card(CAR, CarCard, where="car.toml")
    assert car.front.kind == "free"
    assert car.geometry.cg_height_mm_u >= 10  # an unmeasured height is stated with a wide uncertainty


@pytest.mark.parametrize(
    ("text", "card_type", "parts"),
    [
        (CAR.replace("257", "-3"), CarCard, ["geometry.wheelbase_mm", "-3", "at least 40"]),
        (CAR.replace("wheelbase_mm", "wheelbase"), CarCard, ['"wheelbase"', 'Did you mean "wheelbase_mm"']),
        (CAR.replace("track_rear_mm = 160", ""), CarCard, ["geometry.track_rear_mm is missing"]),
        (CAR.replace("160", "nan"), CarCard, ["geometry.track_rear_mm", "nan"]),
        (CAR.replace("160", "1e9"), CarCard, ["geometry.track_rear_mm", "at most 1500"]),
        (CAR.replace("160", '"160"'), CarCard, ["geometry.track_rear_mm", "a number"]),
        (CAR + '[rear]\nkind = "locked"', CarCard, ["rear.kind", '"locked"', '"solid"']),
        (CAR + "[[plate.markers]]\nid = 1\nsize_mm = 44\nx_m = 3", CarCard, ["plate.markers[1]", '"x_mm"']),
        (CAR, BenchCard, ['card = "car"', 'card = "bench"']),
        ('card = "test"\nname = "x"\n[typed]\nweights_g = [1, 2, 3]', TestCard, ["weights_g", "4 values"]),
        (
            'card = "test"\nname = "x"\n[push]\nside = "up"',
            TestCard,
            ["push.side", '"up"', '"left", "right"'],
        ),
        (
            'card = "phases"\nname = "x"\n[[phases]]\nname = "hold"\nduration_s = 0',
            PhasesCard,
            ["phases[1].duration_s", "more than 0"],
        ),
        ("not toml", CarCard, ["not valid TOML"]),
        ("", CarCard, ["no line that says which card"]),
    ],
)
def test_a_wrong_card_names_file_key_value_and_what_is_allowed(text: str, card_type: type, parts: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        parse_card(text, card_type, where="some.toml")
    message = str(caught.value)
    assert message.startswith("some.toml: ")
    for part in parts:
        assert part in message
    assert caught.value.exit_code == 2


def test_windows_line_ends_and_a_byte_order_mark_do_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "car with space 🚗.toml"
    path.write_bytes(b"\xef\xbb\xbf" + CAR.replace("\n", "\r\n").encode())
    assert read_card(path, CarCard).name == "Dunlin"


def test_a_missing_card_is_named(tmp_path: Path) -> None:
    (tmp_path / "test.toml").write_text('card = "test"\nname = "x"\ncar = "gone.toml"\n')
    with pytest.raises(InputError, match=r"gone\.toml"):
        read_set(tmp_path / "test.toml")
    with pytest.raises(InputError, match="there is no such card"):
        read_set(tmp_path / "none.toml")


def test_templates_round_trip_every_kind_of_value() -> None:
    text = card_text(
        "car",
        {
            "name": 'a "quoted" \\ name',
            "geometry.contacts_mm": [[257.0, 80.0], [257.0, -80.0], [0.0, 82.0], [0.0, -82.0]],
            "masses.parts": [{"name": "battery", "mass_g": 280.0, "x_mm": 120.0}],
        },
    )
    car = parse_card(text, CarCard, where="x")
    assert car.name == 'a "quoted" \\ name'
    assert car.masses.parts[0].mass_g == 280.0
    np.testing.assert_allclose(contact_place(car)[2], [0.0, 0.082])


def test_a_sheet_printed_small_scales_about_its_own_middle() -> None:
    # similarity, by hand: on one page distances and squares shrink with the bar, the page's middle stays
    true = floor_layout(parse_card('card = "bench"\nname = "b"', BenchCard, where="x"))
    small = floor_layout(parse_card('card = "bench"\nname = "b"\n[floor]\nbar_mm = 99.0', BenchCard, where="x"))
    assert small.markers[0].size == pytest.approx(0.99 * true.markers[0].size)
    gap = [math.dist((s.markers[0].x, s.markers[0].y), (s.markers[1].x, s.markers[1].y)) for s in (true, small)]
    assert gap[1] == pytest.approx(0.99 * gap[0])
    assert small.markers[1].x == pytest.approx(true.markers[1].x)
    assert small.markers[4].x == pytest.approx(true.markers[4].x)


def test_car_markers_follow_the_plate_middle() -> None:
    car = parse_card(CAR + "[plate]\nmiddle_pct = 60\n", CarCard, where="x")
    middle = np.mean([marker.x for marker in car_markers(car, dictionary="d").markers])
    assert middle == pytest.approx(0.6 * 0.257)


@pytest.mark.parametrize("word", ["rolling", "rubbing", "sticking"])
def test_each_finger_on_the_card_pushes_as_its_name_says(word: str) -> None:
    # Coulomb: no friction, no force along the side; a slipping contact is at the edge of its cone; one that sticks
    # gives its point the finger's velocity. Pushed 90 % ahead of the rear axle, where 0.1 is not enough to hold
    car = parse_card(CAR, CarCard, where="car.toml")
    push = f'[push]\nfinger = "{word}"\nposition_pct = 90\nfinger_friction = 0.1\nside = "left"'
    state = push_state(car, parse_card(f'card = "test"\nname = "x"\n{push}', TestCard, where="test.toml"))
    touched = (state.station, state.finger_y)
    finger = Finger(kind=state.finger, place=touched, direction=(0.0, state.side), friction=state.finger_friction)
    motion = solve_push(
        Contacts(place=contact_place(car), load=[5.0, 4.0, 3.0, 6.0], grip=[0.9, 0.9, 0.8, 0.8]), finger
    )
    along, across = motion.push_force
    share = abs(along) / abs(across)
    slip = motion.twist[0] - motion.twist[2] * touched[1]
    if word == "sticking":
        assert slip == pytest.approx(0.0, abs=1e-9)
        assert share > 0.1
    else:
        assert share == pytest.approx(0.1 if word == "rubbing" else 0.0, abs=1e-9)
        assert abs(slip) > 0.1


AXLES_DIFFER = [
    # wheels, front, rear -> drag of FL FR RL RR: 1 blocked, else the car card's own (0.03 and 0.07)
    ("blocked", "as above", "as above", [1, 1, 1, 1]),
    ("as on the car card", "as above", "as above", [0.03, 0.03, 0.07, 0.07]),
    ("blocked", "as on the car card", "as above", [0.03, 0.03, 1, 1]),
    ("as on the car card", "blocked", "as above", [1, 1, 0.07, 0.07]),
    ("as on the car card", "as above", "blocked", [0.03, 0.03, 1, 1]),
    ("blocked", "as above", "as on the car card", [1, 1, 0.07, 0.07]),
]


@pytest.mark.parametrize(("wheels", "front", "rear", "drag"), AXLES_DIFFER)
def test_each_axle_is_blocked_as_the_card_says(wheels: str, front: str, rear: str, drag: list[float]) -> None:
    keys = {"name": "Dunlin", "front.drag": 0.03, "front.drag_u": 0.004, "rear.drag": 0.07, "rear.drag_u": 0.02}
    car = parse_card(card_text("car", keys), CarCard, where="car.toml")
    test = parse_card(
        card_text("test", {"push.wheels": wheels, "push.front": front, "push.rear": rear}), TestCard, where="test.toml"
    )
    state = car_state(car, test, load=np.full(4, 4.0), load_covariance=np.zeros((4, 4)))
    np.testing.assert_array_equal(state.drag, drag)
    # what is blocked has no doubt about how it rolls
    np.testing.assert_array_equal(state.drag_u, [0.0 if d == 1 else {0.03: 0.004, 0.07: 0.02}[d] for d in drag])


def test_a_card_without_the_new_keys_means_what_it_meant() -> None:
    old = parse_card('card = "test"\nname = "x"\n[push]\nwheels = "as on the car card"\n', TestCard, where="t")
    assert (old.push.front, old.push.rear, old.push.steering) == ("as above", "as above", "held")


def test_front_wheels_that_roll_and_may_steer_are_refused() -> None:
    car = parse_card(card_text("car"), CarCard, where="car.toml")
    rest = {"load": np.full(4, 4.0), "load_covariance": np.zeros((4, 4))}

    def test_card(**keys: str) -> TestCard:
        return parse_card(card_text("test", {f"push.{key}": word for key, word in keys.items()}), TestCard, where="t")

    with pytest.raises(InputError, match="steering"):
        car_state(car, test_card(wheels="as on the car card", steering="free"), **rest)
    with pytest.raises(InputError, match="steering"):
        car_state(car, test_card(front="as on the car card", steering="free"), **rest)
    # A blocked tyre slides alike whichever way it points: free steering changes nothing.
    blocked = car_state(car, test_card(steering="free"), **rest)
    np.testing.assert_array_equal(blocked.drag, 1.0)
