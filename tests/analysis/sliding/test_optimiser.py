"""The sliding solver against general-purpose optimisers that see only the power function, and in high precision."""

import math

import mpmath
import numpy as np
import pytest
from scipy.optimize import minimize, minimize_scalar

from analysis.sliding import LoadTransfer, solve_push

from .sliding_cars import contacts_of, finger_of, power, power_of_one, random_cars

COUNT = 110
BY_SIMPLEX = 8


def best_by_simplex(function, size: int = 2, scales=(1.0, 0.03, 1e-3, 1e-5, 1e-7)) -> tuple[float, np.ndarray]:
    """Nelder-Mead with restarts: needs no derivatives, so kinks do not mislead it."""
    found = np.full(size, 0.01)
    for scale in scales:
        simplex = found + scale * np.vstack([np.zeros(size), np.eye(size)])
        options = {"xatol": 1e-4 * scale, "fatol": 1e-17, "initial_simplex": simplex, "maxiter": 400}
        result = minimize(function, found, method="Nelder-Mead", options=options)
        found = result.x
    return float(result.fun), found


@pytest.mark.parametrize(("ellipse", "drag", "seed"), [(False, (0.01, 1.0), 1), (True, (0.1, 1.0), 2)])
def test_power_and_twist_of_a_sliding_finger(ellipse: bool, drag: tuple[float, float], seed: int) -> None:
    cars = random_cars(COUNT, np.random.default_rng(seed), drag=drag)
    motion = solve_push(contacts_of(cars, ellipse=ellipse), finger_of(cars))
    capacity = cars["grip"] * cars["load"]
    assert np.all(motion.residual < 1e-12)
    ground = {name: cars[name] for name in ("place", "drag", "heading")}
    again = power(motion.twist, capacity=capacity, ellipse=ellipse, **ground)
    np.testing.assert_allclose(motion.power, again, rtol=1e-11)
    # A convex function that rises everywhere on a circle has its minimum inside: all cars, ever smaller circles.
    reach, station = cars["wheelbase"], cars["station"]
    mine = np.stack([motion.twist[:, 0], motion.twist[:, 2] * reach], axis=-1)
    around = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    weight, flat = capacity.sum(axis=-1), np.zeros(COUNT, dtype=bool)
    wide = {name: value[:, None] for name, value in ground.items()}
    for radius in (0.3, 1e-2, 1e-4, 1e-6):
        spot = mine[:, None] + radius * np.stack([np.cos(around), np.sin(around)], axis=-1)
        omega = spot[..., 1] / reach[:, None]
        twist = np.stack([spot[..., 0], 1.0 - omega * station[:, None], omega], axis=-1)
        rise = power(twist, capacity=capacity[:, None], ellipse=ellipse, **wide).min(axis=-1) - again
        assert np.all(rise > -1e-15 * weight)
        flat = rise < 2e-14 * weight  # so near the minimum nothing can be seen any more
        assert not flat.any() or radius == 1e-6
    assert flat.sum() < COUNT // 10
    for k in range(BY_SIMPLEX):
        lost = power_of_one(cars["place"][k], capacity[k], cars["drag"][k], cars["heading"][k], ellipse=ellipse)

        def twist_of(z: np.ndarray, k=k) -> tuple[float, float, float]:
            omega = z[1] / float(reach[k])
            return z[0], 1.0 - omega * float(station[k]), omega

        value, z = best_by_simplex(lambda z, lost=lost, twist_of=twist_of: lost(*twist_of(z)))
        assert motion.power[k] <= value + 1e-12 * weight[k]  # never above what the optimiser found
        assert motion.power[k] == pytest.approx(value, rel=1e-9)  # nor below: the optimiser's own accuracy
        if not flat[k]:
            np.testing.assert_allclose(
                np.array(twist_of(z)) * [1, 1, reach[k]], motion.twist[k] * [1, 1, reach[k]], atol=1e-6
            )


def test_power_and_twist_of_a_sticking_finger() -> None:
    cars = random_cars(COUNT, np.random.default_rng(3))
    motion = solve_push(contacts_of(cars), finger_of(cars, "sticking"))
    capacity = cars["grip"] * cars["load"]
    assert np.all(motion.residual < 1e-12)
    for k in range(COUNT):
        ground = {"place": cars["place"][k], "capacity": capacity[k], "drag": cars["drag"][k]}
        ground |= {"heading": cars["heading"][k]}

        def twist(omega: float, k=k) -> np.ndarray:
            return np.array([-omega * 0.1, 1.0 - omega * cars["station"][k], omega])

        result = minimize_scalar(
            lambda omega, t=twist, g=ground: float(power(t(omega), **g)), bracket=(-5, 5), options={"xtol": 1e-14}
        )
        assert motion.power[k] <= result.fun + 1e-12 * capacity[k].sum()
        assert motion.power[k] == pytest.approx(result.fun, rel=1e-9)
        np.testing.assert_allclose(motion.twist[k], twist(result.x), atol=2e-6)


def test_push_with_height_is_the_fixed_point_of_its_own_loads() -> None:
    """Power at the loads of the answer, minimised afresh by an optimiser; loads from the moment balance.

    The pushes are square to the side, slanted, and along the car, which moves load between the axles as well.
    """
    cars = random_cars(12, np.random.default_rng(4), drag=(0.3, 1.0))
    height, share = 0.02, 0.4
    slant = np.repeat([0.0, 0.4, -1.2], 4)
    normal = np.stack([np.sin(slant), np.cos(slant)], axis=-1)
    lean = LoadTransfer(
        track_front=cars["track"], track_rear=cars["track"], front_roll_share=share, wheelbase=cars["wheelbase"]
    )
    motion = solve_push(contacts_of(cars), finger_of(cars, height=height, direction=normal), transfer=lean)
    assert motion.certified.all()
    for k in range(12):
        np.testing.assert_allclose(motion.push_force[k], motion.power[k] * normal[k], rtol=1e-9, atol=1e-9)
        along, across = motion.push_force[k] * height / [cars["wheelbase"][k], cars["track"][k]]
        rest = cars["load"][k]
        axle = np.repeat([rest[:2].sum(), rest[2:].sum()], 2)
        load = rest + along * rest / axle * [1, 1, -1, -1] + across * np.array([share, -share, 1 - share, share - 1])
        np.testing.assert_allclose(motion.load[k], load, rtol=1e-9)
        ground = {"place": cars["place"][k], "capacity": cars["grip"][k] * load, "drag": cars["drag"][k]}
        ground |= {"heading": cars["heading"][k]}
        lost = power_of_one(**ground)
        (nx, ny), s = normal[k], float(cars["station"][k])

        def twist(z: np.ndarray, nx=nx, ny=ny, s=s) -> tuple[float, float, float]:
            ahead = 1.0 - z[1] * (ny * s + nx * 0.1)  # the touched point, at (s, -0.1), moves on by 1 along the normal
            return nx * ahead + ny * z[0], ny * ahead - nx * z[0], z[1]

        value, _ = best_by_simplex(lambda z, lost=lost, twist=twist: lost(*twist(z)))
        assert motion.power[k] == pytest.approx(value, rel=1e-9)


def test_solid_axle_minimises_over_one_shared_speed() -> None:
    cars = random_cars(5, np.random.default_rng(5))
    motion = solve_push(contacts_of(cars, coupling=[0, 0, 1, 1]), finger_of(cars))
    assert np.all(motion.residual < 1e-12)
    for k in range(5):
        capacity = cars["grip"][k] * cars["load"][k]
        front = power_of_one(cars["place"][k, :2], capacity[:2], cars["drag"][k, :2], cars["heading"][k, :2])
        rear = [
            (*cars["place"][k, i], capacity[i], np.cos(d), np.sin(d)) for i in (2, 3) for d in [cars["heading"][k, i]]
        ]
        limit = float((cars["drag"][k, 2:] * capacity[2:]).sum())

        def total(z: np.ndarray, k=k, front=front, rear=rear, limit=limit) -> float:
            vx, vy, omega = z[0], 1 - z[1] * cars["station"][k], z[1]
            slip = 0.0
            for x, y, m, cos, sin in rear:
                px, py = vx - omega * y, vy + omega * x
                slip += m * math.hypot(px * cos + py * sin - z[2], py * cos - px * sin)
            return front(vx, vy, omega) + slip + limit * abs(z[2])

        value, _ = best_by_simplex(total, 3, (1.0, 0.1, 0.03, 1e-3, 1e-4, 1e-5))
        assert motion.power[k] <= value + 1e-12 * capacity.sum()
        assert motion.power[k] == pytest.approx(value, rel=1e-6)  # the simplex stalls in three unknowns with kinks


def test_twist_in_high_precision() -> None:
    """Stationary point of the power in 40 digits (mpmath), for smooth cars; twist (vx, vy, omega L) within 1e-9."""
    cars = random_cars(20, np.random.default_rng(6), drag=(0.03, 0.9))
    motion = solve_push(contacts_of(cars, ellipse=True), finger_of(cars))
    checked = 0
    with mpmath.workdps(40):
        for k in range(20):
            if not motion.sliding[k].all():
                continue  # a wheel holds the pivot: no stationary point
            s, base = mpmath.mpf(float(cars["station"][k])), float(cars["wheelbase"][k])

            def gradient(vx, omega, k=k, s=s):
                total = [mpmath.mpf(0), mpmath.mpf(0)]
                for i in range(4):
                    x, y = (mpmath.mpf(float(c)) for c in cars["place"][k, i])
                    d = mpmath.mpf(float(cars["heading"][k, i]))
                    m = mpmath.mpf(float(cars["grip"][k, i])) * mpmath.mpf(float(cars["load"][k, i]))
                    a = mpmath.mpf(float(cars["drag"][k, i]))
                    px, py = vx - omega * y, 1 - omega * s + omega * x
                    along, across = px * mpmath.cos(d) + py * mpmath.sin(d), py * mpmath.cos(d) - px * mpmath.sin(d)
                    norm = mpmath.sqrt((a * along) ** 2 + across**2)
                    for j, (qx, qy) in enumerate(((1, 0), (-y, x - s))):
                        da = qx * mpmath.cos(d) + qy * mpmath.sin(d)
                        dc = qy * mpmath.cos(d) - qx * mpmath.sin(d)
                        total[j] += m * (a * a * along * da + across * dc) / norm
                return total

            vx, _, omega = motion.twist[k]
            root = mpmath.findroot(gradient, (mpmath.mpf(vx), mpmath.mpf(omega)), tol=1e-60, maxsteps=60)
            exact = np.array([float(root[0]), float(1 - root[1] * s), float(root[1]) * base])
            np.testing.assert_allclose(motion.twist[k] * [1, 1, base], exact, atol=1e-9)
            checked += 1
    assert checked >= 8
