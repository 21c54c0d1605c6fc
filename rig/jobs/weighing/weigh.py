"""Weigh the car on the pads: the steps at the bench, over several placings and orientations."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.wheel_names import WHEEL_KEYS
from analysis.pads.loads import Loads
from analysis.statistics.quantiles import NORMAL_95
from analysis.weighing.orientations import (
    PAD_UNDER,
    PadPrior,
    Turn,
    TurnedWeighing,
    one_weighing_enough,
    solve_orientations,
)
from analysis.weighing.reseating import usual_scatter
from rig.base.progress import Progress
from rig.cards.chassis import warp_response
from rig.cards.keys.bench import BenchCard
from rig.cards.measures import MM
from rig.cards.mechanics import place_gravity
from rig.cards.read import CardSet
from rig.jobs.weighing.calibrate import AS_SHOWN, SHOWN_GAIN_U
from rig.jobs.weighing.pads import Ask, OpenPads, pad_names
from rig.jobs.weighing.plausible_loads import against_before, least_load, own_covariance, placings_agree, refuse_empty
from rig.jobs.weighing.scale import Placing, Scale, pool, scale_of
from rig.jobs.weighing.weights import RecordedWeighing, as_pushed, record_weighing, weighed
from rig.log.store import BenchLog
from rig.pads.frames import Tally
from rig.pads.patterns import XOR_END
from rig.pads.steps import Step
from rig.records.content import four
from rig.records.weighing import WEIGHING_MODEL, TallyRow, WeighingInputs

TURN_WORDS: dict[Turn, str] = {
    "as is": "Set the car on the pads",
    "half turn": "Turn the car half round on the same pads",
    "quarter left": "Turn the car a quarter to the left on the same pads",
    "quarter right": "Turn the car a quarter to the right on the same pads",
    "pads exchanged": "Exchange the pads left for right; the car stands as at first",
    "half turn, pads exchanged": "Leave the pads exchanged and turn the car half round",
}


def set_on(bench: BenchCard) -> str:
    """What is asked first: a car that stands the wrong way round weighs as another one, and nothing shows it."""
    left, right = (pad_names(bench)[bench.pads.wheels.index(wheel)] for wheel in WHEEL_KEYS[:2])
    return f"{TURN_WORDS['as is']}; its nose on {left} and {right}"


def weigh_on_pads(
    cards: CardSet,
    pads: OpenPads,
    log: BenchLog,
    *,
    placings: int = 1,
    ask: Ask,
    progress: Progress | None = None,
) -> RecordedWeighing:
    """Weigh the car on the pads, once or over several placings (lift off, settle, roll on).

    Raises InputError without a stored calibration or zero, BenchError when the pads fail.
    """
    scale = scale_of(cards.bench, log, pads=pads, calibration=cards.choices.calibration)
    placed: list[Placing] = []
    odd: list[str] = []
    least_g = least_load(cards, log)
    for number in range(placings):
        text = set_on(cards.bench) if number == 0 else "Lift the car off, bounce it, roll it on again"
        ask(Step(text=text, action="car"))
        placed.append(scale.place_once(pads, progress=progress, least_g=least_g))
        odd += refuse_empty(cards, log, scale.wheels(placed[-1].loads.load_g))
    pooled = pool(cards.bench, [one.loads for one in placed])
    enough = one_weighing_enough(
        pooled.load_g, calibrated_prior([one.loads for one in placed], scale.order, causes=OF_ONE_PAD)
    )
    as_is, parts, _ = as_pushed(cards, pooled.load_g, list(pooled.parts))
    odd += [*placings_agree([one.loads for one in placed])]
    odd += against_before(cards, log, as_is, own_covariance(parts))
    warnings = [*(text for one in placed for text in one.warnings), pooled.advice, unprotected(cards.bench)]
    warnings += [unchecked_scales(scale)]
    warnings += [] if enough.enough else [enough.text]
    weighing = weighed(
        cards,
        pooled.load_g,
        pooled.parts,
        inputs=WeighingInputs(
            source="pads",
            model=WEIGHING_MODEL,
            placings=tuple(one.raw for one in placed),
            tally=tally_record(pads.source.tally),
        ),
        remarks=list(dict.fromkeys([*odd, *_remarks(placed)])),
        warnings=[text for text in dict.fromkeys(warnings) if text],
    )
    return record_weighing(
        weighing, cards, log, parents=scale.records, files=[log.add_file("raw readings", pads.raw_file)]
    )


OF_ONE_PAD = frozenset({"zero", "pads", "curves"})
"""Causes that make pads differ from each other, which is all that turning the car can tell."""
OF_ALL_PADS = OF_ONE_PAD | {"masses"}


def calibrated_prior(placed: Sequence[Loads], order: FloatArray, *, causes: frozenset[str] = OF_ALL_PADS) -> PadPrior:
    """What calibration and zeros say of four pads' errors before a car is turned on them, in wheel order.

    placed: in pad order, one entry a placing.  order: (4,) pad under FL, FR, RL, RR.  causes: those that count.
    Zeros and the scatter about the curves are offsets, the curves' slopes gains of each pad, the masses a gain of all.
    """
    rows = np.ix_(order, order)
    part = {
        name: np.mean([loads.part(name)[rows] for loads in placed], axis=0) * (name in causes)
        for name in sorted(OF_ALL_PADS)
    }
    load = np.maximum(np.mean([loads.load_g[order] for loads in placed], axis=0), 1.0)
    return PadPrior(offset=part["zero"] + part["pads"], gain=(part["curves"] + part["masses"]) / np.outer(load, load))


def known_before_turning(cards: CardSet, placed: Sequence[Loads], order: FloatArray) -> tuple[PadPrior, list[str]]:
    """What is known of pads and floor before the car is turned, and what to tell where something is missing.

    placed: in pad order.  order: (4,) pad under FL, FR, RL, RR at first.
    How much load a pad's height moves between the wheels follows from the springs on the car card; without them the
    uncertainty of the heights cannot be counted, and people have to hear of it.
    """
    known = calibrated_prior(placed, order)
    level_mm = cards.bench.pads.level_mm_u
    if cards.car.chassis is None:
        assumed = (
            f"The ± leaves out that the pads may be uneven ({level_mm:g} mm on the bench card), which shifts weight "
            "from one diagonal to the other: fill in [chassis] on the car card, or see: "
            "pivotbench pads level TEST.toml --shim MM"
        )
        return known, [assumed] if level_mm > 0 else []
    per_height_g = warp_response(cards.car).per_height * (1000.0 / place_gravity(cards.bench))
    return replace(known, height_u=level_mm * MM, per_height=per_height_g), []


def weigh_turned(
    cards: CardSet,
    pads: OpenPads,
    log: BenchLog,
    turns: Sequence[Turn],
    *,
    ask: Ask,
    placings: int = 1,
    progress: Progress | None = None,
) -> tuple[RecordedWeighing, TurnedWeighing]:
    """Weigh in several orientations on the same pads, and tell the car's weights from the pads' errors.

    turns: names as in analysis.weighing.orientations, the first usually "as is".  placings: in each of them.
    """
    scale = scale_of(cards.bench, log, pads=pads, calibration=cards.choices.calibration)
    rows: list[FloatArray] = []
    placed: list[Placing] = []
    done: list[Turn] = []
    odd: list[str] = []
    least_g = least_load(cards, log)
    for turn in turns:
        under = list(PAD_UNDER[turn])
        for number in range(placings):
            again = ", once more" if number else ""
            words = set_on(cards.bench) if turn == "as is" else TURN_WORDS[turn]
            ask(Step(text=f"{words}{again}; bounce the car, roll it on", action="car"))
            placed.append(scale.place_once(pads, progress=progress, least_g=least_g))
            rows.append(scale.wheels(placed[-1].loads.load_g))  # pads by the wheel over them in the first weighing
            numbers = [int(scale.order[place]) + 1 for place in under]
            odd += refuse_empty(cards, log, rows[-1][under], pads=numbers)
            done.append(turn)
    loads = [one.loads for one in placed]
    prior, missing = known_before_turning(cards, loads, scale.order)
    noise = np.mean([np.diag(one.part("noise")).mean() for one in loads])
    found = solve_orientations(
        np.array(rows),
        done,
        prior,
        noise_g=float(np.sqrt(noise)),
        assumed=usual_scatter(cards.bench.pads.reseat_g),
        known_pads=True,
    )
    as_is, parts, _ = as_pushed(cards, found.load_g, list(found.parts))
    odd += [*placings_agree(loads), *against_before(cards, log, as_is, own_covariance(parts))]
    warnings = [*(text for one in placed for text in one.warnings), found.text, *missing]
    warnings += [unprotected(cards.bench), unchecked_scales(scale)]
    weighing = weighed(
        cards,
        found.load_g,
        found.parts,
        inputs=WeighingInputs(
            source="pads, turned",
            model=WEIGHING_MODEL,
            turns=tuple(done),
            placings=tuple(one.raw for one in placed),
            pad_error_g=four(found.pad_error_g),
            pad_error_u_g=four(found.pad_error_u_g),
            tally=tally_record(pads.source.tally),
        ),
        remarks=list(dict.fromkeys([*odd, *_remarks(placed)])),
        warnings=[text for text in dict.fromkeys(warnings) if text],
    )
    kept = record_weighing(
        weighing, cards, log, parents=scale.records, files=[log.add_file("raw readings", pads.raw_file)]
    )
    return kept, found


def unprotected(bench: BenchCard) -> str:
    """That nothing protects the pads' lines on their way; "" where a checksum or a sum does."""
    pattern = bench.pads.line_pattern
    if not pattern or "<sum>" in pattern or pattern.endswith(XOR_END):
        return ""
    return (
        "These pads' lines carry no checksum: a digit that is lost on the way in every line passes for another weight. "
        "The total should be what this car weighed before"
    )


def unchecked_scales(scale: Scale) -> str:
    """That scales are taken at their word; "" where they were calibrated here."""
    if not all(one.evidence == AS_SHOWN for one in scale.calibrations):
        return ""
    return (
        f"The scales are taken at their word, each to {100 * NORMAL_95 * SHOWN_GAIN_U:.0f} %: one known mass checks "
        "them, pivotbench pads calibrate TEST.toml --mass 500"
    )


def _remarks(placed: Sequence[Placing]) -> list[str]:
    return list(dict.fromkeys(text for one in placed for text in one.remarks))


def tally_record(tally: Tally) -> TallyRow:
    """What became of the lines, for the log."""
    return TallyRow(**{name: getattr(tally, name) for name in tally.__slots__})
