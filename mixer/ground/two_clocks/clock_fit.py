"""One clock told by another from moments that both have seen: offset, drift, and how surely.

A logger sees a change of level between two rows and no more: the moment lies within that gap with
equal chance, give or take a little jitter of either clock. So the likelihood of a clock is a
product over all edges of P(low < moment + jitter < high), a difference of two normal integrals
(interval-censored data: Lawless, Statistical Models and Methods for Lifetime Data, 2nd ed., 2003,
ch. 2.2, as remembered). It is summed over a grid of both ends of the common time: exact also where
it is no bell, as with a logger that runs in step with the node and sees every edge at one phase.
It is summed over the jitter too: where a logger drifts slowly past the node's edges, a little
jitter and a slow drift look like more of both.
"""

from dataclasses import dataclass

import numpy as np
import scipy

from mixer.ground.inputs.arrays import Array

NODES = 25  # of the grid, each way
PASSES, PASSES_BESIDE = 10, 3  # for the likeliest jitter, and for each beside it
WITHIN = 14.0  # logarithms of likelihood below the best that still count for the next grid
JITTERS = tuple(0.5 * 2 ** (-n / 2) for n in range(19))  # of a row, down to a thousandth
UNLIKELY = 5.0  # logarithms of likelihood below the best: such jitters are left out
# Over 20 emulated logs of two stands the drift was off by 1.24 of the error that the likelihood
# alone claims (root mean square); why is not known, so claims are widened.
WIDENING = 1.4
ABOUT_AS_LIKELY = 2.0  # logarithm of likelihood: two standard errors of one quantity
CERTAIN = 8.0  # jitters from either end of the gap
OUTLIERS = 1e-3  # chance of an edge that has nothing to do with the clock


@dataclass(frozen=True)
class Clock:
    """log time = offset_s + (1 + drift) · node time; `offset_s` is that at the node's start.

    offset_error_s, drift_error: standard errors. middle_error_s: of log time in the middle of what
    both have seen. first_s, last_s: that span, on the node's clock.
    """

    offset_s: float
    drift: float
    offset_error_s: float
    drift_error: float
    middle_error_s: float
    first_s: float
    last_s: float

    def log_s(self, node_s: Array) -> Array:
        """The logger's time at the node's."""
        return self.offset_s + (1 + self.drift) * np.asarray(node_s)

    def node_s(self, log_s: Array) -> Array:
        """The node's time at the logger's."""
        return (np.asarray(log_s) - self.offset_s) / (1 + self.drift)


def clock_of_ends(ends: Array, covariance: Array, first_s: float, last_s: float) -> Clock:
    """A clock from log time less node time at both ends of a span: values (2,), covariance."""
    span_s = last_s - first_s
    slope = np.array([-1.0, 1.0]) / span_s
    start = np.array([last_s, -first_s]) / span_s
    middle = np.array([0.5, 0.5])

    def error(weights: Array) -> float:
        return float(np.sqrt(max(weights @ covariance @ weights, 0.0)))

    return Clock(
        float(start @ ends),
        float(slope @ ends),
        error(start),
        error(slope),
        error(middle),
        first_s,
        last_s,
    )


def fit_intervals(node_s: Array, low_s: Array, high_s: Array) -> Clock:
    """The clock by moments at node_s that the logger has between low_s and high_s, (n,) each."""
    first_s, last_s = float(node_s[0]), float(node_s[-1])
    share = (node_s - first_s) / (last_s - first_s)
    middle = (low_s + high_s) / 2 - node_s
    half = (high_s - low_s) / 2
    row_s = float(2 * np.median(half))
    seen = Seen(share, middle, half)
    ends = line_through(share, middle, row_s)
    jitter_s, reach_s = JITTERS[0] * row_s, np.full(2, 1.5 * row_s)
    for number in range(PASSES):
        found = seen.fitted(ends, reach_s, jitter_s)
        ends, reach_s = found.ends, found.reach_s(1.2, row_s)
        if number < PASSES - 3:
            jitter_s = likely_jitter(share, middle, half, ends, row_s)
    return clock_of_ends(*over_jitters(seen, found, row_s), first_s, last_s)


@dataclass(frozen=True)
class Fitted:
    """Both ends by one jitter: mean (2,), covariance, how far from it still counts, and the
    logarithm of how likely the jitter is by all of that.
    """

    jitter_s: float
    ends: Array
    covariance: Array
    spread: Array
    likely: float

    def reach_s(self, times: float, row_s: float) -> Array:
        """How far the next grid goes from these ends."""
        return np.clip(times * self.spread, 1e-7, 2 * row_s)


@dataclass(frozen=True)
class Seen:
    """Edges: their share of the span, the middle of the gap each lies in, and half of its width."""

    share: Array
    middle: Array
    half: Array

    def fitted(self, ends: Array, reach_s: Array, jitter_s: float) -> Fitted:
        """Both ends by a grid about a guess."""
        chance, grids = grid_chance(self.share, self.middle, self.half, ends, reach_s, jitter_s)
        cells = [np.log(grid[1] - grid[0]) for grid in grids]
        likely = float(scipy.special.logsumexp(chance) + sum(cells))
        return Fitted(jitter_s, *moments(chance, grids), likely)


def over_jitters(seen: Seen, likeliest: Fitted, row_s: float) -> tuple[Array, Array]:
    """Both ends and their covariance over every jitter that is not unlikely."""
    every, best = [likeliest], likeliest.likely
    place = min(JITTERS, key=lambda part: abs(part * row_s - likeliest.jitter_s))
    for way in (JITTERS, JITTERS[::-1]):
        last = likeliest
        for part in way[way.index(place) + 1 :]:
            found, reach_s = last, last.reach_s(2.0, row_s)
            for _ in range(PASSES_BESIDE):
                found = seen.fitted(found.ends, reach_s, part * row_s)
                reach_s = found.reach_s(1.2, row_s)
            every.append(found)
            best, last = max(best, found.likely), found
            if found.likely < best - UNLIKELY:
                break
    weights = np.exp([found.likely - best for found in every])
    weights /= weights.sum()
    ends = np.array([found.ends for found in every])
    off = ends - weights @ ends
    covariance = np.einsum("j,jab->ab", weights, np.array([found.covariance for found in every]))
    covariance += np.einsum("j,ja,jb->ab", weights, off, off)
    return weights @ ends, WIDENING**2 * covariance


def line_through(share: Array, middle: Array, row_s: float) -> Array:
    """Both ends of a straight line through the middles of the gaps, those far off left out."""
    kept = np.ones(len(share), dtype=bool)
    ends: Array = np.zeros(2)
    columns = np.column_stack([1 - share, share])
    for _ in range(5):
        ends = np.asarray(np.linalg.lstsq(columns[kept], middle[kept], rcond=None)[0], dtype=float)
        off = np.abs(middle - columns @ ends)
        kept = off <= max(2 * row_s, 2 * float(np.median(off)))
    return ends


def log_chance(off_s: Array, half: Array, jitter_s: float) -> Array:
    """Logarithm of the likelihood of edges that lie off the middle of their gaps."""
    inside = scipy.special.ndtr((half - off_s) / jitter_s) - scipy.special.ndtr(
        (-half - off_s) / jitter_s
    )
    return np.log((1 - OUTLIERS) * inside + OUTLIERS)


def grid_chance(
    share: Array, middle: Array, half: Array, ends: Array, reach_s: Array, jitter_s: float
) -> tuple[Array, list[Array]]:
    """Log-likelihood over a grid of both ends, (NODES, NODES), and the grid's two axes."""
    grids = [
        end + reach * np.linspace(-1, 1, NODES) for end, reach in zip(ends, reach_s, strict=True)
    ]
    # Edges that lie well inside their gap all over the grid are certain: their logarithm is 0.
    off_s = np.abs((1 - share) * ends[0] + share * ends[1] - middle) + reach_s.max()
    close = off_s > half - CERTAIN * jitter_s
    share, middle, half = share[close], middle[close], half[close]
    chance = np.empty((NODES, NODES))
    for row, start in enumerate(grids[0]):
        at = (1 - share) * start + share * grids[1][:, None]
        chance[row] = log_chance(at - middle, half, jitter_s).sum(axis=1)
    return chance, grids


def moments(chance: Array, grids: list[Array]) -> tuple[Array, Array, Array]:
    """Mean and covariance of both ends over the grid, and how far from it still counts."""
    weight = np.exp(chance - chance.max())
    weight /= weight.sum()
    u, v = np.meshgrid(*grids, indexing="ij")
    mean = np.array([(weight * u).sum(), (weight * v).sum()])
    du, dv = u - mean[0], v - mean[1]
    covariance = np.array(
        [
            [(weight * du * du).sum(), (weight * du * dv).sum()],
            [(weight * du * dv).sum(), (weight * dv * dv).sum()],
        ]
    )
    cells = np.array([grid[1] - grid[0] for grid in grids])
    counts = chance > chance.max() - WITHIN
    spread = np.array([np.abs(du[counts]).max(), np.abs(dv[counts]).max()]) + cells
    return mean, covariance + np.diag(cells**2 / 12), spread


def likely_jitter(share: Array, middle: Array, half: Array, ends: Array, row_s: float) -> float:
    """The largest jitter of the table under which the edges are about as likely as under the best,
    about this clock: too small a one would claim too much.
    """
    off = (1 - share) * ends[0] + share * ends[1] - middle
    chances = [float(log_chance(off, half, part * row_s).sum()) for part in JITTERS]
    return row_s * max(
        part
        for part, chance in zip(JITTERS, chances, strict=True)
        if chance >= max(chances) - ABOUT_AS_LIKELY
    )
