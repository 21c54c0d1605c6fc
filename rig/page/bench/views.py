"""Results as the page draws and says them: plain JSON in mm and g, words from the reports."""

import io

import numpy as np

from analysis.base.pivot import PivotEstimate
from analysis.figures.car import CarPicture, PivotMark, body_outline
from analysis.figures.pushed_cars import cars_from_above
from analysis.statistics.quantiles import NORMAL_95
from rig.base.plain_json import Json
from rig.cards.read import CardSet
from rig.jobs.demo.first_try import SeenPush
from rig.jobs.pushing.balance import PushAnswer
from rig.jobs.pushing.compare import Verdict
from rig.jobs.pushing.what_if import WhatIf, WhatIfAnswer
from rig.jobs.series.change_film import drawn_car
from rig.jobs.weighing.weights import RecordedWeighing, weights_record
from rig.records.codec import plain
from rig.report.words.push_answer import push_lines, seen_short
from rig.report.words.sentences import first_sentence, pivot_words, turn_words, warnings_of

MM_PER_M = 1e3
PUSH_PICTURE_DPI = 150
"""Dots an inch of the picture of a push: sharp on a screen that shows two dots for one."""


def picture_json(picture: CarPicture) -> Json:
    """What the page draws, car axes, mm."""
    return {
        "title": picture.title,
        "wheelbase": picture.wheelbase * MM_PER_M,
        "contacts": picture.contact_place * MM_PER_M,
        "outline": body_outline(picture.wheelbase, picture.body) * MM_PER_M,
        "load_g": picture.load_g,
        "cg": None if picture.cg is None else picture.cg * MM_PER_M,
        "push": None if picture.push is None else picture.push * MM_PER_M,
        "push_side": picture.push_side,
        "balance": None if picture.balance is None else picture.balance * MM_PER_M,
        "balance_half": NORMAL_95 * picture.balance_u * MM_PER_M,
        "measured": _mark(picture.measured),
        "forecast": _mark(picture.forecast),
        "swept": [[x * MM_PER_M, y * MM_PER_M, turn] for x, y, turn in picture.swept.tolist()],
    }


def _mark(mark: PivotMark | None) -> Json | None:
    if mark is None or not np.all(np.isfinite(mark.place)):
        return None
    return {"place": mark.place * MM_PER_M, "region": mark.region * MM_PER_M}


def seen_json(seen: SeenPush) -> Json:
    """A push that was looked at without a camera, mm."""
    return {
        "poses": seen.poses * np.array([MM_PER_M, MM_PER_M, 1.0]),
        "kappa_per_m": seen.kappa,
        "place_mm": seen.place * MM_PER_M,
    }


def what_if_json(answer: WhatIfAnswer, asked: WhatIf, *, whole: bool) -> Json:
    """A forecast for other numbers, mm. whole: with its interval in words."""
    return {
        "load_g": answer.load_g,
        "assumed": answer.assumed,
        "whole": whole,
        "balance": answer.balance * MM_PER_M,
        "balance_pct": answer.balance_pct,
        "station_pct": answer.estimate.station_pct,
        "words": pivot_words(answer.estimate) if whole else "",
        "mark": _mark(answer.mark),
        "push_mm": asked.push_pct / 100 * answer.estimate.wheelbase * MM_PER_M,
    }


def weights_json(weighing: RecordedWeighing) -> Json:
    """A weighing with both diagonals named."""
    return plain(weights_record(weighing.weights)) | {
        "warnings": list(weighing.warnings),
        "record": weighing.record.number,
        "at": weighing.record.at,
    }


def estimate_json(estimate: PivotEstimate) -> Json:
    """A pivot in words and numbers."""
    return {
        "words": pivot_words(estimate),
        "turn": turn_words(estimate),
        "finding": estimate.finding,
        "station_pct": estimate.station_pct,
        "interval_pct": estimate.interval_pct,
        "kappa_per_m": estimate.kappa,
    }


def pushed_json(verdict: Verdict, answer: PushAnswer) -> Json:
    """Where the picture of a push is asked for, anew for every record, and what it shows in words."""
    return {
        "src": f"/api/push.png?record={verdict.record.number}",
        "alt": f"The car from above, nose up, at the start and the end of the push: {seen_short(answer)}",
    }


def pushed_png(cards: CardSet, answer: PushAnswer) -> bytes:
    """The pushed car from above, start and end, as PNG."""
    figure = cars_from_above([drawn_car(cards, answer, f"pushed at {answer.pushed_pct:.0f} %")])
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=PUSH_PICTURE_DPI)
    return buffer.getvalue()


def verdict_json(verdict: Verdict) -> Json:
    """What happened in one sentence, the balance points, one line of advice, then how it was found."""
    prediction, answer = verdict.forecast.prediction, verdict.answer
    return {
        "verdict": verdict.comparison.verdict,
        "sentence": first_sentence(verdict),
        "picture": None if answer is None else pushed_json(verdict, answer),
        "filmed": verdict.measurement is not None and answer is not None,
        "said": [] if answer is None else [line for line in push_lines(answer)[1:] if line],
        "found": verdict.comparison.sentence,
        "advice": verdict.forecast.advice,
        "car": verdict.cards.car.name,
        "test": verdict.cards.test.name,
        "push_pct": verdict.cards.test.push.position_pct,
        "measured": estimate_json(verdict.measured),
        "forecast": estimate_json(prediction.estimate),
        "balance_pct": prediction.balance_pct,
        "kind": prediction.sentence,
        "sensitivity": [[one.name, round(100 * one.share)] for one in prediction.sensitivity if one.share >= 0.005],
        "notes": warnings_of(verdict),
        "record": verdict.record.number,
    }
