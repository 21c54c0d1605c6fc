"""All balance points that a car can reach within its own grip, as a region in the car seen from above."""

from dataclasses import dataclass

import numpy as np

from analysis.base.arrays import BoolArray, FloatArray
from analysis.base.errors import InputError
from analysis.moving.phases import tyres_with_axis, with_axis
from analysis.moving.tyres import Tyres, capacity, checked_tyres, friction_centre
from analysis.springs.chassis import Chassis
from analysis.springs.equilibrium import equilibrium, standing

RASTER = 160
"""Cells along each side of the picture that the area is counted on."""
COARSE_RASTER = 32
"""The same for draws, whose meshes have fewer points."""
INSET = 0.1
"""Of the region's length: where its widths front and rear are taken, in from its ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """Balance points of one car over all accelerations that its tyres can give.

    direction: (d,) rad.  limit: (d,) m/s2, largest acceleration that way.
    edge: (d, 2) m, balance points at the limit.  points: (k, d, 2) m, balance points at the shares of the
    limit in `share` (k,).  area: m2.  station: (lowest, highest) m ahead of the rear axle; side: (rightmost, leftmost)
    m left of the middle.  rest: (2,) m, balance point at rest.  lifts: a wheel lifts somewhere within.
    width: (rear, front) m, sideways, a tenth of the region's length in from either end: its taper.
    lifted: (d, 4), wheels in the air at the limit.  outline: tuple of (j, 2) m, closed lines around the region.
    """

    direction: FloatArray
    limit: FloatArray
    edge: FloatArray
    points: FloatArray
    share: FloatArray
    area: float
    station: tuple[float, float]
    side: tuple[float, float]
    width: tuple[float, float]
    rest: FloatArray
    lifts: bool
    lifted: BoolArray
    outline: tuple[FloatArray, ...]

    def station_pct(self, wheelbase: float) -> tuple[float, float]:
        """Lowest and highest station, per cent of the wheelbase."""
        return 100 * self.station[0] / wheelbase, 100 * self.station[1] / wheelbase


def grip_limit(
    chassis: Chassis, tyres: Tyres, direction: FloatArray, *, within: float = 1e-8
) -> tuple[FloatArray, BoolArray]:
    """Largest acceleration in each direction (rad, car axes), m/s2, and whether the car rolls over before it slides.

    chassis leading axes (...) and direction (d,): returns (..., d).  within: of 1, how nearly it is found.
    The limit is where the four tyres together, each pulling the same way, give just what the car needs: sum of
    capacities = mass * a.
    Source: friction circles; bisection between 0 and the most that tyres or balance allow.
    """
    turn = np.asarray(direction, dtype=float)
    wide = with_axis(chassis)
    along, across = np.cos(turn), np.sin(turn)
    shaped = tyres_with_axis(tyres)
    # no tyre gives more than at vanishing load
    best = (np.asarray(shaped.grip) * (1 + np.asarray(shaped.sensitivity))).max(-1)
    high = np.broadcast_to(best * chassis.gravity, (*chassis.shape, len(turn))).copy()
    low = np.zeros_like(high)
    rolled = np.zeros(high.shape, dtype=bool)
    guess = high.copy()
    for _ in range(60):
        state = equilibrium(wide, guess * along, guess * across)
        with np.errstate(invalid="ignore"):
            gives = np.where(state.rolls_over, -np.inf, capacity(shaped, state.load).sum(-1) / wide.mass)
        short = ~(gives >= guess)
        rolled = np.where(short, state.rolls_over, rolled)
        high, low = np.where(short, guess, high), np.where(short, low, guess)
        near = np.isfinite(gives) & (np.abs(gives - guess) <= within * high)
        if np.all(near | (high - low <= within * high)):
            low = np.where(near, np.where(np.isfinite(gives), gives, low), low)
            rolled = rolled & ~near
            break
        # the tyres change little with load, so what they give is the next guess; halve where that leaves the bracket
        inner = np.isfinite(gives) & (gives > low) & (gives < high)
        aim = np.where(inner, gives, 0.5 * (low + high))
        guess = aim
    return np.where(rolled, low * (1 - 1e-8), low), rolled


def reachable(
    chassis: Chassis, tyres: Tyres, *, directions: int = 100, shares: int = 100, outline: bool = True
) -> Region:
    """The region of balance points of one car.

    directions, shares: how finely accelerations are looked at: 100 each is 1 % of the limit and of the turn.
    outline: also trace the closed line around the region.
    Raises InputError when the car cannot stand at rest.  Source: equilibrium at each acceleration; friction circles.
    """
    checked_tyres(tyres)
    if chassis.shape:
        raise InputError("one set-up at a time", where="region", remedy="Pick one")
    if directions < 8 or shares < 2:
        raise InputError("too few accelerations", where="region", remedy="At least 8 directions and 2 shares")
    turn = np.linspace(0, 2 * np.pi, directions, endpoint=False)
    rest = standing(equilibrium(chassis), what="at rest")
    limit, _ = grip_limit(chassis, tyres, turn)
    share = np.linspace(0, 1, shares + 1)
    a = share[:, None] * limit
    state = equilibrium(chassis, a * np.cos(turn), a * np.sin(turn))
    points = friction_centre(chassis, tyres, state.load)
    good = np.isfinite(points).all(-1)
    area, lines = _area(points, outline=outline)
    flat, wide = points[good], _widths(points)
    return Region(
        direction=turn,
        limit=limit,
        edge=points[-1],
        points=points,
        share=share,
        area=area,
        station=(float(flat[:, 0].min()), float(flat[:, 0].max())),
        side=(float(flat[:, 1].min()), float(flat[:, 1].max())),
        width=(float(wide[0]), float(wide[1])),
        rest=friction_centre(chassis, tyres, rest.load),
        lifts=bool(state.lifted.any()),
        lifted=state.lifted[-1],
        outline=lines,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reaches:
    """What `Region` tells of one car, of n cars at once and more coarsely: for draws.

    station, side, width: (n, 2) m as there.  area: (n,) m2.  limit: (n, d) m/s2.  rest: (n, 2) m.  edge: (n, d, 2) m.
    lifts: (n,).
    """

    station: FloatArray
    side: FloatArray
    width: FloatArray
    area: FloatArray
    limit: FloatArray
    rest: FloatArray
    edge: FloatArray
    lifts: BoolArray


def reaches(chassis: Chassis, tyres: Tyres, *, directions: int = 36, shares: int = 2) -> Reaches:
    """The extent of the regions of (n,) set-ups. tyres: fields (n, 4).  directions, shares: as in `reachable`."""
    turn = np.linspace(0, 2 * np.pi, directions, endpoint=False)
    limit, _ = grip_limit(chassis, tyres, turn, within=1e-6)
    share = np.linspace(0, 1, shares + 1)
    a = limit[:, None] * share[:, None]  # (n, k, d)
    wide, shaped = with_axis(with_axis(chassis)), tyres_with_axis(tyres_with_axis(tyres))
    state = equilibrium(wide, a * np.cos(turn), a * np.sin(turn))
    points = friction_centre(wide, shaped, state.load)
    low, high = np.nanmin(points, axis=(1, 2)), np.nanmax(points, axis=(1, 2))
    return Reaches(
        station=np.stack([low[:, 0], high[:, 0]], -1),
        side=np.stack([low[:, 1], high[:, 1]], -1),
        width=np.stack([_widths(one) for one in points]),
        area=np.array([_area(one, outline=False, raster=COARSE_RASTER)[0] for one in points]),
        limit=limit,
        rest=points[:, 0, 0],
        edge=points[:, -1],
        lifts=np.asarray(state.lifted.any((1, 2, 3))),
    )


def _widths(points: FloatArray) -> FloatArray:
    """(2,) m, how wide the mesh (k, d, 2) is sideways a tenth of its length in from its rear and its front end."""
    x, y = points[..., 0], points[..., 1]
    low, high = np.nanmin(x), np.nanmax(x)
    out = []
    for at in (low + INSET * (high - low), high - INSET * (high - low)):
        ends = []
        for axis in (0, 1):  # along the spokes, and round each ring, which closes upon itself
            other_x, other_y = (np.roll(one, -1, axis) for one in (x, y))
            if axis == 0:
                other_x, other_y = other_x[:-1], other_y[:-1]
            here, there = (x[:-1], y[:-1]) if axis == 0 else (x, y), (other_x, other_y)
            with np.errstate(divide="ignore", invalid="ignore"):
                part = (at - here[0]) / (there[0] - here[0])
                crossing = here[1] + part * (there[1] - here[1])
            ends.append(crossing[(part >= 0) & (part <= 1) & np.isfinite(crossing)])
        found = np.concatenate(ends)
        out.append(float(found.max() - found.min()) if len(found) else 0.0)
    return np.array(out)


def _area(points: FloatArray, *, outline: bool, raster: int = RASTER) -> tuple[float, tuple[FloatArray, ...]]:
    """Area of the union of the mesh's cells, m2, counted on a raster; and closed lines around it.

    points: (k, d, 2), k shares, d directions that close upon themselves.
    """
    mesh = np.concatenate([points, points[:, :1]], 1)
    filled = np.where(np.isfinite(mesh), mesh, np.nanmean(points.reshape(-1, 2), 0))
    low, high = filled.reshape(-1, 2).min(0), filled.reshape(-1, 2).max(0)
    size = high - low
    if np.any(size < 1e-9):  # without load sensitivity on rigid, even axles the region is a line or a point
        return 0.0, ()
    scaled = (filled - low) / size * raster
    step = max(np.abs(np.diff(scaled, axis=0)).max(), np.abs(np.diff(scaled, axis=1)).max())
    fine = int(np.clip(np.ceil(1.5 * step), 1, 12))
    dense = scaled.astype(np.float32)
    for axis in (0, 1):
        a, b = np.take(dense, range(dense.shape[axis] - 1), axis), np.take(dense, range(1, dense.shape[axis]), axis)
        part = np.arange(fine, dtype=np.float32) / np.float32(fine)
        some = np.expand_dims(a, axis + 1) + np.expand_dims(b - a, axis + 1) * part.reshape(
            (1,) * (axis + 1) + (-1,) + (1,) * (2 - axis)
        )
        shape = list(a.shape)
        shape[axis] *= fine
        dense = np.concatenate([some.reshape(shape), np.take(dense, [-1], axis)], axis)
    cell = np.minimum(dense.astype(np.int32), raster - 1)
    hit = np.zeros(raster * raster, dtype=bool)
    hit[(cell[..., 0] * raster + cell[..., 1]).ravel()] = True
    mask = hit.reshape(raster, raster)
    pad = np.pad(mask, 1)
    # a cell on the rim is covered by half on average
    inner = pad[2:, 1:-1] & pad[:-2, 1:-1] & pad[1:-1, 2:] & pad[1:-1, :-2]
    rim = mask & ~inner
    count = mask.sum() - 0.5 * rim.sum()
    area = float(count * size[0] * size[1] / raster**2)
    return area, _lines(pad, low, size) if outline else ()


def _lines(pad: BoolArray, low: FloatArray, size: FloatArray) -> tuple[FloatArray, ...]:
    from contourpy import contour_generator

    z = pad.astype(float)
    z[1:-1, 1:-1] = (4 * z[1:-1, 1:-1] + z[2:, 1:-1] + z[:-2, 1:-1] + z[1:-1, 2:] + z[1:-1, :-2]) / 8
    found = contour_generator(z=z.T).lines(0.5)
    return tuple(low + (np.asarray(line) - 0.5) * size / RASTER for line in found if len(line) > 8)
