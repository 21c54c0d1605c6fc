"""Did the balance move: do the stated intervals hold, is the direction right, is what was seen told truly?

Pairs of simulated set-ups (random cars, one change or none, errors drawn from what the cards state, shared and
unshared, the finger placed anew, repeats 1 to 3). The truth is least friction power found by nested golden sections
(`change_truth.py`); nothing of the solver under test is in it. `balance_error_points` instead stands on a
general-purpose rigid-body engine: its pushes inverted with true inputs.

Baselines, in the same run: the same difference with the scatter between pushes forgotten
(`false_change_without_scatter_pct`), and without shared causes (`narrower_by`, at 85 % of the wheelbase).

Run: python tests/benchmarks/change.py [--quick] [--seed N]. The last line is one JSON object.
"""

import argparse
import json
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "analysis" / "sliding"))

from change_cases import LOAD_U, SetUps, draw_errors, draw_pushes, draw_set_ups, random_placing

from analysis.balance.from_push import balance_from_push
from analysis.balance.results import SURE_ODDS, BalanceDoubts, ChangeFinding, Placing, Saw, TurnSeen
from analysis.balance.seen import seen_words, what_was_seen
from analysis.forecast.inputs import CarState, PushState
from analysis.set_ups.change import shared_causes, what_changed

MOVED = (ChangeFinding.MOVED_FORWARD, ChangeFinding.MOVED_BACKWARD)
CARDS = ("wheelbase", "track", "rear place", "share")
TYRES = ("along", "drag", "wind")
ALWAYS = ("wheels", "level")
"""What a change of tyres does to grip is the change itself: the rest of the grip stays as it is."""


def answer(job):
    """The balance from one push."""
    car, push, seen, doubts = job
    return balance_from_push(car, push, seen, doubts=doubts)


def balances(pool, set_ups, pushes, wanted=None):
    """A balance of every push, None where it is not wanted (n,)."""
    chosen = [i for i in range(len(pushes.push)) if wanted is None or wanted[i]]
    jobs = [(set_ups.car(i), pushes.push[i], pushes.seen[i], pushes.doubts[i]) for i in chosen]
    found = dict(zip(chosen, pool.map(answer, jobs, chunksize=32), strict=True))
    return [found.get(i) for i in range(len(pushes.push))]


def changed(rng, first, log_change, *, stays):
    """The second set-up: front grip changed by log_change (n,), or weight moved. stays: what both share, by name."""
    n = len(log_change)
    errors = draw_errors(rng, n)
    for flag, names in (
        ("car", CARDS),
        ("tyres", TYRES),
        ("plate", ("plate",)),
        ("camera", ("scale",)),
        ("notch", ("mark", "height")),
        ("weighing", ("load",)),
    ):
        for name in names:
            keep = stays[flag].reshape(-1, *[1] * (errors[name].ndim - 1))
            errors[name] = np.where(keep, first.errors[name], errors[name])
    for name in ALWAYS:
        errors[name] = first.errors[name]
    by_weight = ~stays["weighing"] & (rng.random(n) < 0.5)
    ratio = np.where(by_weight, first.ratio, first.ratio * np.exp(log_change))
    load = first.load + LOAD_U * first.errors["load"]  # as it really is
    front, whole = load[:, :2].sum(1), load.sum(1)
    share = 1.0 / (1.0 + (whole - front) / front * np.exp(-log_change))
    scale = np.stack([share * whole / front] * 2 + [(1.0 - share) * whole / (whole - front)] * 2, -1)
    load = np.where(by_weight[:, None], load * scale, load)
    return replace(first, errors=errors, ratio=ratio, load=load - LOAD_U * errors["load"])


def true_balance(set_ups: SetUps):
    """(n,) per cent of the true wheelbase."""
    place, load, grip, _, _, _, length = set_ups.truth()
    capacity = load * grip
    return 100.0 * (capacity * place[..., 0]).sum(-1) / capacity.sum(-1) / length


def pairs(
    rng, pool, n, *, change, scatter=0.02, repeats=None, placing=None, pct=None, tyres_stay=None, at_balance=False
):
    """n pairs and their pushes. change: logarithm of front over rear grip (or weight), or None for random ones.

    at_balance: pushed at the first car's balance point, a finger's place all that is open; otherwise at pct, or
    anywhere.
    """
    first = draw_set_ups(rng, n)
    log_change = rng.uniform(-0.3, 0.3, n) if change is None else np.full(n, change)
    flags = {name: rng.random(n) < 0.5 for name in ("plate", "camera", "notch", "weighing")}
    flags["car"] = np.ones(n, bool)
    flags["tyres"] = rng.random(n) < 0.5 if tyres_stay is None else np.full(n, tyres_stay)
    second = changed(rng, first, log_change, stays=flags)
    where = 50.0 + rng.choice([0.0, 0.0, 4.0, -6.0, 12.0, 35.0], n) if pct is None else np.full(n, pct)
    if at_balance:  # as advised: once more at the balance point just found
        where = np.round(true_balance(first))
    placed = random_placing(rng, n) if placing is None else [placing] * n
    mark_u = np.zeros(n) if at_balance else rng.choice([0.0, 0.4, 0.8], n)
    kappa_u = rng.uniform(0.01, 0.06, n)
    side = rng.choice([-1.0, 1.0], n)
    count = np.full((2, n), repeats) if repeats else rng.integers(1, 4, (2, n))
    groups, every = [], []
    for which, set_ups in enumerate((first, second)):
        columns = []
        for number in range(int(count[which].max())):
            one = draw_pushes(
                rng, set_ups, where, placing=placed, mark_u=mark_u, scatter=scatter, kappa_u=kappa_u, side=side
            )
            columns.append(balances(pool, set_ups, one, count[which] > number))
            every.append((set_ups, one, columns[-1]))
        groups.append([[column[i] for column in columns[: count[which, i]]] for i in range(n)])
    truth = true_balance(second) - true_balance(first)
    out = {"truth": truth, "answers": [], "careless": [], "where": where}
    for i in range(n):
        shared = shared_causes(
            same_car_card=True,
            same_weighing=bool(flags["weighing"][i]),
            same_tyres=bool(flags["tyres"][i]),
            same_plate=bool(flags["plate"][i]),
            same_camera=bool(flags["camera"][i]),
            same_notch=bool(flags["notch"][i]),
        )
        points = 25.0 * scatter  # of the front share, near the middle
        out["answers"].append(what_changed(groups[0][i], groups[1][i], shared=shared, scatter=points))
        out["careless"].append(what_changed(groups[0][i], groups[1][i], shared=shared, scatter=0.0))
    return out, every


def pct_of(values):
    """Share of true values, per cent."""
    return round(100.0 * float(np.mean(values)), 2) if len(values) else None


def judge_pairs(rng, pool, scale):
    """Coverage, directions, false changes, narrower intervals; and the pushes they were made of."""
    real, pushes = pairs(rng, pool, int(2000 * scale), change=None)
    same, more = pairs(rng, pool, int(1000 * scale), change=0.0, tyres_stay=False)
    holds, wrong, none, missing = [], [], 0, 0
    for one, truth in zip(real["answers"] + same["answers"], [*real["truth"], *same["truth"]], strict=True):
        if one.moved is None:
            missing += 1
            continue
        holds.append(one.moved.interval[0] <= truth <= one.moved.interval[1])
    for one, truth in zip(real["answers"], real["truth"], strict=True):
        wrong.append(one.finding in MOVED and np.sign(one.moved.value) != np.sign(truth))
        none += one.finding is ChangeFinding.NO_CHANGE_SEEN
    far, _ = pairs(rng, pool, max(int(200 * scale), 20), change=0.1, pct=85.0, repeats=1, tyres_stay=True)
    ratio = [one.moved.u / one.u_without_sharing for one in far["answers"] if one.moved]
    result = {
        "pairs": len(real["answers"]) + len(same["answers"]),
        "pairs_without_figure": missing,
        "coverage": round(float(np.mean(holds)), 4),
        "wrong_direction_pct": pct_of(wrong),
        "false_change_pct": pct_of([one.finding in MOVED for one in same["answers"]]),
        "false_change_without_scatter_pct": pct_of([one.finding in MOVED for one in same["careless"]]),
        "narrower_by": round(1.0 - float(np.median(ratio)), 3) if ratio else None,
    }
    for name, change, repeats in (("10_single", 1.10, 1), ("10_three", 1.10, 3), ("5_three", 1.05, 3)):
        told, _ = pairs(
            rng,
            pool,
            max(int(300 * scale), 30),
            change=np.log(change),
            scatter=0.015,
            repeats=repeats,
            placing=Placing.BARE_FINGER,
            at_balance=True,
            tyres_stay=False,
        )
        result[f"told_{name}_pct"] = pct_of([one.finding is ChangeFinding.MOVED_FORWARD for one in told["answers"]])
    return result, pushes + more


def judge_pushes(every):
    """Coverage of single balances; what was seen against the truth."""
    holds, bounds, signs, wrong, clear, unsure, count, sure_wrong = [], [], 0, 0, 0, 0, 0, 0
    for _, pushes, answers in every:
        for i, found in enumerate(answers):
            if found is None:
                continue
            count += 1
            if found.pct is not None:
                holds.append(found.interval_pct[0] <= pushes.balance[i] <= found.interval_pct[1])
            else:
                bounds.append(found.bounds_pct[0] <= pushes.balance[i] <= found.bounds_pct[1])
            seen = pushes.seen[i]
            saw = what_was_seen(seen, station=pushes.push[i].station)
            words = seen_words(saw)
            leads = 1 if "the nose led" in words or "the rear held" in words else 0
            leads = -1 if "the tail led" in words or "the front held" in words else leads
            signs += leads != 0 and leads != np.sign(seen.kappa)
            true = replace(
                seen,
                kappa=pushes.kappa[i],
                turn=2.0 * np.arcsin(pushes.kappa[i] * seen.travel / 2.0),
                interval=(pushes.kappa[i] - 1e-9, pushes.kappa[i] + 1e-9),
            )
            plain = seen_words(what_was_seen(true, station=pushes.push[i].station))
            behind = np.sign(pushes.station[i] - pushes.balance[i])  # the law: sign of kappa
            sure_wrong += ("nose led" in plain or "rear held" in plain) and behind < 0
            sure_wrong += ("tail led" in plain or "front held" in plain) and behind > 0
            wrong += told_wrongly(saw.saw, pushes.nose[i], pushes.tail[i])
            if abs(pushes.kappa[i]) > 4.0 * seen.kappa_u:
                clear += 1
                unsure += saw.saw is Saw.CANNOT_TELL
    return {
        "pushes": count,
        "balance_coverage": round(float(np.mean(holds)), 4),
        "balance_without_figure": len(bounds),
        "sign_disagreements": int(signs + sure_wrong),
        "seen_wrong": int(wrong),
        "cannot_tell_pct": round(100.0 * unsure / max(clear, 1), 2),
    }


def told_wrongly(saw, nose, tail):
    """Whether the true travels (mm) make what was told a lie: the other end led, a straight one that was not, a held
    end that went almost half as far as the other."""
    ratio = abs(nose - tail) / (nose + tail)
    if saw in (Saw.NOSE_LED, Saw.REAR_HELD):
        lie = tail > nose
    elif saw in (Saw.TAIL_LED, Saw.FRONT_HELD):
        lie = nose > tail
    else:
        lie = saw is Saw.STRAIGHT and ratio > 0.08 and abs(nose - tail) > 4.0
    return bool(lie or (saw in (Saw.FRONT_HELD, Saw.REAR_HELD) and ratio < 0.4))


def judge_rolling(rng, pool, n):
    """Rolling wheels: is the named axle the right one, do the bounds hold?"""
    set_ups = draw_set_ups(rng, n, drag="rolling", spread=0.2)
    near = true_balance(set_ups) + rng.uniform(-8.0, 8.0, n)
    pct = np.where(rng.random(n) < 0.5, np.clip(near, 20.0, 80.0), 50.0)
    pushes = draw_pushes(
        rng,
        set_ups,
        pct,
        placing=random_placing(rng, n),
        mark_u=rng.choice([0.0, 0.8], n),
        scatter=0.0,
        kappa_u=rng.uniform(0.02, 0.5, n),
        side=rng.choice([-1.0, 1.0], n),
    )
    right, holds = [], []
    for found, kappa, balance in zip(balances(pool, set_ups, pushes), pushes.kappa, pushes.balance, strict=True):
        holds.append(found.bounds_pct[0] <= balance <= found.bounds_pct[1])
        if found.odds >= SURE_ODDS:
            right.append(found.axle == ("rear" if kappa > 0 else "front"))
    return {
        "rolling_pushes": n,
        "rolling_named": len(right),
        "rolling_axle_right_pct": pct_of(right),
        "rolling_bounds_pct": pct_of(holds),
    }


def engine_errors(quick):
    """Largest error of the balance, points: pushes of the rigid-body engine within 10 points of it, true inputs."""
    from engine_push import CARS, STICKY, L, PushCase, engine_push

    worst = 0.0
    cases = [
        (name, finger, away)
        for name in ("balanced", "front grip", "rear ballast")
        for finger in (0.0, STICKY)
        for away in (-8.0, 3.0, 9.0)
    ]
    for name, finger, away in cases[:: 5 if quick else 1]:
        load, grip = CARS[name][0], np.array(CARS[name][1])
        truth = 100.0 * (load * grip)[:2].sum() / (load * grip).sum()
        # The engine's harness moves load across the car only; a finger that sticks moves it along the car, too.
        height = 0.0 if finger else 0.008
        case = PushCase(
            load=load, grip=grip, station=(truth + away) / 100.0 * L, drag=None, finger=finger, height=height
        )
        engine = engine_push(case)
        found = engine_balance(case, engine, bool(finger))
        print(
            f"{name:14s} {'sticking' if finger else 'sliding':9s} {away:+5.1f}: {truth:7.3f} {found:7.3f}", flush=True
        )
        worst = max(worst, abs(found - truth))
    return {"engine_cases": len(cases[:: 5 if quick else 1]), "balance_error_points": round(worst, 3)}


def engine_balance(case, engine, sticks):
    """The balance from an engine's push, per cent; the cards are right but for the grip ratio: alike all round."""
    from engine_push import WHEELS, L

    middle = (engine.after[2] + engine.before[2]) / 2.0
    way = engine.after[:2] - engine.before[:2]
    chord = 2.0 * np.sin(engine.turn / 2.0)
    travel = way[1] * np.cos(middle) - way[0] * np.sin(middle) + L / 2.0 * chord
    seen = TurnSeen(
        kappa=engine.kappa,
        own_u=1e-3,
        interval=(engine.kappa - 2e-3, engine.kappa + 2e-3),
        turn=engine.turn,
        travel=float(travel),
        wheelbase=L,
    )
    car = CarState(
        wheelbase=L, contact_place=WHEELS, load=case.load, grip=np.full(4, np.mean(case.grip)), drag=np.ones(4)
    )
    push = PushState(
        station=float(engine.place[0]),
        finger_y=float(engine.place[1]),
        direction=float(np.arctan2(-engine.motion[0], engine.motion[1])) if sticks else 0.0,
        height=case.height,
        finger="sticking" if sticks else "rolling",
        path="fixed on floor",
    )
    return balance_from_push(car, push, seen, doubts=BalanceDoubts(placing=Placing.SEEN)).pct


def main() -> None:
    """Run everything and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a twentieth of the pairs")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--scale", type=float, help="this part of the pairs")
    given = parser.parse_args()
    rng, scale = np.random.default_rng(given.seed), given.scale or (0.05 if given.quick else 1.0)
    with ProcessPoolExecutor(max_workers=2) as pool:
        result, every = judge_pairs(rng, pool, scale)
        print(json.dumps(result), flush=True)
        result |= judge_pushes(every)
        print(json.dumps(result), flush=True)
        result |= judge_rolling(rng, pool, int(2000 * scale))
    result |= engine_errors(given.quick)
    print(json.dumps(result))


if __name__ == "__main__":
    main()
