"""Noise whose samples hang together, told by an autoregression, and its undoing.

Least squares gives right standard errors only for noise without memory; load cells on a stand
have memory (the stand rings, filters smear, zeros creep). Filtering readings and model alike by
the noise's own autoregression leaves noise without memory (Cochrane and Orcutt, J. American
Statistical Association 44, 1949 [from memory], for one past value; here for several).
"""

from dataclasses import dataclass

import numpy as np
import scipy

from mixer.ground.inputs.arrays import Array

MOST_PAST = 8  # past values looked at
ROWS_PER_PAST = 20  # rows that one more past value must have behind it


@dataclass(frozen=True)
class Noise:
    """x[t] = past[0] x[t-1] + past[1] x[t-2] + ... + fresh noise of standard deviation `fresh`."""

    past: Array
    fresh: float

    def whitened(self, columns: Array, segments: list[slice]) -> Array:
        """Columns (m, k) filtered so that this noise in them becomes white and of deviation 1.

        Each of `segments` stands by itself and loses as many first rows as the noise has past
        values; shorter ones are left out.
        """
        order = len(self.past)
        taps = np.concatenate(([1.0], -self.past)) / self.fresh
        pieces = [
            scipy.signal.lfilter(taps, [1.0], columns[part], axis=0)[order:]
            for part in segments
            if part.stop - part.start > order
        ]
        return np.concatenate(pieces)

    def kept(self, segments: list[slice]) -> np.ndarray:
        """The rows that are left after `whitened`."""
        order = len(self.past)
        return np.concatenate([np.arange(part.start + order, part.stop) for part in segments])

    @property
    def gain(self) -> float:
        """What the filter of `whitened` does to something that stands still."""
        return float((1.0 - self.past.sum()) / self.fresh)


def fit_noise(residuals: Array, segments: list[slice]) -> Noise:
    """The autoregression of residuals (m, draws), as many past values as Schwarz's criterion wants.

    By the Yule-Walker equations, which always give a stable one. Several draws of what the
    residuals may be count as one set.
    """
    parts = [residuals[part] for part in segments]
    rows = sum(len(part) for part in parts)
    most = max(min(MOST_PAST, rows // ROWS_PER_PAST), 0)
    lagged = np.array(
        [
            sum(np.sum(part[lag:] * part[: len(part) - lag]) for part in parts if len(part) > lag)
            for lag in range(most + 1)
        ]
    ) / (rows * residuals.shape[1])
    if lagged[0] <= 0:  # nothing is left over, so any size will do to begin with
        return Noise(np.zeros(0), 1.0)
    best, best_score = Noise(np.zeros(0), float(np.sqrt(lagged[0]))), np.inf
    for order in range(most + 1):
        past = np.zeros(0)
        if order:
            past = np.asarray(
                scipy.linalg.solve_toeplitz(lagged[:order], lagged[1 : order + 1]), dtype=float
            )
        variance = float(lagged[0] - past @ lagged[1 : order + 1])
        score = rows * np.log(max(variance, np.finfo(float).tiny)) + order * np.log(rows)
        if score < best_score:
            best, best_score = Noise(past, float(np.sqrt(variance))), score
    return best
