"""Flight tables looked through before they fly: which word could lead a cycle astray?

A right CRC tells that words are as they were sent, not that they are flight tables. With words that
pass here every search ends inside its table, every place and shift is in range, every pulse lies
within SHORTEST_NS to LONGEST_NS, and no product or sum of a cycle leaves 32 bits, whatever is
demanded. Whether a vehicle flies well with them is not looked at: the ground builds them.

`bad` goes from line to line: 0, or the number of the first word found, after which no word is read.
"""

from mixer.flight.layout import *

Q14 = 16384
MOST = 2147483647
STEEP = 1610612736  # a slope times its piece; with the 2^28 of a gain still within a word
SHORTEST_NS = 400000
LONGEST_NS = 2600000
LARGEST_FORCE = 32768  # of a new vane, eighths of a count
LARGEST_MOMENT = 16500  # 14 bits and what slopes are rounded by


def beyond(w, bad, first, count, lowest, highest):
    """The first of `count` words that does not lie within lowest … highest."""
    if bad == 0:
        for place in range(first, first + count):
            if w[place] < lowest or w[place] > highest:
                return place
    return bad


def placed(w, bad, count, at_offset, at_points, more, stride):
    """A table of some points and `more` records lies inside the tables."""
    bad = beyond(w, bad, at_points, 1, 2, count)
    if bad == 0:
        bad = beyond(w, bad, at_offset, 1, BODY, count - (w[at_points] + more) * stride)
    return bad


def rising(w, bad, first, steps, stride):
    """The words a stride apart never fall, and stay within ±END."""
    bad = beyond(w, bad, first, 1, -END, END)
    for step in range(steps):
        if bad == 0:
            before = step * stride + first
            bad = beyond(w, bad, before + stride, 1, w[before], END)
    return bad


def straight(w, bad, reach, place, shift, lowest, highest):
    """A value and the slope behind it: in range at the start and `reach` further on."""
    bad = beyond(w, bad, place, 1, lowest, highest)
    reach = max(reach, 0)
    steepest = STEEP // max(reach, 1)
    bad = beyond(w, bad, place + 1, 1, -steepest, steepest)
    if bad == 0:
        end = ((w[place + 1] * reach) >> shift) + w[place]
        if end < lowest or end > highest:
            return place + 1
    return bad


def leaped(w, bad, count, at_offset, at_points, stride):
    """A table that is searched by leaps: begins before everything, rises, ends in LEAP ends."""
    bad = placed(w, bad, count, at_offset, at_points, 1 + LEAP, stride)
    if bad == 0:
        first = w[at_offset]
        bad = beyond(w, bad, first, 1, -END, -END)
        bad = rising(w, bad, first, w[at_points] + LEAP, stride)
        bad = beyond(w, bad, (w[at_points] + 1) * stride + first, 1, END, END)
    return bad


def column(w, bad, at_offset, at_points, stride, place, shift, lowest, highest):
    """A value and its slope, `place` words into each record of such a table."""
    if bad == 0:
        o = w[at_offset]
        for _ in range(w[at_points] + 1):
            bad = straight(w, bad, w[o + stride] - w[o] - 1, o + place, shift, lowest, highest)
            o += stride
    return bad


def cell(w, bad, count, at_cells, number, first, last, stride):
    """A cell lies inside the tables and leads to a record, from `first` to `last`."""
    bad = beyond(w, bad, at_cells, 1, BODY, count - 1)
    if bad == 0:
        place = w[at_cells] + number
        if place < BODY or place >= count:
            return at_cells
        bad = beyond(w, bad, place, 1, first, last)
        if bad == 0 and (w[place] - first) % stride != 0:
            return place
    return bad


def angle_cells(w, bad, count, vane, at_cells, first, last, stride):
    """The cells of a vane's travel, none of which leads past its angle: no search goes back."""
    lo = w[TRAVEL_LO + vane]
    for number in range(lo >> ANGLE_CELL, (w[TRAVEL_HI + vane] >> ANGLE_CELL) + 1):
        bad = cell(w, bad, count, at_cells + vane, number, first, last, stride)
        if bad == 0:
            place = w[at_cells + vane] + number
            if w[w[place]] > max(number << ANGLE_CELL, lo):
                return place
    return bad


def curve(w, bad, count, vane):
    """A vane's curve: rises both ways, is closed both ways, and all cells lead there."""
    bad = placed(w, bad, count, CURVE_OFF + vane, CURVE_N + vane, 2, CURVE_STRIDE)
    if bad != 0:
        return bad
    points = w[CURVE_N + vane]
    first = w[CURVE_OFF + vane]
    last = points * CURVE_STRIDE + first
    bad = beyond(w, bad, first + 1, 1, -END, -END)
    bad = rising(w, bad, first, points + 1, CURVE_STRIDE)
    bad = rising(w, bad, first + 1, points + 1, CURVE_STRIDE)
    bad = beyond(w, bad, last + CURVE_STRIDE, 2, END, END)
    o = first
    for n in range(points + 1):
        if bad == 0:
            after = o + CURVE_STRIDE
            bad = beyond(w, bad, o + 3, 1, 0, STEEP // max(w[after + 1] - w[o + 1], 1))
            if n > 0:
                highest = min(w[after + 1], LARGEST_FORCE) + 1  # by so much a slope may be rounded
                bad = beyond(w, bad, o + 2, 1, 0, STEEP)
                bad = straight(w, bad, w[after] - w[o] - 1, o + 1, 14, -LARGEST_FORCE, highest)
            o = after
    for number in range(FORCE_CELLS_MASK + 1):
        bad = cell(w, bad, count, FORCE_CELLS + vane, number, first, last, CURVE_STRIDE)
    return angle_cells(w, bad, count, vane, CURVE_CELLS, first + CURVE_STRIDE, last, CURVE_STRIDE)


def servo(w, bad, count, vane):
    """A servo's table: rises past the travel, pulses stay in their range, all cells lead there."""
    bad = placed(w, bad, count, SERVO_OFF + vane, SERVO_N + vane, 0, SERVO_STRIDE)
    if bad != 0:
        return bad
    o = w[SERVO_OFF + vane]
    last = (w[SERVO_N + vane] - 2) * SERVO_STRIDE + o  # of the pieces; then comes the end
    bad = angle_cells(w, bad, count, vane, SERVO_CELLS, o, last, SERVO_STRIDE)
    bad = rising(w, bad, o, w[SERVO_N + vane] - 1, SERVO_STRIDE)
    bad = beyond(w, bad, last + SERVO_STRIDE, 1, w[TRAVEL_HI + vane] + 1, END)
    for _ in range(w[SERVO_N + vane] - 1):
        if bad == 0:
            reach = w[o + SERVO_STRIDE] - w[o] - 1
            bad = straight(w, bad, reach, o + 1, w[PULSE_Q], SHORTEST_NS, LONGEST_NS)
            o += SERVO_STRIDE
    return bad
