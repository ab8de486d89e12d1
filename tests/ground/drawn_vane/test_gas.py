"""Nozzle, shock and fan relations against published tables and against their governing equations.

The tables are NACA Report 1135, Equations, Tables, and Charts for Compressible Flow (1953), from
memory and equal to what its formulas give when computed again.
"""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq, fsolve

from mixer.ground.drawn_vane import gas
from mixer.ground.drawn_vane.jet import jet_from_nozzle

# M, gamma, p/pt, T/Tt, A/A*, nu in degrees, shock M2, p2/p1, pt2/pt1
TABLE = [
    (1.5, 1.4, 0.272403, 0.689655, 1.17617, 11.90521, 0.70109, 2.45833, 0.929787),
    (2.0, 1.4, 0.127805, 0.555556, 1.68750, 26.37976, 0.57735, 4.50000, 0.720874),
    (2.5, 1.4, 0.0585277, 0.444444, 2.63672, 39.12356, 0.51299, 7.12500, 0.499015),
    (3.0, 1.4, 0.0272237, 0.357143, 4.23457, 49.75735, 0.47519, 10.33333, 0.328344),
    (4.0, 1.4, 0.00658609, 0.238095, 10.7188, 65.78482, 0.43496, 18.50000, 0.138756),
    (2.0, 1.2, 0.132810, 0.714286, 1.88371, 31.45609, 0.54578, 4.27273, 0.676740),
    (2.5, 1.2, 0.0543100, 0.615385, 3.42053, 48.46151, 0.46861, 6.72727, 0.416218),
    (3.0, 1.2, 0.0212558, 0.526316, 6.73541, 63.65403, 0.42139, 9.72727, 0.229792),
    (4.0, 1.2, 0.00323713, 0.384615, 28.3553, 88.40150, 0.36895, 17.36364, 0.060958),
]
# M, turn deg, gamma, wave deg, p2/p1, M2. Computed; the first two printed as 39.31, 1.707 and
# 37.76, 3.771 in gas-dynamics tables.
WEAK_SHOCKS = [
    (2.0, 10.0, 1.4, 39.3139, 1.70658, 1.64052),
    (3.0, 20.0, 1.4, 37.7636, 3.77126, 1.99413),
    (2.0, 10.0, 1.2, 38.3259, 1.58720, None),
    (3.0, 20.0, 1.2, 35.5623, 3.23003, None),
]
# M, gamma, largest turn in degrees, computed
DETACHMENT = [
    (2.0, 1.4, 22.974),
    (3.0, 1.4, 34.073),
    (2.0, 1.2, 26.792),
    (3.0, 1.2, 40.715),
]
# Half a unit of the last printed digit, of five or six.
PRINTED = {"rel": 6e-6}

machs = st.floats(1.05, 8.0)
gammas = st.floats(1.1, 1.67)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"M{row[0]}-gamma{row[1]}")
def test_isentropic_and_normal_shock_columns_match_the_printed_table(row):
    mach, gamma, p, t, a, nu_deg, mach2, p21, pt21 = row
    shock = gas.normal_shock(mach, gamma)
    assert float(gas.pressure_ratio(mach, gamma)) == pytest.approx(p, **PRINTED)
    assert float(gas.temperature_ratio(mach, gamma)) == pytest.approx(t, **PRINTED)
    assert float(gas.area_ratio(mach, gamma)) == pytest.approx(a, **PRINTED)
    assert np.degrees(gas.prandtl_meyer_rad(mach, gamma)) == pytest.approx(nu_deg, abs=6e-6)
    assert shock.mach == pytest.approx(mach2, abs=6e-6)
    assert shock.pressure_ratio == pytest.approx(p21, abs=6e-6)
    assert shock.total_pressure_ratio == pytest.approx(pt21, abs=6e-7)


@pytest.mark.parametrize("mach, turn, gamma, wave, p21, mach2", WEAK_SHOCKS)
def test_weak_oblique_shocks_match_computed_and_printed_values(mach, turn, gamma, wave, p21, mach2):
    shock = gas.oblique_shock(mach, np.radians(turn), gamma)
    found = np.degrees(gas.oblique_wave_angle_rad(mach, np.radians(turn), gamma))
    assert found == pytest.approx(wave, abs=6e-5)
    assert shock.pressure_ratio == pytest.approx(p21, abs=6e-6)
    if mach2 is not None:
        assert shock.mach == pytest.approx(mach2, abs=6e-6)


@pytest.mark.parametrize("mach, gamma, turn", DETACHMENT)
def test_detachment_angle_matches_the_computed_table(mach, gamma, turn):
    assert np.degrees(gas.detachment_angle_rad(mach, gamma)) == pytest.approx(turn, abs=6e-4)


@given(machs, gammas)
def test_mass_momentum_and_energy_are_conserved_across_a_normal_shock(mach, gamma):
    """Rankine-Hugoniot with p1 = rho1 = 1: three balances and the perfect-gas law."""
    shock = gas.normal_shock(mach, gamma)
    speed1 = mach * np.sqrt(gamma)
    p2 = shock.pressure_ratio
    density2 = speed1**2 / (1.0 + speed1**2 - p2)  # momentum and mass together
    speed2 = speed1 / density2
    enthalpy = gamma / (gamma - 1.0)
    assert enthalpy + 0.5 * speed1**2 == pytest.approx(
        enthalpy * p2 / density2 + 0.5 * speed2**2, rel=1e-9
    )
    assert shock.mach == pytest.approx(speed2 / np.sqrt(gamma * p2 / density2), rel=1e-9)
    entropy_rise = -np.log(shock.total_pressure_ratio)
    assert entropy_rise >= -1e-12


@given(st.floats(1.2, 8.0), gammas, st.floats(0.02, 0.98))
def test_oblique_shock_conserves_mass_momentum_and_energy(mach, gamma, share):
    """The balances across the wave, tangential speed kept, for turns up to detachment."""
    turn = share * gas.detachment_angle_rad(mach, gamma)
    wave = gas.oblique_wave_angle_rad(mach, turn, gamma)
    shock = gas.oblique_shock(mach, turn, gamma)
    speed1 = mach * np.sqrt(gamma)
    normal1, along = speed1 * np.sin(wave), speed1 * np.cos(wave)
    normal2 = along * np.tan(wave - turn)
    density2 = normal1 / normal2
    assert shock.pressure_ratio == pytest.approx(1.0 + normal1 * (normal1 - normal2), rel=1e-7)
    enthalpy = gamma / (gamma - 1.0)
    assert enthalpy * shock.pressure_ratio / density2 + 0.5 * normal2**2 == pytest.approx(
        enthalpy + 0.5 * normal1**2, rel=1e-7
    )
    speed2 = np.hypot(normal2, along)
    sound2 = np.sqrt(gamma * shock.pressure_ratio / density2)
    assert shock.mach == pytest.approx(speed2 / sound2, rel=1e-7)


@given(st.floats(1.2, 8.0), gammas, st.floats(0.001, 0.999))
def test_weak_wave_angle_solves_the_turning_equation_below_detachment(mach, gamma, share):
    """SciPy finds the same weak root of the theta-beta-M relation between Mach and limit angle."""

    def turn(wave):
        normal = (mach * np.sin(wave)) ** 2
        ratio = ((gamma - 1.0) * normal + 2.0) / ((gamma + 1.0) * normal)
        return wave - np.arctan(ratio * np.tan(wave))

    waves = np.linspace(np.arcsin(1.0 / mach), 0.5 * np.pi - 1e-9, 4001)
    peak = waves[np.argmax(turn(waves))]
    wanted = share * gas.detachment_angle_rad(mach, gamma)
    assume(turn(peak) > wanted)  # the grid's peak lies a hair under the true one
    found = brentq(lambda w: turn(w) - wanted, waves[0], peak, xtol=1e-14)
    assert gas.oblique_wave_angle_rad(mach, wanted, gamma) == pytest.approx(found, abs=2e-7)


@given(machs, gammas)
def test_detachment_angle_is_the_largest_turn_of_any_wave(mach, gamma):
    waves = np.linspace(np.arcsin(1.0 / mach), 0.5 * np.pi, 20001)[1:-1]
    normal = (mach * np.sin(waves)) ** 2
    ratio = ((gamma - 1.0) * normal + 2.0) / ((gamma + 1.0) * normal)
    largest = np.max(waves - np.arctan(ratio * np.tan(waves)))
    assert gas.detachment_angle_rad(mach, gamma) == pytest.approx(largest, abs=1e-6)


@pytest.mark.parametrize("gamma", [1.15, 1.2, 1.4, 1.667])
@pytest.mark.parametrize("mach", [1.01, 1.5, 2.6, 5.0, 12.0])
def test_prandtl_meyer_angle_is_the_integral_of_its_differential(mach, gamma):
    """dnu = sqrt(M^2-1) / (1 + (g-1)/2 M^2) dM/M, by quadrature."""
    integral, _ = quad(
        lambda m: np.sqrt(m * m - 1.0) / ((1.0 + 0.5 * (gamma - 1.0) * m * m) * m), 1.0, mach
    )
    assert float(gas.prandtl_meyer_rad(mach, gamma)) == pytest.approx(integral, rel=1e-7)


@given(st.floats(1.001, 40.0), gammas)
def test_prandtl_meyer_inverse_returns_the_mach_number(mach, gamma):
    nu = gas.prandtl_meyer_rad(mach, gamma)
    assert float(gas.mach_from_prandtl_meyer(nu, gamma)) == pytest.approx(mach, rel=1e-7)


def test_prandtl_meyer_inverse_is_one_at_rest_and_infinite_past_vacuum():
    limit = gas.prandtl_meyer_limit_rad(1.4)
    assert np.degrees(limit) == pytest.approx(130.4541, abs=1e-4)  # 90 (sqrt 6 - 1)
    found = gas.mach_from_prandtl_meyer([-0.1, 0.0, limit, limit + 1.0], 1.4)
    assert found.tolist() == [1.0, 1.0, np.inf, np.inf]


@given(st.floats(1.01, 60.0), gammas)
def test_exit_mach_carries_the_throat_mass_flow(expansion_ratio, gamma):
    """Continuity: density times speed times area at the exit equals that at the throat."""
    mach = gas.exit_mach(expansion_ratio, gamma)

    def mass_flux(m):
        t = 1.0 / (1.0 + 0.5 * (gamma - 1.0) * m * m)
        return t ** (1.0 / (gamma - 1.0)) * m * np.sqrt(t)

    assert mach > 1.0
    assert mass_flux(mach) * expansion_ratio == pytest.approx(mass_flux(1.0), rel=1e-9)


@pytest.mark.parametrize("mach, gamma", [(1.3, 1.4), (2.6, 1.2), (4.0, 1.4)])
def test_pitot_pressure_follows_from_stopping_the_flow_behind_the_solved_shock(mach, gamma):
    """SciPy solves the three shock balances; the rest is isentropic: Rayleigh's formula."""
    speed1 = mach * np.sqrt(gamma)
    enthalpy = gamma / (gamma - 1.0)

    def balances(state):
        p, density, speed = state
        return [
            density * speed - speed1,
            p + density * speed**2 - 1.0 - speed1**2,
            enthalpy * p / density + 0.5 * speed**2 - enthalpy - 0.5 * speed1**2,
        ]

    p, density, speed = fsolve(balances, [2.0 * mach**2, 3.0, 0.3 * speed1], xtol=1e-13)
    mach2 = speed / np.sqrt(gamma * p / density)
    stopped = p * (1.0 + 0.5 * (gamma - 1.0) * mach2**2) ** enthalpy
    assert gas.rayleigh_pitot_ratio(mach, gamma) == pytest.approx(stopped, rel=1e-9)
    coefficient = (stopped - 1.0) / (0.5 * gamma * mach**2)
    assert gas.stagnation_pressure_coefficient(mach, gamma) == pytest.approx(coefficient)


def jet(ambient_bar, chamber_bar=20.0):
    return jet_from_nozzle(chamber_bar * 1e5, 0.0477, 4.0, 1.2, ambient_bar * 1e5)


def test_over_expanded_jet_is_brought_to_ambient_by_a_shock_at_the_lip():
    stream = jet(1.01325)
    assert stream.expansion == "over-expanded"
    assert stream.skirt.pressure_pa == pytest.approx(101325.0)
    wave = stream.lip_wave_rad
    normal = gas.normal_shock(stream.core.mach * np.sin(wave), 1.2)
    assert normal.pressure_ratio * stream.core.pressure_pa == pytest.approx(101325.0, rel=1e-9)
    turn = fsolve(
        lambda x: gas.oblique_wave_angle_rad(stream.core.mach, float(x[0]), 1.2) - wave, [0.02]
    )[0]
    assert stream.skirt.mach == pytest.approx(
        gas.oblique_shock(stream.core.mach, turn, 1.2).mach, rel=1e-6
    )


def test_under_expanded_jet_keeps_its_total_pressure_through_the_lip_fan():
    stream = jet(0.3)
    assert stream.expansion == "under-expanded"
    total = stream.skirt.pressure_pa / float(gas.pressure_ratio(stream.skirt.mach, 1.2))
    assert total == pytest.approx(20e5, rel=1e-9)
    assert np.sin(stream.lip_wave_rad) == pytest.approx(1.0 / stream.core.mach)


def test_matched_jet_says_so():
    exit_bar = jet(0.5).core.pressure_pa / 1e5
    assert jet(exit_bar).expansion == "matched"


def test_lip_fan_falls_steadily_from_core_to_edge_and_stays_isentropic():
    stream = jet(0.3)
    radii = np.linspace(0.2, 0.999, 40) * stream.exit_radius_m
    states = [stream.state_at(float(r), 0.03) for r in radii]
    pressures = np.array([s.pressure_pa for s in states])
    assert pressures[0] == stream.core.pressure_pa
    assert np.all(np.diff(pressures) <= 1e-9)
    assert pressures[-1] < 0.8 * stream.core.pressure_pa
    for state in states:
        total = state.pressure_pa / float(gas.pressure_ratio(state.mach, 1.2))
        assert total == pytest.approx(20e5, rel=1e-9)


@pytest.mark.parametrize(
    "call, words",
    [
        (lambda: gas.exit_mach(1.0, 1.2), "subsonic exit"),
        (lambda: gas.exit_mach(float("nan"), 1.2), "subsonic exit"),
        (lambda: jet(1.01325, chamber_bar=1.5), "does not choke"),
        (lambda: jet(1.01325, chamber_bar=5.0), "separates inside the nozzle"),
        (lambda: gas.oblique_wave_angle_rad(2.0, np.radians(23.0), 1.4), "detaches at 22.97°"),
    ],
)
def test_flows_outside_the_relations_are_refused_in_words(call, words):
    with pytest.raises(gas.GasError, match=words):
        call()
