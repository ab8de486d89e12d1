"""Recession per second of burn load at each station, and the exponent of pressure.

Least squares on the readings of an inspection: `depth_mm` (k, n) of k specimens at n stations, NaN
where a specimen was not measured.
"""

from collections.abc import Sequence

import numpy as np
import scipy

from mixer.ground.inputs.arrays import Array
from mixer.ground.wear.inspection import Inspection
from mixer.ground.wear.scatter import quantile

EXPONENT = 0.8
LEAST_PRESSURE_RANGE = 1.15  # largest over smallest mean pressure that can tell an exponent
WIDEST_EXPONENT_BAND = 0.5  # a fitted exponent whose 95 % half-width is wider is not used


def burn_loads_s(inspection: Inspection, reference_bar: float, exponent: float) -> Array:
    """Each specimen's burn load in equivalent seconds at the reference pressure, (k,)."""
    return np.array([s.burn.load_s(reference_bar, exponent) for s in inspection.specimens])


def station_rates(depth_mm: Array, load_s: Array) -> Array:
    """Least-squares line through the origin at each station."""
    load = np.where(np.isnan(depth_mm), np.nan, load_s[:, None])
    return np.nansum(load * depth_mm, axis=0) / np.nansum(load**2, axis=0)


def specimen_factors(depth_mm: Array, load_s: Array, rate_mm_s: Array) -> Array:
    """Each specimen's recession over the common one, by least squares along its edge."""
    model = np.where(np.isnan(depth_mm), np.nan, load_s[:, None] * rate_mm_s)
    return np.nansum(model * depth_mm, axis=1) / np.nansum(model**2, axis=1)


def rate_errors(
    depth_mm: Array,
    load_s: Array,
    rate_mm_s: Array,
    error_mm: float,
    burn: Sequence[int],
) -> Array:
    """Standard error of each rate, never under the calliper's.

    The larger of two: from the residuals of the readings one by one, and from their sums over each
    burn, since the vanes of a burn are not independent (a burns, a/(a − 1) for the fitted rate).
    """
    load = np.where(np.isnan(depth_mm), np.nan, load_s[:, None])
    residual = np.nan_to_num(load * (depth_mm - load * rate_mm_s))
    squares, count = np.nansum(load**2, axis=0), np.sum(~np.isnan(depth_mm), axis=0)
    misfit = np.nansum((depth_mm - load * rate_mm_s) ** 2, axis=0)
    spread = np.maximum(np.sqrt(misfit / np.maximum(count - 1, 1)), error_mm)
    alone = spread / np.sqrt(squares)
    numbers, place = np.unique(np.asarray(burn), return_inverse=True)
    of_burn = np.array([residual[place == i].sum(axis=0) for i in range(len(numbers))])
    unbiased = len(numbers) / max(len(numbers) - 1, 1)
    together = np.sqrt(unbiased * np.sum(of_burn**2, axis=0)) / squares
    return np.asarray(np.maximum(alone, together), dtype=np.float64)


def pressure_exponent(
    inspection: Inspection, depth_mm: Array, reference_bar: float, notes: list[str]
) -> tuple[float, float | None]:
    """The exponent of pressure and its standard error: fitted where three burns or more differ
    enough and tell it (degrees of freedom: burns less two), else 0.8 and None.
    """
    burns = inspection.burns
    mean_bar = np.array([burn.mean_pressure_bar for burn in burns])
    if mean_bar.max() < LEAST_PRESSURE_RANGE * mean_bar.min():
        return EXPONENT, None
    given = f"the burns' pressures, {mean_bar.min():.3g} to {mean_bar.max():.3g} bar"
    if len(burns) < 3:
        notes.append(
            f"{given}, are of two burns, which differ by chance too: two burns do not tell the"
            f" exponent, {EXPONENT:g} was taken"
        )
        return EXPONENT, None
    number = np.array([s.burn.number for s in inspection.specimens])

    def misfit(exponent: Array) -> Array:
        load = burn_loads_s(inspection, reference_bar, float(exponent[0]))
        factor = np.log(
            np.maximum(specimen_factors(depth_mm, load, station_rates(depth_mm, load)), 1e-3)
        )
        # The burn is what was repeated: its vanes share whatever else was different in it.
        of_burn = np.array([factor[number == burn.number].mean() for burn in burns])
        return of_burn - of_burn.mean()

    found = scipy.optimize.least_squares(misfit, [EXPONENT], bounds=([-1.0], [3.0]))
    freedom = len(burns) - 2
    variance = 2.0 * found.cost / freedom
    error = float(np.sqrt(variance / float((found.jac.T @ found.jac)[0, 0])))
    half = quantile(freedom) * error
    exponent = float(found.x[0])
    if half > WIDEST_EXPONENT_BAND:
        notes.append(
            f"{given}, do not tell the exponent ({exponent:.2f} ± {half:.2f} at 95 %, from"
            f" {len(burns)} burns): {EXPONENT:g} was taken"
        )
        return EXPONENT, None
    if abs(exponent - EXPONENT) > half:
        notes.append(
            f"the fitted exponent {exponent:.2f} ± {half:.2f} (95 %) differs from the"
            f" {EXPONENT:g} by which burn load is counted in flight: the table is right at the"
            " reference pressure"
        )
    return exponent, error
