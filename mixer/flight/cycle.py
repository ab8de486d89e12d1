"""One control cycle, whole: pressure and time in, the steering state advanced, flags out."""

from mixer.flight.allocate import allocate
from mixer.flight.boxes import set_boxes, set_steps, to_neutral
from mixer.flight.burn import burn_on, gain_of_lever_arm
from mixer.flight.clamp import clamp
from mixer.flight.deflect import deflect
from mixer.flight.jam_watch import look
from mixer.flight.layout import *
from mixer.flight.wanted import set_want


def status(w, dt_us):
    """The flags that are known before anything is worked out; ages the demand."""
    flags = w[BAD]
    w[BAD] = 0
    if w[AGE] < w[TIMEOUT_US]:
        w[AGE] += dt_us
    else:
        flags |= STALE_DEMAND
    if w[JAMMED] != 0:
        flags |= JAMMED_VANE
    return flags


def cycle(w, pressure_pa, dt_us):
    """Run one control cycle, dt after the last one; return FLAGS."""
    dt_us = clamp(dt_us, 0, LONGEST_GAP_US)
    look(w, dt_us)
    w[FLAGS] = status(w, dt_us)
    burn_on(w, pressure_pa, dt_us)
    set_want(w, gain_of_lever_arm(w))
    set_steps(w, dt_us)
    if w[FLAGS] & (NO_THRUST | STALE_DEMAND) != 0:
        to_neutral(w)
    else:
        allocate(w, set_boxes(w))
    deflect(w)
    return w[FLAGS]
