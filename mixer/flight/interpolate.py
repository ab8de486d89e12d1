"""Tables of straight pieces: a vane's curve, read both ways, a servo's table, what changes in time.

A search begins at the record that the tables name for the cell the number lies in; in time, at the
record of the last cycle.
"""

from mixer.flight.layout import *


def record_of(w, vane, deflection):
    """Where the record of a vane's curve stands that a deflection lies on."""
    o = w[(deflection >> ANGLE_CELL) + w[CURVE_CELLS + vane]]
    while deflection >= w[o + CURVE_STRIDE]:
        o += CURVE_STRIDE
    return o


def force_on(w, o, deflection):
    """c(δ), eighths of a count, of a deflection on this record."""
    return (((deflection - w[o]) * w[o + 2]) >> 14) + w[o + 1]


def force_from(w, o, deflection):
    """The same of a deflection on this record or a later one."""
    while deflection >= w[o + CURVE_STRIDE]:
        o += CURVE_STRIDE
    return ((max(deflection - w[o], 0) * w[o + 2]) >> 14) + w[o + 1]


def force_at(w, vane, deflection):
    """c(δ): normal force of the new vane at reference pressure, eighths of a count."""
    o = record_of(w, vane, deflection)
    return force_on(w, o, deflection)


def deflection_at(w, vane, force):
    """c⁻¹(f): the deflection, 0.001°, that gives the new vane this force at reference pressure."""
    o = w[((force >> FORCE_CELL) & FORCE_CELLS_MASK) + w[FORCE_CELLS + vane]]
    while force < w[o + 1]:
        o -= CURVE_STRIDE
    while force >= w[o + CURVE_STRIDE + 1]:
        o += CURVE_STRIDE
    return (((force - w[o + 1]) * w[o + 3] + 32768) >> 16) + w[o]


def pulse_at(w, vane, deflection):
    """The servo's pulse at a deflection, ns."""
    o = w[(deflection >> ANGLE_CELL) + w[SERVO_CELLS + vane]]
    while deflection >= w[o + SERVO_STRIDE]:
        o += SERVO_STRIDE
    return (((deflection - w[o]) * w[o + 2]) >> w[PULSE_Q]) + w[o + 1]


def piece(w, hint, stride, ticks):
    """Where the record of this time stands, sought from where the last cycle's stood."""
    o = w[hint]
    while ticks < w[o]:
        o -= stride
    if ticks >= w[o + stride]:
        while ticks >= w[o + LEAP * stride]:
            o += LEAP * stride
        while ticks >= w[o + stride]:
            o += stride
    w[hint] = o
    return o
