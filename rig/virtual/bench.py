"""The virtual bench: pads, a car, a finger and a camera, for a first try and for a teacher at home.

What differs from a real bench: the pads' port is a pseudo-terminal or a socket; the clip shows painted markers
on a plain car; the slide is integrated in time with the laws of Coulomb and Newton, not with the forecast's
principle. The truth lies in its own file and nothing on the measuring side opens it.
"""

import json
import math
import random
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.figures.car import body_outline
from rig.base.progress import Progress
from rig.cards.identity import new_id
from rig.cards.measures import car_markers, finger_marker, floor_layout
from rig.cards.read import CardSet
from rig.cards.template import card_text
from rig.pads.force_file import beside
from rig.pads.steps import Step
from rig.virtual.dunlin import CAR_KEYS, TEST_KEYS, SetUp, Truth
from rig.virtual.finger_force import finger_keys, record_virtual_force
from rig.virtual.pads import VirtualPads
from rig.virtual.push_truth import PushTruth, simulate_push
from rig.virtual.pushed_car import FingerPush
from vision.base.types import CarMarkers, FloorLayout, Marker

if TYPE_CHECKING:
    from vision.render.filmed import Hand

PICTURE = (1280, 720)
FRAMES_PER_S = 30.0
CHECK_MASSES_G = [250.0, 500.0, 1000.0]


class VirtualOperator:
    """Does on the virtual pads what a person is asked to do on real ones.

    car_g: (4,) g that the car puts on pads 1 to 4.  reseat_g: scatter of placing it, g a corner.
    """

    def __init__(
        self, pads: VirtualPads, car_g: FloatArray, rng: np.random.Generator, *, reseat_g: float = 1.5
    ) -> None:
        self._pads, self._car_g, self._rng, self._reseat_g = pads, car_g, rng, reseat_g

    def __call__(self, step: Step) -> None:
        """Carry out one step."""
        loads = np.zeros(4)
        if step.action == "mass" and step.pad is not None:
            loads[step.pad] = step.mass_g
        elif step.action == "car":
            # how the car settles moves load between the corners, never the total
            moved = self._reseat_g * self._rng.standard_normal() * np.array([1.0, -1.0, -1.0, 1.0])
            loads = np.maximum(self._car_g + moved, 0.0)
        self._pads.set_loads(loads.tolist())


def write_cards(folder: Path, setup: SetUp, positions_pct: tuple[float, ...], *, again: bool = False) -> list[Path]:
    """The cards of one set-up in a folder of its own: car.toml, bench.toml and one test card a position.

    again: a further push of a set-up that was pushed before, with a name of its own.
    """
    folder.mkdir(parents=True, exist_ok=True)
    head = f"The virtual bench's car in one set-up: {setup.title}."
    (folder / "car.toml").write_text(
        card_text(
            "car",
            CAR_KEYS | dict(setup.car) | {"name": f"Dunlin, {setup.title}", "id": virtual_id("car")},
            head=head,
        ),
        encoding="utf-8",
    )
    bench = {
        "name": "Virtual bench",
        "id": virtual_id("bench"),
        "pads.port": "virtual",
        "pads.reseat_g": 2.0,
        "floor.bar_mm": 100.0,
        "floor.bar_mm_u": 0.1,
    } | finger_keys()
    (folder / "bench.toml").write_text(card_text("bench", bench), encoding="utf-8")
    tests = []
    for pct in positions_pct:
        name = f"{'again' if again else 'push'}-{pct:g}"
        keys = (
            TEST_KEYS
            | dict(setup.test)
            | {
                "name": f"{setup.title}, pushed {'again ' if again else ''}at {pct:g} %",
                "id": virtual_id("test", setup.name, name),
                "push.position_pct": pct,
                "clip": f"{name}.avi",
                "grip.front": setup.grip[0],
                "grip.rear": setup.grip[1],
            }
        )
        tests.append(folder / f"{name}.toml")
        tests[-1].write_text(card_text("test", keys), encoding="utf-8")
    return tests


def virtual_id(*words: str) -> str:
    """The id of one of the virtual bench's cards: the same in every run, as its car and bench are."""
    return new_id(random.Random(" ".join(words)))


def virtual_finger(cards: CardSet, truth: Truth, *, rest: float = 0.8) -> FingerPush:
    """The finger of the test card at the place where it truly touches. rest: s of standing still around the push."""
    push, wheelbase = cards.test.push, float(np.ptp(truth.pushed.contacts[:, 0]))
    return FingerPush(
        station=push.position_pct / 100 * wheelbase + truth.station_shift,
        side_y=(-1.0 if push.side == "right" else 1.0) * cards.car.geometry.body_width_mm / 2000,
        speed=push.speed_mm_s / 1000,
        distance=push.distance_mm / 1000,
        kind=push.finger,
        friction=push.finger_friction,
        height=truth.height,
        rest=rest,
    )


def film_virtual_push(
    cards: CardSet, truth: Truth, clip: Path, *, seed: int, progress: Progress | None = None
) -> PushTruth:
    """Let the virtual finger push the virtual car, and film it; its force is recorded where the bench card has a cell.

    The camera looks obliquely through a lens with distortion; motion blur and noise are in the picture.
    """
    from vision.render.camera import looking_at
    from vision.render.filmed import Filming, Look, PushScene
    from vision.render.push import render_push

    rng = np.random.default_rng([seed, 7])
    push, length = cards.test.push, float(np.ptp(truth.pushed.contacts[:, 0]))
    side = 1.0 if push.side == "right" else -1.0
    finger = virtual_finger(cards, truth)
    start = np.array([-length / 2 + rng.normal(0, 0.004), -side * push.distance_mm / 2000, rng.normal(0, 0.02)])
    moved = simulate_push(truth.pushed, finger, start=start)
    floor = floor_layout(cards.bench)
    layout = true_floor(floor, rng)
    plate = true_plate(car_markers(cards.car, dictionary=floor.dictionary), truth)
    camera = looking_at(
        np.array([-0.10, -0.95, 1.05]),
        np.array([0.0, 0.02, 0.0]),
        focal=1500.0,
        size=PICTURE,
        distortion=np.array([-0.09, 0.03, 0.0, 0.0, 0.0]),
    )
    geometry = cards.car.geometry
    body = (geometry.body_front_mm / 1000, geometry.body_rear_mm / 1000, geometry.body_width_mm / 1000)
    render_push(
        clip,
        PushScene(
            time=moved.time,
            pose=moved.pose,
            floor=layout,
            car=plate,
            hand=virtual_hand(cards, truth, moved, rng),
            outline=body_outline(length, body),
            wheels=truth.pushed.contacts,
        ),
        Filming(camera=camera, size=PICTURE, fps=FRAMES_PER_S, look=Look(), samples=2),
        rng,
        progress=progress,
    )
    if cards.bench.force is not None:
        record_virtual_force(beside(clip), cards.bench.force, moved, np.random.default_rng([seed, 17]))
    return moved


def virtual_hand(cards: CardSet, truth: Truth, moved: PushTruth, rng: np.random.Generator) -> "Hand | None":
    """The virtual finger as the camera sees it, its marker worn as the bench card says; None without."""
    from vision.render.filmed import Hand, WornMarker

    marker = finger_marker(cards.bench, cards.test, dictionary=cards.bench.floor.dictionary)
    if marker is None:
        return None
    ahead = moved.finger[-1] - moved.finger[0]
    yaw = math.atan2(ahead[1], ahead[0]) + rng.normal(0.0, 0.2)
    return Hand(
        tip=moved.finger,
        outward=-np.array([math.cos(yaw), math.sin(yaw)]),
        height=truth.height,
        worn=WornMarker(
            dictionary=marker.dictionary,
            id=marker.id,
            size=marker.size + marker.size_u * rng.standard_normal(),
            tip=marker.tip + marker.tip_u * rng.standard_normal(3),
            attitude=np.array([yaw, *rng.normal(0.0, marker.tilt_u, 2)]),
        ),
    )


def true_floor(floor: FloorLayout, rng: np.random.Generator) -> FloorLayout:
    """The sheets as they really lie: each page off by a draw from the uncertainty of laying it."""
    shift = {sheet: rng.normal(0.0, floor.place_u, 2) for sheet in sorted({marker.sheet for marker in floor.markers})}
    return replace(
        floor,
        markers=tuple(
            replace(m, x=m.x + float(shift[m.sheet][0]), y=m.y + float(shift[m.sheet][1])) for m in floor.markers
        ),
    )


def true_plate(car: CarMarkers, truth: Truth) -> CarMarkers:
    """The plate as it really sits on the car."""
    x, y, turn = (float(part) for part in truth.plate_shift)
    middle = np.mean([[m.x, m.y] for m in car.markers], axis=0)
    c, s = math.cos(turn), math.sin(turn)

    def put(m: Marker) -> Marker:
        dx, dy = m.x - middle[0], m.y - middle[1]
        return replace(
            m, x=float(middle[0] + x + c * dx - s * dy), y=float(middle[1] + y + s * dx + c * dy), turn=m.turn + turn
        )

    return replace(car, markers=tuple(put(m) for m in car.markers))


def write_truth(path: Path, truth: Truth, pushes: dict[str, PushTruth]) -> None:
    """Store what the virtual car really was and did, apart from everything that is measured."""
    path.parent.mkdir(parents=True, exist_ok=True)
    content = {
        "corner_weights_g": truth.corner_g.tolist(),
        "grip": truth.pushed.grip.tolist(),
        "contacts_m": truth.pushed.contacts.tolist(),
        "push_height_m": truth.height,
        "push_station_off_by_m": truth.station_shift,
        "plate_off_by": truth.plate_shift.tolist(),
        "pushes": {
            name: {"start_pose": push.pose[0].tolist(), "end_pose": push.pose[-1].tolist()}
            for name, push in pushes.items()
        },
    }
    path.write_text(json.dumps(content, indent=1), encoding="utf-8")
