"""The moving car on the virtual bench: pushed, tilted, a moment frozen and pushed again, its region and a change."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analysis.base.arrays import FloatArray
from analysis.base.gravity import STANDARD_GRAVITY as G
from analysis.moving.frozen import FreeBallast, loads_with
from analysis.moving.phases import DRIFT, Phase
from analysis.springs.chassis import Chassis
from analysis.springs.equilibrium import equilibrium
from analysis.tilted.transfer import TURNED_PAD, Way
from rig.base.errors import BenchError
from rig.cards.chassis import moving_car
from rig.cards.read import CardSet, read_set
from rig.cards.template import card_text
from rig.jobs.batch.workers import worker_pool
from rig.jobs.measuring.measure import MeasuredClip, measured_clip, write_measured
from rig.jobs.moving.driven_car import ByPushes, driven_car
from rig.jobs.moving.freeze import FrozenPhase, Landed, frozen_phases, landed
from rig.jobs.moving.moving import DriftQuestion, MovingAnswers, answer_driven
from rig.jobs.moving.tilt import TiltFound, record_tilt, transfer_found
from rig.jobs.moving.two_set_ups import Differences, differences
from rig.jobs.pushing.balance import answer_clip
from rig.jobs.weighing.weights import known_weighing
from rig.log.store import BenchLog
from rig.records.content import four
from rig.records.moving import TiltRow
from rig.virtual.bench import film_virtual_push, virtual_id, write_cards
from rig.virtual.dunlin import CAR_KEYS, ON_SPRINGS, SetUp, Truth, draw_truth

BARRED = 1.0
"""N/mm: the front bar of the change."""
BRAKE = Phase(name="braking", ax=-0.25 * G, ay=0.0, steer=0.0, duration=1.0)
FROZEN_BALLAST_G, PLATES_G, PAD_U_G = 120.0, 85.0, 0.25
TILT_DEG = (8.0, 15.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MovingStory:
    """All that was found. pushed, frozen_push: balance points by pushes.  true_share_pct, true_height_mm: what the
    virtual car really does at the largest angle, on the flat.
    """

    pushed: ByPushes
    tilt: TiltFound
    true_share_pct: float
    true_height_mm: float
    frozen: FrozenPhase
    verdict: Landed
    answers: MovingAnswers
    barred: MovingAnswers
    change: Differences


def run_moving_story(out: Path, *, seed: int = 0, say: Callable[[str], None] = print) -> MovingStory:
    """Run it, leaving cards, clips and log in `out`. Takes under a minute.

    Raises BenchError where a virtual push tells no balance point.
    """
    rng = np.random.default_rng([seed, 24])
    setup = SetUp(name="on-springs", title="on springs", mass_g=1560.0, cg_mm=(130.0, 1.5), car=ON_SPRINGS)
    truth = draw_truth(setup, rng)
    cards = _cards(out / setup.name, setup, truth)
    sprung = _true_chassis(cards, truth, rng)
    with BenchLog(out / "log") as log, worker_pool(1) as pool:
        say("Filming a push at the middle")
        film = pool.submit(_filmed, cards, truth, seed)
        say("Tilting the virtual pads")
        weighing = known_weighing(cards, log)
        rows = _tilted_rows(cards, sprung, rng)
        tilt = transfer_found(cards, weighing, rows, noise_g=PAD_U_G, drift_g=PAD_U_G / 2, source="virtual pads")
        record_tilt(tilt, cards, weighing, log)
        pushed = _balance(cards, film.result(), log)
        say("Freezing a moment of braking, and pushing it")
        path = cards.folder / f"push-{cards.test.push.position_pct:g}.toml"
        car = driven_car(path, log, by_pushes=pushed)
        (frozen,) = frozen_phases(car, [BRAKE], mass_g=FROZEN_BALLAST_G, start_mm=None, where=str(path), seed=seed)
        still = _frozen_truth(truth, frozen)
        frozen_cards = _cards(out / "frozen", replace(setup, name="frozen", title="braking, frozen"), still)
        again = pool.submit(_filmed, frozen_cards, still, seed + 1)
        say("Working out where the balance point can go")
        asked = DriftQuestion(phases=DRIFT, seed=seed)
        answers = answer_driven(car, asked, where=str(path))
        stiff = SetUp(
            name="front-bar",
            title="stiffer front bar",
            mass_g=setup.mass_g,
            cg_mm=setup.cg_mm,
            car=ON_SPRINGS | {"chassis.front.bar_n_per_mm": BARRED},
        )
        bar_cards = _cards(out / stiff.name, stiff, truth)
        bar_path = bar_cards.folder / path.name
        barred = answer_driven(driven_car(bar_path, log, by_pushes=pushed), asked, where=str(bar_path))
        verdict = landed(frozen, _balance(frozen_cards, again.result(), log))
    share, height = _on_the_flat(sprung, tilt)
    return MovingStory(
        pushed=pushed,
        tilt=tilt,
        true_share_pct=share,
        true_height_mm=height,
        frozen=frozen,
        verdict=verdict,
        answers=answers,
        barred=barred,
        change=differences(answers, barred),
    )


def _cards(folder: Path, setup: SetUp, truth: Truth) -> CardSet:
    """The cards of a set-up, weights read off kitchen scales typed in, one car whatever the set-up."""
    typed = {"typed.weights_g": [float(round(one)) for one in truth.corner_g], "grip.level_u": 0.1}
    path = write_cards(folder, replace(setup, test=dict(setup.test) | typed), (50.0,))[0]
    keys = CAR_KEYS | dict(setup.car) | {"name": f"Dunlin, {setup.title}", "id": virtual_id("car")}
    (folder / "car.toml").write_text(card_text("car", keys, head="The virtual bench's car on springs."), "utf-8")
    return read_set(path)


def _true_chassis(cards: CardSet, truth: Truth, rng: np.random.Generator) -> Chassis:
    """The springs that the virtual car really has, off its card by draws from what the card leaves open."""
    z = rng.standard_normal(5)
    section, geometry = cards.car.chassis, cards.car.geometry
    assert section is not None
    scale = {
        "spring_front": 1 + section.front.spring_n_per_mm_u / section.front.spring_n_per_mm * z[0],
        "spring_rear": 1 + section.rear.spring_n_per_mm_u / section.rear.spring_n_per_mm * z[1],
        "ratio_front": 1 + section.front.motion_ratio_u / section.front.motion_ratio * z[2],
        "ratio_rear": 1 + section.rear.motion_ratio_u / section.rear.motion_ratio * z[3],
    }
    height = (geometry.cg_height_mm + geometry.cg_height_mm_u * z[4]) * 1e-3
    load = truth.corner_g * 1e-3 * G
    return moving_car(cards.car, load, where="virtual car", scale=scale, height=height).chassis


def _tilted_rows(cards: CardSet, sprung: Chassis, rng: np.random.Generator) -> list[TiltRow]:
    rows = []
    plates = PLATES_G + rng.standard_normal(4)
    for degrees in TILT_DEG:
        angle = np.radians(degrees)
        height = float(np.sin(angle)) * cards.bench.tilt.length_mm
        empty = plates * np.cos(angle) + PAD_U_G / 2 * rng.standard_normal(4)
        for way in Way:
            lean = way.sign * angle
            state = equilibrium(sprung, grade=0.0 if way.sideways else lean, bank=lean if way.sideways else 0.0)
            on = state.load / G * 1e3
            where = on if way.sign > 0 else on[TURNED_PAD]
            read = where + plates * np.cos(angle) + PAD_U_G * rng.standard_normal(4)
            rows.append(
                TiltRow(way=way.value, height_mm=height, pad_g=four(read), empty_g=four(empty), count=3, pressed=True)
            )
    return rows


def _on_the_flat(sprung: Chassis, tilt: TiltFound) -> tuple[float, float]:
    """Share, %, and effective height, mm, of the virtual car accelerated on the flat as the largest tilt does."""
    a = tilt.result.across[-1].sideways_g * G
    moved = (equilibrium(sprung, 0.0, a).load - equilibrium(sprung, 0.0, -a).load) / 2
    axle = np.array([moved[1] - moved[0], moved[3] - moved[2]]) / 2
    height = float(axle @ np.asarray(sprung.track)) * G / (float(sprung.weight) * a)
    return float(100 * axle[0] / axle.sum()), 1e3 * height


def _frozen_truth(truth: Truth, frozen: FrozenPhase) -> Truth:
    """The same virtual car with the ballast where it was said to go."""
    put = FreeBallast(mass=FROZEN_BALLAST_G * 1e-3, along=(-1.0, 1.0), across=(-1.0, 1.0))
    loads: FloatArray = loads_with(truth.pushed.loads, truth.pushed.contacts, frozen.ballast, put, gravity=G)
    pushed = replace(
        truth.pushed,
        loads=loads,
        mass=float(loads.sum()) / G,
        cg=np.asarray((loads[:, None] * truth.pushed.contacts).sum(0) / loads.sum()),
    )
    return replace(truth, corner_g=loads / G * 1e3, pushed=pushed)


def _filmed(cards: CardSet, truth: Truth, seed: int) -> MeasuredClip:
    """A push filmed and measured; for a worker."""
    clip = cards.folder / cards.test.clip
    film_virtual_push(cards, truth, clip, seed=seed)
    return measured_clip(clip, cards)


def _balance(cards: CardSet, clip: MeasuredClip, log: BenchLog) -> ByPushes:
    for answer in answer_clip(cards, write_measured(clip, cards, log), log):
        if answer.balance is not None and answer.balance.pct is not None and answer.balance.u is not None:
            return ByPushes(pct=answer.balance.pct, u=answer.balance.u, count=1)
    raise BenchError(
        "the virtual push tells no balance point", where=cards.test.name, remedy="Run it once more with another --seed"
    )
