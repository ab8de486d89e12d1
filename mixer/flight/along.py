"""Policy "direction": the last point of the segment from a0 to the demand that lies in Z_τ.

Each edge of Z that the segment crosses cuts it at support / (n·gap); the smallest share wins. Where
a segment leaves at a grazing angle, a hair of an edge moves the point by a handful, so everything
here is kept in 1/128 of a count, with normals of two halves, and the share has a floating exponent.
Supports are summed from a0 (see `nearest`): an edge that a0 stands on gives exactly zero.
"""

from mixer.flight.words import const, ptr32

_COS = const(80)
_SIN = const(84)
_COS_LOW = const(128)
_SIN_LOW = const(132)
_N_EDGES = const(153)
_EDGES = const(188)
_EDGE_STRIDE = const(16)
_UNIT = const(30)
_WANT = const(48)
_LO = const(0)
_HI = const(4)
_POINT = const(28)
_FLAGS = const(31)
_PRIMARY_LIMITED = const(1)
_FAR = const(16777215)  # 2^24 − 1: a gap up to here fits the two-half product, and is out of Z


def along(w: ptr32) -> int:
    """Set POINT; flag PRIMARY_LIMITED where it is not the demand itself."""
    o = _EDGES  # named first: machine code keeps it in its one free register
    x = 0
    y = 0
    lo0 = w[_LO + 0]
    hi0 = w[_HI + 0]
    zero = 0
    if lo0 > 0:
        zero = lo0
        hi0 -= zero
        lo0 = 0
        if hi0 < 0:
            hi0 = 0
    elif hi0 < 0:
        zero = hi0
        lo0 -= zero
        hi0 = 0
        if lo0 > 0:
            lo0 = 0
    if zero:
        x = ((((w[_COS_LOW + 0] * zero) >> 14) + w[_COS + 0] * zero + 512) >> 10) + x
        y = ((((w[_SIN_LOW + 0] * zero) >> 14) + w[_SIN + 0] * zero + 512) >> 10) + y
    lo1 = w[_LO + 1]
    hi1 = w[_HI + 1]
    zero = 0
    if lo1 > 0:
        zero = lo1
        hi1 -= zero
        lo1 = 0
        if hi1 < 0:
            hi1 = 0
    elif hi1 < 0:
        zero = hi1
        lo1 -= zero
        hi1 = 0
        if lo1 > 0:
            lo1 = 0
    if zero:
        x = ((((w[_COS_LOW + 1] * zero) >> 14) + w[_COS + 1] * zero + 512) >> 10) + x
        y = ((((w[_SIN_LOW + 1] * zero) >> 14) + w[_SIN + 1] * zero + 512) >> 10) + y
    lo2 = w[_LO + 2]
    hi2 = w[_HI + 2]
    zero = 0
    if lo2 > 0:
        zero = lo2
        hi2 -= zero
        lo2 = 0
        if hi2 < 0:
            hi2 = 0
    elif hi2 < 0:
        zero = hi2
        lo2 -= zero
        hi2 = 0
        if lo2 > 0:
            lo2 = 0
    if zero:
        x = ((((w[_COS_LOW + 2] * zero) >> 14) + w[_COS + 2] * zero + 512) >> 10) + x
        y = ((((w[_SIN_LOW + 2] * zero) >> 14) + w[_SIN + 2] * zero + 512) >> 10) + y
    lo3 = w[_LO + 3]
    hi3 = w[_HI + 3]
    zero = 0
    if lo3 > 0:
        zero = lo3
        hi3 -= zero
        lo3 = 0
        if hi3 < 0:
            hi3 = 0
    elif hi3 < 0:
        zero = hi3
        lo3 -= zero
        hi3 = 0
        if lo3 > 0:
            lo3 = 0
    if zero:
        x = ((((w[_COS_LOW + 3] * zero) >> 14) + w[_COS + 3] * zero + 512) >> 10) + x
        y = ((((w[_SIN_LOW + 3] * zero) >> 14) + w[_SIN + 3] * zero + 512) >> 10) + y
    gap_x = (w[_WANT] << 4) - x
    gap_y = (w[_WANT + 1] << 4) - y
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
    for _ in range(w[_N_EDGES]):
        n_x = w[o]
        n_y = w[o + 1]
        top = n_x * high_x + n_y * high_y
        mid = n_x * low_x + n_y * low_y
        low = w[o + 2] * high_x + w[o + 3] * high_y
        rise = ((((low >> 2) + mid) >> 10) + (top << 2) + 8) >> 4
        out = 0
        if rise < 0:  # the edge across, whose normal is the negative of this one's
            rise = -rise
            least0 = -hi0
            most0 = -lo0
            least1 = -hi1
            most1 = -lo1
            least2 = -hi2
            most2 = -lo2
            least3 = -hi3
            most3 = -lo3
        else:
            least0 = lo0
            most0 = hi0
            least1 = lo1
            most1 = hi1
            least2 = lo2
            most2 = hi2
            least3 = lo3
            most3 = hi3
        a = w[o + 4]
        f = least0
        if a > 0:
            f = most0
        out = ((((w[o + 12] * f) >> 14) + a * f + 512) >> 10) + out
        a = w[o + 5]
        f = least1
        if a > 0:
            f = most1
        out = ((((w[o + 13] * f) >> 14) + a * f + 512) >> 10) + out
        a = w[o + 6]
        f = least2
        if a > 0:
            f = most2
        out = ((((w[o + 14] * f) >> 14) + a * f + 512) >> 10) + out
        a = w[o + 7]
        f = least3
        if a > 0:
            f = most3
        out = ((((w[o + 15] * f) >> 14) + a * f + 512) >> 10) + out
        o += _EDGE_STRIDE
        if out < 0:
            out = 0
        out = (out * 127 + 64) >> 7
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
            if not part:
                e = 64
            if e > exponent or (e == exponent and part < share):
                share = part
                exponent = e
    if share == 32768:
        w[_POINT] = (w[_WANT] + (1 << (w[_UNIT] - 1))) >> w[_UNIT]
        w[_POINT + 1] = (w[_WANT + 1] + (1 << (w[_UNIT] - 1))) >> w[_UNIT]
        return 0
    w[_FLAGS] |= _PRIMARY_LIMITED
    while gap_x > 65535 or gap_x < -65535 or gap_y > 65535 or gap_y < -65535:
        gap_x >>= 1
        gap_y >>= 1
        exponent -= 1
    if exponent > 31:
        exponent = 31
    elif exponent < 0:
        exponent = 0
    unit = w[_UNIT] + 4
    half = 1 << (unit - 1)
    w[_POINT] = (((gap_x * share) >> exponent) + x + half) >> unit
    w[_POINT + 1] = (((gap_y * share) >> exponent) + y + half) >> unit
    return 0
