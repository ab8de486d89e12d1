"""What each vane can reach this cycle: an angle window, and the force box it makes.

The window is the travel, cut to what the slew allows since the last command. A jammed vane's limits
are the place where it stands. Without a jet, or with stale demands, the window shrinks to the
reachable angle nearest to neutral. Force at an angle: straight lines between the curve's points,
sought from the piece on which the vane stood in the last cycle.

Written out vane by vane, for the reason given in `secondary`.
"""

from mixer.flight.words import const, ptr32

_DEFLECTION = const(32)
_STEP = const(52)
_LIMIT_LO = const(44)
_LIMIT_HI = const(48)
_NEUTRAL = const(59)
_KAPPA = const(8)
_CURVE_HINT = const(12)
_CURVE_STRIDE = const(4)
_WINDOW_LO = const(20)
_WINDOW_HI = const(24)
_LO = const(0)
_HI = const(4)
_FORCE = const(16)


def box(w: ptr32) -> int:
    """Set the angle windows and the force box LO, HI; where NEUTRAL is set also FORCE."""
    o = w[_CURVE_HINT + 0]
    neutral = w[_NEUTRAL]
    lo = w[_DEFLECTION + 0] - w[_STEP + 0]
    hi = w[_DEFLECTION + 0] + w[_STEP + 0]
    if lo < w[_LIMIT_LO + 0]:
        lo = w[_LIMIT_LO + 0]
    if hi > w[_LIMIT_HI + 0]:
        hi = w[_LIMIT_HI + 0]
    if neutral:
        if lo > 0:
            hi = lo
        elif hi < 0:
            lo = hi
        else:
            lo = 0
            hi = 0
    w[_WINDOW_LO + 0] = lo
    w[_WINDOW_HI + 0] = hi
    while lo < w[o]:
        o -= _CURVE_STRIDE
    while lo >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_LO + 0] = (((((lo - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 0]) >> 14
    if hi < lo:  # never; it lets the bounds of the arithmetic be shown
        hi = lo
    while hi >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_HI + 0] = (((((hi - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 0]) >> 14
    o = w[_CURVE_HINT + 1]
    lo = w[_DEFLECTION + 1] - w[_STEP + 1]
    hi = w[_DEFLECTION + 1] + w[_STEP + 1]
    if lo < w[_LIMIT_LO + 1]:
        lo = w[_LIMIT_LO + 1]
    if hi > w[_LIMIT_HI + 1]:
        hi = w[_LIMIT_HI + 1]
    if neutral:
        if lo > 0:
            hi = lo
        elif hi < 0:
            lo = hi
        else:
            lo = 0
            hi = 0
    w[_WINDOW_LO + 1] = lo
    w[_WINDOW_HI + 1] = hi
    while lo < w[o]:
        o -= _CURVE_STRIDE
    while lo >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_LO + 1] = (((((lo - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 1]) >> 14
    if hi < lo:  # never; it lets the bounds of the arithmetic be shown
        hi = lo
    while hi >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_HI + 1] = (((((hi - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 1]) >> 14
    o = w[_CURVE_HINT + 2]
    lo = w[_DEFLECTION + 2] - w[_STEP + 2]
    hi = w[_DEFLECTION + 2] + w[_STEP + 2]
    if lo < w[_LIMIT_LO + 2]:
        lo = w[_LIMIT_LO + 2]
    if hi > w[_LIMIT_HI + 2]:
        hi = w[_LIMIT_HI + 2]
    if neutral:
        if lo > 0:
            hi = lo
        elif hi < 0:
            lo = hi
        else:
            lo = 0
            hi = 0
    w[_WINDOW_LO + 2] = lo
    w[_WINDOW_HI + 2] = hi
    while lo < w[o]:
        o -= _CURVE_STRIDE
    while lo >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_LO + 2] = (((((lo - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 2]) >> 14
    if hi < lo:  # never; it lets the bounds of the arithmetic be shown
        hi = lo
    while hi >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_HI + 2] = (((((hi - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 2]) >> 14
    o = w[_CURVE_HINT + 3]
    lo = w[_DEFLECTION + 3] - w[_STEP + 3]
    hi = w[_DEFLECTION + 3] + w[_STEP + 3]
    if lo < w[_LIMIT_LO + 3]:
        lo = w[_LIMIT_LO + 3]
    if hi > w[_LIMIT_HI + 3]:
        hi = w[_LIMIT_HI + 3]
    if neutral:
        if lo > 0:
            hi = lo
        elif hi < 0:
            lo = hi
        else:
            lo = 0
            hi = 0
    w[_WINDOW_LO + 3] = lo
    w[_WINDOW_HI + 3] = hi
    while lo < w[o]:
        o -= _CURVE_STRIDE
    while lo >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_LO + 3] = (((((lo - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 3]) >> 14
    if hi < lo:  # never; it lets the bounds of the arithmetic be shown
        hi = lo
    while hi >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_HI + 3] = (((((hi - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 3]) >> 14
    if neutral:
        w[_FORCE + 0] = w[_LO + 0]
        w[_FORCE + 1] = w[_LO + 1]
        w[_FORCE + 2] = w[_LO + 2]
        w[_FORCE + 3] = w[_LO + 3]
    return 0
