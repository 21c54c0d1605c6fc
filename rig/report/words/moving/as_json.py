"""One car's answers on the move as plain JSON: every figure has its 95 % interval beside it."""

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY
from analysis.base.wheel_names import WHEELS
from analysis.moving.ranking import Order, RankedEffect
from analysis.statistics.drawn import WithRange
from rig.base.plain_json import Json
from rig.jobs.moving.moving import RISE, STEP_G, MovingAnswers
from rig.jobs.moving.reach import Reached
from rig.jobs.moving.two_set_ups import Differences
from rig.report.words.moving.on_the_move import behaviour, lifting, reach_lines

GRAMS, PER_G = 1e3 / STANDARD_GRAVITY, 1 / STANDARD_GRAVITY


def moving_json(answers: MovingAnswers) -> Json:
    """Grams, millimetres, degrees, per cent of the wheelbase. What has no value is null or missing."""
    lift, found = answers.lift, answers.lifting
    return {
        "car": answers.name,
        "phases": [_phase(answers, i) for i in range(len(answers.phases))],
        **region_json(answers.reached),
        "pivot_of_a_push": {
            "push_pct": 80.0,
            "kappa_rest_per_m": float(answers.kappa.value[0]),
            "kappa_rest_interval_per_m": _ends(answers.kappa, 1.0)[0],
            "kappa_per_m": _values(answers.kappa, 1.0)[1:],
            "kappa_interval_per_m": _ends(answers.kappa, 1.0)[1:],
            "passes_straight": bool(answers.kappa.value[1] <= 0 <= answers.kappa.value[2]),
        },
        "lift_off": {
            "lifts_g": _number(found.lifts.value * PER_G),
            "lifts_interval_g": _ends(found.lifts, PER_G),
            "wheel": " and ".join(WHEELS[k] for k in np.flatnonzero(lift.leaves[0])),
            "first_in_pct_of_draws": dict(zip(WHEELS, (100 * found.first).tolist(), strict=True)),
            "rolls_over_g": _number(found.rolls.value * PER_G),
            "rolls_over_interval_g": _ends(found.rolls, PER_G),
            "tips_at_once": bool(lift.tips[0]),
            "tyres_hold_g": _number(found.limit.value * PER_G),
            "tyres_hold_interval_g": _ends(found.limit, PER_G),
            "text": lifting(answers),
        },
        "modes": [
            {
                "name": one.name,
                "frequency_hz": float(one.frequency.value),
                "frequency_interval_hz": _ends(one.frequency, 1.0),
                "damping_ratio": float(one.damping.value),
                "damping_interval": _ends(one.damping, 1.0),
            }
            for one in answers.modes
        ],
        "step": {
            "ay_g": STEP_G,
            "rise_ms": 1e3 * RISE,
            "arrive_ms": _values(answers.arrival.arrive, 1e3),
            "arrive_interval_ms": _ends(answers.arrival.arrive, 1e3),
            "overshoot_pct": _values(answers.arrival.overshoot, 100),
            "overshoot_interval_pct": _ends(answers.arrival.overshoot, 100),
            "peak_ms": _values(answers.arrival.peak, 1e3),
            "peak_interval_ms": _ends(answers.arrival.peak, 1e3),
        },
        "changes": {
            "phase": answers.ranked_phase,
            "ranked": [_change(one) for one in answers.ranking if one.order is Order.RANKED],
            "not_ranked": [_change(one) for one in answers.ranking if one.order is not Order.RANKED],
        },
        "equal_shares": _shares(answers),
        "warnings": list(answers.warnings),
    }


def region_json(found: Reached) -> Json:
    """The balance point at rest and the region that it can reach, of any one car."""
    pct, reach = 100 / found.wheelbase, found.reach
    return {
        "at_rest": {
            "balance_pct": float(found.rest.value) * pct,
            "balance_interval_pct": _ends(found.rest, pct),
            "by": found.rest_by,
        },
        "region": {
            "area_cm2": 1e4 * found.region.area,
            "area_interval_cm2": _ends(reach.area, 1e4),
            "station_pct": _values(reach.station, pct),
            "station_interval_pct": _ends(reach.station, pct),
            "side_mm": _values(reach.side, 1e3),
            "side_interval_mm": _ends(reach.side, 1e3),
            "width_rear_front_mm": _values(reach.width, 1e3),
            "width_interval_mm": _ends(reach.width, 1e3),
            "lifts_a_wheel": found.region.lifts,
            "lifts_a_wheel_in_pct_of_draws": 100 * reach.lifts,
            "text": reach_lines(found),
        },
    }


def differences_json(found: Differences) -> Json:
    """The other set-up less the first, with intervals: points, mm, and the ratio of the regions' areas."""
    return {
        "at_rest_points": _number(found.region.rest.value),
        "at_rest_interval_points": _ends(found.region.rest, 1.0),
        "balance_points": _values(found.balance, 1.0),
        "balance_interval_points": _ends(found.balance, 1.0),
        "region_ends_points": _values(found.region.ends, 1.0),
        "region_ends_interval_points": _ends(found.region.ends, 1.0),
        "region_width_rear_front_mm": _values(found.region.width, 1.0),
        "region_width_interval_mm": _ends(found.region.width, 1.0),
        "area_ratio": _number(found.region.area.value),
        "area_ratio_interval": _ends(found.region.area, 1.0),
        "same_car": found.shared,
    }


def _phase(answers: MovingAnswers, i: int) -> Json:
    phase, ranges = answers.phases[i], answers.ranges
    pct = 100 / answers.wheelbase
    entry: Json = {
        "name": phase.name,
        "ax_g": phase.ax / STANDARD_GRAVITY,
        "ay_g": phase.ay / STANDARD_GRAVITY,
        "steer_deg": float(np.degrees(phase.steer)),
        "duration_s": phase.duration,
        "rolls_over": bool(answers.table.rolls_over[i]),
    }
    if not np.isnan(phase.spent):
        entry["driven_grip_spent"] = phase.spent
    if answers.table.rolls_over[i]:
        return entry
    grams = _ends(ranges.load, GRAMS)[i]
    balance, side = _ends(ranges.balance, pct)[i][0], _ends(ranges.balance, 1e3)[i][1]
    return entry | {
        "load_g": _values(ranges.load, GRAMS)[i],
        "load_interval_g": grams,
        "load_half_g": [0.5 * (high - low) for low, high in grams],
        "lifted": [WHEELS[k] for k in np.flatnonzero(answers.table.lifted[i])],
        "lifted_in_pct_of_draws": (100 * ranges.lifted[i]).tolist(),
        "balance_pct": float(ranges.balance.value[i, 0]) * pct,
        "balance_interval_pct": balance,
        "balance_half_pct": 0.5 * (balance[1] - balance[0]),
        "balance_side_mm": 1e3 * float(ranges.balance.value[i, 1]),
        "balance_side_interval_mm": side,
        "roll_deg": float(np.degrees(ranges.roll.value[i])),
        "roll_interval_deg": np.degrees(ranges.roll.interval[i]).tolist(),
        "pitch_deg": float(np.degrees(ranges.pitch.value[i])),
        "pitch_interval_deg": np.degrees(ranges.pitch.interval[i]).tolist(),
        "side_grip_used": _values(ranges.used, 1.0)[i],
        "side_grip_used_interval": _ends(ranges.used, 1.0)[i],
        "holds_below_grip_spent_along": _values(ranges.spare, 1.0)[i],
        "holds_below_interval": _ends(ranges.spare, 1.0)[i],
        "behaviour": behaviour(answers, i),
        "behaviour_in_pct_of_draws": {word: 100 * share for word, share in ranges.words[i]},
    }


def _change(one: RankedEffect) -> Json:
    entry: Json = {
        "name": one.effect.name,
        "rolls_over": one.effect.rolls_over,
        "order": one.order.value,
    }
    if one.rank:
        entry |= {"rank": one.rank, "tied": one.tied}
    if one.order is not Order.ROLLS_OVER:
        entry |= {
            "balance_change_pct": one.effect.balance_change,
            "balance_change_interval_pct": list(one.balance_interval),
            "kappa_change_per_m": one.effect.kappa_change,
            "kappa_change_interval_per_m": list(one.kappa_interval),
        }
    return entry


def _shares(answers: MovingAnswers) -> Json:
    rest, rule = answers.rest_share, answers.rule
    rows: Json = {
        "label": answers.rest_rule.label,
        "rest_pct": _values(rest, 100),
        "rest_interval_pct": _ends(rest, 100),
    }
    if rule is not None:
        share = answers.lifting.share
        rows |= {
            "rule_pct": (100 * rule.rule).tolist(),
            "rule_front_pct": 100 * rule.rule_front,
            "model_front_pct": 100 * rule.model_front,
            "model_pct": _values(share, 100),
            "model_interval_pct": _ends(share, 100),
            "why": list(rule.why),
        }
    return rows


def _number(value: FloatArray) -> float | None:
    return float(value) if np.isfinite(value) else None


def _values(found: WithRange, factor: float) -> list:  # type: ignore[type-arg]
    """Nested lists of the values, null where there is none."""
    return _plain(found.value * factor)


def _ends(found: WithRange, factor: float) -> list:  # type: ignore[type-arg]
    """The intervals likewise, one pair each."""
    return _plain(found.interval * factor)


def _plain(values: FloatArray) -> list:  # type: ignore[type-arg]
    return [_plain(one) if one.ndim else _number(one) for one in values]
