"""A second reader of an exported folder, written from its page alone: python tests/second_reader.py FOLDER

Standard library only; nothing of the program is imported. It holds every file against its SHA-256, finds its way by
ro-crate-metadata.json, and computes every pivot in pivots.csv again from the poses. What it prints: each push with the
folder's figure and its own. Ends with 1 when a file or a figure is not right.
"""

import csv
import hashlib
import json
import math
import sys
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote

Vector = list[float]
WITHIN = 1e-9
"""Of a per cent of the wheelbase, 1/m, a degree, a mm; of the figure itself where that is above 1 (far pivots)."""


@dataclass(frozen=True)
class Again:
    """One push: what the folder says and what comes out, by column; farthest: the largest difference, see WITHIN."""

    title: str
    push: int
    said: dict[str, float]
    found: dict[str, float]

    @property
    def farthest(self) -> float:
        return max(abs(one - self.found[name]) / max(1.0, abs(one)) for name, one in self.said.items())


def described(folder: Path) -> dict[str, dict[str, object]]:
    """Every file that the metadata lists, by its path; the metadata must say which standard it keeps."""
    graph = json.loads((folder / "ro-crate-metadata.json").read_text("utf-8"))["@graph"]
    nodes = {node["@id"]: node for node in graph}
    itself = nodes["ro-crate-metadata.json"]
    if not itself["conformsTo"]["@id"].startswith("https://w3id.org/ro/crate/") or itself["about"] != {"@id": "./"}:
        raise ValueError("no RO-Crate")
    return {unquote(part["@id"]): nodes[part["@id"]] for part in nodes["./"]["hasPart"]}


def wrong_files(folder: Path) -> list[str]:
    """What is not as it is described: files that are missing, changed, or not told of."""
    wrong, files = [], described(folder)
    for name, node in files.items():
        path = folder / name
        if not path.is_file():
            wrong.append(f"{name} is missing")
        elif "sha256" in node and hashlib.sha256(path.read_bytes()).hexdigest() != node["sha256"]:
            wrong.append(f"{name} is not what it was")
        elif "contentSize" in node and path.stat().st_size != int(str(node["contentSize"])):
            wrong.append(f"{name} has another size")
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    return wrong + [f"{name} is not described" for name in sorted(there - set(files) - {"ro-crate-metadata.json"})]


def rows(path: Path) -> list[dict[str, str]]:
    """A table of the folder."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def inverse(a: list[Vector]) -> list[Vector]:
    """Inverse of a symmetric 3 × 3 matrix by its cofactors."""
    (p, q, r), (_, s, t), (_, _, u) = a
    first = [s * u - t * t, r * t - q * u, q * t - r * s]
    second = [first[1], p * u - r * r, q * r - p * t]
    cofactor = [first, second, [first[2], second[2], p * s - q * q]]
    determinant = p * first[0] + q * first[1] + r * first[2]
    return [[one / determinant for one in line] for line in cofactor]


def times(a: list[Vector], v: Vector) -> Vector:
    return [math.fsum(x * y for x, y in zip(line, v, strict=True)) for line in a]


def mean_pose(poses: list[dict[str, str]]) -> Vector:
    """Mean of poses, each weighted by the inverse of its covariance with 1e-12 added to the variances.

    Taken about the first pose: the digits of small ways are not lost in the place on the floor.
    """
    first = [float(poses[0][name]) for name in ("x_m", "y_m", "yaw_rad")]
    weights, weighted = [], []
    for row in poses:
        c = {name: float(row[name]) for name in row if name.startswith(("var", "cov"))}
        xx, yy, aa = c["var_x_m2"] + 1e-12, c["var_y_m2"] + 1e-12, c["var_yaw_rad2"] + 1e-12
        xy, xa, ya = c["cov_x_y_m2"], c["cov_x_yaw_m_rad"], c["cov_y_yaw_m_rad"]
        weight = inverse([[xx, xy, xa], [xy, yy, ya], [xa, ya, aa]])
        away = [float(row[name]) - start for name, start in zip(("x_m", "y_m", "yaw_rad"), first, strict=True)]
        weights.append(weight)
        weighted.append(times(weight, away))
    total = [[math.fsum(weight[i][j] for weight in weights) for j in range(3)] for i in range(3)]
    shift = times(inverse(total), [math.fsum(one[i] for one in weighted) for i in range(3)])
    return [start + one for start, one in zip(first, shift, strict=True)]


def pivot_between(start: Vector, end: Vector, wheelbase: float) -> dict[str, float]:
    """The pivot of a swing, by the columns of pivots.csv; no station where the car slid straight."""
    psi = (start[2] + end[2]) / 2
    across = math.cos(psi) * (end[1] - start[1]) - math.sin(psi) * (end[0] - start[0])
    chord = 2 * math.sin((end[2] - start[2]) / 2)
    travel = across + wheelbase * chord / 2
    kappa = chord / travel
    found = {"kappa_per_m": kappa, "turn_deg": math.degrees(end[2] - start[2]), "travel_mm": travel * 1e3}
    return found | ({"station_pct": 100 * (0.5 - 1 / (kappa * wheelbase))} if kappa else {})


def again(folder: Path) -> list[Again]:
    """Every push of the folder whose poses are there."""
    done = []
    for row in rows(folder / "pivots.csv"):
        if not row["poses"]:
            continue
        poses = rows(folder / row["poses"])
        start, end = (
            mean_pose([pose for pose in poses if f"{when} {row['push']}" in pose["rest"].split("; ")])
            for when in ("before", "after")
        )
        found = pivot_between(start, end, float(row["wheelbase_m"]))
        said = {name: float(row[name]) for name in found if row[name]}
        done.append(Again(row["title"], int(row["push"]), said, found))
    return done


def main() -> None:
    """Check and compute; end with 1 when something is not right."""
    folder = Path(sys.argv[1])
    wrong = wrong_files(folder)
    for one in again(folder):
        named = "  ".join(f"{name} {one.said[name]:.9f}, again {one.found[name]:.9f}" for name in one.said)
        print(f"{one.title}, push {one.push}: {named}")
        if one.farthest > WITHIN:
            wrong.append(f"{one.title}, push {one.push} is off by {one.farthest:.3g}")
    print("\n".join(wrong) or "every file and every figure is right")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
