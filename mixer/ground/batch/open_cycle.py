"""A cycle that has all the time it takes: what a demand comes to where slew holds nothing back.

In the kernel language, beside the flight core: `answer_side_by_side` in machine code is made of
`answer` by `lanes`.
"""

from mixer.flight.allocate import allocate
from mixer.flight.boxes import set_target, to_neutral
from mixer.flight.burn import set_force_gains
from mixer.flight.cycle import status
from mixer.flight.deflect import deflection_of
from mixer.flight.interpolate import pulse_at
from mixer.flight.layout import *
from mixer.flight.pressure import pressure_ratio
from mixer.flight.wanted import set_want


def stand(w, pressure_pa):
    """What LOAD and a pressure make of the vanes. WINDOW and the boxes T_τ and W: all of T."""
    set_force_gains(w, pressure_ratio(w, pressure_pa))
    for vane in range(VANES):
        kappa = w[KAPPA + vane]
        lo = (w[REACH_LO + vane] * kappa) >> 14
        hi = (w[REACH_HI + vane] * kappa) >> 14
        set_target(w, vane, lo, hi)
        w[SLEW_BOX + vane] = lo
        w[SLEW_BOX + VANES + vane] = hi
        w[WINDOW_LO + vane] = w[LIMIT_LO + vane]
        w[WINDOW_HI + vane] = w[LIMIT_HI + vane]


def answer(w, gain, pressure_pa):
    """FORCE, DEFLECTION, PULSE and FLAGS from DEMAND; gain: of the lever arm."""
    w[FLAGS] = status(w, 0)
    if pressure_pa < w[PA_MIN]:
        w[FLAGS] |= NO_THRUST
        to_neutral(w)
    else:
        set_want(w, gain)
        allocate(w, 0)
    for vane in range(VANES):
        deflection = deflection_of(w, vane)
        w[DEFLECTION + vane] = deflection
        w[PULSE + vane] = pulse_at(w, vane, deflection)
