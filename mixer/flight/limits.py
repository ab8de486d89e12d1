"""Between which deflections a vane can be: its travel, or the one where it is held to be jammed."""

from mixer.flight.clamp import clamp
from mixer.flight.interpolate import force_at
from mixer.flight.layout import *


def set_limits(w, vane, lo, hi, force_lo, force_hi):
    """The deflections between which a vane, 0 to 3, can be, and its curve's forces there."""
    w[LIMIT_LO + vane] = lo
    w[LIMIT_HI + vane] = hi
    w[REACH_LO + vane] = force_lo
    w[REACH_HI + vane] = force_hi


def hold(w, vane, deflection):
    """Vane 0 to 3 stands still at this deflection, held inside its travel."""
    stands = clamp(deflection, w[TRAVEL_LO + vane], w[TRAVEL_HI + vane])
    w[DEFLECTION + vane] = stands
    w[JAMMED] |= 1 << vane
    force = force_at(w, vane, stands)
    set_limits(w, vane, stands, stands, force, force)


def let_go(w, vane):
    """Vane 0 to 3 moves again, from where it stood."""
    w[JAMMED] &= ~(1 << vane)
    lo = w[TRAVEL_LO + vane]
    hi = w[TRAVEL_HI + vane]
    set_limits(w, vane, lo, hi, force_at(w, vane, lo), force_at(w, vane, hi))
