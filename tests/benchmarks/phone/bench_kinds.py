"""Trouble on the bench: plate, sheets, prints, floor and the car itself."""

import math

import numpy as np

from tests.benchmarks.phone.kinds import kind
from tests.benchmarks.phone.optics import Array
from tests.benchmarks.phone.shot import Shot
from tests.benchmarks.phone.stage import FLOOR_ROW, Laid

SHEET = r"(floor )?sheet.{0,60}(lies|moved|turned|shifted|place)|distance between the floor sheets"
PRINT = r"print|bar\b|check bar|larger|smaller|per cent|scale"


@kind("plate turned by 180", (180,), r"wrong way round|turned by 180|back to front", fine=False)
def _plate_180(shot: Shot, size: float) -> None:
    shot.plate.turn += math.pi


@kind("plate turned by 90", (90, -90), r"turned by 90|a quarter|plate.{0,60}turned", fine=False)
def _plate_90(shot: Shot, size: float) -> None:
    shot.plate.turn += math.radians(size)


@kind("plate askew", (4, 9), r"plate.{0,60}(turned|askew|aslant|skew)", fine=False)
def _askew(shot: Shot, size: float) -> None:
    shot.plate.turn += math.radians(size)


@kind("side exchanged on the card", (1,), r"left and right are exchanged|side\b.{0,60}(card|exchanged)")
def _side(shot: Shot, size: float) -> None:
    shot.cards["push.side"] = "left" if shot.side == "right" else "right"


@kind("all prints small, unmeasured", (0.97, 0.985), PRINT, cards="short")
def _small_prints(shot: Shot, size: float) -> None:
    shot.plate.scale = np.full(2, size)
    for laid in shot.laid.values():
        laid.scale = np.full(2, size)


@kind("floor sheets printed small", (0.97, 0.985), PRINT, cards="full")
def _small_floor(shot: Shot, size: float) -> None:
    for laid in shot.laid.values():
        laid.scale = np.full(2, size)


@kind("marker plate printed small", (0.97, 0.985), PRINT, cards="full")
def _small_car(shot: Shot, size: float) -> None:
    shot.plate.scale = np.full(2, size)


@kind("one floor sheet printed small", (0.97, 0.985), PRINT, cards="full")
def _small_one(shot: Shot, size: float) -> None:
    shot.laid["rear"].scale = np.full(2, size)


@kind("printed longer one way", (1.01, 1.02), PRINT, cards="full")
def _long_prints(shot: Shot, size: float) -> None:
    for laid in (shot.plate, *shot.laid.values()):
        laid.scale = np.array([1.0, size])


@kind("floor sheets swapped", (1,), r"swapped|exchanged|places of the sheets|each other's places", fine=False)
def _swapped(shot: Shot, size: float) -> None:
    shot.ids = {"front": shot.ids["rear"], "rear": shot.ids["front"]}


@kind("floor sheet turned round", (180,), r"sheet.{0,60}turned|turned round|wrong way round", fine=False)
def _round(shot: Shot, size: float) -> None:
    shot.laid["rear"].turn += math.pi


@kind("floor sheet laid wrong", (0.003, 0.005, 0.010), SHEET)
def _laid_wrong(shot: Shot, size: float) -> None:
    angle = shot.rng.uniform(0, 2 * math.pi)
    shot.laid["front"].middle = shot.laid["front"].middle + size * np.array([math.cos(angle), math.sin(angle)])


@kind("floor sheet laid askew", (1, 3, 6), SHEET + "|sheet.{0,60}askew")
def _laid_askew(shot: Shot, size: float) -> None:
    shot.laid["rear"].turn += math.radians(size)


@kind("floor sheet kicked in mid-push", (0.002, 0.004, 0.010), r"sheet.{0,80}moved|moved.{0,40}sheet|kicked")
def _kicked(shot: Shot, size: float) -> None:
    name = str(shot.rng.choice(["front", "rear"]))
    angle = shot.rng.uniform(0, 2 * math.pi)
    middle = shot.laid[name].middle + size * np.array([math.cos(angle), math.sin(angle)])
    after = Laid(middle, math.radians(1.0), shot.laid[name].scale)
    shot.kick = (shot.rest + 0.4, name, after)


@kind("two copies of a sheet", (1,), r"twice|two copies", fine=False)
def _copies(shot: Shot, size: float) -> None:
    shot.ids = shot.ids | {"third": (10, 11, 12)}
    shot.laid["third"] = Laid(np.array([0.0, 0.33]), math.pi / 2)


@kind("one floor sheet missing", (1,), r"floor markers? (were|was) seen|floor sheet.{0,40}missing")
def _missing(shot: Shot, size: float) -> None:
    shot.ids = {"front": shot.ids["front"]}


@kind("other sheets than the card's", (20, 40), r"not the ones on the cards|no floor marker", fine=False)
def _others(shot: Shot, size: float) -> None:
    shot.ids = {
        "front": tuple(int(size) + i for i in range(3)),
        "rear": tuple(int(size) + 3 + i for i in range(3)),
    }


@kind("floor bowed", (0.001, 0.002, 0.004), r"floor.{0,50}(not flat|bow|uneven|even)|not flat")
def _bowed(shot: Shot, size: float) -> None:
    shot.bow = lambda x, y: size * (1 - (x / FLOOR_ROW) ** 2)


@kind("floor twisted", (0.001, 0.003), r"floor.{0,50}(not flat|bow|uneven|even)|not flat")
def _twisted(shot: Shot, size: float) -> None:
    shot.bow = lambda x, y: size * (x / FLOOR_ROW) * (y / 0.1)


@kind("sheet curled", (0.003, 0.008), r"flat")
def _curled(shot: Shot, size: float) -> None:
    shot.bow = lambda x, y: size * np.clip((np.abs(x) - FLOOR_ROW + 0.02) / 0.1, 0, 1.2) ** 2


@kind("waves in the paper", (0.0003, 0.0008), r"flat")
def _waves(shot: Shot, size: float) -> None:
    phase = shot.rng.uniform(0, 6.3, 2)
    shot.bow = lambda x, y: size * np.sin(45 * x + phase[0]) * np.sin(38 * y + phase[1]) * (np.abs(x) > 0.19)


def _leans(shot: Shot, degrees: float, stays: bool) -> None:
    def lean(moment: float) -> Array:
        share = min(max((moment - shot.rest) / shot.moving, 0.0), 1.0)
        amount = share if stays else math.sin(math.pi * share) ** 2
        return np.radians([degrees * amount, 0.0])

    shot.lean = lean


LEAN = r"level|lean|roll\b|settle"


@kind("lean that stays", (0.2, 0.4, 1.0), LEAN)
def _lean_stays(shot: Shot, size: float) -> None:
    _leans(shot, size, stays=True)


@kind("lean during the push", (0.5, 1.0, 2.0), LEAN)
def _lean_during(shot: Shot, size: float) -> None:
    _leans(shot, size, stays=False)


@kind("gloss over the plate", (0.5, 2.0), r"gloss|glare|reflect|mirror|shin|light")
def _gloss(shot: Shot, size: float) -> None:
    shot.gloss = (np.array([0.06, 0.01]), 0.05, size)


@kind("plate higher than the card says", (0.006, 0.015, 0.03), r"height|higher|lower|larger|smaller")
def _high(shot: Shot, size: float) -> None:
    shot.height += size


@kind("nothing moves", (0.0,), r"nothing moves|did not move|no push", fine=False, lost=True)
def _nothing(shot: Shot, size: float) -> None:
    shot.travel = 1e-9
