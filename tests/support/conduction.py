"""Closed forms of transient conduction: a thick wall under constant flux, a lumped body."""

import numpy as np
import scipy


def thick_wall_temperature(
    flux_w_m2: float,
    conductivity_w_m_k: float,
    diffusivity_m2_s: float,
    depth_m: float,
    time_s: float,
    start: float,
) -> float:
    """Temperature at a depth of a half-infinite wall under constant flux, in the start's unit.

    Holman, Heat Transfer, 5th ed., chapter 4.
    """
    root = np.sqrt(diffusivity_m2_s * time_s)
    rise = 2.0 * root / np.sqrt(np.pi) * np.exp(-((0.5 * depth_m / root) ** 2))
    return float(
        start
        + flux_w_m2
        / conductivity_w_m_k
        * (rise - depth_m * scipy.special.erfc(0.5 * depth_m / root))
    )


def lumped_time_s(
    heat_capacity_j_k: float, film_w_k: float, start: float, gas: float, end: float
) -> float:
    """Time in which a body of one temperature heats from start to end; inf where it never does."""
    if not (gas - end) * (gas - start) > 0.0 or abs(gas - end) > abs(gas - start):
        return np.inf
    return heat_capacity_j_k / film_w_k * float(np.log((gas - start) / (gas - end)))
