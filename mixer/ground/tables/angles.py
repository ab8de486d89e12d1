"""Sine and cosine of degrees, exact at quarter turns."""

import numpy as np

PARALLEL = 2.0**-15  # sine of an angle that a Q14 cosine cannot tell from 0


def cosine(angle_deg):
    """cos of degrees, exactly 0 and ±1 at (within 1e-9 of) quarter turns."""
    return sine(np.asarray(angle_deg) + 90)


def sine(angle_deg):
    """sin of degrees, exactly 0 and ±1 at (within 1e-9 of) quarter turns."""
    angle = np.asarray(angle_deg, dtype=float)
    quarter = np.round(angle / 90)
    rest = angle - 90 * quarter
    rest = np.where(np.abs(rest) < 1e-9, 0.0, rest)
    turn = np.mod(quarter, 4).astype(int)
    rad = np.radians(rest)
    return np.choose(turn, [np.sin(rad), np.cos(rad), -np.sin(rad), -np.cos(rad)])
