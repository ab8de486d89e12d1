"""What each vane can reach this cycle: an angle window, and the force box it makes.

The window is the travel, cut to what the slew allows since the last command. A jammed vane's limits
are the place where it stands. Without a jet, or with stale demands, the window shrinks to the
reachable angle nearest to neutral. Force at an angle: straight lines between the curve's points,
sought from where the tables say that a cell of 2.048° begins.

Written out vane by vane, for the reason given in `secondary`.
"""

from mixer.flight.words import const, ptr32

_DEFLECTION = const(12)
_STEP = const(44)
_LIMIT_LO = const(36)
_LIMIT_HI = const(40)
_NEUTRAL = const(51)
_KAPPA = const(8)
_CURVE_CELLS = const(272)
_ANGLE_CELL = const(11)
_CURVE_STRIDE = const(4)
_WINDOW_LO = const(20)
_WINDOW_HI = const(24)
_LO = const(0)
_HI = const(4)
_FORCE = const(16)


def box(w: ptr32) -> int:
    """Set the angle windows and the force box LO, HI; where NEUTRAL is set also FORCE."""
    o = 0  # named first: machine code keeps it in its one free register
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
    o = w[(lo >> _ANGLE_CELL) + w[_CURVE_CELLS + 0]]
    while lo >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_LO + 0] = (((((lo - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 0]) >> 14
    o = w[(hi >> _ANGLE_CELL) + w[_CURVE_CELLS + 0]]
    while hi >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_HI + 0] = (((((hi - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 0]) >> 14
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
    o = w[(lo >> _ANGLE_CELL) + w[_CURVE_CELLS + 1]]
    while lo >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_LO + 1] = (((((lo - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 1]) >> 14
    o = w[(hi >> _ANGLE_CELL) + w[_CURVE_CELLS + 1]]
    while hi >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_HI + 1] = (((((hi - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 1]) >> 14
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
    o = w[(lo >> _ANGLE_CELL) + w[_CURVE_CELLS + 2]]
    while lo >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_LO + 2] = (((((lo - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 2]) >> 14
    o = w[(hi >> _ANGLE_CELL) + w[_CURVE_CELLS + 2]]
    while hi >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_HI + 2] = (((((hi - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 2]) >> 14
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
    o = w[(lo >> _ANGLE_CELL) + w[_CURVE_CELLS + 3]]
    while lo >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_LO + 3] = (((((lo - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 3]) >> 14
    o = w[(hi >> _ANGLE_CELL) + w[_CURVE_CELLS + 3]]
    while hi >= w[o + _CURVE_STRIDE]:
        o += _CURVE_STRIDE
    w[_HI + 3] = (((((hi - w[o]) * w[o + 2]) >> 14) + w[o + 1]) * w[_KAPPA + 3]) >> 14
    if neutral:
        w[_FORCE + 0] = w[_LO + 0]
        w[_FORCE + 1] = w[_LO + 1]
        w[_FORCE + 2] = w[_LO + 2]
        w[_FORCE + 3] = w[_LO + 3]
    return 0
