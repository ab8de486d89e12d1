"""The atmosphere gives the rows that the standard prints.

Rows: U.S. Standard Atmosphere, 1976, main table by geometric altitude [memory], printed to five
digits; layer bases by geopotential height [memory].
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from hil.air.atmosphere import (
    GRAVITY_M_S2,
    LAYER_BASE_PA,
    density_kg_m3,
    geopotential_m,
    pressure_pa,
    temperature_k,
)

# altitude m, temperature K, pressure Pa, density kg/m³
PRINTED = [
    (0.0, 288.150, 101325.0, 1.2250),
    (1000.0, 281.651, 89876.0, 1.1117),
    (2000.0, 275.154, 79501.0, 1.0066),
    (5000.0, 255.676, 54048.0, 0.73643),
    (10000.0, 223.252, 26500.0, 0.41351),
    (11000.0, 216.774, 22700.0, 0.36480),
    (15000.0, 216.650, 12112.0, 0.19476),
    (20000.0, 216.650, 5529.3, 0.088910),
    (30000.0, 226.509, 1197.0, 0.018410),
    (40000.0, 250.350, 287.14, 0.0039957),
    (50000.0, 270.650, 79.779, 0.0010269),
    (60000.0, 247.021, 21.958, 0.00030968),
    (70000.0, 219.585, 5.2209, 0.000082829),
    (80000.0, 198.639, 1.0524, 0.000018458),
]


@pytest.mark.parametrize(("altitude_m", "kelvin", "pascal", "density"), PRINTED)
def test_a_printed_row_comes_out(altitude_m, kelvin, pascal, density):
    """To half a unit of the fifth printed digit and the rounding of the constants."""
    assert temperature_k(altitude_m) == pytest.approx(kelvin, abs=0.0011)
    assert pressure_pa(altitude_m) == pytest.approx(pascal, rel=1e-4)
    assert density_kg_m3(altitude_m) == pytest.approx(density, rel=1e-4)


def test_layer_bases_have_the_printed_pressures():
    printed_pa = [101325.0, 22632.06, 5474.889, 868.0187, 110.9063, 66.93887, 3.956420]
    assert list(LAYER_BASE_PA) == pytest.approx(printed_pa, rel=2e-6)


def test_pressure_is_the_weight_of_the_air_above():
    """Second route: integrate dp = −ρ g dh from the ground through every layer."""

    def fall(_height, pressure):
        altitude = 6_356_766.0 * _height / (6_356_766.0 - _height)
        return -pressure / (8314.32 / 28.9644 * temperature_k(altitude)) * GRAVITY_M_S2

    heights = np.linspace(0.0, float(geopotential_m(80000.0)), 200)
    solved = solve_ivp(
        fall, (0.0, heights[-1]), [101325.0], t_eval=heights, rtol=1e-9, max_step=200
    )
    altitudes = 6_356_766.0 * heights / (6_356_766.0 - heights)
    assert solved.y[0] == pytest.approx(pressure_pa(altitudes), rel=1e-5)


def test_outside_the_model_the_end_value_holds():
    assert density_kg_m3(200_000.0) == density_kg_m3(86_000.0)
    assert density_kg_m3(-9_000.0) == density_kg_m3(-5_000.0)


def test_arrays_and_single_altitudes_agree():
    altitudes = np.array([[0.0, 11_019.0], [47_350.0, 80_000.0]])
    one_by_one = np.vectorize(lambda altitude: float(density_kg_m3(altitude)))(altitudes)
    assert np.array_equal(density_kg_m3(altitudes), one_by_one)
