"""Where the plate sits: a car turned about pins, made from plane geometry, its plate off by a known bit."""

import numpy as np
import pytest

from vision.base.errors import InputError
from vision.base.types import Camera, CameraView, CarMarkers, ClipTrack, Marker
from vision.learning.plate import PinTurn, fixed_point, locate_plate

CAR = CarMarkers(
    dictionary="DICT_APRILTAG_36h11",
    height=0.09,
    markers=tuple(
        Marker(id=k, size=0.044, x=0.13 + x, y=y)
        for k, (x, y) in enumerate([(0.075, 0.03), (0.075, -0.03), (-0.075, 0.03), (-0.075, -0.03)])
    ),
)


def track(pose: np.ndarray) -> ClipTrack:
    n = len(pose)
    return ClipTrack(
        time=np.arange(n) / 30,
        pose=pose,
        covariance=np.tile(np.eye(3) * 1e-10, (n, 1, 1)),
        repeating=np.tile(np.diag([4e-10, 4e-10, 1e-8]), (n, 1, 1)),
        blur=np.zeros(n),
        lean=np.zeros((n, 2)),
        frames_read=n,
        frames_left_out=0,
        left_out={},
        size=(1280, 720),
        ink_shift=0.0,
        corner_noise=0.03,
        camera=Camera(matrix=np.eye(3), distortion=np.zeros(5), size=(1280, 720)),
        view=CameraView(time=np.zeros(1), rotation=np.eye(3)[None], place=np.zeros((1, 3))),
        seen=np.ones((n, 4), bool),
    )


def turned_about(
    pin: np.ndarray,
    shift: np.ndarray,
    angle: float,
    rng: np.random.Generator,
    *,
    degrees: float = 120,
    noise: float = 3e-5,
    play: float = 0.0,
) -> ClipTrack:
    """Poses that the card's plate would report when the real plate is `shift`, `angle` off: true = shift + R card."""
    yaw = np.radians(np.linspace(0, degrees, 80))
    floor = np.array([0.1, -0.05]) + play * rng.normal(size=(80, 2))
    turn = np.stack([np.stack([np.cos(yaw), -np.sin(yaw)], -1), np.stack([np.sin(yaw), np.cos(yaw)], -1)], axis=1)
    axle = floor - turn @ pin  # true car origin
    card_origin = axle + turn @ shift  # the card's origin is at `shift` in true car axes
    return track(np.column_stack([card_origin, yaw + angle]) + rng.normal(0, noise, (80, 3)))


SHIFT, ANGLE = np.array([0.002, -0.0015]), 0.012
PINS = (np.array([0.0, 0.0]), np.array([0.26, 0.0]))


def test_the_plate_is_found() -> None:
    rng = np.random.default_rng(1)
    turns = [PinTurn(track=turned_about(pin, SHIFT, ANGLE, rng), x=pin[0], y=pin[1]) for pin in PINS]
    place = locate_plate(turns, CAR)
    np.testing.assert_allclose(place.shift, SHIFT, rtol=0, atol=1e-4)
    assert place.turn == pytest.approx(ANGLE, abs=0.001)
    c, s = np.cos(ANGLE), np.sin(ANGLE)
    for before, after in zip(CAR.markers, place.car.markers, strict=True):
        wanted = SHIFT + np.array([[c, -s], [s, c]]) @ [before.x, before.y]
        np.testing.assert_allclose([after.x, after.y], wanted, rtol=0, atol=2e-4)
    assert place.car.place_u < 0.0004  # better than the 1 mm of a ruler
    assert not place.warnings


def test_stated_uncertainty_covers_the_truth() -> None:
    """Pins placed with 0.3 mm: chi² of the error with 3 degrees of freedom over 200 tries has mean 3 (sd 0.17)."""
    rng = np.random.default_rng(2)
    sizes = []
    for _ in range(200):
        turns = [
            PinTurn(track=turned_about(pin + rng.normal(0, 3e-4, 2), SHIFT, ANGLE, rng), x=pin[0], y=pin[1])
            for pin in PINS
        ]
        place = locate_plate(turns, CAR)
        error = np.append(place.shift - SHIFT, place.turn - ANGLE)
        sizes.append(error @ np.linalg.solve(place.covariance, error))
    assert 2.0 < np.mean(sizes) < 3.8


def test_a_pin_that_wanders_is_refused_and_some_play_widens_the_doubt() -> None:
    rng = np.random.default_rng(3)
    tight = fixed_point(turned_about(PINS[1], SHIFT, ANGLE, rng))
    loose = fixed_point(turned_about(PINS[1], SHIFT, ANGLE, rng, play=0.001))
    assert np.trace(loose.covariance) > 20 * np.trace(tight.covariance)
    with pytest.raises(InputError, match="wandered"):
        fixed_point(turned_about(PINS[1], SHIFT, ANGLE, rng, play=0.01))


def test_wrong_pin_distance_is_said() -> None:
    rng = np.random.default_rng(4)
    turns = [PinTurn(track=turned_about(pin, SHIFT, ANGLE, rng), x=1.02 * pin[0], y=pin[1]) for pin in PINS]
    assert any("farther apart" in warning for warning in locate_plate(turns, CAR).warnings)


@pytest.mark.parametrize(("case", "words"), [("one", "one pin"), ("near", "too close"), ("little", "turned by only")])
def test_turns_that_tell_nothing(case: str, words: str) -> None:
    rng = np.random.default_rng(5)
    degrees = 5.0 if case == "little" else 120.0
    pins = (PINS[0], PINS[0] + 0.005) if case == "near" else PINS
    turns = [PinTurn(track=turned_about(pin, SHIFT, ANGLE, rng, degrees=degrees), x=pin[0], y=pin[1]) for pin in pins]
    with pytest.raises(InputError, match=words):
        locate_plate(turns[:1] if case == "one" else turns, CAR)
