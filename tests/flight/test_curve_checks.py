"""A vane's curve and its servo's table: what of them the check takes, to the last integer."""

from array import array

import pytest

from mixer.flight import layout as at
from mixer.flight.checked import STEEP, curve, servo
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle

WORDS = words_of(vehicle())
COUNT = len(WORDS)
VANE = 2
CURVE, SERVO = WORDS[at.CURVE_OFF + VANE], WORDS[at.SERVO_OFF + VANE]
POINTS, ROWS = WORDS[at.CURVE_N + VANE], WORDS[at.SERVO_N + VANE]
LAST = CURVE + POINTS * at.CURVE_STRIDE  # the curve's record without end
LAST_ROW = SERVO + (ROWS - 1) * at.SERVO_STRIDE  # where the servo's last piece ends


@pytest.fixture
def w() -> array:
    return array("i", WORDS)


def of_curve(w: array) -> int:
    return curve(w, 0, len(w), VANE)


def of_servo(w: array) -> int:
    return servo(w, 0, len(w), VANE)


def test_every_cell_of_a_curve_and_of_a_servo_is_looked_at(w: array) -> None:
    lo, hi = w[at.TRAVEL_LO + VANE] >> at.ANGLE_CELL, w[at.TRAVEL_HI + VANE] >> at.ANGLE_CELL
    angles = range(lo, hi + 1)
    for cells, numbers, check, first in (
        (at.FORCE_CELLS, range(at.FORCE_CELLS_MASK + 1), of_curve, CURVE),
        (at.CURVE_CELLS, angles, of_curve, CURVE + at.CURVE_STRIDE),
        (at.SERVO_CELLS, angles, of_servo, SERVO),
    ):
        for number in numbers:
            place = w[cells + VANE] + number
            kept = w[place]
            for value in (first - at.CURVE_STRIDE, first - at.SERVO_STRIDE, COUNT):
                w[place] = value
                assert check(w) == place, (cells, number)
            w[place] = kept
        assert check(w) == 0


# ---- a vane's curve ------------------------------------------------------------------------------


def test_a_curve_may_end_with_the_tables_and_no_word_later(w: array) -> None:
    """With it both records that close it."""
    moved = array("i", [*w, *w[CURVE : LAST + 2 * at.CURVE_STRIDE]])
    moved[at.CURVE_OFF + VANE] = COUNT
    assert curve(moved, 0, len(moved), VANE) != at.CURVE_OFF + VANE
    assert curve(moved, 0, len(moved) - 1, VANE) == at.CURVE_OFF + VANE


def test_a_curve_rises_both_ways_and_is_closed_both_ways(w: array) -> None:
    closing = LAST + at.CURVE_STRIDE
    for place, value in (
        (CURVE, -at.END - 1),
        (CURVE + 1, -at.END + 1),
        (CURVE + 1, -at.END - 1),
        (CURVE + at.CURVE_STRIDE, CURVE - 60_000),
        (CURVE + 2 * at.CURVE_STRIDE + 1, -32_769),
        (LAST, 0),
        (LAST + 1, 0),
        (closing, at.END - 1),
        (closing, at.END + 1),
        (closing + 1, at.END - 1),
        (closing + 1, at.END + 1),
    ):
        bad = array("i", w)
        bad[place] = value
        assert of_curve(bad) == place, (place - CURVE, value)


def test_the_first_record_of_a_curve_is_never_read_for_a_force(w: array) -> None:
    w[CURVE + 2] = -(1 << 31)
    assert of_curve(w) == 0


def test_no_cell_leads_past_its_angle_or_the_least_that_the_vane_reaches(w: array) -> None:
    lo = w[at.TRAVEL_LO + VANE]
    for cells, starts, check in (
        (at.CURVE_CELLS, range(CURVE + at.CURVE_STRIDE, LAST + 1, at.CURVE_STRIDE), of_curve),
        (at.SERVO_CELLS, range(SERVO, LAST_ROW, at.SERVO_STRIDE), of_servo),
    ):
        for number in range(lo >> at.ANGLE_CELL, 8):
            place = w[cells + VANE] + number
            kept = w[place]
            for start in starts:
                w[place] = start
                past = w[start] > max(number << at.ANGLE_CELL, lo)
                assert check(w) == (place if past else 0)
            w[place] = kept


def test_of_two_faults_in_a_curve_the_fall_is_found_before_the_end(w: array) -> None:
    closing = LAST + at.CURVE_STRIDE
    w[closing], w[closing + 1] = at.END - 1, 0
    assert of_curve(w) == closing + 1
    w[closing], w[CURVE + at.CURVE_STRIDE + 1] = 0, -at.END - 1
    assert of_curve(w) == closing


@pytest.mark.parametrize("n", range(POINTS + 1))
def test_each_record_of_a_curve_has_a_slope_back_that_fits_its_piece(w: array, n: int) -> None:
    o = CURVE + n * at.CURVE_STRIDE
    steepest = STEEP // (w[o + at.CURVE_STRIDE + 1] - w[o + 1])
    for value, named in ((-1, o + 3), (0, 0), (steepest, 0), (steepest + 1, o + 3)):
        w[o + 3] = value
        assert of_curve(w) == named


def test_where_a_curve_is_level_its_slope_back_may_be_steep(w: array) -> None:
    o = CURVE + 2 * at.CURVE_STRIDE
    w[o + at.CURVE_STRIDE + 1] = w[o + 1]
    w[o + 2] = 0
    for value, named in ((STEEP, 0), (STEEP + 1, o + 3)):
        w[o + 3] = value
        assert of_curve(w) == named


@pytest.mark.parametrize("n", range(1, POINTS))
def test_each_piece_of_a_curve_rises_no_further_than_one_beyond_the_next(w: array, n: int) -> None:
    o = CURVE + n * at.CURVE_STRIDE
    reach = w[o + at.CURVE_STRIDE] - w[o] - 1
    most = w[o + at.CURVE_STRIDE + 1] + 1 - w[o + 1]
    steepest = ((most + 1 << 14) - 1) // reach
    for value, named in ((-1, o + 2), (0, 0), (steepest, 0), (steepest + 1, o + 2)):
        w[o + 2] = value
        assert of_curve(w) == named


def test_a_curve_s_forces_are_those_that_a_new_vane_may_have(w: array) -> None:
    """One more than the largest at its end, for slopes that were rounded up."""
    for value, named in ((-32_768, 0), (-32_769, CURVE + at.CURVE_STRIDE + 1)):
        w[CURVE + at.CURVE_STRIDE + 1] = value
        w[CURVE + at.CURVE_STRIDE + 2] = 0
        w[CURVE + 3] = 0
        assert of_curve(w) == named
    w[CURVE + at.CURVE_STRIDE + 1] = -32_768
    for value, named in ((32_769, 0), (32_770, LAST + 1)):
        w[LAST + 1] = value
        for n in range(POINTS + 1):
            w[CURVE + n * at.CURVE_STRIDE + 3] = 0
        assert of_curve(w) == named
    w[LAST + 1], w[LAST + 2] = 32_768, 0
    o = LAST - at.CURVE_STRIDE
    reach = w[LAST] - w[o] - 1
    w[o + 2] = ((32_769 - w[o + 1] + 1 << 14) - 1) // reach
    assert of_curve(w) == 0
    w[o + 2] += 1
    assert of_curve(w) == o + 2


# ---- a servo's table -----------------------------------------------------------------------------


def test_a_servo_s_table_may_end_with_the_tables_and_no_word_later(w: array) -> None:
    moved = array("i", [*w, *w[SERVO : LAST_ROW + at.SERVO_STRIDE]])
    moved[at.SERVO_OFF + VANE] = COUNT
    assert servo(moved, 0, len(moved), VANE) != at.SERVO_OFF + VANE
    assert servo(moved, 0, len(moved) - 1, VANE) == at.SERVO_OFF + VANE


def test_a_servo_s_table_rises_past_the_travel_and_its_last_pulse_is_never_read(w: array) -> None:
    travel = w[at.TRAVEL_HI + VANE]
    for place, value in ((SERVO, -at.END - 1), (LAST_ROW, travel), (LAST_ROW, at.END + 1)):
        bad = array("i", w)
        bad[place] = value
        assert of_servo(bad) == place
    bad = array("i", w)
    for number in range(w[at.TRAVEL_LO + VANE] >> at.ANGLE_CELL, (travel >> at.ANGLE_CELL) + 1):
        bad[w[at.SERVO_CELLS + VANE] + number] = SERVO  # so that no cell leads past its angle
    bad[LAST_ROW - at.SERVO_STRIDE] = w[LAST_ROW] + 1
    assert of_servo(bad) == LAST_ROW
    w[LAST_ROW] = travel + 1
    w[LAST_ROW + 1] = 0
    assert of_servo(w) == 0


@pytest.mark.parametrize("n", range(ROWS - 1))
def test_a_pulse_stays_between_400_and_2600_us_to_the_last_step_of_its_piece(
    w: array, n: int
) -> None:
    value, slope = SERVO + n * at.SERVO_STRIDE + 1, SERVO + n * at.SERVO_STRIDE + 2
    reach = w[value + at.SERVO_STRIDE - 1] - w[value - 1] - 1
    q = w[at.PULSE_Q]
    w[slope] = 0
    for ns, named in ((399_999, value), (400_000, 0), (2_600_000, 0), (2_600_001, value)):
        w[value] = ns
        assert of_servo(w) == named
    w[value] = 2_500_000
    w[slope] = ((100_001 << q) - 1) // reach
    assert of_servo(w) == 0
    w[slope] += 1
    assert of_servo(w) == slope
    w[value] = 500_000
    w[slope] = -(100_000 << q) // reach + (1 if (100_000 << q) % reach else 0)
    assert of_servo(w) == 0
    w[slope] -= 1
    assert of_servo(w) == slope


def test_what_was_bad_before_stays_so(w: array) -> None:
    assert of_curve(w) == of_servo(w) == 0
    assert curve(w, 9, len(w), VANE) == servo(w, 9, len(w), VANE) == 9
