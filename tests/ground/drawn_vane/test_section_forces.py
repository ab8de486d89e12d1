"""Shock-expansion on plates, wedges and arcs; blunt noses; detachment.

Values marked computed follow from the shock-expansion formulas, redone outside the project;
linear theory is Ackeret (1925), as in Liepmann & Roshko §4.17 (from memory).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from mixer.ground.drawn_vane import gas
from mixer.ground.drawn_vane.outline import Outline, OutlineError, section_outline
from mixer.ground.drawn_vane.profile_forces import detachment_deflection_rad, flank_pressures
from tests.support.drawn_vane import section_forces

PLATE = Outline(np.array([0.0, 1.0]), np.zeros(2), 0.0, 0.0, 1.0)  # without thickness
WEDGE = section_outline("double-wedge", 1.0, np.tan(np.radians(10.0)))


def lift(forces):
    """Force coefficient square to the stream."""
    return forces.c_n * np.cos(forces.alpha_rad) - forces.c_a * np.sin(forces.alpha_rad)


def drag(forces):
    """Force coefficient along the stream."""
    return forces.c_n * np.sin(forces.alpha_rad) + forces.c_a * np.cos(forces.alpha_rad)


@pytest.mark.parametrize(
    "mach, alpha_deg, gamma, upper, lower, c_l, c_d",
    [
        # Anderson, Fundamentals of Aerodynamics, 3rd ed., Ex. 9.11, prints 0.668, 1.458, 0.125,
        # 0.011 from tables; these are computed.
        (3.0, 5.0, 1.4, 0.66761, 1.45398, 0.12435, 0.010879),
        (2.0, 5.0, 1.4, 0.74746, 1.31541, 0.20207, 0.017678),
        (2.5, 10.0, 1.4, None, None, 0.30959, 0.054589),
        (2.5, 10.0, 1.2, 0.54823, 1.71874, 0.30739, 0.054202),
    ],
)
def test_flat_plate_matches_computed_shock_expansion(
    mach, alpha_deg, gamma, upper, lower, c_l, c_d
):
    alpha = np.radians(alpha_deg)
    forces = section_forces(PLATE, mach, gamma, alpha)
    assert lift(forces) == pytest.approx(c_l, abs=6e-6)
    assert drag(forces) == pytest.approx(c_d, abs=6e-7)
    if upper is not None:
        assert flank_pressures(np.array([-alpha]), mach, gamma)[0] == pytest.approx(upper, abs=6e-6)
        assert flank_pressures(np.array([alpha]), mach, gamma)[0] == pytest.approx(lower, abs=6e-6)


@given(st.floats(1.6, 6.0), st.floats(0.1, 12.0), st.floats(1.15, 1.667))
def test_exact_flat_plate_drag_is_lift_times_the_tangent(mach, alpha_deg, gamma):
    """The only force on a plate is square to it; its centre is half the chord."""
    alpha = np.radians(alpha_deg)
    forces = section_forces(PLATE, mach, gamma, alpha)
    assert drag(forces) == pytest.approx(lift(forces) * np.tan(alpha), rel=1e-9)
    assert forces.c_moment / forces.c_n == pytest.approx(0.5)


def test_double_wedge_of_ten_degrees_matches_computed_values():
    """Half angle 10°, M 3, γ 1.4; linear theory is 12–17 % low at 15°."""
    rest = section_forces(WEDGE, 3.0, 1.4, 0.0)
    turned = section_forces(WEDGE, 3.0, 1.4, np.radians(15.0))
    assert drag(rest) == pytest.approx(0.045322, abs=6e-7)
    assert rest.c_n == pytest.approx(0.0, abs=1e-15)
    assert lift(turned) == pytest.approx(0.42320, abs=6e-6)
    assert drag(turned) == pytest.approx(0.17079, abs=6e-6)


@pytest.mark.parametrize(
    "mach, alpha_deg, c_l, c_d",
    [(3.0, 5.0, 0.12341, 0.010770), (2.0, 5.0, 0.20153, 0.017587), (2.5, 10.0, 0.30469, 0.053178)],
)
def test_small_deflections_agree_with_linear_theory(mach, alpha_deg, c_l, c_d):
    """c_l = 4α/β and c_d = 4α²/β as printed; the exact plate tends to them as α goes to 0."""
    alpha, beta = np.radians(alpha_deg), np.sqrt(mach**2 - 1.0)
    assert 4.0 * alpha / beta == pytest.approx(c_l, abs=6e-6)
    assert 4.0 * alpha**2 / beta == pytest.approx(c_d, abs=6e-7)
    small = section_forces(PLATE, mach, 1.4, 1e-4)
    assert lift(small) == pytest.approx(4e-4 / beta, rel=1e-3)
    assert drag(small) == pytest.approx(4e-8 / beta, rel=1e-3)


@pytest.mark.parametrize("section, shape", [("double-wedge", 1.0), ("biconvex", 4.0 / 3.0)])
@pytest.mark.parametrize("mach", [2.0, 3.0])
def test_thin_sections_have_the_wave_drag_of_linear_theory(section, shape, mach):
    """c_d = 4 K (t/c)²/β with K 1 and 4/3; the panels of the arc cost under 0.1 %."""
    thickness = 0.005
    found = drag(section_forces(section_outline(section, 1.0, thickness), mach, 1.4, 0.0))
    linear = 4.0 * shape * thickness**2 / np.sqrt(mach**2 - 1.0)
    assert found == pytest.approx(linear, rel=2e-3)


def wedge_by_governing_equations(half_rad, mach, gamma, alpha):
    """c_n, c_a of a double wedge from root finding on the governing equations alone."""

    def turn_of(wave):
        normal = (mach * np.sin(wave)) ** 2
        ratio = ((gamma - 1.0) * normal + 2.0) / ((gamma + 1.0) * normal)
        return wave - np.arctan(ratio * np.tan(wave))

    def nu(m):
        return quad(
            lambda x: np.sqrt(x * x - 1.0) / ((1.0 + 0.5 * (gamma - 1.0) * x * x) * x), 1.0, m
        )[0]

    def p_over_pt(m):
        return (1.0 + 0.5 * (gamma - 1.0) * m * m) ** (-gamma / (gamma - 1.0))

    def expand(m, angle, p):
        m_after = brentq(lambda x: nu(x) - nu(m) - angle, m, 30.0, xtol=1e-12)
        return m_after, p * p_over_pt(m_after) / p_over_pt(m)

    def front(turn):
        if turn <= 0.0:
            return expand(mach, -turn, 1.0)
        low = np.arcsin(1.0 / mach)
        wave = brentq(lambda w: turn_of(w) - turn, low, low + 0.6, xtol=1e-14)
        normal = (mach * np.sin(wave)) ** 2
        p = 1.0 + 2.0 * gamma / (gamma + 1.0) * (normal - 1.0)
        behind = np.sqrt(
            (1.0 + 0.5 * (gamma - 1.0) * normal) / (gamma * normal - 0.5 * (gamma - 1.0))
        )
        return behind / np.sin(wave - turn), p

    pressures = []
    for turn in (half_rad + alpha, half_rad - alpha):
        m, p = front(turn)
        pressures.append((p, expand(m, 2.0 * half_rad, p)[1]))
    (low_front, low_back), (up_front, up_back) = pressures
    dynamic = 0.5 * gamma * mach**2
    c_n = 0.5 * (low_front + low_back - up_front - up_back) / dynamic
    c_a = 0.5 * np.tan(half_rad) * (low_front + up_front - low_back - up_back) / dynamic
    return c_n, c_a


@pytest.mark.parametrize("half_deg", [3.0, 7.0])
@pytest.mark.parametrize("alpha_deg", [0.0, 4.0, 9.0, 15.0])
def test_double_wedge_agrees_with_root_finding_on_the_governing_equations(half_deg, alpha_deg):
    half, alpha = np.radians(half_deg), np.radians(alpha_deg)
    c_n, c_a = wedge_by_governing_equations(half, 2.62, 1.2, alpha)
    outline = section_outline("double-wedge", 1.0, float(np.tan(half)))
    forces = section_forces(outline, 2.62, 1.2, alpha)
    assert forces.c_n == pytest.approx(c_n, abs=1e-8)
    assert forces.c_a == pytest.approx(c_a, abs=1e-8)


@given(st.floats(0.0, 0.3), st.sampled_from(["double-wedge", "biconvex"]), st.floats(0.0, 0.02))
def test_turning_the_other_way_mirrors_the_forces(alpha, section, radius):
    outline = section_outline(section, 1.0, 0.1, radius)
    one, other = (section_forces(outline, 2.6, 1.2, a) for a in (alpha, -alpha))
    assert one.c_n == pytest.approx(-other.c_n, abs=1e-12)
    assert one.c_a == pytest.approx(other.c_a, abs=1e-12)
    assert one.c_moment == pytest.approx(-other.c_moment, abs=1e-12)


def test_detachment_begins_where_deflection_and_half_angle_reach_the_limit():
    """M 3, γ 1.4: limit 34.073°, half angle 10°, so 24.073° of deflection."""
    begins = detachment_deflection_rad(WEDGE, 3.0, 1.4)
    assert np.degrees(begins) == pytest.approx(24.073, abs=6e-4)
    assert section_forces(WEDGE, 3.0, 1.4, begins - 1e-6).attached
    assert not section_forces(WEDGE, 3.0, 1.4, begins + 1e-6).attached


def test_forces_do_not_jump_where_the_shock_detaches():
    begins = detachment_deflection_rad(WEDGE, 3.0, 1.4)
    before, after = (section_forces(WEDGE, 3.0, 1.4, begins + step) for step in (-1e-9, 1e-9))
    assert after.c_n == pytest.approx(before.c_n, rel=1e-3)
    assert after.c_a == pytest.approx(before.c_a, rel=1e-3)


def test_detached_pressure_stays_under_the_pitot_limit():
    for turn in np.radians([41.0, 60.0, 89.0]):
        pressure, attached = flank_pressures(np.array([turn]), 3.0, 1.4)
        assert not attached
        assert pressure[0] <= gas.rayleigh_pitot_ratio(3.0, 1.4)


def test_expansion_past_the_vacuum_limit_leaves_no_pressure_and_no_nan():
    pressure, attached = flank_pressures(np.radians([-85.0, -100.0]), 6.0, 1.4)
    assert attached and pressure.tolist() == [0.0, 0.0]


def test_round_nose_drag_is_two_thirds_of_the_pitot_coefficient_per_diameter():
    """Half a cylinder in Newtonian flow: integral of cos³ over its front is 4/3 of the radius.

    A plate of twice the nose radius is nothing but its nose in front.
    """
    radius = 0.01
    outline = section_outline("double-wedge", 1.0, 2.0 * radius / 0.96, radius)
    sharp = section_outline("double-wedge", 1.0, 2.0 * radius / 0.96)
    nose = section_forces(outline, 2.6, 1.2, 0.0).c_a
    largest = gas.stagnation_pressure_coefficient(2.6, 1.2)
    reach = 0.5 * np.pi - outline.flank_rad
    closed_form = 2.0 * radius * largest * (np.sin(reach) - np.sin(reach) ** 3 / 3.0)
    assert closed_form == pytest.approx(4.0 / 3.0 * radius * largest, rel=1e-3)
    # What is left of the wedge behind the nose adds less than the whole sharp wedge does.
    assert closed_form < nose < closed_form + section_forces(sharp, 2.6, 1.2, 0.0).c_a


@pytest.mark.parametrize("section", ["double-wedge", "biconvex"])
@pytest.mark.parametrize("radius", [0.0, 0.003, 0.02])
@pytest.mark.parametrize("recession", [0.0, 0.01, 0.2])
def test_nose_circle_touches_the_flanks_at_the_receded_edge(section, radius, recession):
    """Position and direction agree at the point of touch, and the nose stands where it should."""
    outline = section_outline(section, 1.0, 0.1, radius, recession)
    centre = outline.nose_x_m + outline.nose_radius_m
    x, y = outline.x_m[0], outline.y_m[0]
    assert np.hypot(x - centre, y) == pytest.approx(outline.nose_radius_m, abs=1e-9)
    assert outline.nose_x_m == pytest.approx(recession, abs=1e-12)
    if outline.nose_radius_m > 0.0:
        # Radius and flank are square to each other; an arc's first panel lags by its own turn.
        along = (x - centre) * np.cos(outline.flank_rad) + y * np.sin(outline.flank_rad)
        turn = abs(outline.slope_rad[0] - outline.slope_rad[1]) if section == "biconvex" else 1e-9
        assert abs(along) <= outline.nose_radius_m * turn


def test_worn_nose_grows_blunter_and_the_section_lighter():
    outlines = [section_outline("biconvex", 70.0, 8.4, 3.0, e) for e in (0.0, 2.0, 5.0, 10.0)]
    assert np.all(np.diff([o.nose_radius_m for o in outlines]) > 0.0)
    areas = [o.area_m2 for o in outlines]
    assert np.all(np.diff(areas) < 0.0)
    # What is lost is about the recession times the thickness there.
    assert areas[0] - areas[1] == pytest.approx(2.0 * 6.2, rel=0.1)


def test_section_areas_match_closed_forms():
    """A double wedge fills half its box, a parabolic biconvex two thirds."""
    assert section_outline("double-wedge", 1.0, 0.1).area_m2 == pytest.approx(0.05)
    assert section_outline("biconvex", 1.0, 0.1).area_m2 == pytest.approx(0.2 / 3.0, rel=1e-3)


@pytest.mark.parametrize(
    "arguments, words",
    [
        (("double-wedge", 1.0, 1.2), "thickness"),
        (("double-wedge", 1.0, 0.1, 0.06), "leading-edge radius"),
        (("double-wedge", 1.0, 0.1, 0.0, 0.6), "recession"),
        (("double-wedge", 1.0, 0.1, 0.0, float("nan")), "recession"),
        (("round", 1.0, 0.1), "section"),
    ],
)
def test_sections_that_cannot_exist_are_refused_in_words(arguments, words):
    with pytest.raises(OutlineError, match=words):
        section_outline(*arguments)
