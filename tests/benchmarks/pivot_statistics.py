"""How often the measured pivot's 95 % interval holds the truth, and how wide it is, over many simulated tracks.

Truth comes from the kinematic generator below (complex numbers, none of the code under test): a car turned about a
known body point, seen through a plate that sits a little wrong, on a floor print a little off scale, with noise per
frame, noise that repeats while the car rests, lost frames, single outliers and unequal frame times.
Baseline, measured in the same run: the first and the last pose of the track, no averaging.
The last line is one JSON object. `--quick` runs a tenth.
"""

import argparse
import json
from dataclasses import dataclass

import numpy as np

from analysis.base.errors import AnalysisError
from analysis.measured.pose_track import PoseTrack
from analysis.measured.pushes import measure_pivot

WHEELBASE = 0.260
PLATE_U = np.array([0.0004, 0.0004, 0.002])  # after the guided step with a pin
SCALE_U = 0.001
WHEELBASE_U = 0.0003


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """A simulated track and its truth: station as a share of the true wheelbase, None for a straight slide."""

    time: np.ndarray
    pose: np.ndarray
    covariance: np.ndarray
    repeating: np.ndarray
    station_pct: float | None
    turn: np.ndarray
    pivot: np.ndarray


def course(moving: int, rng: np.random.Generator) -> np.ndarray:
    """Share of the slide done, 0 to 1, at `moving` moments: eased in and out, uneven like a hand."""
    u = np.linspace(0.0, 1.0, moving + 2)[1:-1]
    ease = u + rng.uniform(-0.02, 0.02) * np.sin(2 * np.pi * u)
    return 3 * ease**2 - 2 * ease**3


def simulate(
    rng: np.random.Generator,
    *,
    turn: float,
    pivot: complex,
    wander: complex = 0j,
    straight: float = 0.0,
    cards: bool = True,
) -> Track:
    """One push. turn: rad.  pivot: start of the instant pivot, m, car axes, moved by `wander` over the turn.

    straight: m of sideways travel instead of a turn.  cards: with errors of plate, print and wheelbase.
    """
    fps, speed = rng.choice([30.0, 60.0]), rng.uniform(0.02, 0.08)
    travel = straight or abs(turn) * max(abs(0.2 - pivot.real), 0.05)
    moving = max(int(1.5 * travel / speed * fps), 8)
    before, after = rng.integers(18, 60, 2)
    done = np.concatenate([np.zeros(before), course(moving, rng), np.ones(after)])
    plate = rng.normal(size=3) * PLATE_U * cards
    print_scale = 1.0 + rng.normal() * SCALE_U * cards
    true_wheelbase = WHEELBASE + rng.normal() * WHEELBASE_U * cards

    # Turning about a body point that itself moves over the body: dz = -c(psi) d(exp(i psi)), by fine steps.
    fine = np.linspace(0.0, 1.0, 2001)
    heading0 = rng.uniform(-np.pi, np.pi)
    heading = heading0 + turn * fine
    body = pivot + wander * fine
    steps = -(body[1:] + body[:-1]) / 2 * np.diff(np.exp(1j * heading))
    origin = np.concatenate([[0j], np.cumsum(steps)]) + complex(*rng.uniform(-0.3, 0.3, 2))
    origin = origin + 1j * np.exp(1j * heading0) * straight * fine
    z = np.interp(done, fine, origin.real) + 1j * np.interp(done, fine, origin.imag)
    psi = heading0 + turn * done

    # Reported: the pose that the misplaced plate and the print suggest.
    psi_seen = psi - plate[2]
    z_seen = (z - np.exp(1j * psi_seen) * complex(plate[0], plate[1])) / print_scale
    frame_u = np.array([3e-5, 3e-5, 2e-4]) * rng.uniform(0.5, 1.5)
    repeat_u = np.array([1.5e-5, 1.5e-5, 1.0e-4]) * rng.uniform(0.5, 1.5)
    n = len(done)
    noise = rng.normal(size=(n, 3)) * frame_u
    slow = rng.normal(size=(2, 3)) * repeat_u
    inside = (done > 0) & (done < 1)
    noise += slow[0] * (1 - done)[:, None] + slow[1] * done[:, None]
    noise[inside] *= 4.0  # blur
    pose = np.stack([z_seen.real, z_seen.imag, psi_seen], -1) + noise
    time = np.arange(n) / fps + rng.uniform(-0.15, 0.15, n) / fps
    wrong = rng.random(n) < 0.01
    pose[wrong] += rng.normal(size=(wrong.sum(), 3)) * [0.002, 0.002, 0.01]
    kept = rng.random(n) > 0.03
    start, end = origin[0], origin[-1]
    chord = np.exp(1j * heading[-1]) - np.exp(1j * heading0)
    swing = None if turn == 0 else -(end - start) / chord  # the body point that came back to its floor place
    return Track(
        time=time[kept],
        pose=pose[kept],
        covariance=np.tile(np.diag(frame_u**2), (kept.sum(), 1, 1)),
        repeating=np.diag(repeat_u**2),
        station_pct=None if swing is None else float(100.0 * swing.real / true_wheelbase),
        turn=turn * fine,
        pivot=body,
    )


def measure(track: Track, cards: bool = True):
    """The pushes of a track, with the cards' uncertainties."""
    return measure_pivot(
        PoseTrack(time=track.time, pose=track.pose, covariance=track.covariance, repeating=track.repeating),
        wheelbase=WHEELBASE,
        wheelbase_u=WHEELBASE_U * cards,
        place_u=PLATE_U * cards,
        scale_u=SCALE_U * cards,
    )


def first_and_last(track: Track) -> float:
    """Baseline: station from the first and the last pose, per cent of the wheelbase."""
    first, last = track.pose[0], track.pose[-1]
    way = complex(*(last[:2] - first[:2]))
    return float(100.0 * (-way / (np.exp(1j * last[2]) - np.exp(1j * first[2]))).real / WHEELBASE)


def random_push(rng: np.random.Generator, *, least_deg: float, most_deg: float, cards: bool = True) -> Track:
    """A push with its pivot between -50 and 150 % of the wheelbase and a turn in the given range."""
    pivot = complex(rng.uniform(-0.5, 1.5) * WHEELBASE, rng.normal() * 0.03)
    wander = complex(rng.normal() * 0.005, rng.normal() * 0.005)
    turn = np.deg2rad(rng.uniform(least_deg, most_deg)) * rng.choice([-1, 1])
    return simulate(rng, turn=turn, pivot=pivot, wander=wander, cards=cards)


def coverage(rng: np.random.Generator, count: int, least: float, most: float, cards: bool) -> dict[str, float]:
    """Share of intervals that hold the truth, their half-widths and the errors, for turns in a range."""
    held, half, error, simple, odd = [], [], [], [], 0
    for _ in range(count):
        track = random_push(rng, least_deg=least, most_deg=most, cards=cards)
        try:
            pushes = measure(track, cards)
        except AnalysisError:
            pushes = ()
        if len(pushes) != 1 or pushes[0].estimate.interval_pct is None:
            odd += 1
            continue
        low, high = pushes[0].estimate.interval_pct
        held.append(low <= track.station_pct <= high)
        half.append((high - low) / 2)
        error.append(abs(pushes[0].estimate.station_pct - track.station_pct))
        simple.append(abs(first_and_last(track) - track.station_pct))
    return {
        "coverage": float(np.mean(held)),
        "half_width_pct": float(np.median(half)),
        "p95_error_pct": float(np.quantile(error, 0.95)),
        "p95_error_pct_baseline": float(np.quantile(simple, 0.95)),
        "not_one_pivot": odd,
    }


def straight_slides(rng: np.random.Generator, count: int) -> dict[str, float]:
    """Straight slides of 100 mm: how often one is given a pivot, and the median bound in wheelbases."""
    findings, bounds = [], []
    for _ in range(count):
        track = simulate(rng, turn=0.0, pivot=0j, straight=0.1 * rng.choice([-1, 1]))
        (push,) = measure(track)
        findings.append(push.estimate.finding)
        bounds.append(push.estimate.bound_wheelbases)
    return {
        "straight_given_pivot": findings.count("pivot") / count,
        "straight_called_straight": findings.count("straight") / count,
        "straight_bound_wheelbases": float(np.median(bounds)),
    }


def wandering(rng: np.random.Generator, count: int) -> dict[str, float]:
    """Instant pivots that wander by 30 to 80 mm over 12 to 24 degrees: followed how closely, reported how often."""
    worst, told = [], 0
    for _ in range(count):
        turn = np.deg2rad(rng.uniform(12, 24)) * rng.choice([-1, 1])
        track = simulate(
            rng,
            turn=turn,
            pivot=complex(rng.uniform(-0.1, 0.05), rng.normal() * 0.02),
            wander=complex(rng.choice([-1, 1]) * rng.uniform(0.03, 0.08), 0.0),
            cards=False,
        )
        (push,) = measure(track, cards=False)
        told += push.path is not None and push.path.wanders
        if push.path is not None:
            inner = slice(2, -2)  # 10 to 90 % of the turn
            truth = np.interp(push.path.turn / turn, track.turn / turn, track.pivot.real)
            worst.append(np.abs(push.path.pivot[:, 0] - truth)[inner].max() / WHEELBASE * 100)
    return {"wander_error_pct": float(np.quantile(worst, 0.95)), "wander_reported": told / count}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a tenth of the tracks")
    share = 10 if parser.parse_args().quick else 1
    rng = np.random.default_rng(20260101)
    parts = {
        "2p5_to_24deg": coverage(rng, 1000 // share, 2.5, 24.0, True),
        "no_card_errors": coverage(rng, 500 // share, 2.5, 24.0, False),
        "8deg_up": coverage(rng, 300 // share, 8.0, 24.0, False),
        "2p5deg": coverage(rng, 300 // share, 2.5, 2.6, False),
    }
    for name, part in parts.items():
        print(name, {key: round(number, 4) for key, number in part.items()}, flush=True)
    result = {
        "tracks": 2500 // share,
        "coverage": parts["2p5_to_24deg"]["coverage"],
        "half_width_pct": parts["2p5_to_24deg"]["half_width_pct"],
        "coverage_no_card_errors": parts["no_card_errors"]["coverage"],
        "p95_error_pct_8deg": parts["8deg_up"]["p95_error_pct"],
        "p95_error_pct_8deg_baseline": parts["8deg_up"]["p95_error_pct_baseline"],
        "p95_error_pct_2p5deg": parts["2p5deg"]["p95_error_pct"],
        "p95_error_pct_2p5deg_baseline": parts["2p5deg"]["p95_error_pct_baseline"],
        "not_one_pivot": sum(part["not_one_pivot"] for part in parts.values()),
        **straight_slides(rng, 200 // share),
        **wandering(rng, 200 // share),
    }
    print(json.dumps(result))


if __name__ == "__main__":
    main()
