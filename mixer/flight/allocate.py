"""The steering policy at one instant: target, primary, roll, effort."""

from mixer.flight.direction import last_on_segment
from mixer.flight.layout import *
from mixer.flight.roll_and_effort import set_forces
from mixer.flight.zonotope import nearest, set_zonotope


def allocate(w, held):
    """FORCE from WANT and the three boxes; held: whether W′ is less than T.

    1. Target: the demand where it lies in Z_τ(T), else by the policy the point of Z_τ(T) nearest
       to it or the last one on the way to it; τ = 1/128.
    2. Primary: the point of Z(W′) nearest to the target.
    3. Roll and 4. effort, within W.
    """
    unit = w[UNIT]
    w[POINT] = (w[WANT] + unit) >> unit  # unit is 1 or 2: also half a unit, to round
    w[POINT + 1] = (w[WANT + 1] + unit) >> unit
    if w[POLICY] != 0:
        moved = last_on_segment(w)
    else:
        set_zonotope(w, TARGET_BOX)
        moved = nearest(w)
    if moved != 0:
        w[FLAGS] |= PRIMARY_LIMITED
    if held != 0:
        set_zonotope(w, FIRST_BOX)
        moved = nearest(w)
        if moved != 0:
            w[FLAGS] |= PRIMARY_LIMITED | SLEW_LIMITED
    set_forces(w)
