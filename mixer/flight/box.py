"""What each vane can reach this cycle: an angle window, and the force box it makes.

The window is the travel, cut to what the slew allows since the last command. A jammed vane's limits
are the place where it stands. Without a jet, or with stale demands, the window shrinks to the
reachable angle nearest to neutral. Force at an angle: straight lines between the curve's points.
"""

from mixer.flight.words import const, ptr32

_CURVE_OFF = const(172)
_CURVE_N = const(176)
_DEFLECTION = const(0)
_FORCE = const(8)
_STEP = const(24)
_LIMIT_LO = const(28)
_LIMIT_HI = const(32)
_NEUTRAL = const(36)
_KAPPA = const(38)
_CURVE_HINT = const(45)
_WINDOW_LO = const(56)
_WINDOW_HI = const(60)
_LO = const(64)


def box(t: ptr32, s: ptr32) -> int:
    """Set the angle windows and the force box LO, HI; where NEUTRAL is set also FORCE."""
    for i in range(4):
        lo = s[_DEFLECTION + i] - s[_STEP + i]
        hi = s[_DEFLECTION + i] + s[_STEP + i]
        if lo < s[_LIMIT_LO + i]:
            lo = s[_LIMIT_LO + i]
        if hi > s[_LIMIT_HI + i]:
            hi = s[_LIMIT_HI + i]
        if s[_NEUTRAL] != 0:
            if lo > 0:
                hi = lo
            elif hi < 0:
                lo = hi
            else:
                lo = 0
                hi = 0
        s[_WINDOW_LO + i] = lo
        s[_WINDOW_HI + i] = hi
        n = t[_CURVE_N + i]
        x_off = t[_CURVE_OFF + i]
        j = s[_CURVE_HINT + i]
        for side in range(2):
            x = lo
            if side != 0:
                x = hi
            while j > 0 and x < t[x_off + j]:
                j -= 1
            while j < n - 2 and x >= t[x_off + j + 1]:
                j += 1
            dx = x - t[x_off + j]
            span = t[x_off + j + 1] - t[x_off + j]
            if dx > span:
                dx = span
            elif dx < 0:
                dx = 0
            f = t[x_off + n + j] + ((dx * t[x_off + 2 * n + j]) >> 14)
            s[_LO + 4 * side + i] = (f * s[_KAPPA + i]) >> 14
        s[_FORCE + i] = s[_LO + i]
    return 0
