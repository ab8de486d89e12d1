"""Noise that hangs together and zeros that drift, against dense linear algebra."""

import numpy as np
import pytest
from scipy.linalg import toeplitz
from scipy.signal import lfilter

from mixer.ground.identification.coloured_noise import Noise, fit_noise
from mixer.ground.identification.drifting_noise import DriftingNoise, Walk, fit_drifting_noise

WHOLE = [slice(0, 4000)]


def autoregression(past: list[float], count: int, seed: int) -> np.ndarray:
    fresh = np.random.default_rng(seed).standard_normal(count + 500)
    return np.asarray(lfilter([1.0], [1.0, *(-np.array(past))], fresh))[500:]


@pytest.mark.parametrize("past", [[0.8], [-0.4], [1.4, -0.7], [0.5, 0.0, 0.3]])
def test_an_autoregression_is_found_again(past: list[float]) -> None:
    """Within four standard deviations of what 4000 rows can tell, 4/sqrt(4000)."""
    found = fit_noise(3.0 * autoregression(past, 4000, 1)[:, None], WHOLE)
    assert len(found.past) >= len(past)
    expected = np.pad(past, (0, len(found.past) - len(past)))
    np.testing.assert_allclose(found.past, expected, atol=4 / np.sqrt(4000))
    assert found.fresh == pytest.approx(3.0, rel=0.05)


def test_white_noise_has_no_past() -> None:
    for seed in range(10):
        white = np.random.default_rng(seed).standard_normal((4000, 1))
        assert len(fit_noise(white, WHOLE).past) == 0


def test_whitening_leaves_nothing_to_foretell() -> None:
    noise = Noise(np.array([1.4, -0.7]), 2.0)
    white = noise.whitened(2.0 * autoregression([1.4, -0.7], 4000, 2)[:, None], WHOLE)[:, 0]
    assert white.std() == pytest.approx(1.0, rel=0.05)
    for lag in range(1, 6):
        assert abs(np.corrcoef(white[lag:], white[:-lag])[0, 1]) < 4 / np.sqrt(4000)


def test_segments_do_not_look_across_the_gap_between_them() -> None:
    noise = Noise(np.array([0.5]), 1.0)
    column = np.array([[1.0], [2.0], [100.0], [101.0], [102.0]])
    white = noise.whitened(column, [slice(0, 2), slice(2, 5)])
    np.testing.assert_allclose(white[:, 0], [2 - 0.5, 101 - 50, 102 - 50.5])
    assert noise.kept([slice(0, 2), slice(2, 5)]).tolist() == [1, 3, 4]


def test_eliminating_the_drift_is_least_squares_with_the_full_covariance() -> None:
    """Normal equations by the tridiagonal route against a dense inverse, uneven times, a gap."""
    rng = np.random.default_rng(3)
    time_s = np.cumsum(rng.uniform(0.01, 0.03, 200)) + np.repeat([0.0, 0.7], 100)
    columns, reading = rng.standard_normal((200, 5)), 10 * rng.standard_normal(200)
    scatter, pace = 1.7, 0.9
    drifting = DriftingNoise(Noise(np.zeros(0), scatter), pace)
    parts = [slice(0, 100), slice(100, 200)]
    reduced = drifting.reduce(time_s, parts, columns, reading)
    walked = pace * np.minimum.outer(time_s - time_s[0], time_s - time_s[0])
    covariance = scatter**2 * np.eye(200) + walked + 1e9  # a level that nobody knows
    weight = np.linalg.inv(covariance)
    np.testing.assert_allclose(
        reduced.weights.T @ reduced.weights, columns.T @ weight @ columns, rtol=1e-5, atol=1e-5
    )
    np.testing.assert_allclose(
        reduced.weights.T @ reduced.left, columns.T @ weight @ reading, rtol=1e-5, atol=1e-5
    )


def test_the_likeliest_walk_is_the_regression_on_all_readings() -> None:
    rng = np.random.default_rng(4)
    time_s = np.arange(80) * 0.02
    rest = rng.standard_normal((80, 2))
    walk = Walk(time_s, gain=1.0, pace=2.0)
    signal = 2.0 * np.minimum.outer(time_s, time_s) + 1e7
    expected = signal @ np.linalg.solve(signal + np.eye(80), rest)
    np.testing.assert_allclose(walk.smooth(rest), expected, atol=1e-4)


def test_walks_drawn_about_the_likeliest_scatter_as_much_as_is_unknown() -> None:
    time_s = np.arange(40) * 0.02
    walk = Walk(time_s, gain=1.3, pace=2.0)
    drawn = walk.about(np.random.default_rng(5).standard_normal((40, 20_000)))
    stiffness = toeplitz([2.0, -1.0, *[0.0] * 38]) / (2.0 * 0.02)
    stiffness[0, 0] = stiffness[-1, -1] = 1 / (2.0 * 0.02)
    unknown = np.diag(np.linalg.inv(stiffness + 1.3**2 * np.eye(40)))
    np.testing.assert_allclose(drawn.var(axis=1), unknown, rtol=0.06)


def test_noise_and_pace_of_a_drift_are_told_from_a_reading() -> None:
    """Averages over 30 tests, so that the bounds, four standard deviations, are narrow."""
    time_s, parts = np.arange(1500) * 0.02, [slice(0, 1500)]
    scatters, paces = [], []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        walk = np.cumsum(rng.standard_normal(1500)) * np.sqrt(3.0 * 0.02)
        columns = rng.standard_normal((1500, 12))
        reading = columns @ rng.standard_normal(12) + walk + 5 * rng.standard_normal(1500)
        rest = 5 * rng.standard_normal((1500, 1))
        found = fit_drifting_noise(time_s, parts, parts, columns, reading, rest)
        scatters.append(found.noise.fresh)
        paces.append(found.pace)
    assert np.mean(scatters) == pytest.approx(5.0, rel=0.02)
    assert np.mean(paces) == pytest.approx(3.0, rel=0.3)


def test_a_reading_that_does_not_drift_has_next_to_no_pace() -> None:
    rng = np.random.default_rng(6)
    time_s, parts = np.arange(1500) * 0.02, [slice(0, 1500)]
    columns, reading = rng.standard_normal((1500, 4)), rng.standard_normal(1500)
    found = fit_drifting_noise(time_s, parts, parts, columns, reading, reading[:, None])
    assert found.pace * time_s[-1] < 0.1  # comes to under a third of the noise by the end
