"""Steps two and three: the roll to deliver, and the four forces with the least sum of squares.

About the middle c of the box, f = c + g with |g_i| ≤ h_i. The minimum-norm solution of
Σ g_i·b_i = e, Σ g_i = ρ plus s times the null vector v gives g_i = v_i·(s − η_i), η_i a linear row
in (e, ρ). So each vane is a strip |s − η_i| ≤ ω_i = h_i/|v_i|, and two strips meet where
|η_i − η_j| ≤ ω_i + ω_j: the twelve facets of the attainable set (Durham 1993), in the very numbers
the last line uses. Pairs come in rising order of how strongly roll moves them apart, so that
rounding in a nearly parallel pair cannot break a strong one. Σ f² is least at s = −v·c / v·v,
clamped to the strips.

Units: h_max is brought to 14 bits by a shift z, so narrow boxes keep their precision.
"""

from mixer.flight.words import const, ptr32

_COS = const(16)
_SIN = const(20)
_N_PAIRS = const(37)
_ROW_X = const(40)
_ROW_Y = const(44)
_ROW_ROLL = const(48)
_WIDTH = const(52)
_NULL = const(56)
_NULL_EFFORT = const(60)
_ROW_Q = const(64)
_PAIRS = const(76)
_PAIR_STRIDE = const(5)
_FORCE = const(8)
_UNIT = const(37)
_WANT = const(42)
_LO = const(64)
_HI = const(68)
_POINT = const(72)
_BASE = const(92)
_ETA = const(96)
_OMEGA = const(100)
_FLAGS = const(15)
_ROLL_LIMITED = const(2)


def secondary(t: ptr32, s: ptr32) -> int:
    """Set the four FORCE words from POINT, WANT and the box; flag ROLL_LIMITED where it was."""
    unit = s[_UNIT]
    reach = 0  # Σ h in sixteenths of a count, as lo + hi and hi − lo are
    roll = 2 * s[_WANT + 2]
    widest = 0
    e_x = 0
    e_y = 0
    effort = 0
    for i in range(4):
        lo = s[_LO + i]
        hi = s[_HI + i]
        c = lo + hi
        h = hi - lo
        if h > widest:
            widest = h
        elif h < 0:
            h = 0
        s[_OMEGA + i] = h
        roll -= c
        reach += h
        if c != 0:
            c = (c + (1 << unit)) >> (unit + 1)
            e_x -= t[_COS + i] * c
            e_y -= t[_SIN + i] * c
            effort -= t[_NULL_EFFORT + i] * c

    widest >>= 3
    z = 0
    if widest <= 512:
        widest <<= 5
        z = 5
    if widest <= 2048:
        widest <<= 3
        z += 3
    if widest <= 8192:
        z += 1

    limited = 0
    if roll > reach:
        roll = reach
        limited = 1
    elif roll < 0 - reach:
        roll = 0 - reach
        limited = 1
    roll = (roll << z) >> 3
    if roll > 65535:
        roll = 65535
    elif roll < -65535:
        roll = -65535
    # e and the effort's s: from units/16 to the box's own scale, never past what it can reach
    scale = z + unit
    limit = 4194304 >> scale
    e_x = (e_x >> 10) + (s[_POINT] << 4)
    e_y = (e_y >> 10) + (s[_POINT + 1] << 4)
    effort >>= 10
    if e_x > limit:
        e_x = limit
    elif e_x < 0 - limit:
        e_x = 0 - limit
    if e_y > limit:
        e_y = limit
    elif e_y < 0 - limit:
        e_y = 0 - limit
    if effort > 16 * limit:
        effort = 16 * limit
    elif effort < -16 * limit:
        effort = -16 * limit
    e_x = (e_x << scale) >> 6
    e_y = (e_y << scale) >> 6
    effort = (effort << scale) >> 6

    for i in range(4):
        q = t[_ROW_Q + i]
        half = 1 << (q - 1)
        base = (t[_ROW_X + i] * e_x + t[_ROW_Y + i] * e_y + half) >> q
        s[_BASE + i] = base
        s[_ETA + i] = base + ((t[_ROW_ROLL + i] * roll + half) >> q)
        h = (s[_OMEGA + i] << z) >> 3
        if h > 16384:
            h = 16384
        s[_OMEGA + i] = (t[_WIDTH + i] * h) >> q

    o = _PAIRS
    for _ in range(t[_N_PAIRS]):
        i = t[o]
        j = t[o + 1]
        room = s[_OMEGA + i] + s[_OMEGA + j]
        for _ in range(2):  # the second time for what the rounding of 1/K left
            excess = s[_ETA + i] - s[_ETA + j]
            if excess > room:
                excess -= room
            elif excess < 0 - room:
                excess += room
            else:
                break
            most = t[o + 4]
            if excess > most:
                excess = most
            elif excess < 0 - most:
                excess = 0 - most
            roll -= (excess * t[o + 2]) >> t[o + 3]
            if roll > 65535:
                roll = 65535
            elif roll < -65535:
                roll = -65535
            for k in range(4):
                q = t[_ROW_Q + k]
                s[_ETA + k] = s[_BASE + k] + ((t[_ROW_ROLL + k] * roll + (1 << (q - 1))) >> q)
            limited = 1
        o += _PAIR_STRIDE

    first = -1048576
    last = 1048576
    for i in range(4):
        eta = s[_ETA + i]
        omega = s[_OMEGA + i]
        if eta - omega > first:
            first = eta - omega
        if eta + omega < last:
            last = eta + omega
    if first > last:  # a unit of rounding
        first = (first + last) >> 1
        last = first
    if effort < first:
        effort = first
    elif effort > last:
        effort = last

    for i in range(4):
        g = effort - s[_ETA + i]
        omega = s[_OMEGA + i]
        if g > omega:
            g = omega
        elif g < 0 - omega:
            g = 0 - omega
        g = (t[_NULL + i] * g) >> 11
        lo = s[_LO + i]
        hi = s[_HI + i]
        f = (lo + hi + (g >> z) + 1) >> 1
        if f < lo:
            f = lo
        elif f > hi:
            f = hi
        s[_FORCE + i] = f
    if limited != 0:
        s[_FLAGS] |= _ROLL_LIMITED
    return 0
