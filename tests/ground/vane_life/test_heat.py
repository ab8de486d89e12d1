"""Heat into a vane and through it: published cases, a second route for each, and the life."""

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from mixer.ground.drawn_vane import gas
from mixer.ground.drawn_vane.hot_gas import HotGas
from mixer.ground.drawn_vane.jet import jet_from_nozzle
from mixer.ground.drawn_vane.profile_forces import flank_pressures
from mixer.ground.vane_life.conduction import (
    LUMPED_BIOT,
    Bar,
    biot_number,
    bulk_failure_s,
)
from mixer.ground.vane_life.heat_load import (
    PRESSURE_EXPONENT,
    ChordSection,
    HeatLoad,
    bartz_coefficient_w_m2_k,
    bartz_property_factor,
    heat_load,
    stagnation_coefficient_w_m2_k,
)
from mixer.ground.vane_life.heating import heat_bars
from mixer.ground.vane_life.life import vane_life
from mixer.ground.vane_life.materials import MATERIALS, Material
from tests.support.conduction import lumped_time_s, thick_wall_temperature
from tests.support.drawn_vane import nozzle, vane

NOZZLE = nozzle()


def plain(k, density, heat, fails_at_k=1e9):
    return Material(
        "test metal", density, (300.0,), (heat,), (k,), 0.1, fails_at_k, "melting", "made up"
    )


def wall(length_m, cells, film_w_m2_k=0.0, gas_k=0.0, flux_w_m2=0.0, power=2.0):
    """A wall of unit area heated at its first face, as a bar."""
    edge = length_m * np.linspace(0.0, 1.0, cells + 1) ** power
    film, flux = np.zeros(cells), np.zeros(cells)
    film[0], flux[0] = film_w_m2_k, flux_w_m2
    return Bar(edge, np.ones(cells + 1), np.diff(edge), film, np.full(cells, gas_k), flux)


# --- Bartz -------------------------------------------------------------------------------------


def test_bartz_coefficient_matches_the_published_sample_calculation():
    """Huzel & Huang, NASA SP-125, Sample Calculation 4-3 prints 7950 W/m²K at the throat.

    7442 is computed from its numbers without the throat curvature term, which is left out here.
    """
    found = bartz_coefficient_w_m2_k(0.633, 7.47e-5, 2031.0, 0.816, 6.9e6, 1725.0)
    assert found == pytest.approx(7442.0, abs=0.5)
    assert found == pytest.approx(7950.0, rel=0.07)


@pytest.mark.parametrize("times, factor", [(2.0, 1.741101), (0.5, 0.574349)])
def test_heat_transfer_scales_with_pressure_to_the_power_four_fifths(times, factor):
    """Bartz, Jet Propulsion 27, 1957, 49–51 (from memory): h ∝ pc^0.8."""
    numbers = (0.633, 7.47e-5, 2031.0, 0.816)
    one = bartz_coefficient_w_m2_k(*numbers, 6.9e6, 1725.0)
    other = bartz_coefficient_w_m2_k(*numbers, times * 6.9e6, 1725.0)
    assert other / one == pytest.approx(factor, abs=6e-7)
    assert times**PRESSURE_EXPONENT == pytest.approx(factor, abs=6e-7)


def test_bartz_coefficient_is_the_turbulent_pipe_law_on_the_throat():
    """Second route: 0.026 Re^0.8 Pr^0.4 k/D with mass flux pc/c* and k = μ cp/Pr."""
    d, mu, cp, pr, pc, cstar = 0.0477, 6.9e-5, 2169.0, 0.8276, 20e5, 1605.0
    reynolds = pc / cstar * d / mu
    conductivity = mu * cp / pr
    pipe = 0.026 * reynolds**0.8 * pr**0.4 * conductivity / d
    assert bartz_coefficient_w_m2_k(d, mu, cp, pr, pc, cstar) == pytest.approx(pipe, rel=1e-12)


def test_bartz_property_factor_is_one_for_a_wall_at_gas_temperature_and_slow_flow():
    assert bartz_property_factor(1.0, 0.0, 1.2) == pytest.approx(1.0)
    assert bartz_property_factor(0.5, 1.0, 1.2) > 1.0


def test_edge_coefficient_grows_with_the_inverse_root_of_the_radius():
    hot = HotGas(3000.0, 0.023, 1.2)
    stream = jet_from_nozzle(20e5, 0.0477, 4.0, 1.2).core
    sharp, blunt = (stagnation_coefficient_w_m2_k(stream, hot, r) for r in (0.001, 0.004))
    assert sharp / blunt == pytest.approx(2.0)


def test_edge_coefficient_agrees_with_an_independent_correlation_within_a_third():
    """Low-speed stagnation line of a cylinder, Nu = 1.14 Re_D^0.5 Pr^0.4 (Incropera, memory).

    Behind the bow shock the flow is that of a cylinder in a slow stream whose velocity gradient
    at the front, 4 U/D, is the Newtonian one.
    """
    hot = HotGas(3000.0, 0.023, 1.2)
    stream = jet_from_nozzle(20e5, 0.0477, 4.0, 1.2).core
    radius = 0.003
    pitot = stream.pressure_pa * gas.rayleigh_pitot_ratio(stream.mach, 1.2)
    density = pitot / (hot.gas_constant_j_kg_k * 3000.0)
    gradient = np.sqrt(2.0 * (pitot - stream.pressure_pa) / density) / radius
    speed = gradient * 2.0 * radius / 4.0
    mu = hot.viscosity_pa_s(3000.0)
    nusselt = 1.14 * np.sqrt(density * speed * 2.0 * radius / mu) * hot.prandtl**0.4
    other = nusselt * mu * hot.specific_heat_j_kg_k / hot.prandtl / (2.0 * radius)
    assert stagnation_coefficient_w_m2_k(stream, hot, radius) == pytest.approx(other, rel=0.33)


# --- conduction --------------------------------------------------------------------------------


def test_thick_wall_under_constant_flux_matches_the_textbook_case():
    """Holman, Heat Transfer, 5th ed., Ex. 4.2 prints 79.3 °C; 79.3142 and 199.444 computed."""
    case = (3.2e5, 45.0, 1.4e-5)
    assert thick_wall_temperature(*case, 0.025, 30.0, 35.0) == pytest.approx(79.3142, abs=6e-5)
    assert thick_wall_temperature(*case, 0.0, 30.0, 35.0) == pytest.approx(199.444, abs=6e-4)


def test_solved_bar_follows_the_thick_wall_closed_form():
    """The same case through the equation solver: 0.1 K at the surface and at 25 mm."""
    steel = plain(45.0, 7800.0, 45.0 / (7800.0 * 1.4e-5))
    bar = wall(0.4, 160, flux_w_m2=3.2e5)
    (found,) = heat_bars(lambda _gone: bar, steel, 308.15, 30.0)
    middle = 0.5 * (bar.edge_m[1:] + bar.edge_m[:-1])
    depths = np.array([middle[0], 0.025])
    solved = np.interp(depths, middle, found.temperature_k[-1]) - 273.15
    exact = [thick_wall_temperature(3.2e5, 45.0, 1.4e-5, float(d), 30.0, 35.0) for d in depths]
    np.testing.assert_allclose(solved, exact, atol=0.1)


def test_lumped_body_matches_the_textbook_case():
    """Incropera, Ex. 5.1: a sphere of 7.05882e-4 m, Bi 2.3529e-3, 25→199 °C in 5.16479 s."""
    diameter = 6.0 * 400.0 * 1.0 / (8500.0 * 400.0)  # for a time constant of 1 s
    assert diameter == pytest.approx(7.05882e-4, rel=1e-6)
    length = diameter / 6.0
    assert biot_number(400.0, length, 20.0) == pytest.approx(2.3529e-3, rel=1e-4)
    assert biot_number(400.0, length, 20.0) < LUMPED_BIOT
    found = lumped_time_s(8500.0 * 400.0 * length, 400.0, 25.0, 200.0, 199.0)
    assert found == pytest.approx(5.16479, abs=6e-6)


def test_solved_bar_follows_the_lumped_closed_form_where_the_biot_number_is_small():
    """The same case through the equation solver."""
    length = 7.05882e-4 / 6.0
    metal = plain(20.0, 8500.0, 400.0, fails_at_k=199.0 + 273.15)
    bar = wall(length, 8, film_w_m2_k=400.0, gas_k=473.15, power=1.0)
    (found,) = heat_bars(lambda _gone: bar, metal, 298.15, 20.0, stop_at_k=metal.fails_at_k)
    assert found.time_s[-1] == pytest.approx(5.16479, rel=2e-3)


def test_lumped_body_never_reaches_what_the_gas_does_not():
    assert lumped_time_s(1.0, 1.0, 300.0, 400.0, 500.0) == np.inf


def test_heat_that_enters_a_bar_is_the_heat_it_holds():
    """Energy balance with film, flux and a property that changes with temperature."""
    copper = MATERIALS["copper"]
    bar = wall(0.03, 40, film_w_m2_k=5000.0, gas_k=1500.0, flux_w_m2=1e5)
    (found,) = heat_bars(lambda _gone: bar, copper, 300.0, 8.0)

    def enthalpy(t):
        grid = np.linspace(300.0, t, 400)
        return np.trapezoid(copper.specific_heat(grid), grid)

    held = copper.density_kg_m3 * sum(
        v * enthalpy(t) for v, t in zip(bar.volume_m3, found.temperature_k[-1], strict=True)
    )
    entering = bar.film_w_k[0] * (1500.0 - found.surface_k) + 1e5
    assert held == pytest.approx(np.trapezoid(entering, found.time_s), rel=2e-3)


def test_receding_wall_settles_to_the_steady_ablation_profile():
    """A front that moves at v into cold material: T falls as exp(-v x/α) (Landau 1950, memory)."""
    metal = plain(50.0, 2000.0, 1000.0)
    alpha, speed = 2.5e-5, 1e-3

    def bar_at(gone):
        bar = wall(0.3 - gone, 120, film_w_m2_k=1e5, gas_k=2000.0)
        return Bar(
            bar.edge_m + gone, bar.section_m2, bar.volume_m3, bar.film_w_k, bar.gas_k, bar.flux_w
        )

    (found,) = heat_bars(bar_at, metal, 300.0, 90.0, lambda _t, _gone: speed)
    bar = bar_at(float(found.recession_m[-1]))
    depth = 0.5 * (bar.edge_m[1:] + bar.edge_m[:-1]) - bar.edge_m[0]
    solved = (found.temperature_k[-1] - 300.0) / (found.surface_k[-1] - 300.0)
    near = depth < 0.08
    exact = np.exp(-speed * (depth - depth[0]) / alpha)
    assert found.recession_m[-1] == pytest.approx(0.09, rel=1e-3)
    np.testing.assert_allclose(solved[near], exact[near], atol=0.03)


# --- materials ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name, density, heat, conductivity, fails_at_k",
    [
        # Mechanical Engineers' Handbook vol. 4, Table 1; Incropera A.1
        ("copper", 8933.0, 385.0, 401.0, 1358.0),
        ("tungsten", 19300.0, 132.0, 174.0, 3660.0),
        ("molybdenum", 10240.0, 251.0, 138.0, 2894.0),
        # Maker data; conductivity 70–140 by grade and sublimation (CRC) from memory
        ("graphite", 1800.0, 830.0, 100.0, 3915.0),
    ],
)
def test_materials_have_the_handbook_values_at_300_k(name, density, heat, conductivity, fails_at_k):
    material = MATERIALS[name]
    assert material.density_kg_m3 == density
    assert material.specific_heat(300.0) == heat
    assert material.conductivity(300.0) == conductivity
    assert material.fails_at_k == fails_at_k
    assert material.source


def test_copper_follows_the_handbook_over_temperature():
    """385, 417, 480 J/kgK and 401, 379, 339 W/mK at 300, 600, 1200 K."""
    copper = MATERIALS["copper"]
    np.testing.assert_array_equal(copper.specific_heat([300.0, 600.0, 1200.0]), [385, 417, 480])
    np.testing.assert_array_equal(copper.conductivity([300.0, 600.0, 1200.0]), [401, 379, 339])


# --- life --------------------------------------------------------------------------------------


def test_copper_vane_melts_at_its_edge_before_it_would_melt_whole():
    life = vane_life(vane(material="copper"), NOZZLE)
    assert life.ends_by.endswith("edge reaches melting")
    assert life.heating.temperature_k[-1].max() == pytest.approx(1358.0, abs=1.0)
    assert 0.0 < life.local_s < life.bulk_s
    assert life.biot_chord > LUMPED_BIOT
    assert life.low_s < life.life_s < life.high_s


def test_place_that_melts_first_is_named():
    """A sharp nose leads; behind a blunt one it is the thin tail, heated from both faces."""
    sharp, blunt = (
        vane_life(vane(material="copper", leading_edge_radius_mm=r), NOZZLE) for r in (0.3, 4.0)
    )
    assert sharp.ends_by == "the leading edge reaches melting"
    assert blunt.ends_by == "the trailing edge reaches melting"


def test_local_and_bulk_melting_agree_where_the_biot_number_is_small():
    """Copper made a thousand times as conductive is at one temperature all over."""
    copper = MATERIALS["copper"]
    k = tuple(1000.0 * value for value in copper.conductivity_w_m_k)
    ideal = Material(**{**copper.__dict__, "conductivity_w_m_k": k})
    bar = ChordSection(vane(), heat_load(vane(), NOZZLE)).bar(0.0)
    (found,) = heat_bars(lambda _gone: bar, ideal, 293.0, 20.0, stop_at_k=copper.fails_at_k)
    assert found.time_s[-1] == pytest.approx(bulk_failure_s(bar, ideal, 293.0), rel=5e-3)


def test_bulk_melting_time_is_the_lumped_equation_solved():
    copper = MATERIALS["copper"]
    bar = ChordSection(vane(), heat_load(vane(), NOZZLE)).bar(0.0)
    mass = copper.density_kg_m3 * bar.volume_m3.sum()

    def slope(_t, temperature):
        heat = np.sum(bar.film_w_k * (bar.gas_k - temperature[0]))
        return [heat / (mass * float(copper.specific_heat(temperature[0])))]

    def melted(_t, temperature):
        return temperature[0] - copper.fails_at_k

    melted.terminal = True
    solved = solve_ivp(slope, (0.0, 60.0), [293.0], events=melted, rtol=1e-9, atol=1e-6)
    assert bulk_failure_s(bar, copper, 293.0) == pytest.approx(solved.t[-1], rel=1e-6)


def test_bar_of_the_vane_holds_the_volume_of_its_section():
    for section in ("double-wedge", "biconvex"):
        geometry = vane(section=section)
        bar = ChordSection(geometry, heat_load(geometry, NOZZLE)).bar(0.0)
        assert bar.volume_m3.sum() == pytest.approx(geometry.outline_at(22.5).area_m2, rel=2e-3)


def test_films_of_the_bar_are_the_integral_over_nose_and_faces():
    """Nose: h cos φ over the arc; faces: h x^-0.2 (p/p∞)^0.8 along a wedge's two panels."""
    stream = jet_from_nozzle(20e5, 0.0477, 4.0, 1.2).core
    load = HeatLoad(100.0, 500.0, 3000.0, 2900.0, 2000.0, stream)
    geometry = vane(leading_edge_radius_mm=1.0)
    outline = geometry.outline_at(22.5)
    bar = ChordSection(geometry, load).bar(0.0)
    pressures, _ = flank_pressures(outline.slope_rad, stream.mach, 1.2)
    nose = 100.0 / np.sqrt(0.001) * 0.001 * np.sin(0.5 * np.pi - outline.flank_rad)
    faces = sum(
        500.0 * p**0.8 * quad(lambda x: x**-0.2, *ends)[0]
        for p, ends in zip(pressures, [(outline.x_m[0], 0.035), (0.035, 0.070)], strict=True)
    )
    assert bar.film_w_k.sum() == pytest.approx(2.0 * (nose + faces), rel=0.02)


@pytest.fixture(scope="module")
def graphite_life():
    return vane_life(vane(), NOZZLE, horizon_s=400.0)


def test_graphite_vane_ends_by_recession_at_a_plausible_rate(graphite_life):
    """Recession rates 0.01–0.3 mm/s: order of magnitude only (from memory)."""
    life = graphite_life
    assert life.ends_by.startswith("the leading edge has lost 10.5 mm")
    assert 0.01 < life.allowed_recession_mm / life.life_s < 0.3
    assert life.dominating.name == "how fast hot graphite reacts"
    assert "dominating uncertainty is how fast hot" in life.sentence


def test_measured_recession_replaces_the_estimate_and_narrows_the_life(graphite_life):
    told = vane_life(vane(), NOZZLE, measured_rate_mm_s=0.15, measured_spread=0.1)
    assert told.life_s == pytest.approx(10.5 / 0.15, rel=1e-4)
    assert told.dominating.name == "the recession rate of hot graphite"
    assert told.high_s / told.low_s < graphite_life.high_s / graphite_life.low_s


def test_life_past_the_horizon_is_said_to_be_past_it():
    life = vane_life(vane(material="tungsten"), NOZZLE, horizon_s=30.0)
    assert life.life_s == np.inf and life.sentence.startswith("Outlives 30 s")


def test_hotter_gas_and_sharper_edges_shorten_the_life_of_copper():
    lives = [
        vane_life(vane(material="copper", **change), NOZZLE).life_s
        for change in ({}, {"chamber_temperature_k": 3300.0}, {"leading_edge_radius_mm": 0.5})
    ]
    assert lives[0] > lives[1] and lives[0] > lives[2]
