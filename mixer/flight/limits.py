"""Between which deflections a vane can be: its travel, or the one where it is held to be jammed."""

from mixer.flight.clamp import clamp
from mixer.flight.interpolate import force_at
from mixer.flight.layout import *


def set_limits(w, vane, lo, hi):
    """The deflections between which a vane, 0 to 3, can be."""
    w[LIMIT_LO + vane] = lo
    w[LIMIT_HI + vane] = hi
    w[REACH_LO + vane] = force_at(w, vane, lo)
    w[REACH_HI + vane] = force_at(w, vane, hi)


def hold(w, vane, deflection):
    """Vane 0 to 3 stands still at this deflection, held inside its travel."""
    stands = clamp(deflection, w[TRAVEL_LO + vane], w[TRAVEL_HI + vane])
    w[DEFLECTION + vane] = stands
    w[JAMMED] |= 1 << vane
    force = force_at(w, vane, stands)
    w[LIMIT_LO + vane] = stands
    w[LIMIT_HI + vane] = stands
    w[REACH_LO + vane] = force
    w[REACH_HI + vane] = force


def let_go(w, vane):
    """Vane 0 to 3 moves again, from where it stood."""
    w[JAMMED] &= ~(1 << vane)
    set_limits(w, vane, w[TRAVEL_LO + vane], w[TRAVEL_HI + vane])
