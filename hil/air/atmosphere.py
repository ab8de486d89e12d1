"""US Standard Atmosphere 1976, from 5 km below sea level to 86 km.

Source: NOAA, NASA, USAF, U.S. Standard Atmosphere, 1976 [memory]: seven layers in which the
temperature runs straight with geopotential height, in hydrostatic balance.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

EARTH_RADIUS_M = 6_356_766.0
GRAVITY_M_S2 = 9.80665
GAS_CONSTANT_J_KG_K = 8314.32 / 28.9644  # the 1976 standard's own universal constant
LOWEST_M = -5000.0
HIGHEST_M = 86000.0

LAYER_BASE_M = np.array([0.0, 11000.0, 20000.0, 32000.0, 47000.0, 51000.0, 71000.0])
LAPSE_K_M = np.array([-6.5e-3, 0.0, 1.0e-3, 2.8e-3, 0.0, -2.8e-3, -2.0e-3])
SEA_LEVEL_K = 288.15
SEA_LEVEL_PA = 101325.0


def _pressure_ratio(layer: NDArray, climb_m: NDArray, base_k: NDArray) -> NDArray:
    """Pressure over the layer's base pressure, `climb_m` above that base."""
    lapse = LAPSE_K_M[layer]
    hydrostatic = GRAVITY_M_S2 / GAS_CONSTANT_J_KG_K
    straight = np.where(lapse == 0.0, 1.0, lapse)
    with_lapse = (base_k / (base_k + straight * climb_m)) ** (hydrostatic / straight)
    isothermal = np.exp(-hydrostatic * climb_m / base_k)
    return np.where(lapse == 0.0, isothermal, with_lapse)


def _layer_bases() -> tuple[NDArray, NDArray]:
    climbs_m = np.diff(LAYER_BASE_M)
    base_k = SEA_LEVEL_K + np.concatenate([[0.0], np.cumsum(LAPSE_K_M[:-1] * climbs_m)])
    ratios = _pressure_ratio(np.arange(climbs_m.size), climbs_m, base_k[:-1])
    return base_k, SEA_LEVEL_PA * np.concatenate([[1.0], np.cumprod(ratios)])


LAYER_BASE_K, LAYER_BASE_PA = _layer_bases()


def geopotential_m(altitude_m: ArrayLike) -> NDArray:
    """Geopotential height of a geometric altitude, held to the ends of the model."""
    altitude = np.clip(np.asarray(altitude_m, float), LOWEST_M, HIGHEST_M)
    return EARTH_RADIUS_M * altitude / (EARTH_RADIUS_M + altitude)


def _state(altitude_m: ArrayLike) -> tuple[NDArray, NDArray]:
    height_m = geopotential_m(altitude_m)
    layer = np.maximum(np.searchsorted(LAYER_BASE_M, height_m, side="right") - 1, 0)
    climb_m = height_m - LAYER_BASE_M[layer]
    base_k = LAYER_BASE_K[layer]
    temperature_k = base_k + LAPSE_K_M[layer] * climb_m
    return temperature_k, LAYER_BASE_PA[layer] * _pressure_ratio(layer, climb_m, base_k)


def temperature_k(altitude_m: ArrayLike) -> NDArray:
    """Temperature at a geometric altitude."""
    return _state(altitude_m)[0]


def pressure_pa(altitude_m: ArrayLike) -> NDArray:
    """Pressure at a geometric altitude."""
    return _state(altitude_m)[1]


def density_kg_m3(altitude_m: ArrayLike) -> NDArray:
    """Density at a geometric altitude."""
    temperature, pressure = _state(altitude_m)
    return pressure / (GAS_CONSTANT_J_KG_K * temperature)
