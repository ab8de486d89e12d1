"""From force to deflection to pulse, and what the deflections give.

δ = c⁻¹(f/κ), held inside this cycle's window; the pulse from the servo table; the moments from the
forces.
"""

from mixer.flight.clamp import clamp
from mixer.flight.interpolate import deflection_at, pulse_at
from mixer.flight.layout import *


def deflection_of(w, vane):
    """c⁻¹(f/κ) within the window."""
    lo = w[WINDOW_LO + vane]
    hi = w[WINDOW_HI + vane]
    if lo == hi:
        return lo
    kappa = w[KAPPA + vane]
    force = ((w[FORCE + vane] << 14) + (kappa >> 1)) // kappa
    return clamp(deflection_at(w, vane, force), lo, hi)


def held_by_slew(w, vane, deflection):
    """1 where a vane stands at an end of its window that is no end of its travel, or is on its way
    to neutral; where roll gave way also within 1/64 of the window, for rounding. Else 0.
    """
    lo = w[WINDOW_LO + vane]
    hi = w[WINDOW_HI + vane]
    if lo == hi:
        return 1 if deflection != clamp(0, w[LIMIT_LO + vane], w[LIMIT_HI + vane]) else 0
    near = (hi - lo) >> 6 if w[FLAGS] & ROLL_LIMITED != 0 else 0
    if deflection - near <= lo and lo > w[LIMIT_LO + vane]:
        return 1
    return 1 if deflection + near >= hi and hi < w[LIMIT_HI + vane] else 0


def deflect(w):
    """DEFLECTION, PULSE and MOMENT from FORCE; flag SLEW_LIMITED where the slew holds a vane."""
    held = 0
    pitch = 0
    yaw = 0
    roll = 0
    for vane in range(VANES):
        force = w[FORCE + vane]
        pitch += (w[COS + vane] * force + 8192) >> 14
        yaw += (w[SIN + vane] * force + 8192) >> 14
        roll += force
        deflection = deflection_of(w, vane)
        w[DEFLECTION + vane] = deflection
        w[PULSE + vane] = pulse_at(w, vane, deflection)
        if held == 0:
            held = held_by_slew(w, vane, deflection)
    w[MOMENT] = ((pitch >> 2) * w[MOMENT_GAIN]) >> w[MOMENT_EXP]
    w[MOMENT + 1] = ((yaw >> 2) * w[MOMENT_GAIN]) >> w[MOMENT_EXP]
    w[MOMENT + 2] = ((roll >> 2) * w[ROLL_MOMENT]) >> w[ROLL_MOMENT_EXP]
    if held != 0:
        w[FLAGS] |= SLEW_LIMITED
