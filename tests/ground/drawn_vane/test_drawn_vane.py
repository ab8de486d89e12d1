"""What a drawing is examined for: file against drawing, servo margin, strength, faces, verdict."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy.stats import weibull_min

from mixer.ground.commands.vanes import vanes
from mixer.ground.drawn_vane.file_checks import (
    ideal_thrust_n,
    roll_arm_warning,
    thrust_coefficient,
    thrust_warning,
)
from mixer.ground.drawn_vane.geometry import WornEdge, jet_for
from mixer.ground.drawn_vane.hinge import CENTRE_DOUBT
from mixer.ground.drawn_vane.jet import jet_from_nozzle
from mixer.ground.drawn_vane.outline import BICONVEX_PANELS, Outline, OutlineError, section_outline
from mixer.ground.drawn_vane.profile_forces import BASE_SUCTION
from mixer.ground.drawn_vane.vane_forces import computed_curve
from mixer.ground.vane_life.life import vane_life
from mixer.ground.vane_life.strength import (
    STRENGTHS,
    bending,
    bending_modulus_m3,
    shock_resistance_w_m,
)
from mixer.ground.vane_report.examined import worn_by
from mixer.ground.vane_report.from_behind import vane_outline, view_from_behind
from mixer.ground.vehicle.vehicle import load_vehicle
from mixer.ground.wear.prediction import effectiveness_of
from tests.support.drawn_vane import TRAVEL, hinge_table, nozzle, section_forces, vane
from tests.support.vehicles import drawn, vehicle_file

# --- file against drawing ----------------------------------------------------------------------


def test_thrust_coefficient_is_the_isentropic_one():
    """γ 1.2, ε 4, pc/pa 20: 1.407175; vacuum 1.607175; computed (Sutton & Biblarz, eq. 3-30)."""
    for ambient_pa, coefficient in ((1e5, 1.407175), (0.0, 1.607175)):
        jet = jet_from_nozzle(20e5, 0.05, 4.0, 1.2, ambient_pa)
        assert thrust_coefficient(jet, 20e5, 4.0) == pytest.approx(coefficient, abs=2e-6)


def test_thrust_coefficient_is_momentum_and_pressure_at_the_exit():
    """Second route: (ρ u² + p − pa) A_e over pc A_t from the exit's state."""
    jet = jet_from_nozzle(20e5, 0.05, 6.0, 1.25)
    core = jet.core
    push = core.pressure_pa * (1.0 + 1.25 * core.mach**2) - jet.ambient_pressure_pa
    assert thrust_coefficient(jet, 20e5, 6.0) == pytest.approx(6.0 * push / 20e5, rel=1e-9)


def test_thrust_that_throat_and_pressure_cannot_give_is_told_with_both_numbers():
    ideal = ideal_thrust_n(nozzle(), jet_for(vane(), nozzle()))
    assert ideal == pytest.approx(5020.0, rel=0.01)
    assert thrust_warning(5000.0, ideal) is None and thrust_warning(0.9 * ideal, ideal) is None
    for wrong in (1.1 * ideal, 0.7 * ideal):
        said = thrust_warning(wrong, ideal)
        assert said and f"{wrong:g}" in said and f"{ideal:.4g}" in said


def test_roll_arm_that_is_not_where_the_force_acts_is_told_with_both_numbers():
    assert roll_arm_warning(0.0310, 0.0303) is None
    said = roll_arm_warning(0.045, 0.0319)
    assert said and "0.045 is 41% over the 0.0319 m" in said
    assert "under" in str(roll_arm_warning(0.020, 0.0319))


# --- servo margin ------------------------------------------------------------------------------


def test_hinge_doubt_is_the_normal_force_on_a_share_of_the_chord():
    geometry = vane(hinge_line_mm=15.0, immersed_span_mm=30.0)
    table = hinge_table(geometry, nozzle(), TRAVEL)
    curve = computed_curve(geometry, nozzle(), TRAVEL)
    np.testing.assert_allclose(table.doubt_nm[0], 0.075 * 0.070 * curve.normal_force_n)
    low, high = table.margin_band(3.0)
    shifts = [-0.075 * 0.070, 0.0, 0.075 * 0.070]
    peaks = [np.max(np.abs(table.moment_nm[0] + s * curve.normal_force_n)) for s in shifts]
    assert (low, high) == pytest.approx((3.0 / max(peaks), 3.0 / min(peaks)))
    assert low < table.margin(3.0) <= high and CENTRE_DOUBT == 0.075


@pytest.mark.parametrize(
    "hinge_mm, word", [(8.0, "comes back"), (19.0, "not sure"), (33.0, "goes hard over")]
)
def test_what_a_loose_vane_does_is_said_only_where_the_doubt_allows(hinge_mm, word):
    geometry = vane(hinge_line_mm=hinge_mm, immersed_span_mm=28.0)
    assert hinge_table(geometry, nozzle(), (-10.0, 10.0)).let_go == word


# --- strength ----------------------------------------------------------------------------------


def test_rhombus_has_the_handbook_section_modulus():
    """b h²/24: 60 × 12 mm bent flatwise by 180 N at 30 mm, 15 MPa (a table of section moduli)."""
    modulus = bending_modulus_m3(section_outline("double-wedge", 0.060, 0.012))
    assert modulus == pytest.approx(0.060 * 0.012**2 / 24.0, rel=1e-12)
    assert 180.0 * 0.030 / modulus == pytest.approx(15e6)


def test_shaft_hole_takes_its_own_second_moment_off():
    outline = section_outline("double-wedge", 0.060, 0.012)
    with_hole = bending_modulus_m3(outline, 0.006)
    assert (bending_modulus_m3(outline) - with_hole) * 0.006 == pytest.approx(
        np.pi * 0.006**4 / 64.0
    )


def test_bending_of_a_slender_vane_is_that_of_a_cantilever():
    """Force at its arm on rhombi at jet edge and root: about 18 and 25 MPa at 15°."""
    geometry = vane(
        span_mm=42.0, root_chord_mm=76.0, tip_chord_mm=68.0, thickness_mm=8.0,
        leading_edge_radius_mm=0.0, hinge_line_mm=20.0, immersed_span_mm=33.0,
    )  # fmt: skip
    curve = computed_curve(geometry, nozzle(), TRAVEL)
    new = WornEdge(np.array([9.0, 42.0]), np.zeros(2))
    edge, root = bending(geometry, [curve], [new], np.array([293.0]))
    radius_mm = 1e3 * curve.jet.exit_radius_m - 33.0 + 42.0
    force = float(np.max(curve.normal_force_n))
    arm = 1e-3 * (radius_mm - 1e3 * curve.roll_arm_m)
    assert root.stress_mpa[0] == pytest.approx(
        1e-6 * force * arm / (0.076 * 0.008**2 / 24.0), rel=1e-6
    )
    station = radius_mm - 1e3 * curve.edge_radius_m
    chord = 76.0 - 8.0 * station / 42.0
    share = 1e-9 * chord * (chord * 8.0 / 76.0) ** 2 / 24.0
    assert edge.stress_mpa[0] == pytest.approx(
        1e-6 * force * (arm - 1e-3 * station) / share, rel=1e-6
    )
    assert edge.stress_mpa[0] == pytest.approx(18.0, rel=0.15)
    assert root.margin == pytest.approx(39.0 / root.stress_mpa[0])


@pytest.mark.parametrize("name", ["isomoulded graphite", "moulded graphite", "tungsten"])
def test_chance_of_breaking_is_weibulls_with_the_mean_strength_as_its_mean(name):
    strength = STRENGTHS[name]
    scale = strength.mean_mpa[0] / weibull_min.mean(strength.weibull)
    for stress in (0.4, 0.7, 1.0):
        mpa = stress * strength.mean_mpa[0]
        expected = weibull_min.cdf(mpa, strength.weibull, scale=scale)
        assert strength.chance(mpa, 300.0) == pytest.approx(expected, rel=1e-9)


def test_one_in_a_thousand_breaks_at_half_the_mean_strength_with_modulus_ten():
    """0.526843 of the mean; computed."""
    strength = STRENGTHS["isomoulded graphite"]
    assert strength.chance(0.526843 * 39.0, 300.0) == pytest.approx(1e-3, rel=1e-4)


@pytest.mark.parametrize(
    "numbers, expected",
    [((120.0, 25.0, 0.14, 9.8, 4.5e-6), 58_503.0), ((401.0, 48.0, 0.34, 117.0, 17e-6), 6_387.0)],
)
def test_shock_resistance_is_kingerys(numbers, expected):
    """IG-110 58 503 W/m; computed. Copper by its yield, not its ultimate strength."""
    assert shock_resistance_w_m(*numbers) == pytest.approx(expected, rel=1e-3)


# --- faces and tail ----------------------------------------------------------------------------


def thickness_at(outline: Outline, x_m):
    return 2.0 * np.interp(x_m, outline.x_m, outline.y_m)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["double-wedge", "biconvex"]),
    st.floats(0.0, 0.15),
    st.floats(0.0, 0.4),
    st.floats(0.0, 0.3),
    st.floats(0.0, 0.2),
)
def test_worn_section_lies_within_the_new_one_thinner_by_its_faces(section, face, nose, back, tail):
    chord, thick = 0.070, 0.008
    args = (section, chord, thick, nose * thick)
    recession = back * 0.5 * (chord - thick)
    new = section_outline(*args, 0.0, 0.0, tail * thick)
    worn = section_outline(*args, recession, face * thick, tail * thick)
    assert np.all(np.diff(worn.x_m) >= 0.0) and np.all(worn.y_m >= -1e-12)
    # Chords cut less off an arc where they are shorter. By the trapezium rule's error,
    # length · h² · y''/12 on each side, y'' = 4 thick / chord²; of straight flanks nothing.
    panel = 0.5 * chord / BICONVEX_PANELS
    cut_m2 = 2 * chord * panel**2 * 4 * thick / chord**2 / 12 if section == "biconvex" else 0.0
    assert worn.area_m2 <= new.area_m2 + cut_m2 + 1e-12
    x = np.linspace(max(worn.x_m[0], new.x_m[0]), worn.x_m[-1], 50)
    lost = 0.5 * (thickness_at(new, x) - thickness_at(worn, x))
    assert np.all(lost >= face * thick - 2e-6)
    assert np.max(lost) <= face * thick * 1.08 + 2e-6
    assert worn.y_m[-1] >= min(face * thick, new.y_m[-1]) - 1e-9 or face == 0.0


def test_thinned_wedge_is_a_smaller_wedge():
    worn = section_outline("double-wedge", 0.070, 0.008, 0.0, 0.0, 0.0005)
    lost = 0.0005 / np.cos(np.arctan2(0.008, 0.070))
    assert worn.thickness_m == pytest.approx(0.008 - 2.0 * lost)
    assert worn.nose_x_m == pytest.approx(0.035 * 2.0 * lost / 0.008)
    # The tail ends where half of it is as thin as what its faces have lost.
    assert worn.y_m[-1] == pytest.approx(0.0005)
    assert 0.070 - worn.x_m[-1] == pytest.approx((0.0005 + lost) / (0.008 / 0.070), rel=1e-6)


def test_faces_worn_past_a_fifth_of_the_thickness_are_refused():
    with pytest.raises(OutlineError, match="too little is left of the section"):
        section_outline("biconvex", 0.07, 0.008, 0.0, 0.0, 0.002)


def test_blunt_tail_adds_its_base_to_the_drag():
    sharp = section_forces(section_outline("double-wedge", 0.07, 0.008), 2.6, 1.2, 0.0)
    blunt = section_forces(
        section_outline("double-wedge", 0.07, 0.008, 0.0, 0.0, 0.0, 0.002), 2.6, 1.2, 0.0
    )
    base = BASE_SUCTION / 2.6**2 * 0.002 / 0.070
    assert base > 0.0 and blunt.c_a == pytest.approx(sharp.c_a, abs=base)
    assert BASE_SUCTION < 2.0 / 1.2  # never more suction than a vacuum's


@pytest.mark.parametrize("blend", ["lox/ethanol", "n2o/isopropanol"])
def test_graphite_keeps_nearly_all_side_force_for_25_seconds(blend):
    """A visible part of the edge is gone, the force is nearly whole (common practice)."""
    geometry = vane(thickness_mm=9.5, leading_edge_radius_mm=1.6, trailing_edge_thickness_mm=1.5)
    engine = nozzle(propellants=blend)
    life = vane_life(geometry, engine, horizon_s=30.0)
    edge = worn_by(life, geometry, 25.0)
    assert 1.0 < edge.recession_mm[0] < 7.0 and 0.0 < edge.face_mm < 1.0
    new, worn = (computed_curve(geometry, engine, TRAVEL, e, 5.0) for e in (None, edge))
    assert 0.9 < effectiveness_of(worn, new) < 1.0


def test_measured_edge_scales_the_faces_with_it():
    lives = [
        vane_life(vane(), nozzle(), horizon_s=40.0, measured_rate_mm_s=r) for r in (0.05, 0.15)
    ]
    faces = [life.face_mm_at(30.0) / (0.05, 0.15)[i] for i, life in enumerate(lives)]
    assert faces[0] == pytest.approx(faces[1], rel=0.15) and faces[0] > 0.0


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"shaft_hole_mm": 7.0}, "0.8 of the thickness at the hinge line"),
        ({"trailing_edge_thickness_mm": 8.0}, "0.8 of the thickness at the tip"),
        ({"graphite_grade": "pencil"}, "isomoulded"),
    ],
)
def test_impossible_holes_and_tails_are_refused_in_words(changes, words):
    with pytest.raises(ValidationError, match=words):
        vane(**changes)


# --- the command -------------------------------------------------------------------------------


def told(folder, changes, *options, **others):
    file = vehicle_file(folder, **drawn(changes), **others)
    result = CliRunner().invoke(vanes, [str(file), *options])
    return result, file


def test_the_terminal_and_json_tell_what_is_not_sure_and_what_fails(tmp_path):
    """Not sure is null; a file that no flight tables come of fails, and why is said once."""
    result, _ = told(tmp_path, {"servo_torque_nm": 1.6, "material": "molybdenum"}, "--json")
    found = json.loads(result.stdout)
    assert found["verdict"] == "not sure" and found["passed"] is None
    assert any("molybdenum oxidises" in w for w in found["warnings"])
    assert any("flame temperature 3000 K" in a for a in found["assumed"])
    assert {c["condition"] for c in found["force_over_kappa"]} >= {"pc 50 %", "5 km higher"}
    shown, _ = told(tmp_path, {"hinge_line_mm": 33.0}, layout={"roll_arm_m": 0.0005})
    first, *_, last = shown.stdout.splitlines()
    assert shown.exit_code == 1
    assert first.startswith("FAIL. ") and "no flight tables can be made of the file" in first
    assert shown.stdout.count("layout.roll_arm_m = 0.0005: must be") == 1
    assert last.startswith("Next: mend in the vehicle file ")
    assert "LOOK: If the servo lets go, the vane goes hard over" in shown.stdout.replace("\n", " ")


def test_solids_in_the_exhaust_leave_no_life_figure(tmp_path):
    source = vehicle_file(tmp_path, **drawn({}))
    text = source.read_text(encoding="utf-8")
    text = text.replace("[engine]\n", "[engine]\nsolids_in_exhaust = true\n", 1)
    source.write_text(text, encoding="utf-8")
    page = tmp_path / "v.html"
    result = CliRunner().invoke(vanes, [str(source), "--json", "--out", str(page)])
    found = json.loads(result.stdout)
    assert found["life_s"] is None and found["passed"] is None and found["verdict"] == "not sure"
    assert any("sand a graphite vane off in seconds" in w for w in found["warnings"])
    assert "Lives about" not in page.read_text(encoding="utf-8")


def test_drawings_are_compared_side_by_side(tmp_path):
    """Blunt copper against slender graphite: heavier, more drag, melts; its mean stays low."""
    files = []
    sink = {"shaft_diameter_mm": 12.0, "shaft_length_mm": 20.0, "hub_mass_g": 400.0}
    for name, burn_s, changes in (
        ("copper", 2.5, {"material": "copper", "heat_sink": sink}),
        ("graphite", 26.0, {"leading_edge_radius_mm": 1.0}),
    ):
        folder = tmp_path / name
        folder.mkdir()
        source = vehicle_file(folder, **drawn(changes))
        text = source.read_text(encoding="utf-8")
        assert "burn_time_s = 26.0" in text
        source.write_text(text.replace("burn_time_s = 26.0", f"burn_time_s = {burn_s}"))
        files.append(str(source.rename(tmp_path / f"{name}.toml")))
    page = tmp_path / "both.html"
    result = CliRunner().invoke(vanes, [*files, "--json", "--out", str(page)])
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)["drawings"]
    copper, graphite = found["copper"], found["graphite"]
    assert copper["mass_g"] > 4.0 * graphite["mass_g"]
    assert copper["thrust_loss_at_rest"] > graphite["thrust_loss_at_rest"]
    assert copper["passed"] is False and copper["life_s"] < graphite["life_s"]
    assert copper["mean_temperature_at_end_k"] < 1100.0  # the edge melts at 1358 K
    assert copper["melted_through"] is False and graphite["melted_through"] is None
    assert copper["melt_begins_s"] == pytest.approx(copper["local_failure_s"], rel=0.01)
    assert copper["molten_share"] > 0.0 and copper["effectiveness_at_end"] < 1.0
    assert copper["shaft_at_end_k"] > copper["hub_at_end_k"] > 293.0
    text = page.read_text(encoding="utf-8")
    assert "melted from the leading edge, mm" in text and "does not melt" in text
    assert text.count("<svg") == 1 and "Side by side" in text


# --- seen from behind --------------------------------------------------------------------------


def test_view_from_behind_is_to_scale_and_turns_the_positive_way():
    """Starboard vane, positive: the trailing edge, the longer part, swings against +z, upwards."""
    y, z = vane_outline(vane(), 47.7, 0.0, 15.0)
    assert (y.min(), y.max()) == pytest.approx((47.7 - 35.0, 47.7 + 5.0))
    assert z.min() == pytest.approx(-(70.0 - 30.0) * np.sin(np.radians(15.0)))
    assert z.max() == pytest.approx(30.0 * np.sin(np.radians(15.0)))
    y, z = vane_outline(vane(), 47.7, 90.0, 0.0)
    assert z.max() == pytest.approx(52.7) and np.ptp(y) == pytest.approx(8.4)


def test_view_from_behind_names_vanes_gap_and_sense(tmp_path):
    picture = view_from_behind(load_vehicle(vehicle_file(tmp_path, **drawn({}))))
    for words in ("neutral", "positive roll", "12.7 mm from", "nozzle exit 95.4 mm", ">4<"):
        assert words in picture
