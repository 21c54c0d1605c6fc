"""From two rests to a turn per travel with its doubt: every figure against a second calculation.

The second calculation moves complex numbers about and differentiates numerically, weighs rests in plain loops, takes
Student's t from scipy.stats and Fieller's ends as roots of his quadratic (E. C. Fieller, J. R. Stat. Soc. B 16 (1954)
175-185); effective degrees of freedom as in JCGM 100:2008, G.4.1.
"""

import numpy as np
import pytest
import scipy.stats

from analysis.base.arrays import FloatArray
from analysis.base.errors import InputError
from analysis.base.pivot import LARGEST_KAPPA
from analysis.measured.swing import (
    RestPose,
    mean_rest,
    measure_slide,
    pose_drift,
    ratio_interval,
    whitened_scatter,
)

L = 0.263


def covariance(rng: np.random.Generator, size: tuple[float, float, float]) -> FloatArray:
    root = rng.normal(size=(3, 3)) * np.array(size)[:, None]
    return root @ root.T / 3.0


def rests(seed: int, *, turn: float = 0.21, dof: tuple[float, float] = (38.0, 21.0)) -> tuple[RestPose, RestPose]:
    """Two rests with full covariances, about a pole beside the rear axle."""
    rng = np.random.default_rng(seed)
    pole, yaw = complex(*rng.uniform(-0.05, 0.35, 2)), 0.7
    first = 0.12 - 0.04j
    second = first + np.exp(1j * yaw) * pole * (1 - np.exp(1j * turn))
    means = [np.array([one.real, one.imag, angle]) for one, angle in ((first, yaw), (second, yaw + turn))]
    made = [
        RestPose(
            mean=mean,
            scatter=covariance(rng, (2e-5, 3e-5, 2e-4)),
            repeating=covariance(rng, (1e-5, 2e-5, 1e-4)),
            dof=one,
        )
        for mean, one in zip(means, dof, strict=True)
    ]
    return made[0], made[1]


def told(numbers: FloatArray, start: RestPose, end: RestPose, shared: FloatArray) -> FloatArray:
    """chord, travel, pole x, pole y. numbers: errors of both poses (6), plate x y yaw, scale, wheelbase, causes."""
    poses = []
    for k, rest in enumerate((start, end)):
        x, y, yaw = rest.mean + numbers[3 * k : 3 * k + 3] + numbers[11:] @ shared[:, 3 * k : 3 * k + 3]
        z = complex(x, y) * (1 + numbers[9]) + np.exp(1j * yaw) * complex(numbers[6], numbers[7])
        poses.append((z, yaw + numbers[8]))
    (z1, a), (z2, b) = poses
    between = (z2 - z1) * np.exp(-0.5j * (a + b))
    chord = 2 * np.sin((b - a) / 2)
    # the pivot is told in parts of the wheelbase: a longer car makes the same pivot a smaller part
    sideways = between.imag * L / (L + numbers[10])
    pole = 1j * between / chord
    return np.array([chord, sideways + L * chord / 2, pole.real, pole.imag])


def propagated(start: RestPose, end: RestPose, doubts: FloatArray, shared: FloatArray) -> dict[str, FloatArray]:
    """Covariances (4, 4) of `told` from each group of causes, by central differences."""
    count = 11 + len(shared)
    slope = np.empty((4, count))
    for k in range(count):
        step = np.zeros(count)
        step[k] = 1e-6
        slope[:, k] = (told(step, start, end, shared) - told(-step, start, end, shared)) / 2e-6
    groups = {
        "start": start.scatter,
        "end": end.scatter,
        "start stays": start.repeating,
        "end stays": end.repeating,
        "cards": np.diag(np.append(doubts[:4], 0.0) ** 2),
        "wheelbase": np.array([[doubts[4] ** 2]]),
        "causes": np.eye(len(shared)),
    }
    at = {
        "start": slice(0, 3),
        "end": slice(3, 6),
        "start stays": slice(0, 3),
        "end stays": slice(3, 6),
        "cards": slice(6, 11),
        "wheelbase": slice(10, 11),
        "causes": slice(11, None),
    }
    return {name: slope[:, at[name]] @ part @ slope[:, at[name]].T for name, part in groups.items()}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("turn", [0.21, -0.13])
def test_every_doubt_reaches_the_figures_as_differences_say(seed: int, turn: float) -> None:
    start, end = rests(seed, turn=turn)
    rng = np.random.default_rng(100 + seed)
    doubts = np.array([0.8e-3, 0.5e-3, 4e-3, 2e-3, 0.4e-3])
    shared = rng.normal(size=(2, 6)) * np.array([2e-5, 2e-5, 2e-4] * 2)
    found = measure_slide(
        start, end, wheelbase=L, wheelbase_u=doubts[4], place_u=doubts[:3], scale_u=doubts[3], shared=shared
    )
    chord, travel, *pole = told(np.zeros(13), start, end, shared)
    parts = propagated(start, end, doubts, shared)
    whole = sum(parts.values())
    assert found.kappa == pytest.approx(chord / travel, rel=1e-10)
    assert (found.turn, found.travel) == pytest.approx((turn, travel), rel=1e-10)
    of_kappa = np.array([1.0, -chord / travel]) / travel
    assert found.kappa_u == pytest.approx(np.sqrt(of_kappa @ whole[:2, :2] @ of_kappa), rel=1e-4)
    common = parts["cards"] + parts["wheelbase"] + parts["causes"]
    assert found.common_u == pytest.approx(np.sqrt(of_kappa @ common[:2, :2] @ of_kappa), rel=1e-4)
    assert found.travel_u == pytest.approx(np.sqrt(whole[1, 1]), rel=1e-4)
    assert found.turn_u == pytest.approx(np.sqrt(whole[0, 0]) / np.cos(turn / 2), rel=1e-4)
    np.testing.assert_allclose(found.pole, pole, rtol=1e-9)
    # the place of the pole itself does not hang on the wheelbase
    np.testing.assert_allclose(found.pole_covariance, (whole - parts["wheelbase"])[2:, 2:], rtol=2e-3, atol=1e-13)
    scattered = [float(of_kappa @ parts[name][:2, :2] @ of_kappa) for name in ("start", "end")]
    dof = found.kappa_u**4 / (sum(scattered) ** 2 / 21.0)
    t = scipy.stats.t(dof).ppf(0.975)
    pair = whole[:2, :2]
    quadratic = [travel**2 - t**2 * pair[1, 1], -2 * (chord * travel - t**2 * pair[0, 1]), chord**2 - t**2 * pair[0, 0]]
    np.testing.assert_allclose(found.interval, sorted(np.roots(quadratic).real), rtol=1e-5)
    assert found.turned


def test_with_sure_cards_only_the_rests_count() -> None:
    start, end = rests(9, dof=(6.0, 30.0))
    found = measure_slide(start, end, wheelbase=L, wheelbase_u=0.0, place_u=np.zeros(3), scale_u=0.0)
    assert found.common_u == 0.0
    still = [
        RestPose(mean=one.mean, scatter=np.zeros((3, 3)), repeating=np.zeros((3, 3)), dof=9.0) for one in (start, end)
    ]
    exact = measure_slide(*still, wheelbase=L, wheelbase_u=0.0, place_u=np.zeros(3), scale_u=0.0)
    assert exact.kappa_u == 0.0
    assert exact.interval == pytest.approx((exact.kappa, exact.kappa), rel=1e-9)
    # only one rest scatters: its own degrees of freedom, and no more
    one = measure_slide(start, still[1], wheelbase=L, wheelbase_u=0.0, place_u=np.zeros(3), scale_u=0.0)
    assert one.kappa_u < found.kappa_u


@pytest.mark.parametrize("times", [2.5, 3.3])
def test_a_turn_is_told_from_zero_at_one_in_two_hundred(times: float) -> None:
    """The critical value for many degrees of freedom is 2.807 (table of the normal law, 99.5 % two-sided)."""
    quiet = np.diag([1e-8, 1e-8, 1e-6]) ** 2
    many = [RestPose(mean=np.zeros(3), scatter=quiet, repeating=np.zeros((3, 3)), dof=1e7)]
    turn = times * 1e-6 * np.sqrt(2)
    many.append(RestPose(mean=np.array([0.0, 0.05, turn]), scatter=quiet, repeating=np.zeros((3, 3)), dof=1e7))
    found = measure_slide(*many, wheelbase=L, wheelbase_u=0.0, place_u=np.zeros(3), scale_u=0.0)
    assert found.turned is (times > 2.807)


def test_a_turn_about_the_very_middle_and_rests_that_coincide() -> None:
    still = RestPose(mean=np.zeros(3), scatter=np.eye(3) * 1e-12, repeating=np.zeros((3, 3)), dof=10.0)
    sure = {"wheelbase": L, "wheelbase_u": 0.0, "place_u": np.zeros(3), "scale_u": 0.0}
    with pytest.raises(InputError, match="coincide"):
        measure_slide(still, still, **sure)
    turn = 0.2
    z = L / 2 * (1 - np.exp(1j * turn))
    swung = RestPose(mean=np.array([z.real, z.imag, turn]), scatter=still.scatter, repeating=still.repeating, dof=10.0)
    found = measure_slide(still, swung, **sure)
    assert abs(found.kappa) > 1e5
    assert found.interval[0] > found.interval[1]  # runs through infinity
    np.testing.assert_allclose(found.pole, [L / 2, 0.0], atol=1e-9)
    # forward only: no pole, and nothing is divided by zero aloud
    ahead = RestPose(mean=np.array([0.0, 0.1, 0.0]), scatter=still.scatter, repeating=still.repeating, dof=10.0)
    with np.errstate(divide="raise"):
        straight = measure_slide(still, ahead, **sure)
    assert (straight.kappa, straight.turned) == (0.0, False)
    assert not np.any(np.isfinite(straight.pole))


def test_a_rest_is_the_weighted_mean_with_the_spread_it_shows() -> None:
    rng = np.random.default_rng(3)
    n = 7
    stated = np.array([covariance(rng, (2e-5, 3e-5, 2e-4)) for _ in range(n)])
    pose = np.array([0.1, -0.2, 0.3]) + rng.normal(size=(n, 3)) * 1e-4
    pooled, repeating = covariance(rng, (1.2, 0.8, 1.0)), covariance(rng, (1e-5, 1e-5, 1e-4))
    found = mean_rest(pose, stated, repeating, pooled, 12.5)
    total, weighted = np.zeros((3, 3)), np.zeros(3)
    for one, c in zip(pose, stated, strict=True):
        total += np.linalg.inv(c)
        weighted += np.linalg.inv(c) @ one
    np.testing.assert_allclose(found.mean, np.linalg.solve(total, weighted), rtol=1e-9)
    spread = np.zeros((3, 3))
    for c in stated:
        gain = np.linalg.inv(total) @ np.linalg.inv(c)
        root = np.linalg.cholesky(c)
        spread += gain @ root @ pooled @ root.T @ gain.T
    np.testing.assert_allclose(found.scatter, spread, rtol=1e-7)
    assert found.dof == 12.5
    np.testing.assert_array_equal(found.repeating, repeating)


@pytest.mark.parametrize(("alike", "n"), [(0.0, 400), (0.6, 400), (0.97, 300), (0.6, 9)])
def test_neighbouring_frames_that_err_alike_count_for_fewer(alike: float, n: int) -> None:
    """Variance of the mean of a first-order autoregression: (1 + r) / (1 - r) times that of independent frames."""
    rng = np.random.default_rng(5)
    noise = rng.normal(size=(n, 3))
    for k in range(1, n):
        noise[k] = alike * noise[k - 1] + np.sqrt(1 - alike**2) * noise[k]
    sigma = np.array([1e-5, 2e-5, 1e-4])
    stated = np.tile(np.diag(sigma**2), (n, 1, 1))
    found = mean_rest(noise * sigma, stated, np.zeros((3, 3)), np.eye(3), 10.0)
    inflation = np.diag(found.scatter) / (sigma**2 / n)
    left = noise - noise.mean(axis=0)
    r = (left[1:] * left[:-1]).sum() / (left**2).sum() + 1.0 / n
    expected = 1.0 if alike == 0.0 or n < 10 else (1 + min(r, 0.9)) / (1 - min(r, 0.9))
    np.testing.assert_allclose(inflation, expected, rtol=1e-9)
    if alike == 0.6 and n > 10:
        assert expected == pytest.approx(4.0, rel=0.35)


def test_scatter_and_drift_of_several_rests() -> None:
    rng = np.random.default_rng(6)
    tracks = []
    for n in (9, 14):
        stated = np.array([covariance(rng, (2e-5, 3e-5, 2e-4)) for _ in range(n)])
        pose = np.array([rng.multivariate_normal(np.zeros(3), c) for c in stated]) + rng.normal(size=3)
        tracks.append((np.sort(rng.uniform(0, 1.5, n)), pose, stated))
    pooled, dof = whitened_scatter([(pose, stated) for _, pose, stated in tracks])
    total = np.zeros((3, 3))
    for _, pose, stated in tracks:
        mean = np.linalg.solve(
            sum(map(np.linalg.inv, stated)), sum(np.linalg.inv(c) @ p for c, p in zip(stated, pose, strict=True))
        )
        for p, c in zip(pose, stated, strict=True):
            white = scipy.linalg.solve_triangular(np.linalg.cholesky(c), p - mean, lower=True)
            total += np.outer(white, white)
    assert dof == 8 + 13
    np.testing.assert_allclose(pooled, total / 21, rtol=1e-6, atol=2e-9)
    rate, chi2 = pose_drift(tracks, pooled)
    above = sum((t - t.mean()) @ p for t, p, _ in tracks)
    below = sum(((t - t.mean()) ** 2).sum() for t, _, _ in tracks)
    np.testing.assert_allclose(rate, above / below, rtol=1e-9)
    mean_stated = np.concatenate([stated for _, _, stated in tracks]).mean(axis=0)
    root = np.linalg.cholesky(mean_stated)
    of_rate = root @ pooled @ root.T / below
    assert chi2 == pytest.approx(rate @ np.linalg.inv(of_rate) @ rate, rel=1e-8)


@pytest.mark.parametrize(
    ("above", "below", "shape"),
    [
        (2.0, 5.0, "closed"),
        (-2.0, 5.0, "closed"),
        (0.1, -5.0, "closed"),
        (6.0, 0.5, "through infinity"),
        (-6.0, 0.5, "through infinity"),
        (6.0, -0.5, "through infinity"),
        (0.5, 0.4, "everything"),
    ],
)
def test_fiellers_ends_are_where_the_test_statistic_meets_the_quantile(above: float, below: float, shape: str) -> None:
    """Fieller: the interval holds the ratios r with (above - r below)^2 <= t^2 var(above - r below)."""
    c = np.array([[0.5, 0.2], [0.2, 0.8]])
    t = 2.1
    low, high = ratio_interval(above, below, c, t)
    if shape == "everything":
        assert (low, high) == (-LARGEST_KAPPA, LARGEST_KAPPA)
        return
    assert (low < high) is (shape == "closed")
    for end in (low, high):
        variance = c[0, 0] - 2 * end * c[0, 1] + end**2 * c[1, 1]
        assert (above - end * below) ** 2 == pytest.approx(t**2 * variance, rel=1e-9)
    ratio = above / below
    assert (low <= ratio <= high) if shape == "closed" else (ratio >= low or ratio <= high)
