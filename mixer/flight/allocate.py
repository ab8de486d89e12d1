"""The steering policy at one instant: target, primary, roll, effort."""

from mixer.flight.direction import last_on_segment
from mixer.flight.layout import *
from mixer.flight.roll_and_effort import set_forces
from mixer.flight.zonotope import nearest, set_zonotope


def allocate_within(w, held):
    """Where Z, for `nearest`, is Z_τ(T) already: so it stays for rows of a batch."""
    unit = w[UNIT]
    w[POINT] = (w[WANT] + unit) >> unit  # unit is 1 or 2: also half a unit, to round
    w[POINT + 1] = (w[WANT + 1] + unit) >> unit
    if w[POLICY] != 0:  # noqa: SIM108 (these change words: no part of an expression)
        moved = last_on_segment(w)
    else:
        moved = nearest(w)
    if moved != 0:
        w[FLAGS] |= PRIMARY_LIMITED
    if held != 0:
        set_zonotope(w, FIRST_BOX)
        moved = nearest(w)
        if moved != 0:
            w[FLAGS] |= PRIMARY_LIMITED | SLEW_LIMITED
    set_forces(w)


def allocate(w, held):
    """FORCE from WANT and the three boxes; held: whether W′ is less than T.

    1. Target: the demand where it lies in Z_τ(T), else by the policy the point of Z_τ(T) nearest
       to it or the last one on the way to it; τ = 1/128.
    2. Primary: the point of Z(W′) nearest to the target.
    3. Roll and 4. effort, within W.
    """
    if w[POLICY] == 0:
        set_zonotope(w, TARGET_BOX)
    allocate_within(w, held)
