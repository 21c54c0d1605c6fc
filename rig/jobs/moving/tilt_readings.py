"""Pads read on a tilted board: what is safe for this car, and the guided readings at every tilt, both ways round."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.statistics.estimate import Estimate
from analysis.statistics.quantiles import NORMAL_95
from analysis.tilted.board import SafeTilt, board_angle, safe_tilt
from analysis.tilted.transfer import Way
from rig.base.errors import InputError
from rig.base.progress import Progress
from rig.cards.chassis import spring_track
from rig.cards.measures import MM, wheelbase
from rig.cards.read import CardSet
from rig.jobs.weighing.pads import Ask, OpenPads
from rig.jobs.weighing.scale import scale_of
from rig.log.store import BenchLog
from rig.pads.steps import Step
from rig.records.content import four
from rig.records.moving import TiltRow


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltAsked:
    """Heights of the raised end, mm. side_mm: with a side down.  nose_mm: with the nose up.  presses: readings each.

    turned: whether the car is read both ways round at each tilt.
    """

    side_mm: tuple[float, ...]
    nose_mm: tuple[float, ...] = ()
    presses: int = 3
    turned: bool = True


def safe_sideways(cards: CardSet) -> SafeTilt:
    """How far this car may be tilted to the side, from the least grip and the greatest height that its cards allow."""
    return _safe(cards, float(spring_track(cards.car).min()))


def safe_lengthways(cards: CardSet) -> SafeTilt:
    """The same with the nose up."""
    return _safe(cards, wheelbase(cards.car))


def _safe(cards: CardSet, base: float) -> SafeTilt:
    grip, g = cards.test.grip, cards.car.geometry
    least = min(grip.front, grip.rear) * float(np.exp(-NORMAL_95 * np.hypot(grip.level_u, grip.ratio_u)))
    return safe_tilt(grip=least, base=base, height=(g.cg_height_mm + NORMAL_95 * g.cg_height_mm_u) * MM)


def refuse_steep(cards: CardSet, asked: TiltAsked) -> None:
    """Raise InputError where a height would tilt the board further than this car stands safely."""
    if not asked.side_mm:
        raise InputError("no height was given", where="--height", remedy="Give the raised end's height, mm")
    for heights, safe, name in (
        (asked.side_mm, safe_sideways(cards), "--height"),
        (asked.nose_mm, safe_lengthways(cards), "--nose"),
    ):
        for height in heights:
            degrees = float(np.degrees(board_tilt(cards, height).value))
            if degrees > safe.degrees + 0.05:
                why = {
                    "board": "beyond that the pads no longer carry what the moving car does",
                    "first tyre": f"a first tyre may slide from {safe.slides:.1f}° on",
                    "tipping": f"the car may tip from {safe.tips:.0f}° on",
                }[safe.bound]
                most = np.sin(np.radians(safe.degrees)) * cards.bench.tilt.length_mm
                raise InputError(
                    f"{height:g} mm over {cards.bench.tilt.length_mm:g} mm of board is {degrees:.1f}°, and {why}",
                    where=name,
                    remedy=f"Stay at {most:.0f} mm ({safe.degrees:.1f}°) or below",
                )


def board_tilt(cards: CardSet, height_mm: float) -> Estimate:
    """The board's angle, rad, from how high its end is raised, mm."""
    board = cards.bench.tilt
    return board_angle(
        height_mm * MM, board.length_mm * MM, height_u=board.height_mm_u * MM, length_u=board.length_mm_u * MM
    )


WAY_WORDS = {
    Way.RIGHT_DOWN: "the car's right side down, the wheels of its left side taped, the others rolling",
    Way.LEFT_DOWN: "the car turned round at the same tilt: its left side down, the same wheels taped",
    Way.NOSE_UP: "the car's nose up, all four wheels taped",
    Way.NOSE_DOWN: "the car turned round at the same tilt: its nose down, all four wheels taped",
}


def read_tilts(
    cards: CardSet, pads: OpenPads, log: BenchLog, asked: TiltAsked, *, ask: Ask, progress: Progress | None = None
) -> tuple[tuple[TiltRow, ...], tuple[float, float], list[str]]:
    """Guide through all tilts; the rows as read, (noise, drift) in g of one pad, ids of the records it rests on.

    Raises InputError for a tilt that is not safe, BenchError when the pads fail.
    """
    refuse_steep(cards, asked)
    scale = scale_of(cards.bench, log, pads=pads, calibration=cards.choices.calibration)
    rows, noise, drift = [], 0.0, 0.0
    plan = [(h, (Way.RIGHT_DOWN, Way.LEFT_DOWN)) for h in sorted(asked.side_mm)]
    plan += [(h, (Way.NOSE_UP, Way.NOSE_DOWN)) for h in sorted(asked.nose_mm)]
    for height, ways in plan:
        degrees = float(np.degrees(board_tilt(cards, height).value))
        ask(
            Step(
                text=f"Raise the board's end to {height:g} mm ({degrees:.1f}°), pads empty, a stop below",
                action="empty",
            )
        )
        empty = scale.wheels(scale.place_once(pads, progress=progress).loads.load_g)
        for way in ways if asked.turned else ways[:1]:
            read = []
            for k in range(asked.presses):
                again = "" if k == 0 else "once more: "
                text = f"{again}{WAY_WORDS[way]}; press the body down and let it up slowly, a hand below it"
                ask(Step(text=text, action="car"))
                loads = scale.place_once(pads, progress=progress).loads
                read.append(scale.wheels(loads.load_g))
                own = loads.part("noise")
                noise, drift = max(noise, _of_a_pad(own)), max(drift, _of_a_pad(loads.covariance - own))
            rows.append(
                TiltRow(
                    way=way.value,
                    height_mm=height,
                    pad_g=four(np.mean(read, axis=0)),
                    empty_g=four(empty),
                    count=asked.presses,
                    pressed=True,
                )
            )
    return tuple(rows), (noise, drift), scale.records


def _of_a_pad(covariance: FloatArray) -> float:
    """Standard uncertainty of one of the pads, their mean. covariance: (4, 4)."""
    return float(np.sqrt(np.diag(covariance).mean()))
