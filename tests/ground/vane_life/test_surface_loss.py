"""Heat that leaves a vane again: radiation, burning carbon, and what the propellants bring."""

import numpy as np
import pytest
from pydantic import ValidationError
from scipy.integrate import dblquad
from scipy.optimize import brentq

from mixer.ground.drawn_vane.geometry import jet_for
from mixer.ground.drawn_vane.propellants import UNKNOWN, USUAL_MIXTURE, burning_limit, burning_of
from mixer.ground.vane_life.conduction import Bar
from mixer.ground.vane_life.heat_load import ChordSection, heat_load
from mixer.ground.vane_life.heating import heat_bars
from mixer.ground.vane_life.life import vane_life
from mixer.ground.vane_life.materials import MATERIALS, Material
from mixer.ground.vane_life.surface_loss import (
    REACTION_J_KG,
    SurfaceLoss,
    blowing_factor,
    view_of_surroundings,
)
from mixer.ground.vehicle.engine import EngineSection
from tests.support.drawn_vane import nozzle, vane

SIGMA = 5.670374e-8  # CODATA


def grey(emissivity, density=1800.0, heat=1800.0):
    return Material(
        "grey", density, (300.0,), (heat,), (1e5,), 0.1, 1e9, "melting", "made up",
        emits=(emissivity,),
    )  # fmt: skip


def plate(thickness_m, film_w_m2_k=0.0, gas_k=0.0):
    """One square metre, a few cells thick, heated and radiating at its first face."""
    edge = np.linspace(0.0, thickness_m, 5)
    film, surface = np.zeros(4), np.zeros(4)
    film[0], surface[0] = film_w_m2_k, 1.0
    return Bar(edge, np.ones(5), np.diff(edge), film, np.full(4, gas_k), np.zeros(4), surface)


# --- radiation ---------------------------------------------------------------------------------


def test_grey_face_radiates_by_the_fourth_power():
    """0.8 σ (2000⁴ − 300⁴) = 725 440 W/m²; computed."""
    loss = SurfaceLoss(grey(0.8), 1.0, 0.0, 2000.0)
    assert loss.radiated_w_m2(np.array(2000.0)) == pytest.approx(725_440.0, abs=30.0)
    assert loss.radiated_w_m2(np.array(300.0)) == 0.0


def test_plate_that_only_radiates_cools_by_the_closed_form():
    """ρ c (V/A) / (3 ε σ) (T⁻³ − T0⁻³): 5 mm, ε 0.8, 2500 to 1000 K in 111.421 s; computed."""
    loss = SurfaceLoss(grey(0.8), 1.0, 0.0, 2000.0, surroundings_k=0.0)
    body = plate(0.005)
    (found,) = heat_bars(lambda _gone: body, loss.material, 2500.0, 111.421, heat_into_w=loss.net_w)
    assert found.temperature_k[-1].mean() == pytest.approx(1000.0, abs=1.0)


@pytest.mark.parametrize("film, wall_k", [(1000.0, 2030.01), (3000.0, 2343.81)])
def test_plate_between_gas_and_cold_surroundings_settles_where_they_balance(film, wall_k):
    """h (2800 − T) = 0.8 σ (T⁴ − 300⁴); computed."""
    loss = SurfaceLoss(grey(0.8), 1.0, 0.0, 2000.0)
    body = plate(0.005, film, 2800.0)
    (found,) = heat_bars(lambda _gone: body, loss.material, 300.0, 120.0, heat_into_w=loss.net_w)
    assert found.surface_k[-1] == pytest.approx(wall_k, abs=0.5)


def test_view_past_the_next_vane_is_hottels_and_follows_from_quadrature():
    """Two long strips on axes square to each other: dF = x y / (2 (x² + y²)^1.5) dx dy / L."""
    near, far = 15.0, 48.0
    seen = dblquad(lambda y, x: 0.5 * x * y / (x * x + y * y) ** 1.5, near, far, near, far)[0]
    assert view_of_surroundings(near, far) == pytest.approx(1.0 - seen / (far - near), rel=1e-7)
    # Strips that meet: 1 − F = 1/√2 (any table of view factors).
    assert view_of_surroundings(0.0, 1.0) == pytest.approx(1.0 / np.sqrt(2.0))


@pytest.mark.parametrize(
    "name, temperature_k, low, high",
    [
        # Branstetter, NASA TN D-1088, 1961, clean
        ("tungsten", 2000.0, 0.2516, 0.2517 + 1e-3),
        ("tungsten", 2500.0, 0.2939, 0.2941),
        # 0.448 + 1.38e-4 T polished, 0.732 + 5.21e-5 T oxidised (Baker 1970)
        ("graphite", 2000.0, 0.724, 0.836),
        ("graphite", 2500.0, 0.793, 0.862),
        ("molybdenum", 2273.0, 0.24, 0.8),  # clean; oxidised (from memory)
        ("copper", 1000.0, 0.6, 0.7),  # oxidised
    ],
)
def test_emissivity_lies_in_the_cited_range(name, temperature_k, low, high):
    assert low <= MATERIALS[name].emissivity(temperature_k) <= high


@pytest.mark.parametrize(
    "name, conductivity, heat",
    [
        ("tungsten", [159, 137, 118, 107, 100, 95], [137, 142, 148, 157, 167, 176]),
        ("molybdenum", [134, 126, 112, 98, 90, 86], [261, 275, 295, 330, 380, 459]),
    ],
)
def test_hot_metals_follow_the_handbook(name, conductivity, heat):
    """Incropera & DeWitt, Table A.1, at 400, 600, 1000, 1500, 2000, 2500 K."""
    at = [400.0, 600.0, 1000.0, 1500.0, 2000.0, 2500.0]
    np.testing.assert_array_equal(MATERIALS[name].conductivity(at), conductivity)
    np.testing.assert_array_equal(MATERIALS[name].specific_heat(at), heat)


# --- burning carbon ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "blend, ratio, limit",
    [
        ("lox/ethanol", 1.3, 0.31097),
        ("lox/kerosene", 2.3, 0.26268),
        ("n2o/isopropanol", 4.0, 0.13837),
    ],
)
def test_carbon_burned_at_the_limit_matches_the_equilibrium_table(blend, ratio, limit):
    """From the exhaust of an equilibrium calculation (Cantera, 20 bar): every O leaves as CO."""
    assert burning_limit(blend, ratio) == pytest.approx(limit, rel=2e-3)


def test_carbon_burned_at_the_limit_follows_from_the_species_of_the_exhaust():
    """LOX/ethanol 1.3: mole fractions of H2O, CO, CO2, OH over a molar mass of 20.894."""
    oxygen = 0.4218 + 0.2891 + 2.0 * 0.1052 + 0.0120
    carbon = 0.2891 + 0.1052
    by_species = 12.011 * (oxygen - carbon) / 20.894
    assert burning_limit("lox/ethanol", 1.3) == pytest.approx(by_species, rel=5e-3)


@pytest.mark.parametrize("blend", USUAL_MIXTURE)
def test_every_preset_burns_carbon_within_what_the_unknown_one_spans(blend):
    known, guess = burning_of(blend, None), UNKNOWN
    assert guess.limit / guess.spread < known.limit < guess.limit * guess.spread
    assert "assumed" in known.source and "as given" in burning_of(blend, 4.5).source
    assert burning_of(blend, 4.5).spread < known.spread < guess.spread


def test_mixture_that_leaves_soot_is_refused_with_the_least_ratio():
    base = {"chamber_pressure_bar": 20.0, "thrust_n": 5000.0, "burn_time_s": 26.0}
    with pytest.raises(ValidationError, match=r"must be above 1\.15"):
        EngineSection(**base, propellants="lox/kerosene", mixture_ratio=1.0)
    with pytest.raises(ValidationError, match="goes with propellants"):
        EngineSection(**base, mixture_ratio=1.0)


def test_reaction_heat_is_that_of_steam_and_carbon_dioxide():
    """10.93 and 14.36 MJ per kg of carbon at 298 K, 11.02 and 13.24 at 2000 K; computed."""
    assert 11.02e6 < REACTION_J_KG < 13.24e6


def test_blowing_thins_the_film_by_the_logarithm():
    assert blowing_factor(0.31) == pytest.approx(np.log(1.31) / 0.31)
    assert blowing_factor(1e-9) == pytest.approx(1.0) and blowing_factor(0.0) == 1.0


def test_carbon_burns_as_fast_as_the_slower_of_reaction_and_diffusion():
    loss = SurfaceLoss(MATERIALS["graphite"], 0.8, 0.3, 2000.0)
    film = np.array(5000.0)
    diffusion = 5000.0 / 2000.0 * np.log(1.3)
    assert loss.burned_kg_m2_s(film, np.array(4500.0)) == pytest.approx(diffusion, rel=0.01)
    reaction = 4.8e5 * np.exp(-288e3 / (8.314462618 * 1600.0))
    assert loss.burned_kg_m2_s(film, np.array(1600.0)) == pytest.approx(reaction, rel=0.01)


def test_net_heat_is_the_wall_balance_written_out():
    """h φ (Tr − T) − ε F σ (T⁴ − Ts⁴) − m ΔH, with φ 1 where little burns."""
    loss = SurfaceLoss(MATERIALS["graphite"], 0.8, 0.3, 2000.0)
    body = plate(0.004, 4000.0, 2900.0)
    temperature = np.full(4, 2400.0)
    reaction = 4.8e5 * np.exp(-288e3 / (8.314462618 * 2400.0))
    diffusion = 4000.0 / 2000.0 * np.log(1.3)
    burned = 1.0 / (1.0 / reaction + 1.0 / diffusion)
    thinned = 1.0 - burned / diffusion * (1.0 - np.log(1.3) / 0.3)
    emissivity = 0.5 * (0.448 + 1.38e-4 * 2400.0 + 0.732 + 5.21e-5 * 2400.0)
    expected = (
        4000.0 * thinned * 500.0
        - emissivity * 0.8 * SIGMA * (2400.0**4 - 300.0**4)
        - burned * REACTION_J_KG
    )
    assert loss.net_w(body, temperature)[0] == pytest.approx(expected, rel=1e-6)
    assert not loss.net_w(body, temperature)[1:].any()


# --- the vane ----------------------------------------------------------------------------------

SLENDER = {
    "span_mm": 42.0, "root_chord_mm": 76.0, "tip_chord_mm": 68.0, "leading_edge_radius_mm": 1.6,
    "thickness_mm": 8.0, "hinge_line_mm": 20.0, "immersed_span_mm": 33.0,
    "distance_behind_exit_mm": 6.0,
}  # fmt: skip


def settled_k(material, burning):
    """Where a slender vane at one temperature would settle, by SciPy from the films alone."""
    geometry = vane(**SLENDER, material=material)
    load = heat_load(geometry, nozzle())
    bar = ChordSection(geometry, load).bar(0.0)
    far = jet_for(geometry, nozzle()).exit_radius_m
    view = view_of_surroundings(far - 0.033, far)

    def gap(t):
        share = MATERIALS[material].emissivity(t) * view * SIGMA
        lost = share * (t**4 - 300.0**4) * bar.surface_m2.sum()
        eaten = 0.0
        if burning:
            reaction = 4.8e5 * np.exp(-288e3 / (8.314462618 * t))
            diffusion = bar.film_w_k / bar.surface_m2 / load.gas_heat_j_kg_k * np.log1p(burning)
            eaten = np.sum(bar.surface_m2 / (1.0 / reaction + 1.0 / diffusion)) * REACTION_J_KG
        return np.sum(bar.film_w_k * (bar.gas_k - t)) - lost - eaten

    return brentq(gap, 500.0, 2990.0)


def test_vane_that_radiates_settles_near_2400_k_and_molybdenum_does_not_melt():
    """Without radiation the faces of this vane settle at the gas's 2925 K, over Mo's 2894 K."""
    assert settled_k("graphite", 0.0) == pytest.approx(2400.0, abs=60.0)
    life = vane_life(vane(**SLENDER, material="molybdenum"), nozzle(), horizon_s=60.0)
    assert life.life_s == np.inf and life.bulk_s == np.inf
    assert life.mean_at_k(60.0) == pytest.approx(settled_k("molybdenum", 0.0), rel=0.02)


def test_burning_takes_up_heat_and_the_vane_settles_lower():
    life = vane_life(vane(**SLENDER), nozzle(), horizon_s=26.0)
    with_reactions = settled_k("graphite", UNKNOWN.limit)
    assert with_reactions < settled_k("graphite", 0.0) - 100.0
    assert life.mean_at_k(26.0) == pytest.approx(with_reactions, rel=0.03)


def test_faces_lose_megawatts_where_they_are_whitest():
    """At 2900 K about 3 MW/m² past the next vane; the film brings 0.02 there."""
    loss = SurfaceLoss(MATERIALS["graphite"], view_of_surroundings(14.7, 47.7), 0.0, 2169.0)
    assert 2.5e6 < loss.radiated_w_m2(np.array(2900.0)) < 3.5e6


@pytest.mark.usefixtures("campaign")
def test_propellants_with_more_free_oxygen_shorten_the_life_of_graphite():
    lives = [
        vane_life(
            vane(allowed_recession_mm=1.0), nozzle(propellants=blend), horizon_s=100.0
        ).recession_s
        for blend in ("n2o/isopropanol", "lox/ethanol")
    ]
    assert lives[1] < lives[0] < 100.0


def test_mean_temperature_is_that_of_the_section_weighted_by_volume():
    life = vane_life(vane(material="copper"), nozzle())
    assert 293.0 < life.mean_at_k(life.life_s) < 1358.0  # the edge melts, the mean stays low
    volumes = ChordSection(vane(material="copper"), heat_load(vane(), nozzle())).bar(0.0).volume_m3
    last = life.heating.temperature_k[-1]
    assert life.mean_k[-1] == pytest.approx(float(last @ volumes / volumes.sum()))


def test_enthalpy_of_graphite_is_near_the_standard_tables():
    """h − h298 at 2000 K 2955.41 kJ/kg (NASA polynomials of JANAF 4/83): within 2 %."""
    grid = np.linspace(298.15, 2000.0, 4000)
    found = np.trapezoid(MATERIALS["graphite"].specific_heat(grid), grid)
    assert found == pytest.approx(2955.41e3, rel=0.02)
