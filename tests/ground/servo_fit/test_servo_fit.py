"""Sweeps become servo tables, or are refused with the place; all on made sweeps of known truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixer.ground.inputs.csv_files import DataError
from mixer.ground.servo_fit.accuracy import held_out, iso_230_2_lacks, standard_name
from mixer.ground.servo_fit.fit import (
    ServoRefusedError,
    SweepError,
    deflection_deg,
    fit_servo,
    smooth_curve,
    write_servo_table,
)
from mixer.ground.servo_fit.metrology import positioning
from mixer.ground.servo_fit.sweep import Sweep, read_sweeps, write_sweeps
from mixer.ground.vehicle.servo_table import read_servo_table

TRAVEL_DEG = (-15.0, 15.0)
COUNT_DEG = 360 / 4096
BOWS = {"straight": 0.0, "10 % bowed": 0.404, "20 % bowed": 0.83, "30 % bowed": 1.302}


def truth(pulse_us, bow=0.0, gain=0.1):
    """Deflection over pulse: straight, or bowed as an unequal linkage bows it (exponential)."""
    unit = (pulse_us - 1500) / 170
    bent = unit if bow == 0 else 2 * np.expm1(bow * (unit + 1)) / np.expm1(2 * bow) - 1
    return gain * 170 * bent


def made_sweep(
    seed=1, bow=0.0, gain=0.1, play_deg=0.2, noise_deg=0.02, passes=3, pulses=41, change=None
):
    """A sweep with play and the noise and steps of an encoder; `change` spoils the readings."""
    rng = np.random.default_rng(seed)
    pulse_us = np.linspace(1330, 1670, pulses)
    tables = []
    for late in (-play_deg / 2, play_deg / 2):
        exact = truth(pulse_us, bow, gain)[:, None] + np.sign(gain) * late
        noisy = exact + rng.normal(0, noise_deg, (pulses, passes))
        tables.append(np.round(noisy / COUNT_DEG * 16) * COUNT_DEG / 16)
    if change:
        change(pulse_us, *tables)
    return Sweep(1, pulse_us, tuple(range(1, passes + 1)), *tables)


@pytest.mark.parametrize("gain", [0.1, -0.1], ids=["forward", "mirrored"])
@pytest.mark.parametrize("bow", BOWS.values(), ids=BOWS)
@pytest.mark.parametrize("seed", range(4))
def test_the_table_meets_its_claimed_repeatability_at_fresh_positions(seed, bow, gain):
    """From either side, at deflections that were never swept, the vane is within ±R/2."""
    fit = fit_servo(made_sweep(seed, bow, gain), TRAVEL_DEG)
    fresh_deg = np.random.default_rng(seed + 100).uniform(*TRAVEL_DEG, 200)
    pulse_us = np.round(np.interp(fresh_deg, fit.table.deflection_deg, fit.table.pulse_us))
    for late_deg in (-0.1, 0.1):
        error_deg = truth(pulse_us, bow, gain) + late_deg - fresh_deg
        assert np.max(np.abs(error_deg)) <= fit.repeatability_deg / 2


def test_accuracy_is_judged_by_readings_that_did_not_make_the_table():
    """Seeds 0 to 19, three passes: A by passes held out comes nearer to A by 30 fresh passes than A
    by the table's own readings, which is told too small.
    """
    own, held, fresh = [], [], []
    for seed in range(20):
        sweep = made_sweep(seed, noise_deg=0.1)
        fit = fit_servo(sweep, TRAVEL_DEG)
        again = made_sweep(seed + 1000, noise_deg=0.1, passes=30)
        within = np.isin(again.pulse_us, fit.pulse_us)
        target_deg = fit.deflection_deg[:, None]
        later = positioning(again.up_deg[within] - target_deg, again.down_deg[within] - target_deg)
        own.append(fit.positions.accuracy)
        held.append(held_out(sweep, fit).accuracy)
        fresh.append(later.mean_up.max() - later.mean_down.min() + 4 * 0.1)
    print(f"A: own {np.mean(own):.3f}, held out {np.mean(held):.3f}, fresh {np.mean(fresh):.3f}")
    assert np.mean(held) > np.mean(own)
    assert all(a >= b for a, b in zip(held, own, strict=True))


def test_a_sweep_without_noise_leaves_the_same_accuracy_either_way():
    sweep = made_sweep(noise_deg=0.0, bow=0.83)
    fit = fit_servo(sweep, TRAVEL_DEG)
    assert held_out(sweep, fit).accuracy == pytest.approx(fit.positions.accuracy, abs=1e-9)


@pytest.mark.parametrize(
    ("targets", "runs", "stated", "lacking"),
    [
        ([-15.0, -9.0, 1.0, 15.0], 5, True, []),
        ([-15.0, -5.0, 5.0, 15.0], 5, True, ["targets evenly spaced"]),
        ([-15.0, -9.0, 1.0, 15.0], 3, True, ["3 runs each way, not 5"]),
        ([-15.0, -9.0, 1.0, 15.0], 5, False, ["uncertainty of the angle sensor not stated"]),
        ([-60.0, -20.0, 10.0, 60.0], 5, True, ["4 targets, not 5"]),
    ],
)
def test_the_standard_s_name_asks_for_its_conditions(targets, runs, stated, lacking):
    """ISO 230-2:2014 as recalled: five runs each way, uneven targets, 3 of them up to 90°, 5 up to
    180°, and the uncertainty of the measurement stated.
    """
    assert iso_230_2_lacks(np.array(targets), runs, stated) == lacking
    assert standard_name(lacking, runs).startswith("after" if lacking else "ISO 230-2")


@pytest.mark.parametrize("bow", BOWS.values(), ids=BOWS)
def test_non_linearity_is_what_the_linkage_was_made_with(bow):
    """Terminal-based, against the same figure of the exact curve on a fine grid."""
    pulse_us = np.linspace(1330, 1670, 4001)
    exact_deg = truth(pulse_us, bow)
    chord = np.interp(pulse_us, pulse_us[[0, -1]], exact_deg[[0, -1]])
    exact_percent = 100 * np.max(np.abs(exact_deg - chord)) / np.ptp(exact_deg)
    sweep = made_sweep(bow=bow, noise_deg=0.0, play_deg=0.0)
    fit = fit_servo(sweep, (float(np.min(sweep.up_deg)), float(np.max(sweep.up_deg))))
    # One step of the made encoder is 0.016 % of the span; the grid of pulses cuts the rest.
    assert fit.terminal_nonlinearity.percent_of_span == pytest.approx(exact_percent, abs=0.15)


def test_the_smooth_curve_is_the_published_monotone_interpolant():
    """RPN 14 data (Fritsch & Carlson 1980), to the four digits printed."""
    x = np.array([7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20])
    y = np.array(
        [0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994]
    )
    found = smooth_curve(x, y).deflection_at(7.99 + 1.201 * np.arange(8))
    printed = [0, 0.4640, 0.9645, 0.9965, 0.9992, 0.9998, 0.9999, 1]
    assert found == pytest.approx(printed, abs=6e-5)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    bow=st.floats(-1.4, 1.4),
    timer_us=st.sampled_from([0.05, 0.5, 1.0, 2.0]),
)
def test_every_table_is_monotone_told_apart_by_the_timer_and_within_what_was_measured(
    seed, bow, timer_us
):
    table = fit_servo(made_sweep(seed, bow), TRAVEL_DEG, timer_us).table
    assert np.all(np.diff(table.deflection_deg) > 0)
    assert np.all(np.diff(table.pulse_us) >= timer_us * 0.999)
    assert (table.deflection_deg[0], table.deflection_deg[-1]) == TRAVEL_DEG
    assert 0.0 in table.deflection_deg
    assert table.pulse_us[0] >= 1330
    assert table.pulse_us[-1] <= 1670


def test_a_travel_beyond_the_sweep_is_refused_and_not_extrapolated():
    with pytest.raises(SweepError, match=r"travel -18 to 15 deg is not covered"):
        fit_servo(made_sweep(), (-18.0, 15.0))


def test_an_end_stop_within_the_sweep_is_cut_off():
    def stop(pulse_us, up, down):
        up[pulse_us > 1630] = up[pulse_us <= 1630][-1]
        down[pulse_us > 1630] = down[pulse_us <= 1630][-1]

    fit = fit_servo(made_sweep(change=stop), (-15.0, 12.0))
    assert fit.table.pulse_us[-1] < 1630
    with pytest.raises(SweepError, match="not covered"):
        fit_servo(made_sweep(change=stop), TRAVEL_DEG)


def test_a_lone_wrong_reading_is_left_out_and_named():
    def mistype(pulse_us, up, down):
        up[20, 1] += 4.0

    fit = fit_servo(made_sweep(change=mistype), TRAVEL_DEG)
    assert [str(outlier).split(":")[0] for outlier in fit.outliers] == [
        "servo 1, 1500 µs up, pass 2"
    ]
    clean = fit_servo(made_sweep(), TRAVEL_DEG)
    assert fit.repeatability_deg == pytest.approx(clean.repeatability_deg, abs=0.05)


@pytest.mark.parametrize("seed", range(20))
def test_a_healthy_sweep_has_no_outliers_and_no_bad_regions(seed):
    assert fit_servo(made_sweep(seed, passes=2), TRAVEL_DEG).outliers == ()


def spoil(kind):
    """What a mechanism can do to the readings between 1540 and 1590 µs."""

    def change(pulse_us, up, down):
        band = (pulse_us > 1540) & (pulse_us < 1590)
        if kind == "turns back":
            for table in (up, down):
                table[band] -= 2.5 * np.sin((pulse_us[band] - 1540) * np.pi / 50)[:, None]
        elif kind == "sticks":
            held = np.flatnonzero(band)
            up[held[:-1]] = up[held[0] - 1]
            down[held[1:]] = down[held[-1] + 1]
        elif kind == "slips":
            up[pulse_us > 1560, 2] -= 3.1
            down[pulse_us > 1560, 2] -= 3.1

    return change


@pytest.mark.parametrize("kind", ["turns back", "sticks", "slips"])
def test_a_bad_mechanism_is_refused_with_the_place(kind):
    with pytest.raises(ServoRefusedError, match=kind) as refusal:
        fit_servo(made_sweep(change=spoil(kind)), TRAVEL_DEG)
    regions = refusal.value.regions
    assert {region.kind for region in regions} == {kind}
    for region in regions:
        assert 1515 <= region.from_us < region.to_us <= 1605


def test_too_many_wrong_readings_are_a_refusal_not_a_clean_up():
    def scatter(pulse_us, up, down):
        up[1:-1:3, 0] += 5.0
        up[2:-1:3, 1] -= 5.0
        down[1:-1:3, 2] += 5.0

    with pytest.raises(ServoRefusedError, match="readings are off the others"):
        fit_servo(made_sweep(change=scatter), TRAVEL_DEG)


@pytest.mark.parametrize(
    ("sweep", "words"),
    [
        ({"passes": 1}, "at least 2 passes in each direction"),
        ({"pulses": 4}, "4 pulses; at least 5"),
    ],
)
def test_too_small_a_sweep_is_refused(sweep, words):
    with pytest.raises(SweepError, match=words):
        fit_servo(made_sweep(**sweep), TRAVEL_DEG)


def test_a_timer_too_coarse_for_the_travel_is_refused():
    with pytest.raises(SweepError, match="too coarse to steer with"):
        fit_servo(made_sweep(), TRAVEL_DEG, timer_us=20.0)


def test_table_and_sweep_survive_their_files(tmp_path):
    sweep = made_sweep()
    write_sweeps(tmp_path / "sweep.csv", [sweep])
    again = read_sweeps(tmp_path / "sweep.csv")[1]
    np.testing.assert_allclose(again.up_deg, sweep.up_deg, atol=5e-5)
    fit = fit_servo(again, TRAVEL_DEG)
    write_servo_table(tmp_path / "servo.csv", fit.table)
    table = read_servo_table(tmp_path / "servo.csv")
    np.testing.assert_array_equal(table.deflection_deg, fit.table.deflection_deg)
    np.testing.assert_array_equal(table.pulse_us, fit.table.pulse_us)


def test_a_table_read_backwards_gives_the_deflection_again():
    for gain in (0.1, -0.1):
        table = fit_servo(made_sweep(gain=gain), TRAVEL_DEG).table
        at = np.linspace(*TRAVEL_DEG, 31)
        pulse_us = np.interp(at, table.deflection_deg, table.pulse_us)
        assert deflection_deg(table, pulse_us) == pytest.approx(at, abs=1e-9)


HEADER = "servo,pulse_us,angle_deg,direction,pass\n"


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("5,1500,0,up,1\n", "line 2, column servo: 5"),
        ("1,15,0,up,1\n", "column pulse_us: 15.0; must be from 200 to 3000 microseconds"),
        ("1,1500,200,up,1\n", "column angle_deg"),
        ("1,1500,0,left,1\n", "column direction: 'left'; must be one of up, down"),
        ("1,1500,0,up,1.5\n", "column pass: 1.5"),
        ("1,1500,0,up,1\n1,1500,2,up,1\n", "line 3, column pulse_us: .* already stand in line 2"),
        ("1,1500,nan,up,1\n", "column angle_deg: 'nan'"),
    ],
)
def test_a_bad_cell_is_named_with_line_column_and_value(tmp_path, rows, words):
    (tmp_path / "sweep.csv").write_text(HEADER + rows)
    with pytest.raises(DataError, match=words):
        read_sweeps(tmp_path / "sweep.csv")
