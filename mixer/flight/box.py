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
_HI = const(68)


def box(t: ptr32, s: ptr32) -> int:
    """Set the angle windows and the force box LO, HI; where NEUTRAL is set also FORCE."""
    for i in range(4):
        x = s[_DEFLECTION + i]
        step = s[_STEP + i]
        lo = x - step
        hi = x + step
        limit = s[_LIMIT_LO + i]
        if lo < limit:
            lo = limit
        limit = s[_LIMIT_HI + i]
        if hi > limit:
            hi = limit
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
        base = t[_CURVE_OFF + i]
        j = s[_CURVE_HINT + i]
        kappa = s[_KAPPA + i]
        o = base + j
        start = t[o]
        if hi < t[o + 1] and start <= lo and lo <= hi:  # both on the piece of the last cycle
            f = t[o + n]
            slope = t[o + 2 * n]
            s[_LO + i] = ((f + (((lo - start) * slope) >> 14)) * kappa) >> 14
            s[_HI + i] = ((f + (((hi - start) * slope) >> 14)) * kappa) >> 14
        else:
            for side in range(2):
                x = lo
                if side != 0:
                    x = hi
                while j > 0 and x < t[base + j]:
                    j -= 1
                while j < n - 2 and x >= t[base + j + 1]:
                    j += 1
                o = base + j
                span = t[o + 1] - t[o]
                x -= t[o]
                if x > span:
                    x = span
                elif x < 0:
                    x = 0
                f = t[o + n] + ((x * t[o + 2 * n]) >> 14)
                s[_LO + 4 * side + i] = (f * kappa) >> 14
        s[_FORCE + i] = s[_LO + i]
    return 0
