"""Bars heated side by side: each as if alone, each up to its own end, and by the right slopes."""

from dataclasses import replace

import numpy as np
import pytest

from mixer.ground.drawn_vane.geometry import HeatSink
from mixer.ground.vane_life.conduction import Bar
from mixer.ground.vane_life.heat_load import ChordSection, heat_load
from mixer.ground.vane_life.heating import _Equation, heat_bars
from mixer.ground.vane_life.life import START_K, vane_life
from mixer.ground.vane_life.materials import MATERIALS, Material
from mixer.ground.vane_life.shaft_and_hub import shaft_and_hub
from mixer.ground.vane_life.surface_loss import SurfaceLoss
from tests.support.conduction import lumped_time_s
from tests.support.drawn_vane import nozzle, vane

COPPER = MATERIALS["copper"]
FILMS = np.array([[0.7], [1.0], [1.4]])


def section_of(**drawn):
    geometry = vane(**drawn)
    return ChordSection(geometry, heat_load(geometry, nozzle()))


def receding(factor, count, sink=None):
    """Graphite that recedes by 0.4 mm at most, under films by a factor each."""
    section, graphite = section_of(), MATERIALS["graphite"]
    loss = SurfaceLoss(graphite, 0.8, 0.3, section.load.gas_heat_j_kg_k)

    def rate_m_s(surface_k, gone_m):
        film = factor * section.load.nose_w_m2_k(section.radius_m(gone_m))
        return loss.burned_kg_m2_s(film, surface_k) / graphite.density_kg_m3

    return heat_bars(
        lambda gone_m: section.bar(gone_m, factor), graphite, START_K, 9.0, rate_m_s,
        stop_at_recession_m=4e-4, heat_into_w=loss.net_w, sink=sink, count=count,
    )  # fmt: skip


@pytest.mark.parametrize("sunk", [False, True])
def test_bars_side_by_side_are_heated_as_each_alone(sunk):
    drawn = HeatSink(shaft_diameter_mm=8.0, shaft_length_mm=40.0, hub_mass_g=60.0)
    sink = shaft_and_hub(vane(heat_sink=drawn)) if sunk else None
    together = receding(FILMS, 3, sink)
    ends_s = [one.time_s[-1] for one in together]
    assert ends_s[0] == 9.0 > ends_s[1] > ends_s[2]  # the first outlives the horizon
    for factor, one in zip(FILMS, together, strict=True):
        (alone,) = receding(factor[:, None], 1, sink)
        assert one.time_s[-1] == pytest.approx(alone.time_s[-1], rel=1e-4)
        assert one.recession_m[-1] == pytest.approx(alone.recession_m[-1], rel=1e-4)
        np.testing.assert_allclose(one.temperature_k[-1], alone.temperature_k[-1], rtol=3e-4)
        np.testing.assert_allclose(one.ends_k[-1], alone.ends_k[-1], rtol=3e-4)
        assert one.ends_k.shape == (len(one.time_s), 2 if sunk else 0)


def test_each_bar_is_heated_up_to_its_own_end():
    """Lumped bodies in gas at 500 K, by the closed form; the last in gas that is too cold."""
    metal = Material("test", 8500.0, (300.0,), (400.0,), (400.0,), 0.1, 450.0, "melting", "made up")
    edge, films = np.linspace(0.0, 1e-4, 9), np.array([800.0, 400.0, 200.0, 400.0])
    film_w_k = np.zeros((4, 8))
    film_w_k[:, 0] = films
    gas_k = np.array([[500.0], [500.0], [500.0], [440.0]])
    bar = Bar(edge, np.ones(9), np.diff(edge), film_w_k, gas_k, np.zeros(8))
    found = heat_bars(lambda _gone: bar, metal, 300.0, 20.0, stop_at_k=450.0, count=4)
    capacity = 8500.0 * 400.0 * 1e-4
    for film, one in zip(films[:3], found, strict=False):
        exact_s = lumped_time_s(capacity, film, 300.0, 500.0, 450.0)
        assert one.time_s[-1] == pytest.approx(exact_s, rel=1e-3)
        assert 450.0 <= one.temperature_k[-1].max() < 450.001
        assert np.all(np.diff(one.time_s) > 0.0) and np.all(one.temperature_k[:-1] < 450.0)
        assert not one.recession_m.any()
    assert found[3].time_s[-1] == 20.0
    assert found[3].temperature_k[-1] == pytest.approx(440.0, abs=0.1)


def test_bar_past_its_end_stands_as_it_ended():
    """Copper that recedes at 0.5, 1 and 2 mm/s: no bar is asked for past 2 mm, to the last end."""
    section, asked_m = section_of(), []

    def bars_at(gone_m):
        asked_m.append(gone_m.max())
        return section.bar(gone_m)

    speed_m_s = np.array([[5e-4], [1e-3], [2e-3]])
    found = heat_bars(
        bars_at, COPPER, 293.0, 20.0, lambda _t, _gone: speed_m_s, stop_at_recession_m=2e-3, count=3
    )
    assert [one.time_s[-1] for one in found] == pytest.approx([4.0, 2.0, 1.0], rel=1e-6)
    assert max(asked_m) == 2e-3


def test_solver_stops_once_the_last_bar_has_ended():
    shares = []
    bar = section_of(material="copper").bar(0.0)
    heat_bars(lambda _gone: bar, COPPER, 293.0, 120.0, stop_at_k=1358.0, done=shares.append)
    assert shares == sorted(shares) and shares[-1] < 0.1


def test_jacobian_is_what_the_slopes_rise_by():
    """Every column by differences of the slopes, and nothing from bar to bar."""
    plain = replace(
        COPPER, at_k=(300.0,), specific_heat_j_kg_k=(400.0,), conductivity_w_m_k=(380.0,)
    )
    loss = SurfaceLoss(plain, 0.8, 0.0, 2000.0)
    bars = section_of(material="copper").bar(np.zeros((3, 1)), FILMS)
    equation = _Equation(
        lambda _gone: bars, plain, None, np.inf, np.inf, loss.net_w, None, len(FILMS)
    )
    size = len(FILMS) * equation.width
    state = np.linspace(500.0, 1200.0, size)
    band = equation.jacobian(0.0, state)
    for column in range(size):
        step = np.zeros(size)
        step[column] = 0.5
        rise = equation.slopes(0.0, state + step) - equation.slopes(0.0, state - step)
        told = np.zeros(size)
        for row in range(max(column - 1, 0), min(column + 2, size)):
            told[row] = band[1 + row - column, column]
        np.testing.assert_allclose(told, rise, rtol=1e-6, atol=1e-6 * np.abs(band).max())


@pytest.mark.parametrize("section", ["double-wedge", "biconvex"])
def test_shape_between_two_rows_of_the_table_is_the_one_drawn_there(section):
    """Half way between the rows, many bars at once; the film is put together by hand.

    Straight between two rows, a section is off by at most a quarter of their distance times the
    bend of its two faces at half chord, 0.24 each.
    """
    drawn = section_of(section=section)
    depths_m = drawn.row_m * (np.arange(0, len(drawn.rises), 7) + 0.5)[:, None]
    bars = drawn.bar(depths_m)
    edge, area, volume, surface, behind, stagnation, arc, flank = drawn._shapes(depths_m)
    np.testing.assert_allclose(bars.edge_m, edge, rtol=1e-12)
    np.testing.assert_allclose(bars.section_m2, area, atol=0.25 * drawn.row_m * 2.0 * 0.24)
    np.testing.assert_allclose(bars.volume_m3, volume, atol=1e-4 * volume.max())
    np.testing.assert_allclose(bars.surface_m2, surface, atol=1e-4 * surface.max())
    ahead = (drawn.flank_x_m[1:-1] <= behind[..., None]).sum(axis=-1)  # panels ahead of a cell's
    films = np.maximum(stagnation, arc * drawn.pressed[ahead]) + flank * drawn.pressed[ahead]
    np.testing.assert_allclose(bars.film_w_k.sum(axis=1), films.sum(axis=1), rtol=1e-4)
    for row, depth_m in enumerate(depths_m[:, 0]):
        alone = drawn.bar(float(depth_m))
        np.testing.assert_array_equal(bars.film_w_k[row], alone.film_w_k)
        np.testing.assert_array_equal(bars.gas_k[row], alone.gas_k)


@pytest.mark.parametrize(
    "doubt, film, temperature, emission, conductivity",
    [
        ("the heat transfer coefficient", 1.4, 1.0, 1.0, 1.0),
        ("the gas temperature", 1.0, 1.05, 1.0, 1.0),
        ("radiation to the surroundings", 1.0, 1.0, 1.25, 1.0),
        ("the conductivity of copper", 1.0, 1.0, 1.0, 1.05),
    ],
)
def test_doubt_is_the_life_with_one_input_at_the_ends_of_its_range(
    doubt, film, temperature, emission, conductivity
):
    """Each end heated alone, what is uncertain changed by hand."""
    life = vane_life(vane(material="copper"), nozzle())
    found = next(each for each in life.doubts if each.name == doubt)
    section, ends_s = section_of(material="copper"), []
    for up in (1.0, -1.0):
        k = tuple(value * conductivity**up for value in COPPER.conductivity_w_m_k)
        solid = replace(COPPER, conductivity_w_m_k=k)
        loss = replace(life.loss, material=solid, emissivity_factor=emission**up)
        bar = section.bar(0.0)
        bar = replace(bar, film_w_k=bar.film_w_k * film**up, gas_k=bar.gas_k * temperature**up)
        (alone,) = heat_bars(
            lambda _gone, bar=bar: bar, solid, START_K, 120.0, stop_at_k=COPPER.fails_at_k,
            heat_into_w=loss.net_w,
        )  # fmt: skip
        ends_s.append(alone.time_s[-1])
    assert (found.low_s, found.high_s) == pytest.approx((min(ends_s), max(ends_s)), rel=2e-4)
    assert found.low_s < life.life_s < found.high_s
