"""How the kept bench was made: once, by hand, and never by a test. Run from the project's folder:

    PYTHONPATH=. python tests/data/kept_bench/make.py [--expected]

It films and weighs a virtual car with the code as it stands and writes everything beside itself; with --expected it
leaves the bench alone and only writes down anew what the commands say of it. Either changes what must not change:
do it only when a figure was wrong, and say which in the commit.
"""

import json
import math
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from rig.cards.measures import car_markers, floor_layout
from rig.cards.read import read_set
from rig.cards.template import card_text
from rig.jobs.weighing.weigh import TURN_WORDS
from rig.main import main
from rig.pads.steps import Step
from rig.virtual.bench import true_floor, true_plate, virtual_finger
from rig.virtual.dunlin import SetUp, Truth, draw_truth
from rig.virtual.pads import VirtualPads
from rig.virtual.pads_cells import COUNTS_PER_GRAM, PadCells
from rig.virtual.push_truth import simulate_push

HERE = Path(__file__).parent
WIRED = ["RR", "FL", "FR", "RL"]
SIZE = (640, 360)
CHASSIS = {
    "chassis.front.spring_n_per_mm": 2.6,
    "chassis.rear.spring_n_per_mm": 2.1,
    "chassis.front.bar_n_per_mm": 0.4,
    "chassis.rear.bar_n_per_mm": 0.1,
    "chassis.front.motion_ratio": 0.66,
    "chassis.rear.motion_ratio": 0.61,
}
GEOMETRY = {
    "geometry.wheelbase_mm": 257.0,
    "geometry.wheelbase_mm_u": 0.3,
    "geometry.track_front_mm": 167.0,
    "geometry.track_front_mm_u": 1.0,
    "geometry.track_rear_mm": 159.0,
    "geometry.track_rear_mm_u": 1.5,
    "geometry.front_roll_share": 0.42,
    "geometry.front_roll_share_u": 0.1,
    "front.toe_deg": 1.4,
    "front.toe_deg_u": 0.2,
    "rear.toe_deg": -0.6,
    "rear.toe_deg_u": 0.4,
    "front.drag": 0.03,
    "rear.drag": 0.09,
    "rear.kind": "differential",
    "plate.height_mm": 90.0,
    "plate.height_mm_u": 1.0,
    "plate.place_mm_u": 0.5,
    "plate.turn_deg_u": 0.2,
    "plate.bar_mm": 103.0,
    "plate.bar_mm_u": 0.1,
}
PUSH = {
    "push.height_mm": 14.0,
    "push.height_mm_u": 1.0,
    "push.position_pct_u": 0.4,
    "push.distance_mm": 32.0,
    "push.speed_mm_s": 50.0,
    "grip.front": 0.86,
    "grip.rear": 0.78,
    "grip.ratio_u": 0.02,
    "grip.level_u": 0.1,
    "grip.measured": True,
    "conditions.surface": "painted board",
    "conditions.floor_temperature_c": 21.5,
}
TYPED = {"typed.weights_g": [455.0, 380.0, 345.0, 405.0], "typed.weights_resolution_g": 5.0}
TESTS: dict[str, dict[str, object]] = {
    "first": {"push.position_pct": 85.0, "push.side": "right", "push.finger": "rolling", "clip": "two-pushes.mp4"},
    "second": {
        "push.position_pct": 22.0,
        "push.side": "left",
        "push.finger": "sticking",
        "push.finger_path": "stays on the car",
        "clip": "two-pushes.mp4",
    },
    "at-38": {"push.position_pct": 38.0, "push.side": "left", "clip": "at-38.mp4"},
    "at-45": {"push.position_pct": 45.0, "push.side": "right", "clip": "at-45.mp4"},
    "at-52": {"push.position_pct": 52.0, "push.side": "right", "clip": "at-52.mp4"},
    "at-59": {"push.position_pct": 59.0, "push.side": "right", "clip": "at-59.mp4"},
    "at-66": {"push.position_pct": 66.0, "push.side": "left", "clip": "at-66.mp4"},
    "hard": {
        "push.position_pct": 85.0,
        "push.side": "right",
        "clip": "hard.mp4",
        "grip.front": 0.7,
        "conditions.compound_front": "hard",
    },
    "rolling": {
        "push.position_pct": 70.0,
        "push.side": "left",
        "push.wheels": "as on the car card",
        "push.finger_path": "stays on the car",
    },
    "typed": {
        "car": "typed-car.toml",
        "push.position_pct": 60.0,
        "push.side": "left",
        "typed.pivot_pct": -35.0,
        "typed.pivot_pct_u": 3.0,
        **TYPED,
    },
}
FILMED = {f"at-{pct}": (0.86, 0.78) for pct in (38, 45, 52, 59, 66)} | {"hard": (0.7, 0.78)}
"""Clips that were measured and then left out: their tracks are kept."""


def setup(grip: tuple[float, float]) -> SetUp:
    return SetUp(
        name="kept", title="kept", mass_g=1585.0, cg_mm=(137.0, 5.5), cross_g=21.0, grip=grip, car=GEOMETRY, test=PUSH
    )


def write_cards(folder: Path) -> None:
    folder.mkdir()
    (folder / "bench.toml").write_text(
        card_text(
            "bench",
            {
                "name": "Kept bench",
                "pads.wheels": WIRED,
                "pads.reseat_g": 3.0,
                "pads.level_mm_u": 0.15,
                "floor.bar_mm": 97.0,
                "floor.bar_mm_u": 0.1,
                "place.latitude_deg": 64.1,
                "place.height_m": 480.0,
            },
        )
    )
    (folder / "car.toml").write_text(card_text("car", GEOMETRY | CHASSIS | {"name": "Kept car"}))
    (folder / "typed-car.toml").write_text(
        card_text("car", GEOMETRY | {"name": "Typed car", "rear.toe_deg": 1.1, "geometry.wheelbase_mm": 251.0})
    )
    for name, keys in TESTS.items():
        text = card_text("test", PUSH | {"name": f"kept {name}", "conditions.compound_front": "soft"} | keys)
        (folder / f"{name}.toml").write_text(text)
    # one baseline and one change, twice each: no series that anybody would push, but four pushes with figures
    heads = "number,block,role,side,station_pct,board_turn_deg,recorded,do_first,test,ballast"
    rows = [
        f"{n},{block},set-up,{side},{pct},0,yes,,at-{pct}.toml,{ballast}"
        for n, block, side, pct, ballast in (
            (1, 1, "right", 45, "none"),
            (2, 1, "right", 52, "none"),
            (3, 2, "right", 59, "rear"),
            (4, 2, "left", 66, "rear"),
        )
    ]
    (folder / "series.csv").write_text("\n".join([heads, *rows]) + "\n")


def film(cards_folder: Path, clip: Path, tests: list[str], truth: Truth, seed: int) -> None:
    """One clip with a push for each test card, one after the other, where the car then stands."""
    from vision.render.camera import looking_at
    from vision.render.filmed import Look
    from vision.render.push import render_push

    rng = np.random.default_rng([seed, 7])
    pose = np.array([-0.13, -0.012, 0.02])
    times, poses, end = [], [], 0.0
    for name in tests:
        cards = read_set(cards_folder / f"{name}.toml")
        finger = virtual_finger(cards, truth, rest=0.5)
        moved = simulate_push(truth.pushed, finger, start=pose)
        times.append(moved.time - moved.time[0] + end)
        poses.append(moved.pose)
        pose, end = moved.pose[-1], float(times[-1][-1]) + 1 / 30
    cards = read_set(cards_folder / f"{tests[0]}.toml")
    floor = floor_layout(cards.bench)
    camera = looking_at(
        np.array([-0.08, -0.85, 0.98]),
        np.array([0.0, 0.02, 0.0]),
        focal=750.0,
        size=SIZE,
        distortion=np.array([-0.09, 0.03, 0.0, 0.0, 0.0]),
    )
    outline = np.array([[-0.08, -0.095], [0.33, -0.095], [0.33, 0.095], [-0.08, 0.095]])
    render_push(
        clip,
        time=np.concatenate(times),
        pose=np.concatenate(poses),
        floor=true_floor(floor, rng),
        car=true_plate(car_markers(cards.car, dictionary=floor.dictionary), truth),
        camera=camera,
        rng=rng,
        size=SIZE,
        fps=30.0,
        look=Look(),
        outline=outline,
        wheels=truth.pushed.contacts,
        samples=2,
    )


class Person:
    """Does on the pads what the commands ask for; the car turns and lifts as told."""

    def __init__(self, pads: VirtualPads, corner_g: np.ndarray) -> None:
        self.pads, self.rng = pads, np.random.default_rng(11)
        self.on = dict(zip(["FL", "FR", "RL", "RR"], corner_g, strict=True))
        self.turns = {text: turn for turn, text in TURN_WORDS.items()}

    def __call__(self, step: Step) -> None:
        from analysis.weighing.orientations import PAD_UNDER

        loads = np.zeros(4)
        corner = np.array([self.on[wheel] for wheel in ("FL", "FR", "RL", "RR")])
        place = {wheel: WIRED.index(wheel) for wheel in self.on}  # pad under a wheel of the car as it is
        if step.action == "mass" and step.pad is not None:
            loads[step.pad] = step.mass_g
        elif step.action == "lift":
            height = float(step.text.split("its wheels ")[1].split(" mm")[0])
            angle = math.asin(height / 257.0)
            front = corner[:2].sum() + corner.sum() * (41.0 - 32.0) * math.tan(angle) / 257.0
            for wheel, share in (("FL", corner[0] / corner[:2].sum()), ("FR", corner[1] / corner[:2].sum())):
                loads[place[wheel]] = front * share
        elif step.action == "car":
            corner = corner + 3.0 * self.rng.standard_normal() * np.array([1.0, -1.0, -1.0, 1.0])
            turn = next((turn for text, turn in self.turns.items() if text in step.text), None)
            spots = np.arange(4) if turn is None else np.array(PAD_UNDER[turn])
            by_wheel = np.zeros(4)
            by_wheel[spots] = corner  # what each wheel place of the bench (FL FR RL RR) carries
            loads = by_wheel[[["FL", "FR", "RL", "RR"].index(wheel) for wheel in WIRED]]
        self.pads.set_loads(loads.tolist())


def run(*arguments: object) -> None:
    try:
        main([str(one) for one in arguments])
    except SystemExit as ended:
        if ended.code != 0:
            raise RuntimeError(f"this command failed: {arguments}") from ended


def make() -> None:
    from rig.command.pads import calibrate
    from rig.command.weigh import height, weigh

    cards, clips, log = HERE / "cards", HERE / "clips", HERE / "log"
    for folder in (cards, clips, log):
        shutil.rmtree(folder, ignore_errors=True)
    clips.mkdir()
    write_cards(cards)
    truth = draw_truth(setup((0.86, 0.78)), np.random.default_rng(5))
    cells = PadCells(
        gain=COUNTS_PER_GRAM * np.array([1.0, 0.98, 1.03, 0.995]),
        offset=np.array([2e4, -9e4, 5e4, 1e4]),
        bow=np.array([6e-3, -4e-3, 8e-3, 5e-3]),
        noise_g=np.array([0.05, 0.1, 0.06, 0.08]),
        drift_g_per_hour=np.zeros(4),
        wander_g=np.zeros(4),
        capacity_g=2000.0,
    )
    virtual = VirtualPads(cells=cells, seed=9, rate=80, time_factor=12.0)
    with tempfile.TemporaryDirectory() as elsewhere, virtual as pads:
        for module in (calibrate, height, weigh):
            module.ask_in_terminal = lambda **_: Person(pads, truth.corner_g)  # type: ignore[attr-defined]
        first, more = cards / "first.toml", ("--port", pads.url, "--log", log)
        masses = [part for mass in (200, 450, 800, 1300) for part in ("--mass", mass)]
        run("pads", "calibrate", first, *masses, "--mass-u", 0.05, "--cycles", 1, "--temperature", 21, *more)
        pads.set_loads([0.0] * 4)
        run("pads", "zero", first, *more)
        run("weigh", first, "--turned", "half", "--placings", 2, *more)
        run("weigh", first, "--placings", 3, *more)
        run("weigh", "height", first, "--height", 40, "--height", 70, "--height", 100, *more)
        run("weigh", cards / "typed.toml", "--log", log)
        film(cards, clips / "two-pushes.mp4", ["first", "second"], truth, 1)
        for test in ("first", "second"):
            run("push", "measure", cards / f"{test}.toml", "--clip", clips / "two-pushes.mp4", "--log", log)
        for number, (test, grip) in enumerate(FILMED.items()):
            clip = Path(elsewhere) / f"{test}.mp4"
            film(cards, clip, [test], draw_truth(setup(grip), np.random.default_rng(5)), 2 + number)
            run("push", "measure", cards / f"{test}.toml", "--clip", clip, "--log", log)
    run("push", first, "--clip", clips / "two-pushes.mp4", "--push", 1, "--seed", 3, "--log", log)
    run("push", cards / "second.toml", "--clip", clips / "two-pushes.mp4", "--push", 2, "--log", log)
    run("push", cards / "typed.toml", "--log", log)
    for arguments in AFTERWARDS:
        run(*[str(cards / one) if one.endswith((".toml", ".csv")) else one for one in arguments], "--log", log)
    strip(log / "bench-log.sqlite")
    shutil.rmtree(log / "raw", ignore_errors=True)


AFTERWARDS = [
    ["grip", "tilt", "first.toml", "--part", "front", "--angle", "20.5", "--angle", "21.5", "--angle", "20"],
    ["grip", "tilt", "first.toml", "--part", "rear", "--angle", "16.5", "--angle", "15.5", "--nose", "down"],
    ["grip", "pull", "first.toml", "--part", "car", "--force", "12.6", "--force", "13.1", "--force", "12.9"],
    ["grip", "sweep", *(f"at-{pct}.toml" for pct in (38, 45, 52, 59, 66))],
    ["grip", "first.toml"],
    ["grip", "infer", "first.toml", "at-66.toml"],
    ["grip", "ladder", "first.toml", "hard.toml"],
    ["change", "effects", "series.csv"],
    ["moving", "car.toml"],
    ["push", "forecast", "rolling.toml"],
]


def strip(path: Path) -> None:
    """One file, without what lies on this machine only."""
    with sqlite3.connect(path) as database:
        database.execute("UPDATE files SET path = name")
        database.commit()
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        database.execute("PRAGMA journal_mode = DELETE")
    database.close()
    with sqlite3.connect(path, isolation_level=None) as database:
        database.execute("VACUUM")
    database.close()


def expect() -> None:
    """Write down what the commands say of the kept bench."""
    from tests.values.kept_bench import heard

    with tempfile.TemporaryDirectory() as folder:
        figures, sentences = heard(Path(folder))
    for name, told in (("expected.json", figures), ("expected_sentences.json", sentences)):
        (HERE / name).write_text(json.dumps(told, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    print(subprocess.run(["git", "rev-parse", "HEAD"], capture_output=True, text=True, check=True).stdout)
    if "--expected" not in sys.argv:
        make()
    expect()
