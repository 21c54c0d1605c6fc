"""Do stated 95 % intervals hold the truth in 95 % of many simulated experiments?

Forecast of turn per travel and of the balance point, of blocked and of rolling cars; inferred front-to-rear grip ratio;
effect of a factor in a series. The cars and pushes really have what an expert would ask about, drawn from the doubts
that their cards state by default (`prediction_coverage_cars.py`), while the cards give nominal values only. What such a
car does comes from a search of its own for the least friction power on finely split patches (`pushed_truth.py`);
nothing of the solver under test is in it. Fingers slide in a notch, slide along a line on the floor, or stick. Left
out of the truth, and of the forecast: the give of the tyres, stick-slip, grip that changes with the sliding speed.

Baselines, in the same run: for forecasts, the interval of what the first models knew of (contact in points on a level
floor, grip alike along and across and under any load, wheels that point straight, drag that grows with the load); for
the grip ratio, the same inference with the cards taken at their word; for the effect, a t interval that takes all
pushes as independent.

Last line: JSON with kappa, balance, rolling, grip_ratio, factor_effect (shares that hold the truth), median
half-widths, baselines and their half-widths.
"""

import argparse
import json
import os
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import msgspec
import numpy as np
from scipy.special import stdtrit

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from prediction_coverage_cars import ROLLING, TRAVEL, TURN, Stated, pushes_of, stated, truth_of
from pushed_truth import true_balance, true_kappa

from analysis.base.pivot import PivotEstimate
from analysis.forecast.forecast import Prediction, predict_push
from analysis.forecast.inputs import CarState, PushState
from analysis.grip.inference import PushEvidence, infer
from analysis.series.effects import SeriesPush, analyse_series
from analysis.whole_push.finite import Until

FINGERS = (
    {"finger": "rolling", "finger_path": "stays on the car"},
    {"finger": "rolling", "finger_path": "straight on the floor"},
    {"finger": "sticking", "finger_path": "stays on the car"},
)


DRAWS = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """Whether each interval held the truth, its half-width, and the same of the baseline."""

    hits: list[bool] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    base_hits: list[bool] = field(default_factory=list)
    base_widths: list[float] = field(default_factory=list)

    def add(self, truth: float, told: tuple[float, float], base: tuple[float, float]) -> None:
        """One more experiment."""
        for (low, high), hits, widths in (
            (told, self.hits, self.widths),
            (base, self.base_hits, self.base_widths),
        ):
            hits.append(bool(low <= truth <= high))
            widths.append(0.5 * (high - low))


def first_models(car: CarState, push: PushState) -> tuple[CarState, PushState]:
    """What the first models knew of."""
    plain = replace(
        car,
        along_u=np.zeros(2),
        patch=np.zeros((2, 2)),
        patch_u=np.zeros(2),
        steer_u=np.zeros(2),
        drag_open=np.zeros(2, dtype=bool),
        sensitivity=None,
        sensitivity_u=0.0,
    )
    return plain, replace(push, fall_u=0.0)


def forecast_part(
    rng: np.random.Generator, count: int, draws: int, finger: dict[str, object], *, rolling: bool
) -> tuple[Held, Held]:
    """Turn per travel and balance point of `count` cars pushed by one kind of finger."""
    kappa, balance = Held(), Held()
    until = Until(turn=TURN, travel=TRAVEL)
    states = [ROLLING[i % 3] if rolling else {"wheels": "blocked"} for i in range(count)]
    cards = [stated(rng, push={**finger, **state}, ratio=float(np.exp(rng.normal(0, 0.15)))) for state in states]
    cars, middle = truth_of(rng, cards)
    push = pushes_of(rng, cards)
    true = true_kappa(cars, push, middle, turn=TURN, travel=TRAVEL)
    straight = true_balance(cars, push)

    def told(car: CarState, moved: PushState, most: int) -> Prediction:
        return predict_push(car, moved, rng=rng, until=until, draws=most, ends_within=0.1)

    for one, k, x in zip(cards, true, straight, strict=True):
        full = told(one.state, one.push, draws)
        plain = told(*first_models(one.state, one.push), draws // 2)
        kappa.add(float(k), full.estimate.interval, plain.estimate.interval)
        balance.add(float(x), full.balance.interval, plain.balance.interval)
    return kappa, balance


def forecast_parts(count: int, *, rolling: bool) -> list[tuple[str, int, dict[str, object]]]:
    """Name, number of cars and finger of each part; half of the pushes are in a notch."""
    kind = "rolling" if rolling else "blocked"
    return [
        (f"{kind}, {finger['finger']}, {finger['finger_path']}", count // (2 if i == 0 else 4), dict(finger))
        for i, finger in enumerate(FINGERS)
    ]


def kept_part(name: str, folder: Path | None, make: Callable[[], tuple[Held, ...]]) -> tuple[Held, ...]:
    """A part made now, or as it lies in the folder."""
    path = None if folder is None else folder / f"{name}.json"
    if path is not None and path.exists():
        return tuple(Held(**one) for one in json.loads(path.read_text()))
    made = make()
    if path is not None:
        path.write_text(json.dumps([asdict(one) for one in made]))
    print(f"{name}: {len(made[0].hits)} done", flush=True)
    return made


def joined(parts: list[Held]) -> Held:
    """All of them."""
    whole = Held()
    for one in parts:
        for mine, more in zip(vars_of(whole), vars_of(one), strict=True):
            mine.extend(more)
    return whole


def vars_of(held: Held) -> tuple[list, ...]:
    """Its lists."""
    return held.hits, held.widths, held.base_hits, held.base_widths


def certain(car: CarState) -> CarState:
    """The cards taken at their word."""
    return replace(
        first_models(car, PushState(station=0.1))[0],
        contact_place_u=np.zeros((4, 2)),
        wheelbase_u=0.0,
        load_covariance=np.zeros((4, 4)),
        grip_common_u=0.0,
        heading_u=0.0,
        front_roll_share_u=0.0,
    )


def ratio_coverage(rng: np.random.Generator, count: int) -> Held:
    """Front-to-rear grip ratio from three pushes of blocked cars on both sides of the balance point."""
    held = Held()
    finger = FINGERS[0] | {"wheels": "blocked"}
    cards: list[list[Stated]] = []
    for _ in range(count):
        first = stated(rng, push=finger | {"side": "right"}, ratio=1.0, share=0.3)
        car = [first]
        for share, side in ((55.0, "left"), (80.0, "right")):
            push = replace_push(first, position_pct=share, side=side)
            car.append(push)
        cards.append(car)
    log_ratio = rng.normal(0, 0.15, count)
    cars, middle = truth_of(rng, [one[0] for one in cards], log_ratio)
    kappa_u = 0.05
    seen = []
    for i in range(3):
        push = pushes_of(rng, [one[i] for one in cards])
        seen.append(true_kappa(cars, push, middle, turn=TURN, travel=TRAVEL) + rng.normal(0, kappa_u, count))
    for number, one in enumerate(cards):
        evidence = []
        for i, card in enumerate(one):
            kappa = float(seen[i][number])
            measured = PivotEstimate(
                kappa=kappa,
                kappa_u=kappa_u,
                interval=(kappa - 1.96 * kappa_u, kappa + 1.96 * kappa_u),
                wheelbase=card.state.wheelbase,
                count=1,
                method="simulated",
            )
            # grip is that under the loads at rest, as measurements of it from pushes take it
            car = replace(card.state, sensitivity=None, sensitivity_u=0.0)
            evidence.append(PushEvidence(car=car, push=card.push, measured=measured))
        found = infer(evidence).grip_ratio
        plain = [replace(e.push, station_u=0.0, height_u=0.0, fall_u=0.0) for e in evidence]
        base = infer([replace(e, car=certain(e.car), push=p) for e, p in zip(evidence, plain, strict=True)]).grip_ratio
        logs = [(float(np.log(r.interval[0])), float(np.log(r.interval[1]))) for r in (found, base)]
        held.add(float(log_ratio[number]), logs[0], logs[1])
    return held


def replace_push(card: Stated, **keys: object) -> Stated:
    """The same car and cards, pushed otherwise."""
    test = msgspec.structs.replace(card.test, push=msgspec.structs.replace(card.test.push, **keys))
    return replace(card, test=test)


def effect_coverage(rng: np.random.Generator, count: int) -> Held:
    """Effects of two factors in a series of pushes."""
    held = Held()
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
            i = 1 if one.factor == "tyres" else 2
            half = stdtrit(dof, 0.975) * u[i]
            held.add(effects[one.factor], one.interval, (value[i] - half, value[i] + half))
    return held


def main() -> None:
    """Run all of it and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a twentieth of the experiments")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=None, help="a folder where each part is kept and taken from")
    parser.add_argument("--only", default="", help="parts whose names begin so, into --keep, and no figures")
    options = parser.parse_args()
    few = 20 if options.quick else 1
    result: dict[str, object] = {}
    done: dict[str, tuple[Held, ...]] = {}
    names = ["effect", "ratio"]
    jobs: dict[str, Callable[[np.random.Generator], tuple[Held, ...]]] = {
        "effect": lambda rng: (effect_coverage(rng, 1000 // few),),
        "ratio": lambda rng: (ratio_coverage(rng, 2000 // few),),
    }
    for rolling, count in ((False, 2000 // few), (True, 1000 // few)):
        for name, some, finger in forecast_parts(count, rolling=rolling):
            names.append(name)
            jobs[name] = partial(forecast_part, count=some, draws=DRAWS, finger=finger, rolling=rolling)
    for number, name in enumerate(names):
        if name.startswith(options.only):
            rng = np.random.default_rng([options.seed, number])  # a part does not hang on the others
            done[name] = kept_part(name, options.keep, partial(jobs[name], rng))
    if options.only:
        return

    def told(name: str, held: Held, unit: str) -> None:
        result[name] = round(float(np.mean(held.hits)), 4)
        result[f"{name}_half_width"] = float(f"{np.median(held.widths):.3g}")
        result[f"{name}_baseline"] = round(float(np.mean(held.base_hits)), 4)
        result[f"{name}_baseline_half_width"] = float(f"{np.median(held.base_widths):.3g}")
        result[f"{name}_experiments"] = len(held.hits)
        print(
            f"{name}: {100 * np.mean(held.hits):.1f} % of {len(held.hits)} hold the truth, median half-width "
            f"{np.median(held.widths):.3g} {unit}; baseline {100 * np.mean(held.base_hits):.1f} %, "
            f"{np.median(held.base_widths):.3g}",
            flush=True,
        )

    told("factor_effect", done["effect"][0], "1/m")
    told("grip_ratio", done["ratio"][0], "relative")
    for kind, name in (("blocked", "kappa"), ("rolling", "rolling")):
        parts = {one: held for one, held in done.items() if one.startswith(kind)}
        told(name, joined([held[0] for held in parts.values()]), "1/m")
        told("balance" if kind == "blocked" else "rolling_balance", joined([held[1] for held in parts.values()]), "m")
        result[f"{name}_by_finger"] = {one: round(float(np.mean(held[0].hits)), 4) for one, held in parts.items()}
    print(json.dumps(result))


if __name__ == "__main__":
    main()
