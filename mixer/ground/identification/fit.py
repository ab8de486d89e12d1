"""Fitting the model of a static test to its log: best values, and standard errors to rely on.

Generalised least squares (scipy.optimize.least_squares) on readings from which the noise's own
memory has been filtered; zeros of the load cells drift as random walks, whose pace is estimated
too, and are eliminated before the fit. Set-up, noise and fit go round until nothing moves.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from mixer.ground.identification.drifting_noise import DriftingNoise, Reduced, fit_drifting_noise
from mixer.ground.identification.model import (
    AMBIENT_PRESSURE_RANGE,
    WEAR_POINTS,
    StandModel,
    Unknowns,
    drift_columns,
)
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.static_test.blocks import Blocks
from mixer.ground.static_test.log import StandLog
from mixer.ground.vehicle.vehicle import Vehicle

MOST_PASSES = 8
SETTLED = 0.05  # of a standard error, between one pass and the next
LEAST_BLOCKS = 50
DRAWS = 12
# The noise's size, memory and drift are themselves told by the test, about as well as a scatter is
# by thirty readings; standard errors are widened as Student's t with so many has it at two of them.
NOISE_FREEDOM = 30


class IdentifyError(InputError):
    """A test that cannot tell what it should, in words."""


@dataclass(frozen=True)
class Identification:
    """What a static test told. `x` and `covariance` are over all `unknowns`; per block (m, 4):
    `fitted`, `drift` (part of fitted) and `residuals`.
    """

    vehicle: Vehicle
    blocks: Blocks
    unknowns: Unknowns
    x: Array
    covariance: Array
    noises: list[DriftingNoise]
    fitted: Array
    drift: Array
    passes: int

    @property
    def residuals(self) -> Array:
        return self.blocks.loads - self.fitted

    def value(self, name: str) -> Array:
        """The best values of a quantity, in its shape."""
        return self.unknowns.of(self.x, name)

    def error(self, name: str) -> Array:
        """Their standard errors."""
        place = self.unknowns.places[name]
        variance = np.diag(self.covariance)[place]
        return np.sqrt(variance).reshape(self.unknowns.quantities[name].shape)

    def told(self, name: str) -> np.ndarray:
        """Which of a quantity's values the test told well enough to be worth having."""
        return self.error(name) <= self.unknowns.quantities[name].worth

    def effectiveness_at(self, load_s: Array) -> tuple[Array, Array]:
        """Effectiveness at burn loads (m,) and its standard error, (m, 4) each."""
        rows = self.unknowns.effectiveness_rows(np.asarray(load_s, dtype=float))
        value = rows @ self.value("effectiveness")
        place = self.unknowns.places["effectiveness"]
        points = len(self.unknowns.load_points_s)
        block = self.covariance[place, place].reshape(points, VANES, points, VANES)
        variance = np.einsum("mk,kvlv,ml->mv", rows, block, rows)
        return value, np.sqrt(np.maximum(variance, 0.0))


def identify(
    log: StandLog, vehicle: Vehicle, wear_points: int = WEAR_POINTS, bend: bool = False
) -> Identification:
    """Fit the model to a log. IdentifyError where the burn is too short to tell anything."""
    blocks = Blocks(log, vehicle)
    if np.sum(blocks.burning) < LEAST_BLOCKS:
        raise IdentifyError(
            f"{log.file}: the steady burn lasts {np.sum(blocks.burning) * blocks.block_s:.2g} s; "
            f"at least {LEAST_BLOCKS * blocks.block_s:g} s are needed before anything can be told"
        )
    pressures = blocks.share[blocks.burning]
    unknowns = Unknowns(
        vehicle,
        blocks.full_load_s,
        wear_points,
        bend,
        ambient=bool(np.ptp(pressures) > AMBIENT_PRESSURE_RANGE),
    )
    rows = (blocks.time_s, blocks.segments)
    x = unknowns.guess()
    left_over = first_residuals(blocks, StandModel(blocks, unknowns, x))
    for passes in range(1, MOST_PASSES + 1):
        model = StandModel(blocks, unknowns, x)
        known = model.amounts(x)  # taken off before and put back, so that little is rounded
        readings = [
            (columns, load - columns @ amounts)
            for columns, load, amounts in zip(model.columns, blocks.loads.T, known, strict=True)
        ]
        noises = [
            fit_drifting_noise(*rows, blocks.burning_segments, *reading, rest)
            for reading, rest in zip(readings, left_over, strict=True)
        ]
        channels = [
            noise.reduce(*rows, *reading).moved(amounts)
            for noise, reading, amounts in zip(noises, readings, known, strict=True)
        ]
        before, (x, covariance) = x, solve(unknowns, model, channels, x)
        spread = np.sqrt(np.diag(covariance))
        if passes > 2 and np.all(np.abs(x - before) < SETTLED * spread):
            break
        left_over = draws(blocks, model, noises, x, covariance)
    explained = np.column_stack(
        [columns @ a for columns, a in zip(model.columns, model.amounts(x), strict=True)]
    )
    drift = np.hstack(
        [
            noise.drift(*rows, rest[:, None])
            for noise, rest in zip(noises, (blocks.loads - explained).T, strict=True)
        ]
    )
    return Identification(
        vehicle,
        blocks,
        unknowns,
        x,
        covariance,
        noises,
        explained + drift,
        drift,
        passes,
    )


def first_residuals(blocks: Blocks, model: StandModel) -> list[Array]:
    """What an ordinary least-squares line through each channel leaves over, (m, 1) each."""
    knots = drift_columns(blocks.time_s)
    left = []
    for columns, reading in zip(model.columns, blocks.loads.T, strict=True):
        table = np.hstack([columns, knots])
        table = table / (np.sqrt((table**2).mean(axis=0)) + 1e-30)
        left.append(reading - table @ np.linalg.lstsq(table, reading, rcond=1e-8)[0])
    return [rest[:, None] for rest in left]


def draws(
    blocks: Blocks, model: StandModel, noises: list[DriftingNoise], x: Array, covariance: Array
) -> list[Array]:
    """What the noise of each channel may have been, (m, DRAWS) each.

    The best fit leaves over less than the noise, and least where the fit bends to it; noise told
    from that would make every standard error too small. So the fit and the drift are drawn from
    all that are likely.
    """
    rng = np.random.default_rng(0)  # the same numbers in every pass, so that the passes settle
    root = np.linalg.cholesky(covariance + 1e-14 * np.diag(np.diag(covariance)))
    shifts = root @ rng.standard_normal((len(x), DRAWS))
    found = []
    parts = zip(noises, model.columns, model.amounts(x), model.slopes(x), strict=True)
    for channel, (noise, columns, amounts, slopes) in enumerate(parts):
        explained = columns @ (amounts[:, None] + slopes @ shifts)
        rest = blocks.loads[:, channel, None] - explained
        found.append(rest - noise.drift(blocks.time_s, blocks.segments, rest, rng))
    return found


def solve(
    unknowns: Unknowns, model: StandModel, channels: list[Reduced], start: Array
) -> tuple[Array, Array]:
    """Best x, and its covariance."""
    prior_rows, prior_values = unknowns.weak_prior()

    def misfit(x: Array) -> Array:
        parts = [c.weights @ a - c.left for c, a in zip(channels, model.amounts(x), strict=True)]
        return np.concatenate([*parts, prior_rows @ x - prior_values])

    def slope(x: Array) -> Array:
        return all_slopes(unknowns, model, channels, x)

    options: dict[str, Any] = {"jac": slope, "x_scale": unknowns.width}
    found = scipy.optimize.least_squares(misfit, start, method="trf", xtol=1e-12, **options)
    return found.x, covariance_at(unknowns, model, channels, found.x)


def all_slopes(unknowns: Unknowns, model: StandModel, channels: list[Reduced], x: Array) -> Array:
    """Derivatives of every misfit by x, the weak prior's last."""
    parts = [c.weights @ s for c, s in zip(channels, model.slopes(x), strict=True)]
    return np.vstack([*parts, unknowns.weak_prior()[0]])


def covariance_at(
    unknowns: Unknowns, model: StandModel, channels: list[Reduced], x: Array
) -> Array:
    """Covariance of the best x, from the slopes there."""
    slopes = all_slopes(unknowns, model, channels, x)
    _, size, vt = np.linalg.svd(slopes * unknowns.width, full_matrices=False)
    widening = scipy.stats.t.ppf(scipy.stats.norm.cdf(2.0), NOISE_FREEDOM) / 2.0
    root = widening * vt.T / size * unknowns.width[:, None]
    return root @ root.T
