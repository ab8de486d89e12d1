"""The noise of a load cell whose zero drifts as a random walk, and least squares under it.

A channel reads columns @ amounts + drift + noise. With the noise's memory filtered out (as in
`coloured_noise.py`) its rows are independent, and the drift is eliminated exactly: its precision is
a matrix of three diagonals. Size of the noise and pace of the drift by restricted likelihood
(Patterson and Thompson, Biometrika 58, 1971 [from memory]), which allows for what the columns take
out of both.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from mixer.ground.identification.coloured_noise import Noise, fit_noise
from mixer.ground.inputs.arrays import Array

RIDGE = 1e-11  # keeps products of columns that say the same invertible
PACES = (np.log(1e-8), np.log(1e2))  # of a drift: variance a second over that of the fresh noise
PACE_STEP = 0.05  # how closely the logarithm of the pace is sought


@dataclass(frozen=True)
class Reduced:
    """A channel with its drift eliminated: weights @ amounts - left are independent numbers of
    deviation 1.
    """

    weights: Array
    left: Array

    def moved(self, amounts: Array) -> "Reduced":
        """The same, where columns @ amounts had been taken off the reading beforehand."""
        return Reduced(self.weights, self.left + self.weights @ amounts)


@dataclass(frozen=True)
class DriftingNoise:
    """Noise about a zero that walks; `pace` is the walk's variance a second, unit squared."""

    noise: Noise
    pace: float

    def reduce(
        self, time_s: Array, segments: list[slice], columns: Array, reading: Array
    ) -> Reduced:
        """A channel's `reading` (m,) by its `columns` (m, k), rows at `time_s` (m,)."""
        table = about_mean(self.noise.whitened(np.column_stack([columns, reading]), segments))
        walk = Walk(time_s[self.noise.kept(segments)], self.noise.gain, self.pace)
        size = np.sqrt((table**2).sum(axis=0)) + 1e-300
        scaled = table / size
        products = scaled.T @ scaled - walk.taken(scaled)
        products[np.diag_indices_from(products)] += RIDGE
        r = np.linalg.cholesky(products).T * size
        return Reduced(r[:-1, :-1], r[:-1, -1])

    def drift(
        self,
        time_s: Array,
        segments: list[slice],
        rest: Array,
        rng: np.random.Generator | None = None,
    ) -> Array:
        """The likeliest drift (m, k) within what the columns leave of readings, `rest` (m, k);
        with `rng` one drawn from all that are likely.
        """
        kept = self.noise.kept(segments)
        walk = Walk(time_s[kept], self.noise.gain, self.pace)
        found = walk.smooth(self.noise.whitened(rest, segments))
        if rng is not None:
            found += walk.about(rng.standard_normal(found.shape))
        return np.column_stack([np.interp(time_s, time_s[kept], column) for column in found.T])


def about_mean(table: Array) -> Array:
    """Columns less their means. The walk's level is anything, so this changes no fit; it keeps
    what is nearly constant from drowning in rounding.
    """
    return table - table.mean(axis=0)


class Walk:
    """A random walk seen through noise of deviation 1, `gain` of it, at times (m,)."""

    def __init__(self, time_s: Array, gain: float, pace: float) -> None:
        stiffness = 1.0 / (max(pace, 1e-300) * np.diff(time_s))
        diagonal = np.full(len(time_s), gain**2)
        diagonal[:-1] += stiffness
        diagonal[1:] += stiffness
        self.gain = gain
        # The walk's precision as L D Lᵀ: D, and what stands beside L's diagonal of ones. Two fifths
        # of the time that banded Cholesky takes.
        factor, self._solve = scipy.linalg.get_lapack_funcs(("pttrf", "pttrs"), dtype=float)
        self._d, self._beside, failed = factor(diagonal, -stiffness)
        if failed:
            raise np.linalg.LinAlgError("the walk's precision is not positive definite")

    def smooth(self, rows: Array) -> Array:
        """The likeliest walk behind rows (m, k)."""
        return self.gain * self._solve(self._d, self._beside, rows)[0]

    def about(self, fresh: Array) -> Array:
        """How far the walk may be from the likeliest, out of independent numbers (m, k)."""
        bands = np.array([[0.0, *self._beside], np.ones(len(self._d))])
        return scipy.linalg.solve_banded((0, 1), bands, fresh / np.sqrt(self._d)[:, None])

    def taken(self, rows: Array) -> Array:
        """What the walk and its level take of the products (k, k) of columns (m, k)."""
        return self.gain * (rows.T @ self.smooth(rows))

    @property
    def volume(self) -> float:
        """Logarithm of the determinant of the walk's precision."""
        return float(np.log(self._d).sum())


def fit_drifting_noise(
    time_s: Array,
    segments: list[slice],
    burning_segments: list[slice],
    columns: Array,
    reading: Array,
    rest: Array,
) -> DriftingNoise:
    """The noise of a channel: its memory from what a fit may have left over (m, draws), its size
    and drift from the reading itself.
    """
    noise = fit_noise(rest, burning_segments)
    table = about_mean(noise.whitened(np.column_stack([columns, reading]), segments))
    times_s = time_s[noise.kept(segments)]
    size = np.sqrt((table**2).sum(axis=0)) + 1e-300
    scaled, free = np.asfortranarray(table / size), len(table) - columns.shape[1] - 1
    inner = scaled.T @ scaled

    def fit(log_pace: float) -> tuple[float, float]:
        """Minus twice the restricted log likelihood, and the noise's variance."""
        walk = Walk(times_s, noise.gain, float(np.exp(log_pace)) * noise.fresh**2)
        products = inner - walk.taken(scaled)
        products[np.diag_indices_from(products)] += RIDGE
        diagonal = np.diag(np.linalg.cholesky(products))
        variance = float((diagonal[-1] * size[-1]) ** 2 / free)
        volume = walk.volume + (len(table) - 1) * log_pace
        return free * np.log(variance) + volume + 2 * float(np.log(diagonal[:-1]).sum()), variance

    best: Any = scipy.optimize.minimize_scalar(
        lambda log_pace: fit(log_pace)[0],
        bounds=PACES,
        method="bounded",
        options={"xatol": PACE_STEP},
    )
    variance = noise.fresh**2 * fit(best.x)[1]
    return DriftingNoise(
        Noise(noise.past, float(np.sqrt(variance))), float(np.exp(best.x)) * variance
    )
