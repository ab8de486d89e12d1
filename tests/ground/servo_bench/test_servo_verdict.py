"""Acceptance limits with margins, named faults from data alone, and four servos together."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixer.ground.inputs.section_errors import VehicleError
from mixer.ground.reports.page import Verdict
from mixer.ground.servo_bench.data import Look, bench_data, only_swept
from mixer.ground.servo_bench.diagnosis import REMEDY, diagnose, reader_findings
from mixer.ground.servo_bench.figures import Figure, servo_figures
from mixer.ground.servo_bench.match import match, roll_kick, steepest_n_per_deg
from mixer.ground.servo_bench.report import servo_page, verdict_line
from mixer.ground.servo_bench.verdict import module_verdict, servo_verdict
from mixer.ground.servo_fit.sweep import Sweep
from mixer.ground.vehicle.acceptance import AT_LEAST, Acceptance, judge
from tests.support.benches import TRAVEL_DEG
from tests.support.vehicles import vehicle


def sweep_of(servo=1, offset_deg=0.0, play_deg=0.2, gain=0.1, noise_deg=0.01, seed=1):
    rng = np.random.default_rng(seed + servo)
    pulse_us = np.linspace(1320, 1680, 37)
    exact = gain * (pulse_us - 1500)[:, None] + offset_deg
    up, down = (
        exact + late + rng.normal(0, noise_deg, (37, 3)) for late in (-play_deg / 2, play_deg / 2)
    )
    return Sweep(servo, pulse_us, (1, 2, 3), up, down)


@given(
    value=st.floats(0.01, 100),
    limit=st.floats(0.01, 100),
    name=st.sampled_from(["settling_ms", "bandwidth_hz"]),
)
def test_a_margin_is_positive_exactly_where_the_limit_is_met(value, limit, name):
    (judgement,) = judge({name: value}, Acceptance(**{name: limit}))
    met = value >= limit if name in AT_LEAST else value <= limit
    assert judgement.passed == met
    assert judgement.margin == pytest.approx(abs(value - limit) * (1 if met else -1))


def test_what_was_not_measured_fails_and_what_is_not_limited_is_not_judged():
    judgements = judge({"backlash_deg": None, "latency_ms": 900.0}, Acceptance(backlash_deg=0.5))
    assert [(j.figure, j.passed) for j in judgements] == [("backlash_deg", False)]
    assert "not measured, at most 0.5" in str(judgements[0])


def test_every_limit_that_can_be_set_is_a_figure_that_the_bench_makes():
    """Save the roll of all four together; and every figure says how it was found. What the sensor
    may be off by is no limit.
    """
    figures = servo_figures(bench_data(1, {}), TRAVEL_DEG, 0.5).figures
    others = {"roll_trim_nm", "sensor_nonlinearity_deg"}
    assert set(Acceptance.model_fields) - others <= set(figures)
    for figure in figures.values():
        assert isinstance(figure, Figure)
        assert len(figure.method) > 15
        assert figure.value is None


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({"backlash": 0.3}, "did you mean backlash_deg?"),
        ({"backlash_deg": -0.3}, "a number above 0 and at most 45, in deg"),
        ({"bandwidth_hz": "fast"}, "acceptance.bandwidth_hz"),
    ],
)
def test_a_wrong_limit_in_the_vehicle_file_is_named(limits, words):
    with pytest.raises(VehicleError, match=words.replace("?", r"\?")):
        vehicle(acceptance=limits)


def looks(angles, scatter=0.04, trouble=""):
    pulses = (1500.0, 1540.0, 1460.0, 1500.0)
    return [Look(p, a, scatter, trouble) for p, a in zip(pulses, angles, strict=True)]


@pytest.mark.parametrize(
    ("seen", "name"),
    [
        (looks([0.0, 4.0, -4.0, 0.0]), None),
        (looks([np.nan] * 4), "dead encoder"),
        (looks([3.0] * 4, scatter=0.0), "dead encoder"),
        (looks([-20.0, 100.0, 5.0, 61.0], scatter=90, trouble="no magnet"), "dead encoder"),
        (looks([0.01, 0.03, -0.02, 0.0]), "servo does not move"),
        (looks([0.0] * 4, scatter=0.0, trouble="typed"), "servo does not move"),
    ],
)
def test_the_first_looks_tell_a_dead_encoder_from_a_servo_that_stands(seen, name):
    assert [finding.name for finding in reader_findings(seen)] == ([name] if name else [])


@pytest.mark.parametrize(
    ("sweep", "names"),
    [
        (sweep_of(), []),
        (sweep_of(gain=-0.1), ["reversed lead"]),
        (sweep_of(play_deg=2.2), ["loose horn"]),
        (sweep_of(gain=-0.1, play_deg=-2.2), ["reversed lead", "loose horn"]),
    ],
)
def test_a_sweep_alone_names_what_it_shows(sweep, names):
    found = diagnose(only_swept(sweep), 10.0, TRAVEL_DEG)
    assert [finding.name for finding in found] == names
    assert all(REMEDY[finding.name] in str(finding) for finding in found)


def test_a_mirrored_servo_is_right_where_the_vehicle_file_says_so():
    assert diagnose(only_swept(sweep_of(gain=-0.1)), -10.0, TRAVEL_DEG) == []


def test_a_neutral_that_jumps_in_the_endurance_run_is_a_stripped_tooth():
    angles = [0.0, 0.02, 2.6, 2.61]
    records = {
        f"endurance:{i}": {
            "cycles": 10 * i,
            "up": {"angle_deg": angle - 0.1},
            "down": {"angle_deg": angle + 0.1},
        }
        for i, angle in enumerate(angles)
    }
    (finding,) = diagnose(bench_data(1, records), 10.0, TRAVEL_DEG)
    assert finding.name == "stripped tooth"
    assert "jumped by +2.6 deg between 10 and 20 cycles" in finding.seen


def verdicts(limits, **of_servo):
    """Four servos swept, the offsets and plays as given for each."""
    made = vehicle(acceptance=limits)
    sweeps = [
        sweep_of(n, **{name: values[n - 1] for name, values in of_servo.items()})
        for n in range(1, 5)
    ]
    return made, {
        sweep.servo: servo_verdict(made, only_swept(sweep), 0.5, ("sweep",)) for sweep in sweeps
    }


def test_roll_of_four_servos_is_arm_times_slope_times_what_each_may_stand_off():
    """200 N at 15 deg: 13.33 N/deg, on 0.045 m, times half the repeatability of each."""
    made, servos = verdicts({})
    found = match(made, {n: servo.figures for n, servo in servos.items()})
    assert found is not None
    widths = [servo.figures.fit.repeatability_deg for servo in servos.values()]
    expected = [0.045 * 200 / 15 * width / 2 for width in widths]
    assert found.per_vane_nm == pytest.approx(expected)
    assert found.roll_nm == pytest.approx(sum(expected))
    assert found.likely_nm == pytest.approx(np.sqrt(np.sum(np.square(expected))))
    assert steepest_n_per_deg(made, 0) == pytest.approx(200 / 15)


def test_straight_lines_leave_the_roll_of_the_servos_own_neutrals():
    made, servos = verdicts({}, offset_deg=[0.5, 0.2, -0.1, 0.4])
    found = match(made, {n: servo.figures for n, servo in servos.items()})
    # The four offsets add up to 1 deg of positive deflection.
    assert found.straight_nm == pytest.approx(0.045 * 200 / 15 * 1.0, abs=0.02)


@pytest.mark.parametrize(("limit_nm", "passed"), [(5.0, True), (0.05, False)])
def test_the_four_together_pass_within_the_roll_trim_and_fail_beyond(limit_nm, passed):
    made, servos = verdicts({"roll_trim_nm": limit_nm})
    module = module_verdict(made, servos)
    assert all(servo.passed for servo in servos.values())
    assert module.passed == passed
    assert bool(module.reasons) != passed


def test_three_servos_are_not_judged_together():
    made, servos = verdicts({"roll_trim_nm": 5.0})
    del servos[2]
    module = module_verdict(made, servos)
    assert module.match is None
    assert module.passed


class Moving:
    """A servo's figures of motion."""

    def __init__(self, slew_deg_s, latency_ms):
        self._values = {"slew_deg_s": slew_deg_s, "latency_ms": latency_ms}

    def values(self):
        return self._values


def test_equal_servos_kick_no_roll_and_unlike_ones_as_much_as_the_straight_curve_says():
    made = vehicle()
    equal = {n: Moving(300.0, 8.0) for n in range(1, 5)}
    assert roll_kick(made, equal).largest_nm == pytest.approx(0, abs=1e-9)
    late = {**equal, 1: Moving(300.0, 12.0)}
    # 4 ms at 300 deg/s: vane 1 is 1.2 deg behind the others, of which roll sees 13.33 N/deg.
    assert roll_kick(made, late).largest_nm == pytest.approx(0.045 * 200 / 15 * 1.2, rel=0.02)


def test_the_verdict_line_gives_all_reasons_or_the_tightest_limit():
    tight = judge(
        {"backlash_deg": 0.4, "settling_ms": 10.0}, Acceptance(backlash_deg=0.5, settling_ms=90.0)
    )
    passed = verdict_line("pass", [], tight)
    assert passed == Verdict("pass", f"no fault found; nearest to its limit: {tight[0]}")
    assert verdict_line("fail", ["a", "b"], tight) == Verdict("fail", "a; b")


def test_a_part_passes_so_far_and_names_the_limits_left_open():
    made, servos = verdicts({"backlash_deg": 0.5, "latency_ms": 9.0, "roll_trim_nm": 5.0})
    assert servos[1].outcome == "pass so far"
    assert [judgement.figure for judgement in servos[1].open] == ["latency_ms"]
    module = module_verdict(made, servos)
    assert (module.outcome, module.open_limits, module.absent) == (
        "pass so far",
        ["latency_ms"],
        [],
    )
    page = servo_page(servos[1], "Invented", [])
    assert 'class="verdict open"><b>pass so far</b>1 limit not measured (latency_ms)' in page
    assert "may be bolted on" not in page


def test_a_part_that_misses_a_limit_of_its_own_fails():
    _, servos = verdicts({"backlash_deg": 0.01, "latency_ms": 9.0})
    assert servos[1].outcome == "fail"


def test_where_all_was_asked_for_a_limit_not_measured_fails():
    made = vehicle(acceptance={"backlash_deg": 0.5, "latency_ms": 9.0})
    verdict = servo_verdict(made, only_swept(sweep_of()), 0.5)
    assert verdict.outcome == "fail"
    assert verdict.reasons == ["latency_ms not measured, at most 9"]


def test_all_that_was_asked_for_and_met_is_a_pass():
    made, servos = verdicts({"backlash_deg": 0.5, "roll_trim_nm": 5.0})
    assert servos[1].outcome == "pass"
    module = module_verdict(made, servos)
    assert (module.outcome, module.open_limits) == ("pass", [])


def test_where_nothing_was_asked_for_nothing_says_that_a_servo_may_be_bolted_on():
    _, servos = verdicts({})
    assert servos[1].outcome == "no fault found"
    page = servo_page(servos[1], "Invented", [])
    assert 'class="verdict open"><b>no fault found</b>' in page
    assert "nothing was asked" in page


def test_servos_that_were_not_measured_leave_the_module_open():
    made, servos = verdicts({"backlash_deg": 0.5, "roll_trim_nm": 5.0})
    del servos[2]
    module = module_verdict(made, servos)
    assert (module.outcome, module.open_limits, module.absent) == (
        "pass so far",
        ["roll_trim_nm"],
        [2],
    )


def test_the_angle_sensor_s_own_non_linearity_counts_against_accuracy():
    """± 0.2 deg of the sensor are 0.4 deg of the whole width; unstated, the verdict says so."""
    data = only_swept(sweep_of())
    plain = servo_verdict(vehicle(acceptance={"accuracy_deg": 0.5}), data, 0.5, ("sweep",))
    known = servo_verdict(
        vehicle(acceptance={"accuracy_deg": 0.5, "sensor_nonlinearity_deg": 0.2}),
        data,
        0.5,
        ("sweep",),
    )
    (bare,), (counted,) = plain.judgements, known.judgements
    assert counted.value == pytest.approx(bare.value + 0.4)
    assert plain.passed and not known.passed
    assert "the angle sensor is taken as exact" in servo_page(plain, "made up", [])
    assert known.doubts == []
    assert "± 0.2 deg" in known.figures.figures["accuracy_deg"].method


def test_a_figure_goes_by_the_standard_s_name_only_where_its_conditions_hold():
    verdict = servo_verdict(vehicle(), only_swept(sweep_of()), 0.5, ("sweep",))
    assert verdict.figures.figures["backlash_deg"].method.startswith("after ISO 230-2, 3 runs, ")
    page = servo_page(verdict, "made up", [])
    assert "3 runs each way, not 5; targets evenly spaced; uncertainty of the angle" in page
