"""Random cars, pushes and cards for `change.py`: what really is, and what cards and clips say of it."""

from dataclasses import dataclass, replace

import numpy as np
from change_truth import Scene, true_kappa

from analysis.balance.results import BalanceDoubts, Placing, SharedTurn, TurnSeen
from analysis.forecast.inputs import CarState, PushState
from analysis.measured.loaded import PosesUsed

G = 9.80665
WHEELBASE_U, PLACE_U, LOAD_U, LEVEL_U, WHEEL_U = 0.0005, 0.001, 0.02, 0.15, 0.01
SHARE_U, HEIGHT_U, ALONG_U, PLATE_U, SCALE_U = 0.1, 0.001, 0.05, 0.001, 0.001
"""Standard uncertainties on the cards: m, m, N, relative, relative; share, m, relative, m, relative."""
ADVANCE = 0.06
"""m, the finger's way."""
FRONT_LESS_REAR = np.array([0.5, 0.5, -0.5, -0.5])


@dataclass
class SetUps:
    """n set-ups: what the cards say (nominal) and the errors (n, ...), which a second set-up may share or not."""

    wheelbase: np.ndarray
    half_track: np.ndarray
    load: np.ndarray
    ratio: np.ndarray
    errors: dict
    drag: np.ndarray
    drag_u: np.ndarray
    level: float = 0.8

    def truth(self):
        """place (n, 4, 2), load, grip, along, drag (n, 4), roll share (n,), wheelbase (n,)."""
        e, n = self.errors, len(self.wheelbase)
        length = self.wheelbase + WHEELBASE_U * e["wheelbase"]
        half = self.half_track[:, None] + PLACE_U * e["track"]
        place = np.zeros((n, 4, 2))
        place[:, :2, 0] = length[:, None]
        place[:, 2:, 0] = PLACE_U * e["rear place"]
        place[:, :, 1] = np.stack([half[:, 0], -half[:, 0], half[:, 1], -half[:, 1]], -1)
        grip = self.level * np.exp(LEVEL_U * e["level"][:, None] + WHEEL_U * e["wheels"])
        grip = grip * np.exp(np.log(self.ratio)[:, None] * FRONT_LESS_REAR)
        load = np.maximum(self.load + LOAD_U * e["load"], 0.01)
        along = 1.0 + ALONG_U * np.repeat(e["along"], 2, axis=1) * (self.drag >= 1.0)
        drag = np.clip(self.drag + self.drag_u * e["drag"], 1e-4, 1.0)
        share = np.clip(0.5 + SHARE_U * e["share"], 0.0, 1.0)
        return place, load, grip, along, drag, share, length

    def car(self, i):
        """The car of set-up i as its card has it: all tyres alike."""
        L, h = self.wheelbase[i], self.half_track[i]
        place_u = np.zeros((4, 2))
        place_u[2:, 0] = PLACE_U
        place_u[:, 1] = PLACE_U
        return CarState(
            wheelbase=L,
            wheelbase_u=WHEELBASE_U,
            contact_place=np.array([[L, h], [L, -h], [0.0, h], [0.0, -h]]),
            contact_place_u=place_u,
            load=self.load[i],
            load_covariance=np.eye(4) * LOAD_U**2,
            grip=np.full(4, self.level),
            grip_common_u=LEVEL_U,
            grip_ratio_u=0.2,
            grip_wheel_u=WHEEL_U,
            front_roll_share_u=SHARE_U,
            drag=self.drag[i],
            drag_u=self.drag_u[i],
        )


SIZES = {"wheelbase": (), "track": (2,), "rear place": (2,), "level": (), "wheels": (4,), "load": (4,)}
SIZES |= {"along": (2,), "drag": (4,), "share": (), "plate": (), "scale": (), "mark": (), "height": (), "wind": ()}


def draw_errors(rng, n):
    """Standard normal errors of n set-ups."""
    return {name: rng.standard_normal((n, *size)) for name, size in SIZES.items()}


def draw_set_ups(rng, n, *, drag="blocked", spread=0.1):
    """n random cars. drag: "blocked", "rolling", "front free" or "rear free".  spread: of ln(front over rear grip)."""
    length, mass = rng.uniform(0.2, 0.32, n), rng.uniform(1.2, 2.2, n)
    front = rng.uniform(0.42, 0.58, n)[:, None]
    load = mass[:, None] * G / 2.0 * np.concatenate([front, front, 1.0 - front, 1.0 - front], 1)
    load = load * (1.0 + 0.02 * rng.standard_normal((n, 4)))
    free = {"blocked": "", "rolling": "fr", "front free": "f", "rear free": "r"}[drag]
    which = np.array(["f" in free] * 2 + ["r" in free] * 2)
    rolling = np.where(which, rng.uniform(0.02, 0.05, (n, 1)), 1.0)
    return SetUps(
        wheelbase=length,
        half_track=rng.uniform(0.075, 0.095, n),
        load=load,
        ratio=np.exp(spread * rng.standard_normal(n)),
        errors=draw_errors(rng, n),
        drag=rolling,
        drag_u=np.where(which, 0.005, 0.0) * np.ones((n, 1)),
    )


@dataclass
class Pushes:
    """n pushes, one of each set-up: what is seen, what the cards say, and the truth.

    kappa: true (n,), 1/m.  balance: (n,), of this very push.  station: (n,), true, m.  nose, tail: (n,) true, mm.
    """

    seen: list
    push: list
    doubts: list
    kappa: np.ndarray
    balance: np.ndarray
    station: np.ndarray
    nose: np.ndarray
    tail: np.ndarray


def draw_pushes(rng, set_ups, pct, *, placing, mark_u, scatter, kappa_u, side):
    """One push of every set-up at pct (n,), per cent of the card's wheelbase.

    placing: of each (n,).  mark_u: (n,), points, of the notch itself.  scatter: of F/R, relative.  kappa_u: (n,), 1/m.
    """
    n, e = len(pct), set_ups.errors
    pushed = replace(set_ups, ratio=set_ups.ratio * np.exp(scatter * rng.standard_normal(n)))
    place, load, grip, along, drag, share, length = pushed.truth()
    anew = np.array([one.points for one in placing])
    station = (pct + mark_u * e["mark"] + anew * rng.standard_normal(n)) / 100.0 * set_ups.wheelbase
    height = np.maximum(0.008 + HEIGHT_U * e["height"], 0.0)
    scene = Scene(
        place=place,
        load=load,
        grip=grip,
        along=along,
        drag=drag,
        station=station,
        height=height,
        share=share,
        side=side,
    )
    middle = set_ups.wheelbase / 2.0
    kappa = true_kappa(scene, middle)
    poses = PosesUsed.BETWEEN_LOADED
    plate, scale = -(kappa**2) * PLATE_U, -kappa * SCALE_U
    said = kappa * (1.0 + poses.share * e["wind"]) + plate * e["plate"] + scale * e["scale"]
    said = said + kappa_u * rng.standard_normal(n)
    seen, push, doubts = [], [], []
    for i in range(n):
        travel = side[i] * ADVANCE / (1.0 + said[i] * (station[i] - middle[i]))
        shared = (
            SharedTurn(name="marker plate", effect=-(said[i] ** 2) * PLATE_U),
            SharedTurn(name="floor's scale", effect=-said[i] * SCALE_U),
        )
        whole = np.sqrt(kappa_u[i] ** 2 + sum(one.effect**2 for one in shared))
        seen.append(
            TurnSeen(
                kappa=said[i],
                own_u=kappa_u[i],
                interval=(said[i] - 1.959964 * whole, said[i] + 1.959964 * whole),
                turn=2.0 * np.arcsin(np.clip(said[i] * travel / 2.0, -1.0, 1.0)),
                travel=travel,
                wheelbase=set_ups.wheelbase[i],
                shared=shared,
                poses=poses,
            )
        )
        push.append(
            PushState(
                station=pct[i] / 100.0 * set_ups.wheelbase[i],
                station_u=np.hypot(mark_u[i], anew[i]) / 100.0 * set_ups.wheelbase[i],
                side=int(side[i]),
                height=0.008,
                height_u=HEIGHT_U,
                finger="rolling",
                path="fixed on car",
            )
        )
        doubts.append(BalanceDoubts(placing=placing[i], along_across_u=(ALONG_U, ALONG_U)))
    going = 1e3 * ADVANCE / (1.0 + kappa * (station - middle))
    return Pushes(
        seen=seen,
        push=push,
        doubts=doubts,
        kappa=kappa,
        balance=scene.balance(length),
        station=100.0 * station / length,
        nose=going * (1.0 + kappa * middle),
        tail=going * (1.0 - kappa * middle),
    )


def random_placing(rng, n):
    """(n,) a bare finger or pin and rail."""
    return [Placing.BARE_FINGER if bare else Placing.PIN_AND_RAIL for bare in rng.random(n) < 0.5]
