"""Cards, records and commands as a person has them, and the mechanics of a push once more, by another way.

Nothing here knows how the program is cut into modules: cards are TOML written by hand, records come in through
`log import` in the open format that `log export` describes, results are what commands print.
"""

import contextlib
import hashlib
import io
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize, minimize_scalar

from rig.main import main
from tests.whole_records import completed

EXACT_CAR = {
    **{
        f"geometry.{key}_u": 0.0
        for key in (
            "wheelbase_mm",
            "track_front_mm",
            "track_rear_mm",
            "wheel_radius_mm",
            "cg_height_mm",
            "front_roll_share",
        )
    },
    **{
        f"{axle}.{key}": 0.0 for axle in ("front", "rear") for key in ("drag_u", "toe_deg_u", "steer_deg_u", "patch_mm")
    },
    **{
        f"{axle}.{key}": 0.0
        for axle in ("front", "rear")
        for key in ("load_sensitivity", "load_sensitivity_u", "drag_g")
    },
    "plate.bar_mm": 100.0,
}
EXACT_BENCH = {"pads.reseat_g": 0.0, "floor.bar_mm": 100.0}
EXACT_TEST = {
    **{f"push.{key}": 0.0 for key in ("position_pct_u", "height_mm", "height_mm_u", "direction_deg_u")},
    "push.finger_friction_u": 0.0,
    "push.floor_deg_u": 0.0,
    "push.finger_path": "stays on the car",
    "grip.ratio_u": 0.0,
    "grip.level_u": 0.0,
    "grip.front_along_u": 0.0,
    "grip.rear_along_u": 0.0,
    "grip.measured": True,
    "typed.weights_resolution_g": 1e-4,
}
CAR = {
    "name": "Lopsided",
    "geometry.wheelbase_mm": 260.0,
    "geometry.track_front_mm": 150.0,
    "geometry.track_rear_mm": 190.0,
    "geometry.cg_height_mm": 40.0,
    "geometry.front_roll_share": 0.3,
    "geometry.body_front_mm": 70.0,
    "geometry.body_rear_mm": 90.0,
    "geometry.body_width_mm": 200.0,
}
WEIGHTS = (560.0, 310.0, 420.0, 250.0)
"""g, FL FR RL RR: no two alike, no axle, side or diagonal like its opposite."""


def toml(values: Mapping[str, Any]) -> str:
    """Dotted keys as a TOML text; lists of mappings become [[tables]]."""
    tables: dict[str, list[str]] = {"": []}
    for key, value in values.items():
        table, _, name = key.rpartition(".")
        if isinstance(value, list) and value and isinstance(value[0], dict):
            for row in value:
                lines = [f"{k} = {json.dumps(v)}" for k, v in row.items()]
                tables[f"\n[[{key}]]#{len(tables)}"] = lines
        else:
            told = json.dumps(list(value) if isinstance(value, tuple) else value, ensure_ascii=False)
            tables.setdefault(f"\n[{table}]" if table else "", []).append(f"{name} = {told}")
    return "\n".join("\n".join([head, *lines]) for head, lines in tables.items()) + "\n"


def write(
    folder: Path,
    *,
    car: Mapping[str, Any] | None = None,
    bench: Mapping[str, Any] | None = None,
    test: Mapping[str, Any] | None = None,
    file: str = "test",
) -> Path:
    """The three cards of the lopsided car with nothing in doubt, some keys otherwise; answers the test card."""
    folder.mkdir(parents=True, exist_ok=True)
    stem = folder / file
    cards = {
        "car": {"card": "car"} | CAR | EXACT_CAR | dict(car or {}),
        "bench": {"card": "bench", "name": "Bench"} | EXACT_BENCH | dict(bench or {}),
        "test": {"card": "test", "name": file, "car": f"{file}-car.toml", "bench": f"{file}-bench.toml"}
        | EXACT_TEST
        | {"push.position_pct": 80.0, "typed.weights_g": WEIGHTS, "typed.weights_scales": "one scale"}
        | dict(test or {}),
    }
    if any(key.startswith("chassis.") for key in cards["car"]):  # then it is said there
        for axle in ("front", "rear"):
            del cards["car"][f"{axle}.load_sensitivity"], cards["car"][f"{axle}.load_sensitivity_u"]
    for kind, values in cards.items():
        path = stem.with_name(f"{file}.toml" if kind == "test" else f"{file}-{kind}.toml")
        path.write_text(toml({key: value for key, value in values.items() if value is not None}), encoding="utf-8")
    return stem.with_name(f"{file}.toml")


def run(*arguments: object) -> str:
    """What a command prints; its complaint as an AssertionError."""
    out, err = io.StringIO(), io.StringIO()
    code: object = None
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(argument) for argument in arguments])
        except SystemExit as ended:
            code = ended.code
    assert not code, err.getvalue() + out.getvalue()
    return out.getvalue()


def found(*arguments: object) -> dict[str, Any]:
    """What a command answers with --json."""
    told: dict[str, Any] = json.loads(run(*arguments, "--json"))
    return told


def records(log: Path, kind: str | None = None) -> list[dict[str, Any]]:
    """The records of a log, oldest first, as `log --json` tells them."""
    told: list[dict[str, Any]] = found("log", "--log", log, *(["--kind", kind] if kind else []))["records"]
    return told


def take_in(
    folder: Path,
    log: Path,
    rows: Sequence[Mapping[str, Any]],
    cards: Sequence[Path] = (),
    files: Sequence[tuple[str, Path]] = (),
) -> None:
    """Bring records into a log, in the format of an export. rows: kind, title, inputs, result, and `name`, `on`,
    `at`, `id`.

    name: for other rows' `on`, the names of a record's parents.  cards: test cards; each row takes those whose test
    it is titled with.  files: (kind, path), which every row takes.
    """
    (folder / "cards").mkdir(parents=True, exist_ok=True)
    (folder / "files").mkdir(exist_ok=True)
    known: dict[str, list[str]] = {}
    listed: dict[str, dict[str, str]] = {}
    for test in cards:
        hashes = []
        for kind in ("test", "car", "bench"):
            path = test if kind == "test" else test.with_name(f"{test.stem}-{kind}.toml")
            text = path.read_text(encoding="utf-8")
            digest = hashlib.sha256(text.encode()).hexdigest()
            (folder / "cards" / f"{digest}.toml").write_bytes(text.encode())
            listed[digest] = {"hash": digest, "kind": kind, "name": test.stem, "saved_at": "2026-01-01T00:00:00+00:00"}
            hashes.append(digest)
        known[test.stem] = hashes
    held = []
    for kind, path in files:
        content = path.read_bytes()
        digest = hashlib.sha256(content).hexdigest()
        (folder / "files" / f"{digest}{path.suffix}").write_bytes(content)
        held.append(
            {
                "hash": digest,
                "kind": kind,
                "name": path.name,
                "bytes": len(content),
                "saved_at": "2026-01-01T00:00:00+00:00",
            }
        )
    ids = {row.get("name", f"row {n}"): row.get("id", f"{n:032x}") for n, row in enumerate(rows, start=1)}
    lines = [
        {
            "id": ids[row.get("name", f"row {n}")],
            "bench": "elsewhere",
            "kind": row["kind"],
            "title": row["title"],
            "at": row.get("at", f"2026-01-01T00:00:{n % 60:02d}+00:00"),
            "software": "by hand",
            "inputs": completed(row["kind"], row.get("inputs", {}), row["result"])[0],
            "result": completed(row["kind"], row.get("inputs", {}), row["result"])[1],
            "files": sorted(str(one["hash"]) for one in held),
            "cards": sorted(set(known.get(row.get("cards", row["title"]), []))),
            "parents": sorted(ids[one] for one in row.get("on", ())),
        }
        for n, row in enumerate(rows, start=1)
    ]
    for name, told in (("records", lines), ("cards", list(listed.values())), ("files", held)):
        (folder / f"{name}.jsonl").write_text("".join(json.dumps(one) + "\n" for one in told), encoding="utf-8")
    run("log", "import", folder, "--without-sums", "--log", log)


def finding(low: float, high: float, length: float) -> str:
    """What may be said of a turn per travel between two bounds: a pivot up to 100 wheelbases away, straight from 10."""
    nearest = 1 / max(abs(low), abs(high)) / length
    if low * high > 0 and nearest < 100:
        return "pivot"
    return "straight" if nearest >= 10 else "cannot tell"


def pivot(kappa: float, u: float = 0.01, length: float = 0.26) -> dict[str, Any]:
    """A measured pivot as it stands in a record; 95 % interval of a normal distribution."""
    return {
        "kappa_per_m": kappa,
        "kappa_u_per_m": u,
        "kappa_interval_per_m": [kappa - 1.96 * u, kappa + 1.96 * u],
        "finding": finding(kappa - 1.96 * u, kappa + 1.96 * u, length),
        "wheelbase_m": length,
        "count": 1,
        "method": "by hand",
        "warnings": [],
    }


def push_row(title: str, kappa: float, u: float = 0.01, *, turn_deg: float = 10.0, **more: Any) -> dict[str, Any]:
    """A push record of one push."""
    row = {"number": 1, "turn_deg": turn_deg, "pivot": pivot(kappa, u)} | more
    return {"kind": "push", "title": title, "result": {"pushes": [row], "track": {"warnings": []}}}


# mechanics by hand: the virtual power of four contacts, minimised by a general optimiser

PLACES = np.array([[260.0, 75.0], [260.0, -75.0], [0.0, 95.0], [0.0, -95.0]]) / 1000
G = 9.80665


def lost(speed: np.ndarray, along: np.ndarray, drag: float) -> float:
    """Power of one tyre per newton of grip: the best of sliding by `speed` less some rolling `along`, which costs drag.

    Source: principle of least power with rolling as a free choice, min over r of |v - r e| + d |r|, by calculus.
    """
    ahead, size = abs(float(speed @ along)), float(np.hypot(*speed))
    if ahead <= drag * size:
        return size
    return drag * ahead + float(np.sqrt(1 - drag**2)) * float(np.sqrt(max(size**2 - ahead**2, 0.0)))


def slide(
    load: Sequence[float],
    grip: Sequence[float] | Callable[[np.ndarray], np.ndarray],
    station: float,
    *,
    places: np.ndarray = PLACES,
    drag: Sequence[float] = (1, 1, 1, 1),
    along: Sequence[float] = (1, 1, 1, 1),
    heading: Sequence[float] = (0, 0, 0, 0),
    solid: Sequence[str] = (),
    height: float = 0.0,
    side: int = 1,
    roll_share: float = 0.3,
    stuck_at: float | None = None,
    direction: float = 0.0,
    middle: float = 0.13,
) -> tuple[float, np.ndarray, float]:
    """(kappa 1/m, pole (2,) m, force N) of the first moment of a push by a slippery tip `station` m ahead of the rear.

    load N, grip, drag, along (grip along over across), heading (rad): per wheel; grip may be a function of the loads.
    solid: axles ("front", "rear") whose wheels turn together.
    height: m of the finger; the load it moves to the far side is found by repetition.  stuck_at: the finger sticks to
    the car there, m to the left, and moves sideways, turned by `direction` rad anticlockwise.  middle: m, of the
    wheelbase.  Source: the true motion loses the least power for a given advance of the finger; its power is force
    times advance.
    """
    rest = np.asarray(load, dtype=float)
    ahead = np.stack([np.cos(heading), np.sin(heading)], -1)
    now = rest

    def twist(x: np.ndarray) -> tuple[float, float, float]:
        if stuck_at is None:  # x: forward speed, yaw rate times 0.1 m; the finger's sideways advance is 1
            turn = x[1] / 0.1
            return x[0], side - turn * station, turn
        turn = x[0] / 0.1
        along, across = -side * np.sin(direction), side * np.cos(direction)
        return along + turn * stuck_at, across - turn * station, turn

    def power(x: np.ndarray) -> float:
        u, v, turn = twist(x)
        speed = np.stack([u - turn * places[:, 1], v + turn * places[:, 0]], -1)
        held = now * (grip(now) if callable(grip) else np.asarray(grip))
        total = 0.0
        for name, pair in (("front", (0, 1)), ("rear", (2, 3))):
            if name in solid:
                total += rolled(speed, ahead, held, drag, pair)
            else:
                # slips along times the grip along: an ellipse for a circle
                wider = [speed[i] + (along[i] - 1) * (speed[i] @ ahead[i]) * ahead[i] for i in pair]
                total += sum(held[i] * lost(one, ahead[i], drag[i]) for i, one in zip(pair, wider, strict=True))
        return total

    best = np.zeros(2 if stuck_at is None else 1)
    force = 0.0
    smooth = min(drag) == 1 and not solid
    for round_ in range(40):
        for step in ((0.3, 0.003) if smooth else (0.3, 0.03, 0.003, 0.3, 0.001)) if round_ == 0 else (0.001,):
            simplex = np.vstack([best, best + step * np.eye(len(best))])
            close = {"xatol": 1e-9 if smooth else 1e-11, "fatol": 1e-13, "maxiter": 4000}
            done = minimize(power, best, method="Nelder-Mead", options=close | {"initial_simplex": simplex})
            best = done.x
        before, force = force, float(done.fun)
        moved = side * force * height * np.array([roll_share, -roll_share, 1 - roll_share, roll_share - 1])
        width = np.repeat([places[0, 1] - places[1, 1], places[2, 1] - places[3, 1]], 2)
        now = rest + moved / width
        if height == 0 or abs(force - before) < 1e-9 * force:
            break
    u, v, turn = twist(best)
    return turn / (v + turn * middle), np.array([-v / turn, u / turn]), force


def rolled(
    speed: np.ndarray, ahead: np.ndarray, held: np.ndarray, drag: Sequence[float], pair: tuple[int, int]
) -> float:
    """Power of a solid axle at the rolling speed that loses least."""

    def total(r: float) -> float:
        return sum(held[i] * float(np.hypot(*(speed[i] - r * ahead[i]))) + drag[i] * held[i] * abs(r) for i in pair)

    reach = 2 * float(np.abs(speed).max()) + 1e-9
    best = minimize_scalar(total, bounds=(-reach, reach), method="bounded", options={"xatol": 1e-10})
    return min(total(0.0), float(best.fun))


def whole_push(
    load: Sequence[float],
    grip: Sequence[float],
    station: float,
    *,
    side: int,
    finger_y: float,
    sticks: bool,
    turn: float = np.radians(10.0),
    steps: int = 4,
    direction: float = 0.0,
) -> float:
    """kappa (1/m) over a slide of `turn` rad: a finger that sticks, or one that follows a straight line on the floor.

    Motion in small steps by the midpoint rule.  Source: kinematics; kappa is 2 sin(turn / 2) over the sideways way of
    the mid-wheelbase point across the mean heading.
    """
    pose = np.zeros(3)
    sign = 0.0

    def rate(pose: np.ndarray) -> np.ndarray:
        """Change of the pose for each radian turned."""
        heading = pose[2]
        cos, sin = np.cos(heading), np.sin(heading)
        if sticks:
            _, pole, _ = slide(load, grip, station, side=side, stuck_at=finger_y, direction=direction - heading)
        else:  # where the car's side meets the line x = station on the floor
            at = (station - pose[0] + finger_y * sin) / cos
            _, pole, _ = slide(load, grip, at, side=side)
        x, y = pole
        # the pole stands still: the rear axle's middle moves about it
        return np.array([cos * y + sin * x, sin * y - cos * x, 1.0])

    first, _, _ = slide(load, grip, station, side=side)
    sign = side * np.sign(first)
    for _ in range(steps):
        h = sign * turn / steps
        pose = pose + h * rate(pose + h / 2 * rate(pose))
    middle = [np.array([p[0] + 0.13 * np.cos(p[2]), p[1] + 0.13 * np.sin(p[2])]) for p in (np.zeros(3), pose)]
    mean = pose[2] / 2
    sideways = (middle[1] - middle[0]) @ np.array([-np.sin(mean), np.cos(mean)])
    return float(2 * np.sin(pose[2] / 2) / sideways)


def newtons(grams: Sequence[float] = WEIGHTS, g: float = G) -> np.ndarray:
    """Weights of masses in grams."""
    return np.asarray(grams, dtype=float) / 1000 * g
