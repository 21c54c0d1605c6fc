"""Do stated 95 % intervals hold the truth in 95 % of many simulated experiments?

Three kinds: predicted kappa, inferred front-to-rear grip ratio, effect of a factor in a series. The truth of the
first two comes from a general-purpose optimiser (SciPy) minimising friction power for blocked wheels, written
here; nothing of the solver under test is in it. What a card says is the truth plus an error of the stated size.

Baselines, in the same run: for kappa, an interval from the push position and the grip ratio alone; for the grip
ratio, the same inference with the cards taken at their word; for the effect, a t interval that takes all
pushes as independent.

Last line: JSON with kappa, grip_ratio, factor_effect (shares that hold the truth), median half-widths, baselines.
"""

import argparse
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from scipy.special import stdtrit

sys.path.insert(0, str(Path(__file__).parents[2]))

from analysis.base.pivot import PivotEstimate
from analysis.forecast.forecast import predict_push
from analysis.forecast.inputs import CarState, PushState
from analysis.grip.inference import PushEvidence, infer
from analysis.series.effects import SeriesPush, analyse_series

L, HALF, WEIGHT = 0.26, 0.085, 1.6 * 9.81
PLACE = np.array([[L, HALF], [L, -HALF], [0.0, HALF], [0.0, -HALF]])
# Standard uncertainties on the cards: m, N, relative.
PLACE_U = np.full((4, 2), 0.001)
LOAD_U, STATION_U, HEIGHT_U, RATIO_U, LEVEL_U, SHARE_U = 0.03, 0.001, 0.002, 0.04, 0.15, 0.1


def true_kappa(place, load, grip, station, height, front_share, side):
    """kappa of a blocked car pushed by a slippery finger: least friction power, loads coupled to the push."""
    loads = load
    for _ in range(12):
        capacity = grip * loads

        def power(v, capacity=capacity):
            vx, turn = v[0], v[1] / L
            vy = 1.0 - turn * station
            return float(capacity @ np.hypot(vx - turn * place[:, 1], vy + turn * place[:, 0]))

        found = min(
            (
                minimize(power, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-14, "maxiter": 4000})
                for start in ([0.0, 0.3],)
            ),
            key=lambda one: one.fun,
        )
        force = found.fun
        tracks = np.array([place[0, 1] - place[1, 1], place[2, 1] - place[3, 1]])
        # The moment P z unloads the pushed side: pushed towards +y, the left wheels (far side) gain.
        moved = force * height * np.array([front_share, 1 - front_share]) / tracks
        new = load + side * np.array([moved[0], -moved[0], moved[1], -moved[1]])
        if np.max(np.abs(new - loads)) < 1e-9 * WEIGHT:
            break
        loads = new
    turn = found.x[1] / L
    vy_mid = 1.0 - turn * station + turn * L / 2
    return turn / vy_mid


def draw_truth(rng):
    """One car as it really is."""
    front = rng.uniform(0.42, 0.58)
    load = WEIGHT / 2 * np.array([front, front, 1 - front, 1 - front]) * (1 + rng.normal(0, 0.02, 4))
    place = PLACE + np.column_stack([rng.normal(0, 0.001, 4), np.repeat(rng.normal(0, 0.001, 2), 2) * [1, -1, 1, -1]])
    ratio, level = np.exp(rng.normal(0, 0.15)), 0.8 * np.exp(rng.normal(0, LEVEL_U))
    grip = level * np.array([ratio, ratio, 1, 1]) / np.sqrt(ratio)
    share = float(np.clip(rng.normal(0.5, SHARE_U), 0, 1))
    return {"load": load, "place": place, "ratio": ratio, "grip": grip, "share": share}


def card(rng, truth, *, ratio_u):
    """What the cards say of it: truth plus errors of the stated size."""
    y = np.repeat(rng.normal(0, PLACE_U[0, 1], 2), 2) * [1, -1, 1, -1]
    x = rng.normal(0, PLACE_U[0, 0], 4)
    ratio, level = np.exp(rng.normal(0, ratio_u) if ratio_u else 0.0), np.exp(rng.normal(0, LEVEL_U))
    grip = truth["grip"] * level * np.array([np.sqrt(ratio)] * 2 + [1 / np.sqrt(ratio)] * 2)
    if not ratio_u:  # nothing is known beforehand: alike all round
        grip = np.full(4, 0.8)
    return CarState(
        wheelbase=L,
        contact_place=truth["place"] + np.column_stack([x, y]),
        contact_place_u=PLACE_U,
        load=truth["load"] + rng.normal(0, LOAD_U, 4),
        load_covariance=np.eye(4) * LOAD_U**2,
        grip=grip,
        grip_common_u=LEVEL_U,
        grip_ratio_u=ratio_u,
        drag=np.ones(4),
        front_roll_share=0.5,
        front_roll_share_u=SHARE_U,
    )


def certain(car):
    """The car card taken at its word."""
    return replace(
        car,
        contact_place_u=np.zeros((4, 2)),
        load_covariance=np.zeros((4, 4)),
        grip_common_u=0.0,
        front_roll_share_u=0.0,
    )


def kappa_coverage(rng, count, draws):
    hits, widths, base_hits = [], [], []
    for _ in range(count):
        truth = draw_truth(rng)
        side = int(rng.choice([-1, 1]))
        station, height = rng.uniform(0.15, 1.0) * L, rng.uniform(0.006, 0.014)
        kappa = true_kappa(truth["place"], truth["load"], truth["grip"], station, height, truth["share"], side)
        push = PushState(
            station=station + rng.normal(0, STATION_U),
            station_u=STATION_U,
            side=side,
            height=height + rng.normal(0, HEIGHT_U),
            height_u=HEIGHT_U,
        )
        car = card(rng, truth, ratio_u=RATIO_U)
        told = predict_push(car, push, rng=rng, draws=draws)
        low, high = told.estimate.interval
        hits.append(low <= kappa <= high)
        widths.append((high - low) / 2)
        simple = np.sqrt(sum(one.u**2 for one in told.sensitivity if one.name in ("push position", "grip ratio")))
        base_hits.append(abs(told.best - kappa) <= 1.96 * simple)
    return hits, widths, base_hits


def ratio_coverage(rng, count):
    hits, widths, base_hits = [], [], []
    for _ in range(count):
        truth = draw_truth(rng)
        car = card(rng, truth, ratio_u=0.0)
        evidence = []
        for part, side in ((0.3, 1), (0.55, -1), (0.8, 1)):
            station, height, kappa_u = part * L, 0.008, 0.05
            kappa = true_kappa(truth["place"], truth["load"], truth["grip"], station, height, truth["share"], side)
            kappa += rng.normal(0, kappa_u)
            push = PushState(
                station=station + rng.normal(0, STATION_U),
                station_u=STATION_U,
                side=side,
                height=max(height + rng.normal(0, HEIGHT_U), 0.0),
                height_u=HEIGHT_U,
            )
            interval = (kappa - 1.96 * kappa_u, kappa + 1.96 * kappa_u)
            measured = PivotEstimate(
                kappa=kappa, kappa_u=kappa_u, interval=interval, wheelbase=L, count=1, method="simulated"
            )
            evidence.append(PushEvidence(car=car, push=push, measured=measured))
        found = infer(evidence).grip_ratio
        hits.append(found.interval[0] <= truth["ratio"] <= found.interval[1])
        widths.append(np.log(found.interval[1] / found.interval[0]) / 2)
        pushes = [replace(one.push, station_u=0.0, height_u=0.0) for one in evidence]
        simple = infer([replace(one, car=certain(car), push=push) for one, push in zip(evidence, pushes, strict=True)])
        simple = simple.grip_ratio
        base_hits.append(simple.interval[0] <= truth["ratio"] <= simple.interval[1])
    return hits, widths, base_hits


def effect_coverage(rng, count):
    hits, widths, base_hits = [], [], []
    for _ in range(count):
        effects = {"tyres": rng.normal(0, 0.5), "ballast": rng.normal(0, 0.5)}
        block_u, push_u = rng.uniform(0.0, 0.1), rng.uniform(0.03, 0.1)
        pushes, order = [], 0
        setups = [(a, b) for _ in range(3) for a in ("hard", "soft") for b in ("front", "rear")]
        for block, i in enumerate(rng.permutation(len(setups))):
            tyres, ballast = setups[i]
            middle = 4.0 + effects["tyres"] * (tyres == "soft") + effects["ballast"] * (ballast == "rear")
            middle += rng.normal(0, block_u)
            for _ in range(4):
                order += 1
                pushes.append(
                    SeriesPush(
                        setup={"tyres": tyres, "ballast": ballast},
                        block=block,
                        kappa_u=push_u,
                        kappa=middle + rng.normal(0, push_u),
                        order=order,
                    )
                )
        result = analyse_series(pushes, reference={"tyres": "hard", "ballast": "front"})
        design = np.array([[1, p.setup["tyres"] == "soft", p.setup["ballast"] == "rear"] for p in pushes], float)
        kappa = np.array([p.kappa for p in pushes])
        value, left, *_ = np.linalg.lstsq(design, kappa, rcond=None)
        dof = len(pushes) - 3
        u = np.sqrt(np.diag(np.linalg.inv(design.T @ design)) * left[0] / dof)
        for one in result.effects:
            hits.append(one.interval[0] <= effects[one.factor] <= one.interval[1])
            widths.append((one.interval[1] - one.interval[0]) / 2)
            i = 1 if one.factor == "tyres" else 2
            base_hits.append(abs(value[i] - effects[one.factor]) <= stdtrit(dof, 0.975) * u[i])
    return hits, widths, base_hits


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="100 experiments each instead of 1000")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    count = 100 if options.quick else 1000
    rng = np.random.default_rng(options.seed)
    result: dict[str, float | int] = {}
    for name, run, unit in (
        ("factor_effect", lambda: effect_coverage(rng, count), "1/m"),
        ("kappa", lambda: kappa_coverage(rng, count, 1000), "1/m"),
        ("grip_ratio", lambda: ratio_coverage(rng, count), "relative"),
    ):
        hits, widths, base_hits = run()
        result[name] = round(float(np.mean(hits)), 4)
        result[f"{name}_half_width"] = float(f"{np.median(widths):.3g}")
        result[f"{name}_baseline"] = round(float(np.mean(base_hits)), 4)
        result[f"{name}_experiments"] = len(hits)
        print(
            f"{name}: {100 * np.mean(hits):.1f} % of {len(hits)} hold the truth, median half-width "
            f"{np.median(widths):.3g} {unit}; baseline {100 * np.mean(base_hits):.1f} %",
            flush=True,
        )
    print(json.dumps(result))


if __name__ == "__main__":
    main()
