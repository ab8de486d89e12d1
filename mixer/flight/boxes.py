"""What the vanes can reach: deflections in this cycle, and the boxes of force they make.

T is what travel allows (a jammed vane: one point), and T_τ what of it a target may use: the last
1/128 on the way from no force stays back. W ⊆ T is what the slew allows since the last command,
W′ ⊆ W the same with 31/32 of the slew. Without a jet, or with stale demands, a vane's window is the
reachable deflection nearest to neutral.
"""

from mixer.flight.clamp import clamp
from mixer.flight.interpolate import force_at, force_from, force_on, record_of
from mixer.flight.layout import *

KEPT = 127  # of 128: 1 − τ


def step_in(slew_high, slew_low, dt_us):
    """How far a vane may turn in dt: ⌊slew · dt⌋, so never faster."""
    thousandths = max(slew_low, 0) * dt_us // 1000
    return max(slew_high * dt_us + thousandths, 0) // 1000


def set_steps(w, dt_us):
    """STEP of each vane."""
    dt_us = min(dt_us, LONGEST_DT_US)
    for vane in range(VANES):
        w[STEP + vane] = step_in(w[SLEW_HIGH + vane], w[SLEW_LOW + vane], dt_us)


def to_neutral(w):
    """Every vane as near to neutral as slew and travel let it: a window of one deflection."""
    for vane in range(VANES):
        now = w[DEFLECTION + vane]
        step = w[STEP + vane]
        lo = max(now - step, w[LIMIT_LO + vane])
        deflection = clamp(0, lo, min(now + step, w[LIMIT_HI + vane]))
        w[WINDOW_LO + vane] = deflection
        w[WINDOW_HI + vane] = deflection
        w[FORCE + vane] = (force_at(w, vane, deflection) * w[KAPPA + vane]) >> 14


def set_target(w, vane, lo, hi):
    """T_τ of a vane from T, lo … hi: 1/128 of the way to what of it is nearest to no force."""
    rest = clamp(0, lo, hi)
    w[TARGET_BOX + vane] = (lo * KEPT + rest) >> 7
    w[TARGET_BOX + VANES + vane] = (hi * KEPT + rest) >> 7


def set_boxes(w):
    """WINDOW and the boxes T_τ, W, W′; return 1 where the slew makes W′ less than T, else 0.

    An end of W or W′ that is an end of travel has its force: no curve is read for it.
    """
    held = 0
    for vane in range(VANES):
        kappa = w[KAPPA + vane]
        limit_lo = w[LIMIT_LO + vane]
        limit_hi = w[LIMIT_HI + vane]
        force_lo = (w[REACH_LO + vane] * kappa) >> 14
        force_hi = (w[REACH_HI + vane] * kappa) >> 14
        set_target(w, vane, force_lo, force_hi)
        now = w[DEFLECTION + vane]
        step = w[STEP + vane]
        lo = max(now - step, limit_lo)
        hi = min(now + step, limit_hi)
        step = (step * 31) >> 5
        first_lo = force_lo
        first = now - step
        if first > limit_lo:
            held = 1
            o = record_of(w, vane, lo)
            force_lo = (force_on(w, o, lo) * kappa) >> 14
            first_lo = (force_from(w, o, first) * kappa) >> 14
        first_hi = force_hi
        first = now + step
        if first < limit_hi:
            held = 1
            o = record_of(w, vane, first)
            first_hi = (force_on(w, o, first) * kappa) >> 14
            force_hi = (force_from(w, o, hi) * kappa) >> 14
        w[WINDOW_LO + vane] = lo
        w[WINDOW_HI + vane] = hi
        w[SLEW_BOX + vane] = force_lo
        w[SLEW_BOX + VANES + vane] = force_hi
        w[FIRST_BOX + vane] = first_lo
        w[FIRST_BOX + VANES + vane] = first_hi
    return held
