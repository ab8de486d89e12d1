"""How far the melt gets: published solutions of melting, balances of heat, and what is told."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import erf, erfc

from mixer.ground.drawn_vane.geometry import HeatSink
from mixer.ground.drawn_vane.vane_forces import computed_curve
from mixer.ground.vane_life.conduction import Bar
from mixer.ground.vane_life.heat_load import ChordSection, heat_load
from mixer.ground.vane_life.heating import heat_bars
from mixer.ground.vane_life.materials import MATERIALS, Material
from mixer.ground.vane_life.melting import Enthalpy, melt_bar, melt_by_the_end
from mixer.ground.vane_life.shaft_and_hub import ShaftAndHub, shaft_and_hub
from mixer.ground.vane_life.surface_loss import SurfaceLoss
from mixer.ground.vane_report import page_of_vanes
from mixer.ground.vane_report.melt_report import melt_sentence
from tests.support.drawn_vane import in_proportion, nozzle, vane

K, DENSITY, HEAT, MELTS_K, FUSION = 200.0, 9000.0, 400.0, 1300.0, 2e5
ALPHA = K / (DENSITY * HEAT)
METAL = Material(
    "test metal", DENSITY, (300.0,), (HEAT,), (K,), 0.1, MELTS_K, "melting", "made up",
    fusion_j_kg=FUSION,
)  # fmt: skip
SINK = {"shaft_diameter_mm": 12.0, "shaft_length_mm": 20.0, "hub_mass_g": 400.0}


def wall(length_m, cells, gone_m=0.0, film_w_k=0.0, gas_k=0.0, flux_w=0.0, power=1.0):
    """What is left of a wall of unit area, heated at its first face."""
    edge = gone_m + (length_m - gone_m) * np.linspace(0.0, 1.0, cells + 1) ** power
    film, flux = np.zeros(cells), np.zeros(cells)
    film[0], flux[0] = film_w_k, flux_w
    return Bar(edge, np.ones(cells + 1), np.diff(edge), film, np.full(cells, gas_k), flux)


@pytest.mark.parametrize(("start_k", "surface_k"), [(300.0, 2600.0), (1200.0, 1700.0)])
def test_melt_that_stays_goes_as_in_neumanns_solution(start_k, surface_k):
    """Carslaw & Jaeger, Conduction of Heat in Solids, section 11.2, alike properties [memory].

    X = 2 λ sqrt(α t);  St_l e^(-λ²)/erf λ - St_s e^(-λ²)/erfc λ = λ sqrt(π), with
    St = c ΔT / L of liquid (surface over melting) and solid (melting over start).
    """
    liquid, solid = HEAT * (surface_k - MELTS_K) / FUSION, HEAT * (MELTS_K - start_k) / FUSION
    root = brentq(
        lambda x: np.exp(-x * x) * (liquid / erf(x) - solid / erfc(x)) - x * np.sqrt(np.pi),
        1e-4,
        4.0,
    )
    length, cells = 0.1, 140
    held = K / (0.5 * length / cells)  # the surface, half a cell away, stands at surface_k
    bar = wall(length, cells, film_w_k=held, gas_k=surface_k)
    found = melt_bar(lambda _gone: bar, METAL, start_k, 6.0, swept=False)
    late = found.time_s > 1.0
    exact = 2.0 * root * np.sqrt(ALPHA * found.time_s[late])
    cell = length / cells  # a front within a cell is told by its share, to half of it
    np.testing.assert_allclose(found.nose_m[late], exact, rtol=0.01, atol=0.5 * cell)


def test_melt_that_is_swept_off_settles_to_landaus_speed():
    """Constant flux into a thick wall: melts first after π k ρ c ΔT²/(4 q²), and settles to
    q/(ρ (L + c ΔT)) (Landau, Quarterly of Applied Mathematics 8, 1950 [from memory]).
    """
    flux, rise = 3e7, MELTS_K - 300.0
    found = melt_bar(lambda gone: wall(0.2, 120, gone, flux_w=flux, power=1.6), METAL, 300.0, 12.0)
    begins = np.pi * K * DENSITY * HEAT * rise**2 / (4.0 * flux**2)
    assert found.begins_s == pytest.approx(begins, rel=0.02)
    speed = flux / (DENSITY * (FUSION + HEAT * rise))
    late = found.time_s > 8.0
    measured = np.polyfit(found.time_s[late], found.nose_m[late], 1)[0]
    assert measured == pytest.approx(speed, rel=0.02)


def test_heat_that_enters_is_held_molten_or_gone_into_shaft_and_hub():
    """A body of one temperature, half molten: the flux's heat is all found again."""
    even = replace(METAL, conductivity_w_m_k=(20.0 * K,))
    bar, sink = wall(0.02, 20, flux_w=1e6), ShaftAndHub(0.03, 0.005, 0.2, 30.0, 200.0)
    found = melt_bar(lambda _gone: bar, even, 300.0, 100.0, swept=False, sink=sink)
    assert found.mean_k[-1] == pytest.approx(MELTS_K, abs=0.5) and 0.2 < found.share[-1] < 0.9
    held = DENSITY * 0.02 * (HEAT * (MELTS_K - 300.0) + found.share[-1] * FUSION)
    ends = (found.ends_k[-1] - 300.0) @ np.array([30.0, 200.0]) / 0.03  # per metre of span
    assert ends > 0.01 * held
    assert held + ends == pytest.approx(1e6 * 100.0, rel=2e-3)
    assert Enthalpy(METAL).liquidus - Enthalpy(METAL).solidus == pytest.approx(FUSION)


def test_mean_of_an_evenly_heated_strip_stands_a_third_over_its_root():
    """Second route: T(x) - T_root = q (S x - x²/2)/(k A), integrated over the strip."""
    q, span, area = 5e4, 0.04, 4e-4
    mean = quad(lambda x: q * (span * x - 0.5 * x * x) / (K * area), 0.0, span)[0] / span
    sink = ShaftAndHub(span, 0.0, 0.3, 50.0, 0.0)
    leaves, warms = sink.flows(METAL, np.array([area]), np.array([300.0 + mean]), np.full(2, 300.0))
    alone = ShaftAndHub(span, 0.0, 1e-9, 50.0, 0.0)
    through, _ = alone.flows(METAL, np.array([area]), np.array([300.0 + mean]), np.full(2, 300.0))
    assert through[0] == pytest.approx(q, rel=1e-6)
    assert leaves[0] * span == pytest.approx(mean / (span / (3.0 * K * area) + 0.3))
    assert warms == pytest.approx([leaves[0] * span / 50.0, 0.0])


def test_shaft_as_drawn_has_the_resistance_and_heat_of_a_round_bar():
    found = shaft_and_hub(vane(heat_sink=HeatSink(**SINK)))
    assert found is not None and shaft_and_hub(vane()) is None
    area = np.pi * 0.006**2
    assert found.half_shaft_k_w == pytest.approx(0.010 / (60.5 * area))
    assert found.shaft_j_k == pytest.approx(7854.0 * 434.0 * area * 0.020)
    assert (found.hub_j_k, found.jet_m, found.outside_m) == pytest.approx((173.6, 0.035, 0.005))


@pytest.mark.parametrize(
    ("name", "molar_g"), [("copper", 63.546), ("tungsten", 183.84), ("molybdenum", 95.95)]
)
def test_entropy_of_fusion_is_that_of_a_metal(name, molar_g):
    """Richards' rule: about the gas constant, to twice it for the refractory ones [practice]."""
    material = MATERIALS[name]
    entropy = material.fusion_j_kg * 1e-3 * molar_g / material.fails_at_k
    assert 8.314 < entropy < 2.0 * 8.314


# --- a vane ------------------------------------------------------------------------------------

COPPER = vane(material="copper")


@cache
def melted(burn_s, geometry=COPPER):
    material = MATERIALS[geometry.material]
    loss = SurfaceLoss(material, 0.8, 0.0, heat_load(geometry, nozzle()).gas_heat_j_kg_k)
    return melt_by_the_end(geometry, nozzle(), loss, burn_s, 293.0, 1.4)


def test_melt_begins_when_the_hottest_place_is_at_its_melting_point():
    geometry = vane(material="copper", heat_sink=HeatSink(**SINK))
    bar = ChordSection(geometry, heat_load(geometry, nozzle())).bar(0.0)
    copper, sink = MATERIALS["copper"], shaft_and_hub(geometry)
    (heated,) = heat_bars(
        lambda _gone: bar, copper, 293.0, 5.0, stop_at_k=copper.fails_at_k, sink=sink
    )
    found = melt_bar(lambda _gone: bar, copper, 293.0, 1.1 * heated.time_s[-1], sink=sink)
    assert found.begins_s == pytest.approx(heated.time_s[-1], rel=0.01)


def test_melt_gets_further_in_a_longer_burn_and_less_far_with_a_heat_sink():
    sunk = vane(material="copper", heat_sink=HeatSink(**SINK, material="copper"))
    short, longer, cooled = melted(2.0), melted(3.0), melted(3.0, sunk)
    assert 0.0 < short.depth_mm + short.tail_mm < longer.depth_mm + longer.tail_mm
    assert cooled.middle.share[-1] < longer.middle.share[-1]
    assert cooled.middle.ends_k[-1, 0] > cooled.middle.ends_k[-1, 1] > 293.0
    for each in (short, longer, cooled):
        low, high = each.depth_band_mm
        assert low <= each.depth_mm <= high <= each.deepest_mm
        assert np.all(np.diff(each.middle.share) >= -1e-12)


def test_melt_is_followed_no_further_than_a_vane_can_be_described():
    found = melted(26.0)
    assert found.middle.through and found.depth_mm == found.deepest_mm
    assert found.middle.time_s[-1] < 26.0


def test_graphite_does_not_melt():
    assert melted(1.0, vane()) is None


def told(melt, sink=None, burn_s=2.5):
    engine = SimpleNamespace(burn_time_s=burn_s)
    return melt_sentence(
        SimpleNamespace(
            melt=melt,
            vehicle=SimpleNamespace(engine=engine),
            geometry=SimpleNamespace(heat_sink=sink),
        )
    )


def test_melt_is_told_in_a_sentence():
    sink = HeatSink(**SINK)
    part, through = melted(2.5, vane(material="copper", heat_sink=sink)), melted(26.0)
    sentence = told(part, sink)
    assert sentence.startswith("By the burn's end at 2.5 s the melt has come")
    assert "Then the shaft is at" in sentence and "the hub at" in sentence
    assert "heat sink is taken at its best" in sentence
    assert "heat sink" not in told(melted(2.5))
    assert told(through, burn_s=26.0).startswith("The melt is through")
    assert told(melted(0.05), burn_s=0.05) == (
        "Nothing melts by the burn's end at 0.05 s, at worst neither."
    )
    assert told(None) is None


def test_number_that_rounds_to_nothing_has_no_sign():
    geometry = vane(hinge_line_mm=33.0)
    curve = computed_curve(geometry, nozzle(), (-3.0, 3.0), step_deg=3.0)
    curve = replace(curve, hinge_moment_nm=np.full_like(curve.hinge_moment_nm, -1e-9))
    vehicle = SimpleNamespace(
        layout=SimpleNamespace(roll_arm_m=0.03), engine=SimpleNamespace(thrust_n=5e3)
    )
    section = page_of_vanes._forces(
        SimpleNamespace(curve=curve, vehicle=vehicle, ideal_thrust_n=5e3)
    )
    assert {row[-1] for row in section.tables[0].rows} == {"0.000"}


def test_melt_begins_sooner_at_higher_pressure_over_engines_of_every_size(full_size):
    """Heat goes with pressure to the power 0.8: earlier, and further, never a crash."""
    small, large = (1.13, 1.3, 500.0), (1.3, 12.0, 50_000.0)
    more = [(1.3, 1.3, 2000.0), (1.13, 12.0, 10_000.0), (1.2, 4.0, 500.0), (1.2, 4.0, 50_000.0)]
    for gamma, ratio, thrust_n in [small, *([large, *more] if full_size else [])]:
        nozzle_at, geometry = in_proportion(
            gamma, ratio, thrust_n, material="copper", ambient_pressure_bar=0.0
        )
        begins, shares = [], []
        for bar in (5.0, 20.0, 60.0):
            section = ChordSection(geometry, heat_load(geometry, nozzle_at(bar)))
            deepest_m = 1e-3 * geometry.largest_recession_mm
            found = melt_bar(section.bar, MATERIALS["copper"], 293.0, 20.0, deepest_m=deepest_m)
            begins.append(found.begins_s)
            shares.append(found.share[-1] if not found.through else 1.0)
        assert begins[0] > begins[1] > begins[2] or np.isinf(begins[1]), (gamma, ratio, thrust_n)
        assert shares[0] <= shares[1] <= shares[2], (gamma, ratio, thrust_n)
        assert np.isfinite(begins[2])
