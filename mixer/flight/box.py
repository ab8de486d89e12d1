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


def box(t: ptr32, s: ptr32) -> int:
    """Set the angle windows and the force box LO, HI; where NEUTRAL is set also FORCE."""
    neutral = s[_NEUTRAL]
    lo = s[_DEFLECTION + 0] - s[_STEP + 0]
    hi = s[_DEFLECTION + 0] + s[_STEP + 0]
    if lo < s[_LIMIT_LO + 0]:
        lo = s[_LIMIT_LO + 0]
    if hi > s[_LIMIT_HI + 0]:
        hi = s[_LIMIT_HI + 0]
    if neutral:
        if lo > 0:
            hi = lo
        elif hi < 0:
            lo = hi
        else:
            lo = 0
            hi = 0
    s[_WINDOW_LO + 0] = lo
    s[_WINDOW_HI + 0] = hi
    o = s[_CURVE_HINT + 0]
    while lo < t[o]:
        o -= _CURVE_STRIDE
    while lo >= t[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    s[_LO + 0] = (((((lo - t[o]) * t[o + 2]) >> 14) + t[o + 1]) * s[_KAPPA + 0]) >> 14
    if hi < lo:  # never; it lets the bounds of the arithmetic be shown
        hi = lo
    while hi >= t[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    s[_HI + 0] = (((((hi - t[o]) * t[o + 2]) >> 14) + t[o + 1]) * s[_KAPPA + 0]) >> 14
    lo = s[_DEFLECTION + 1] - s[_STEP + 1]
    hi = s[_DEFLECTION + 1] + s[_STEP + 1]
    if lo < s[_LIMIT_LO + 1]:
        lo = s[_LIMIT_LO + 1]
    if hi > s[_LIMIT_HI + 1]:
        hi = s[_LIMIT_HI + 1]
    if neutral:
        if lo > 0:
            hi = lo
        elif hi < 0:
            lo = hi
        else:
            lo = 0
            hi = 0
    s[_WINDOW_LO + 1] = lo
    s[_WINDOW_HI + 1] = hi
    o = s[_CURVE_HINT + 1]
    while lo < t[o]:
        o -= _CURVE_STRIDE
    while lo >= t[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    s[_LO + 1] = (((((lo - t[o]) * t[o + 2]) >> 14) + t[o + 1]) * s[_KAPPA + 1]) >> 14
    if hi < lo:  # never; it lets the bounds of the arithmetic be shown
        hi = lo
    while hi >= t[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    s[_HI + 1] = (((((hi - t[o]) * t[o + 2]) >> 14) + t[o + 1]) * s[_KAPPA + 1]) >> 14
    lo = s[_DEFLECTION + 2] - s[_STEP + 2]
    hi = s[_DEFLECTION + 2] + s[_STEP + 2]
    if lo < s[_LIMIT_LO + 2]:
        lo = s[_LIMIT_LO + 2]
    if hi > s[_LIMIT_HI + 2]:
        hi = s[_LIMIT_HI + 2]
    if neutral:
        if lo > 0:
            hi = lo
        elif hi < 0:
            lo = hi
        else:
            lo = 0
            hi = 0
    s[_WINDOW_LO + 2] = lo
    s[_WINDOW_HI + 2] = hi
    o = s[_CURVE_HINT + 2]
    while lo < t[o]:
        o -= _CURVE_STRIDE
    while lo >= t[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    s[_LO + 2] = (((((lo - t[o]) * t[o + 2]) >> 14) + t[o + 1]) * s[_KAPPA + 2]) >> 14
    if hi < lo:  # never; it lets the bounds of the arithmetic be shown
        hi = lo
    while hi >= t[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    s[_HI + 2] = (((((hi - t[o]) * t[o + 2]) >> 14) + t[o + 1]) * s[_KAPPA + 2]) >> 14
    lo = s[_DEFLECTION + 3] - s[_STEP + 3]
    hi = s[_DEFLECTION + 3] + s[_STEP + 3]
    if lo < s[_LIMIT_LO + 3]:
        lo = s[_LIMIT_LO + 3]
    if hi > s[_LIMIT_HI + 3]:
        hi = s[_LIMIT_HI + 3]
    if neutral:
        if lo > 0:
            hi = lo
        elif hi < 0:
            lo = hi
        else:
            lo = 0
            hi = 0
    s[_WINDOW_LO + 3] = lo
    s[_WINDOW_HI + 3] = hi
    o = s[_CURVE_HINT + 3]
    while lo < t[o]:
        o -= _CURVE_STRIDE
    while lo >= t[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    s[_LO + 3] = (((((lo - t[o]) * t[o + 2]) >> 14) + t[o + 1]) * s[_KAPPA + 3]) >> 14
    if hi < lo:  # never; it lets the bounds of the arithmetic be shown
        hi = lo
    while hi >= t[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    s[_HI + 3] = (((((hi - t[o]) * t[o + 2]) >> 14) + t[o + 1]) * s[_KAPPA + 3]) >> 14
    if neutral:
        s[_FORCE + 0] = s[_LO + 0]
        s[_FORCE + 1] = s[_LO + 1]
        s[_FORCE + 2] = s[_LO + 2]
        s[_FORCE + 3] = s[_LO + 3]
    return 0
