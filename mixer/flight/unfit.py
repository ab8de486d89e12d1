"""Which word of some flight tables cannot be: all of them looked through, see `checked.py`.

The limits are those of what the ground builds (mixer/ground/tables/build.py), or wider where a
cycle has room. Why each product fits: forces stay within ±65538 (a new vane's 32769 times a κ below
2), units within 2^14, wants within 2^26, points within 2^25, normals are of length 1.
"""

from mixer.flight.checked import (
    LARGEST_MOMENT,
    MOST,
    Q14,
    beyond,
    column,
    curve,
    leaped,
    servo,
)
from mixer.flight.layout import *

LARGEST_DEMAND = 536870912
LARGEST_GAIN = 16386  # in 2^14
NORMAL_SLACK = 32768  # what rounding makes of 2^28, the square of a normal


def largest_gain(highest, exponent):
    """A demand of up to `highest` must not become more than 2^26 eighths of a count."""
    room = (1 << min(exponent - 2, 30)) // ((highest >> 14) + 1)
    return (min(room, LARGEST_GAIN) << 14) - 1


def control(w, bad):
    """Policy and times; limits of pressure, jam watch and demands; travel and slew."""
    bad = beyond(w, bad, POLICY, 1, 0, 1)
    bad = beyond(w, bad, PERIOD_US, 1, 500, 50000)
    bad = beyond(w, bad, TIMEOUT_US, 1, 500, 5000000)
    bad = beyond(w, bad, PA_SHIFT, 1, 0, 15)
    bad = beyond(w, bad, PA_MAX, 1, 1, PRESSURE_MOST_PA)
    if bad == 0:
        bad = beyond(w, bad, PA_MANT, 1, 1, MOST // max(w[PA_MAX] >> w[PA_SHIFT], 1))
    bad = beyond(w, bad, PA_MIN, 1, 1, PRESSURE_MOST_PA)
    bad = beyond(w, bad, BELIEVED_LOW, 2, 0, 3 * Q14)
    bad = beyond(w, bad, TRUST_US, 1, 0, LAST_US)
    bad = beyond(w, bad, WATCH_BAND, VANES, 0, 90000)
    bad = beyond(w, bad, WATCH_WAIT_US, VANES, 0, LONGEST_GAP_US)
    bad = beyond(w, bad, MNM_MAX, 2, 0, LARGEST_DEMAND)
    bad = beyond(w, bad, GAIN_EXP, 1, 22, 58)
    bad = beyond(w, bad, MOMENT_EXP, 1, 0, 31)
    bad = beyond(w, bad, ROLL_GAIN_EXP, 1, 22, 58)
    if bad == 0:
        bad = beyond(w, bad, ROLL_GAIN, 1, 0, largest_gain(w[ROLL_MNM_MAX], w[ROLL_GAIN_EXP]))
    bad = beyond(w, bad, ROLL_MOMENT, 1, 0, LARGEST_MOMENT)
    bad = beyond(w, bad, ROLL_MOMENT_EXP, 1, 0, 31)
    bad = beyond(w, bad, PULSE_Q, 1, 0, 16)
    bad = beyond(w, bad, TRAVEL_LO, VANES, -45000, 0)
    bad = beyond(w, bad, TRAVEL_HI, VANES, 0, 45000)
    bad = beyond(w, bad, SLEW_HIGH, VANES, 0, 2000)
    return beyond(w, bad, SLEW_LOW, VANES, 0, 999)


def allocation(w, bad):
    """Directions, the rows of the minimum-norm forces, the null vector."""
    bad = beyond(w, bad, COS, 2 * VANES, -Q14, Q14)
    bad = beyond(w, bad, COS_LOW, 2 * VANES, -8192, 8192)
    bad = beyond(w, bad, ROW_X, 3 * VANES, -32767, 32767)
    bad = beyond(w, bad, ROW_Q, VANES, 8, 14)
    bad = beyond(w, bad, WIDTH, VANES, 0, 131071)
    bad = beyond(w, bad, NULL, 2 * VANES, -Q14, Q14)
    for vane in range(VANES):
        if bad == 0:
            left = 32767 - abs(w[ROW_X + vane])
            bad = beyond(w, bad, ROW_Y + vane, 1, -left, left)
            half = (w[WIDTH + vane] * Q14) >> w[ROW_Q + vane]
            highest = MOST // max(half, 1)
            bad = beyond(w, bad, NULL + vane, 1, -highest, highest)
    return bad


def pairs(w, bad):
    """The pairs of vanes that roll moves apart."""
    bad = beyond(w, bad, N_PAIRS, 1, 0, 6)
    if bad == 0:
        o = PAIRS
        for _ in range(w[N_PAIRS]):
            bad = beyond(w, bad, o, 2, 0, VANES - 1)
            bad = beyond(w, bad, o + 2, 1, -524288, 524288)
            bad = beyond(w, bad, o + 3, 1, 9, 30)
            bad = beyond(w, bad, o + 5, 1, 9, 30)
            bad = beyond(w, bad, o + 6, 1, 0, 1048576)
            if bad == 0:
                highest = MOST // max((w[o + 6] >> 9) + 3, 511)
                bad = beyond(w, bad, o + 4, 1, -highest, highest)
            o += PAIR_STRIDE
    return bad


def edges(w, bad):
    """The edges of Z: all cosines, their normals of length 1."""
    bad = beyond(w, bad, N_EDGES, 1, 1, VANES)
    if bad == 0:
        o = EDGES
        for _ in range(w[N_EDGES]):
            bad = beyond(w, bad, o, 2, -Q14, Q14)
            bad = beyond(w, bad, o + EDGE_LOW, 2, -8192, 8192)
            bad = beyond(w, bad, o + EDGE_SUPPORT, VANES, 0, Q14)
            bad = beyond(w, bad, o + EDGE_MIDDLE, VANES, -Q14, Q14)
            bad = beyond(w, bad, o + EDGE_HALF, VANES, 0, Q14)
            bad = beyond(w, bad, o + EDGE_ACROSS, VANES, -Q14, Q14)
            bad = beyond(w, bad, o + EDGE_ACROSS_LOW, VANES, -8192, 8192)
            if bad == 0:
                longer = w[o] * w[o] + w[o + 1] * w[o + 1] - Q14 * Q14
                if longer < -NORMAL_SLACK or longer > NORMAL_SLACK:
                    return o
            o += EDGE_STRIDE
    return bad


def rates(w, bad, count):
    """The burn-load rate, each with its rise below twice that at reference pressure."""
    bad = beyond(w, bad, RATE_OFF, 1, BODY, count - 128)
    if bad == 0:
        bad = beyond(w, bad, w[RATE_OFF], 64, 0, 32767)
        for place in range(w[RATE_OFF], w[RATE_OFF] + 64):
            if bad == 0:
                bad = beyond(w, bad, place + 64, 1, 0, 32767 - w[place])
    return bad


def unfit_word(w, count):
    """The number of a word that cannot stand in flight tables of `count` words; 0 where all can."""
    if count < BODY:
        return BODY - 1  # is missing
    bad = edges(w, pairs(w, allocation(w, control(w, 0))))
    bad = rates(w, bad, count)
    for vane in range(VANES):
        bad = servo(w, curve(w, bad, count, vane), count, vane)
    bad = leaped(w, bad, count, WEAR_OFF, WEAR_N, WEAR_STRIDE)
    for vane in range(VANES):
        bad = column(w, bad, WEAR_OFF, WEAR_N, WEAR_STRIDE, 2 * vane + 1, 16, 0, 32767)
    bad = leaped(w, bad, count, EXPECTED_OFF, EXPECTED_N, EXPECTED_STRIDE)
    bad = column(w, bad, EXPECTED_OFF, EXPECTED_N, EXPECTED_STRIDE, 1, 15, 0, 32767)
    highest = largest_gain(w[MNM_MAX], w[GAIN_EXP]) if bad == 0 else 0
    bad = leaped(w, bad, count, LEVER_OFF, LEVER_N, LEVER_STRIDE)
    bad = column(w, bad, LEVER_OFF, LEVER_N, LEVER_STRIDE, 1, 0, 0, highest)
    return column(w, bad, LEVER_OFF, LEVER_N, LEVER_STRIDE, 3, 15, 0, LARGEST_MOMENT)
