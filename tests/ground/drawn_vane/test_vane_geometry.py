"""Forces of a whole vane from its drawing, hinge moments, and drawings that are impossible."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy.integrate import quad

from mixer.ground.drawn_vane import gas
from mixer.ground.drawn_vane.file_checks import refuse_impossible
from mixer.ground.drawn_vane.geometry import (
    GeometryError,
    WornEdge,
    jet_for,
    strips,
    vane_volume_m3,
)
from mixer.ground.drawn_vane.hot_gas import HotGas, friction_coefficient
from mixer.ground.drawn_vane.vane_forces import (
    centre_of_pressure_share,
    computed_curve,
    deflections_deg,
    span_factor,
)
from tests.support.drawn_vane import TRAVEL, hinge_table, nozzle, section_forces, vane


def share_of_thrust_lost(geometry, thrust_n=5000.0):
    return 4.0 * computed_curve(geometry, nozzle(), TRAVEL).drag_at_rest_n / thrust_n


@pytest.mark.parametrize("section", ["double-wedge", "biconvex"])
def test_blunt_vanes_lose_between_five_and_twelve_percent_of_thrust(section):
    """About 10 % with blunt leading edges on a small liquid engine (common practice)."""
    assert 0.05 < share_of_thrust_lost(vane(section=section)) < 0.12


@pytest.mark.parametrize("section", ["double-wedge", "biconvex"])
def test_slender_sharp_vanes_lose_under_three_percent_of_thrust(section):
    """0.5–3 % for slender ones (Sutton & Biblarz, Rocket Propulsion Elements, from memory)."""
    slender = vane(section=section, thickness_mm=4.2, leading_edge_radius_mm=0.2)
    assert 0.005 < share_of_thrust_lost(slender) < 0.03


@pytest.mark.parametrize("mach, slope", [(2.0, 1.642734), (2.5, 1.364791), (3.0, 1.164214)])
def test_rectangular_wing_of_aspect_one_has_the_published_slope(mach, slope):
    """4/β (1 − 1/(2 AR β)) per rad (Anderson, Aircraft Performance and Design, eq. 2.18c)."""
    beta = np.sqrt(mach**2 - 1.0)
    assert 4.0 / beta * span_factor(1.0, beta) == pytest.approx(slope, abs=6e-7)


@pytest.mark.parametrize("reduced, share", [(1.0, 1.0 / 3.0), (np.sqrt(3.0), 0.432362), (1e9, 0.5)])
def test_rectangular_wing_has_its_centre_of_pressure_where_derived(reduced, share):
    """(3 AR β − 2)/(6 AR β − 3) chords from the leading edge."""
    assert centre_of_pressure_share(1.0, reduced) == pytest.approx(share, abs=6e-7)


@pytest.mark.parametrize("reduced", [1.2, 2.0, 5.0])
def test_span_factor_and_centre_follow_from_the_tip_cones_by_quadrature(reduced):
    """Within each tip's Mach cone the load is half of the plane load on average (Busemann).

    At a chord station x a cone has grown to x/β on each side; the load there is plane outside the
    cones and half inside, so load(x) = span − x/β and its moments follow by integration.
    """
    load, _ = quad(lambda x: reduced - x, 0.0, 1.0)
    moment, _ = quad(lambda x: x * (reduced - x), 0.0, 1.0)
    assert span_factor(1.0, reduced) == pytest.approx(load / reduced)
    assert centre_of_pressure_share(1.0, reduced) == pytest.approx(moment / load)


def test_span_factor_is_continuous_and_ends_at_the_slender_wing_limit():
    """Slope π/2 AR as AR β goes to 0 (Jones, NACA Report 835, from memory)."""
    assert span_factor(1.0, 1.0 - 1e-9) == pytest.approx(span_factor(1.0, 1.0), rel=1e-8)
    beta = 1e-6
    assert 4.0 / beta * span_factor(1.0, beta) == pytest.approx(0.5 * np.pi, rel=1e-5)


def test_curve_is_the_section_times_area_pressure_and_span_factor_where_the_jet_is_uniform():
    """With the ambient pressure matched the lip wave is as weak as can be: one section, one q."""
    matched = jet_for(vane(), nozzle()).core.pressure_pa / 1e5
    geometry = vane(ambient_pressure_bar=matched, leading_edge_radius_mm=0.0)
    curve = computed_curve(geometry, nozzle(), TRAVEL)
    core = curve.jet.core
    force = section_forces(geometry.outline_at(30.0), core.mach, 1.2, np.radians(10.0))
    area = 0.070 * 0.035
    factor = span_factor(0.5, np.sqrt(core.mach**2 - 1.0))
    at_ten = np.interp(10.0, curve.deflection_deg, curve.normal_force_n)
    assert at_ten == pytest.approx(core.dynamic_pressure_pa * area * force.c_n * factor, rel=1e-4)


def test_side_force_and_drag_are_the_normal_and_axial_force_turned_by_the_deflection():
    curve = computed_curve(vane(), nozzle(), TRAVEL)
    angle = np.radians(curve.deflection_deg)
    n, a = curve.normal_force_n, curve.axial_force_n
    np.testing.assert_allclose(curve.force_n, n * np.cos(angle) - a * np.sin(angle), atol=1e-9)
    np.testing.assert_allclose(curve.drag_n, n * np.sin(angle) + a * np.cos(angle), atol=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(["double-wedge", "biconvex"]),
    st.floats(4.0, 9.0),
    st.floats(0.0, 0.3),
    st.floats(0.2, 1.2),
)
def test_curves_are_odd_in_force_even_in_drag_and_rise(section, thickness, nose, ambient):
    geometry = vane(
        section=section,
        thickness_mm=thickness,
        leading_edge_radius_mm=nose * thickness,
        ambient_pressure_bar=ambient,
    )
    curve = computed_curve(geometry, nozzle(), TRAVEL)
    np.testing.assert_allclose(curve.force_n, -curve.force_n[::-1], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(curve.drag_n, curve.drag_n[::-1], rtol=1e-9)
    assert np.all(np.diff(curve.force_n) > 0.0)
    assert np.all(np.diff(curve.drag_n[curve.deflection_deg >= 0.0]) > 0.0)
    middle = len(curve.drag_n) // 2
    assert curve.deflection_deg[middle] == 0.0 and curve.force_n[middle] == 0.0


def test_forces_scale_with_chamber_pressure_where_the_jet_keeps_its_shape():
    """Same pressure ratio to ambient, same Mach numbers: only friction's Reynolds number moves."""
    one = computed_curve(vane(), nozzle(), TRAVEL)
    two = computed_curve(
        vane(ambient_pressure_bar=1.5 * 1.01325), nozzle(chamber_pressure_bar=30.0), TRAVEL
    )
    # The side force holds a little friction, turned by the deflection.
    np.testing.assert_allclose(two.normal_force_n, 1.5 * one.normal_force_n, rtol=1e-9)
    np.testing.assert_allclose(two.force_n, 1.5 * one.force_n, rtol=1e-3)


def test_more_strips_do_not_move_the_force():
    """Sixteen strips against sixty-four on a tapered, unevenly worn vane: under 0.1 %."""
    geometry = vane(tip_chord_mm=50.0, leading_edge_radius_mm=2.0)
    worn = WornEdge(np.array([5.0, 40.0]), np.array([0.0, 6.0]))
    sums = []
    for count in (16, 64):
        slices = strips(geometry, 0.0477, worn, count)
        force = [
            s.width_m * s.outline.chord_m * section_forces(s.outline, 2.6, 1.2, 0.2).c_n
            for s in slices
        ]
        sums.append(sum(force))
    assert sums[0] == pytest.approx(sums[1], rel=1e-3)


def test_volume_of_a_plain_vane_is_span_times_section():
    sharp = vane(leading_edge_radius_mm=0.0)
    assert vane_volume_m3(sharp) == pytest.approx(0.5 * 0.070 * 0.0084 * 0.040, rel=1e-6)


def test_hinge_moment_is_force_times_distance_from_hinge_to_centre_of_pressure():
    curve = computed_curve(vane(), nozzle(), TRAVEL)
    arm_m = 1e-3 * (30.0 - curve.centre_of_pressure_mm)
    np.testing.assert_allclose(curve.hinge_moment_nm, curve.normal_force_n * arm_m, atol=1e-9)


def test_hinge_ahead_of_the_centre_of_pressure_brings_the_vane_back_to_neutral():
    ahead = hinge_table(vane(hinge_line_mm=15.0, immersed_span_mm=30.0), nozzle(), TRAVEL)
    behind = hinge_table(vane(hinge_line_mm=30.0), nozzle(), TRAVEL)
    for table, outwards in ((ahead, -1.0), (behind, 1.0)):
        driven = table.moment_nm * np.sign(table.deflection_deg) * outwards
        assert (driven[:, table.deflection_deg != 0.0] > 0.0).all()


def test_servo_margin_is_rated_torque_over_the_largest_moment_of_travel_and_wear():
    loads = (0.0, 10.0)
    table = hinge_table(
        vane(hinge_line_mm=15.0, immersed_span_mm=30.0),
        nozzle(),
        TRAVEL,
        loads,
        lambda s: WornEdge(np.array([5.0, 40.0]), np.full(2, 0.3 * s)),
    )
    peak = np.max(np.abs(table.moment_nm))
    assert table.margin(3.0) == pytest.approx(3.0 / peak)
    # The worn edge moves the centre of pressure back, away from this hinge.
    assert table.peak_at[0] == 10.0
    assert abs(table.moment_nm[1, -1]) > abs(table.moment_nm[0, -1])


def test_detachment_inside_the_travel_is_reported_with_its_angle():
    thick = vane(thickness_mm=17.0, leading_edge_radius_mm=0.0, immersed_span_mm=20.0,
                 distance_behind_exit_mm=0.0)  # fmt: skip
    curve = computed_curve(thick, nozzle(), (-30.0, 30.0))
    flank = np.degrees(np.arctan2(17.0, 70.0))
    limits = [
        np.degrees(gas.detachment_angle_rad(s.across.mach, 1.2))
        for s in (curve.jet.core, curve.jet.skirt)
    ]
    assert min(limits) - flank - 1e-6 <= curve.detachment_deg <= max(limits) - flank + 1e-6
    assert any(
        f"detaches at {curve.detachment_deg:.1f}°, inside the travel" in n for n in curve.notes
    )
    assert not any("inside the travel" in n for n in computed_curve(vane(), nozzle()).notes)


@pytest.mark.parametrize(
    "ambient, word", [(1.01325, "over-expanded"), (0.3, "under-expanded"), (0.87, "matched")]
)
def test_expansion_of_the_jet_is_stated(ambient, word):
    curve = computed_curve(vane(ambient_pressure_bar=ambient), nozzle(), TRAVEL)
    assert curve.jet.expansion == word
    assert f"jet {word}" in curve.notes[0]


def test_low_aspect_ratio_is_said_to_be_a_blend():
    short = vane(immersed_span_mm=20.0)
    assert any("blend" in n for n in computed_curve(short, nozzle(), TRAVEL).notes)


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"thickness_mm": 70.0}, "must be under root_chord_mm, 70: a vane is thinner"),
        ({"tip_chord_mm": 71.0}, "does not widen towards the tip"),
        ({"leading_edge_radius_mm": 4.2}, "at most 0.48 of the thickness"),
        ({"hinge_line_mm": 70.0}, "must be under root_chord_mm, 70"),
        ({"immersed_span_mm": 41.0}, "must be at most span_mm, 40"),
        ({"thickness_mm": float("nan")}, "finite number"),
        ({"span_mm": -1.0}, "greater than 0"),
        ({"section": "square"}, "'double-wedge' or 'biconvex'"),
        ({"material": "wood"}, "'graphite'"),
        ({"colour": "red"}, "Extra inputs"),
    ],
)
def test_impossible_drawings_are_refused_in_words(changes, words):
    with pytest.raises(ValidationError, match=words):
        vane(**changes)


@pytest.mark.parametrize(
    "changes, engine, travel, words",
    [
        ({"immersed_span_mm": 47.0, "span_mm": 50.0}, {}, TRAVEL, "collide at the centre line"),
        ({"immersed_span_mm": 44.0, "span_mm": 50.0}, {}, TRAVEL, "collide at the centre line"),
        ({}, {}, (-25.0, 25.0), "collide at the centre line"),
        ({"immersed_span_mm": 96.0, "span_mm": 100.0}, {}, TRAVEL, "wider than the jet"),
        ({}, {"expansion_ratio": 1.0}, TRAVEL, "subsonic exit"),
        ({}, {"chamber_pressure_bar": 1.2}, TRAVEL, "subsonic exit"),
        ({}, {"chamber_pressure_bar": 6.0}, TRAVEL, "separates inside the nozzle"),
        ({}, {"expansion_ratio": None}, TRAVEL, "engine.expansion_ratio must be given"),
        ({"immersed_span_mm": 15.0}, {}, (-70.0, 70.0), "collide|stops rising"),
        ({}, {}, (5.0, 5.0), "must rise"),
    ],
)
def test_vanes_that_do_not_fit_their_jet_are_refused_in_words(changes, engine, travel, words):
    with pytest.raises((GeometryError, gas.GasError), match=words):
        computed_curve(vane(**changes), nozzle(**engine), travel)


def test_neighbours_nearer_than_a_quarter_turn_meet_further_out():
    """Half way between neighbours 60° apart a tip at radius r has r tan 30° of room to the side."""
    geometry, jet = vane(hinge_line_mm=35.0), jet_for(vane(), nozzle())
    gap_mm = 1e3 * jet.exit_radius_m - geometry.immersed_span_mm
    for apart_deg in (60.0, 80.0, 90.0):
        room_mm = gap_mm * np.tan(np.radians(0.5 * apart_deg))
        just_deg = float(np.degrees(np.arcsin(room_mm / 35.0)))
        refuse_impossible(geometry, jet, (-just_deg + 0.01, 0.0), apart_deg)
        with pytest.raises(GeometryError, match=f"its neighbour, {apart_deg:g}°"):
            refuse_impossible(geometry, jet, (-just_deg - 0.01, 0.0), apart_deg)


def test_side_force_that_stops_rising_is_refused_with_the_angle():
    narrow = vane(
        root_chord_mm=20.0, tip_chord_mm=20.0, thickness_mm=3.0, hinge_line_mm=10.0,
        leading_edge_radius_mm=1.0, immersed_span_mm=15.0,
    )  # fmt: skip
    with pytest.raises(GeometryError, match=r"stops rising at \d+"):
        computed_curve(narrow, nozzle(), (-75.0, 75.0))


def test_deflections_cover_the_travel_in_small_steps_with_zero_among_them():
    for travel in ((-15.0, 15.0), (-3.3, 20.0), (0.0, 12.0), (-8.0, 0.0)):
        angles = deflections_deg(travel)
        assert angles[0] == travel[0] and angles[-1] == travel[1]
        assert 0.0 in angles and np.max(np.diff(angles)) <= 1.0 + 1e-9


def test_friction_of_a_turbulent_plate_matches_a_hand_value():
    """0.455/6^2.58 is 0.00447 at a million, slow flow; Mach 2.6 lowers it by 0.64."""
    assert friction_coefficient(1e6, 0.0) == pytest.approx(0.004472, rel=1e-3)
    ratio = friction_coefficient(1e6, 2.6) / friction_coefficient(1e6, 0.0)
    assert ratio == pytest.approx(1.97344**-0.65, rel=1e-6)


def test_hot_gas_properties_agree_with_the_perfect_gas():
    """c* from choked mass flow: p A / mdot with rho a at the throat; Pr and cp by definition."""
    hot = HotGas(3000.0, 0.023, 1.2)
    r = 8.314462618 / 0.023
    assert hot.specific_heat_j_kg_k == pytest.approx(1.2 * r / 0.2)
    throat_t = 3000.0 / 1.1
    density_over_p = (1.0 / 1.1) ** (1.0 / 0.2) / (r * 3000.0)
    mass_flux_over_p = density_over_p * np.sqrt(1.2 * r * throat_t)
    assert hot.characteristic_velocity_m_s == pytest.approx(1.0 / mass_flux_over_p, rel=1e-9)
    assert hot.prandtl == pytest.approx(4.8 / 5.8)
    assert hot.static_temperature_k(2.0) == pytest.approx(3000.0 * 0.714286, rel=1e-6)
    assert 2143.0 < hot.recovery_temperature_k(2.0) < 3000.0
