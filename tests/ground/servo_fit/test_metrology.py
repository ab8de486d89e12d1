"""Positioning after ISO 230-2 and curve figures after IEC 61298-2, by hand cases and properties."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from mixer.ground.servo_fit.metrology import (
    dead_band,
    hysteresis,
    independent_nonlinearity,
    positioning,
    resolution,
    terminal_nonlinearity,
)

READINGS = st.floats(-100, 100, allow_subnormal=False)


def hand_case():
    """One position, five passes: the ISO 230-2 hand case [memory of the standard's formulas]."""
    return positioning(np.array([[1.0, 2, 3, 4, 5]]), np.array([[-1.0, 0, 1, 2, 3]]))


def test_the_hand_case_has_the_figures_worked_out_by_hand():
    figures = hand_case()
    assert figures.spread_up[0] == pytest.approx(np.sqrt(2.5), rel=1e-12)
    assert figures.reversal == pytest.approx(2, rel=1e-12)
    assert figures.repeatability == pytest.approx(8.324555, abs=5e-7)  # 2 + 4 sqrt(2.5)
    assert figures.accuracy == pytest.approx(8.324555, abs=5e-7)


@given(
    arrays(float, (4, 3), elements=READINGS),
    arrays(float, (4, 3), elements=READINGS),
    st.floats(-50, 50),
)
def test_a_shift_of_every_reading_moves_no_figure(up, down, shift):
    before, after = positioning(up, down), positioning(up + shift, down + shift)
    for name in ("reversal", "repeatability", "accuracy"):
        assert getattr(after, name) == pytest.approx(getattr(before, name), abs=1e-9)


@given(arrays(float, (4, 3), elements=READINGS), arrays(float, (4, 3), elements=READINGS))
def test_accuracy_is_never_better_than_repeatability_or_systematic_deviation(up, down):
    figures = positioning(up, down)
    assert figures.accuracy >= np.ptp([figures.mean_up, figures.mean_down]) - 1e-9  # E
    assert figures.accuracy >= np.max(4 * figures.spread_up) - 1e-9
    assert figures.repeatability >= figures.reversal


def test_a_missing_reading_is_left_out_and_a_single_one_is_refused():
    up = np.array([[1.0, np.nan, 3.0]])
    assert positioning(up, up).mean_up[0] == 2.0
    with pytest.raises(ValueError, match=r"position 1 has 1 reading\(s\) up"):
        positioning(np.array([[1.0, np.nan]]), up)


def test_a_parabola_is_an_eighth_of_its_span_off_the_best_line_and_a_quarter_off_the_ends():
    x = np.linspace(0, 1, 2001)
    assert independent_nonlinearity(x, x**2).percent_of_span == pytest.approx(12.5, abs=1e-3)
    assert terminal_nonlinearity(x, x**2).percent_of_span == pytest.approx(25, abs=1e-3)
    assert terminal_nonlinearity(x, x**2).at_input == pytest.approx(0.5, abs=1e-3)


@given(arrays(float, 9, elements=READINGS))
def test_no_other_line_has_a_smaller_largest_deviation(outputs):
    inputs = np.linspace(1000, 2000, 9)
    best = independent_nonlinearity(inputs, outputs)
    fitted = np.polynomial.Polynomial.fit(inputs, outputs, 1)
    assert best.deviation <= np.max(np.abs(outputs - fitted(inputs))) + 1e-7
    ends = terminal_nonlinearity(inputs, outputs)
    assert best.deviation <= ends.deviation + 1e-7


def test_hysteresis_is_the_widest_gap_in_per_cent_of_the_span():
    up, down = np.array([0.0, 4.0, 10.0]), np.array([0.0, 5.0, 10.0])
    assert hysteresis(up, down) == (1.0, 10.0)


@pytest.mark.parametrize("band", [3, 5, 8])
def test_the_resolution_is_the_longest_run_of_input_without_output(band):
    """In one direction. That it was called dead band was wrong: that one is felt on reversal."""
    inputs = np.arange(0.0, 60.0)
    outputs = np.floor(inputs / (band + 1)) * (band + 1)
    assert resolution(inputs, outputs, 0.5) == band


def test_an_output_that_never_changes_has_no_resolution_but_an_infinite_one():
    assert resolution(np.arange(5.0), np.zeros(5), 0.1) == np.inf
    assert dead_band(np.arange(5.0), np.zeros(5), 0.1) == np.inf


@given(st.floats(0.0, 8.0), st.sampled_from([1.0, -1.0]))
def test_the_dead_band_is_what_reversal_takes_before_anything_moves(play, sense):
    """Play as of a gear: the output follows after `play`, seen from 0.05 on; to one step."""
    inputs = 1500.0 - sense * np.arange(0.0, 20.0, 0.25)
    outputs = 7.0 - sense * np.maximum(np.abs(inputs - 1500.0) - play, 0.0)
    assert play - 0.25 <= dead_band(inputs, outputs, 0.05) <= play + 0.05


def test_dead_band_by_hand():
    """Turning at 1500, nothing until 1497, the first move seen at 1496: 3."""
    assert (
        dead_band(np.array([1500.0, 1499, 1498, 1497, 1496]), np.array([2.0, 2, 2, 2, 1.8]), 0.1)
        == 3
    )
