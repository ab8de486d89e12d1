"""What the vanes can reach: deflections in this cycle, and the boxes of force they make.

T is what travel allows (a jammed vane: one point), and T_τ what of it a target may use: the last
1/128 on the way from no force stays back. W ⊆ T is what the slew allows since the last command,
W′ ⊆ W the same with 31/32 of the slew. Without a jet, or with stale demands, a vane's window is the
reachable deflection nearest to neutral.
"""

from mixer.flight.clamp import clamp
from mixer.flight.interpolate import force_at
from mixer.flight.layout import *

KEPT = 127  # of 128: 1 − τ


def step_in(slew_high, slew_low, dt_us):
    """How far a vane may turn in dt: ⌊slew · dt⌋, so never faster."""
    return (slew_high * dt_us + slew_low * dt_us // 1000) // 1000


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
    """WINDOW and the boxes T_τ, W, W′; return 1 where the slew makes W′ less than T, else 0."""
    held = 0
    for vane in range(VANES):
        kappa = w[KAPPA + vane]
        set_target(w, vane, (w[REACH_LO + vane] * kappa) >> 14, (w[REACH_HI + vane] * kappa) >> 14)
        now = w[DEFLECTION + vane]
        step = w[STEP + vane]
        lo = max(now - step, w[LIMIT_LO + vane])
        hi = min(now + step, w[LIMIT_HI + vane])
        w[WINDOW_LO + vane] = lo
        w[WINDOW_HI + vane] = hi
        w[SLEW_BOX + vane] = (force_at(w, vane, lo) * kappa) >> 14
        w[SLEW_BOX + VANES + vane] = (force_at(w, vane, hi) * kappa) >> 14
        step = (step * 31) >> 5
        lo = max(now - step, w[LIMIT_LO + vane])
        hi = min(now + step, w[LIMIT_HI + vane])
        if lo > w[LIMIT_LO + vane] or hi < w[LIMIT_HI + vane]:
            held = 1
        w[FIRST_BOX + vane] = (force_at(w, vane, lo) * kappa) >> 14
        w[FIRST_BOX + VANES + vane] = (force_at(w, vane, hi) * kappa) >> 14
    return held
