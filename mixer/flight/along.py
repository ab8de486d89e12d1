"""Policy "direction": the last point of the segment from a0 to the demand that lies in Z_τ.

Each edge of Z that the segment crosses cuts it at support / (n·gap); the smallest share wins. Where
a segment leaves at a grazing angle, a hair of an edge moves the point by a handful, so everything
here is kept in 1/128 of a count, with normals of two halves, and the share has a floating exponent.
Supports are summed from a0 (see `within`): an edge that a0 stands on gives exactly zero.
"""

from mixer.flight.words import const, ptr32

_COS = const(16)
_SIN = const(20)
_COS_LOW = const(68)
_SIN_LOW = const(72)
_N_EDGES = const(38)
_EDGES = const(108)
_EDGE_STRIDE = const(16)
_UNIT = const(37)
_WANT = const(42)
_LO = const(64)
_HI = const(68)
_POINT = const(72)
_CUT_LO = const(84)
_CUT_HI = const(88)
_FLAGS = const(15)
_PRIMARY_LIMITED = const(1)
_FAR = const(16777215)  # 2^24 − 1: a gap up to here fits the two-half product, and is out of Z


def along(t: ptr32, s: ptr32) -> int:
    """Set POINT; flag PRIMARY_LIMITED where it is not the demand itself."""
    x = 0
    y = 0
    for i in range(4):
        zero = 0
        down = s[_LO + i]
        up = s[_HI + i]
        if down > 0:
            zero = down
            up -= down
            down = 0
            if up < 0:
                up = 0
        elif up < 0:
            zero = up
            down -= up
            up = 0
            if down > 0:
                down = 0
        s[_CUT_LO + i] = down
        s[_CUT_HI + i] = up
        if zero != 0:
            x += (t[_COS + i] * zero + ((t[_COS_LOW + i] * zero) >> 14) + 512) >> 10
            y += (t[_SIN + i] * zero + ((t[_SIN_LOW + i] * zero) >> 14) + 512) >> 10
    gap_x = (s[_WANT] << 4) - x
    gap_y = (s[_WANT + 1] << 4) - y
    # the end of a far gap does not matter, only its direction
    while gap_x > _FAR or gap_x < -_FAR or gap_y > _FAR or gap_y < -_FAR:
        gap_x >>= 1
        gap_y >>= 1
    high_x = gap_x >> 12
    high_y = gap_y >> 12
    low_x = gap_x & 4095
    low_y = gap_y & 4095

    share = 32768  # share · 2^-exponent of the gap
    exponent = 15
    o = _EDGES
    for _ in range(t[_N_EDGES]):
        top = t[o] * high_x + t[o + 1] * high_y
        mid = t[o] * low_x + t[o + 1] * low_y
        low = t[o + 2] * high_x + t[o + 3] * high_y
        rise = ((top << 2) + ((mid + (low >> 2)) >> 10) + 8) >> 4
        sense = 1
        if rise < 0:
            rise = 0 - rise
            sense = -1
        out = 0
        for j in range(4):
            a = t[o + 4 + j] * sense
            f = s[_CUT_LO + j]
            if a > 0:
                f = s[_CUT_HI + j]
            out += (a * f + ((t[o + 12 + j] * sense * f) >> 14) + 512) >> 10
        if out < 0:
            out = 0
        out = (out * 127 + 64) >> 7
        o += _EDGE_STRIDE
        if rise > out:
            # share = out / rise, both brought to 29 bits
            e = 15
            if rise < 16384:
                rise <<= 15
                e -= 15
            if rise < 2097152:
                rise <<= 8
                e -= 8
            if rise < 33554432:
                rise <<= 4
                e -= 4
            if rise < 134217728:
                rise <<= 2
                e -= 2
            if rise < 268435456:
                rise <<= 1
                e -= 1
            if out < 16384:
                out <<= 15
                e += 15
            if out < 2097152:
                out <<= 8
                e += 8
            if out < 33554432:
                out <<= 4
                e += 4
            if out < 134217728:
                out <<= 2
                e += 2
            if out < 268435456:
                out <<= 1
                e += 1
            part = (out << 1) // (rise >> 14)
            if part >= 32768:
                part >>= 1
                e -= 1
            if part == 0:
                e = 64
            if e > exponent or (e == exponent and part < share):
                share = part
                exponent = e
    if share == 32768:
        s[_POINT] = (s[_WANT] + (1 << (s[_UNIT] - 1))) >> s[_UNIT]
        s[_POINT + 1] = (s[_WANT + 1] + (1 << (s[_UNIT] - 1))) >> s[_UNIT]
        return 0
    s[_FLAGS] |= _PRIMARY_LIMITED
    while gap_x > 65535 or gap_x < -65535 or gap_y > 65535 or gap_y < -65535:
        gap_x >>= 1
        gap_y >>= 1
        exponent -= 1
    if exponent > 31:
        exponent = 31
    elif exponent < 0:
        exponent = 0
    unit = s[_UNIT] + 4
    half = 1 << (unit - 1)
    s[_POINT] = (x + ((gap_x * share) >> exponent) + half) >> unit
    s[_POINT + 1] = (y + ((gap_y * share) >> exponent) + half) >> unit
    return 0
