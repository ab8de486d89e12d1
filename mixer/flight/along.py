"""Where the demand lies outside Z_τ, policy "direction": the last point of a0 → demand in Z_τ.

Each edge of Z_τ that the segment meets cuts it at support / (n·gap); the smallest share wins. The
support is summed from a0, so an edge that a0 stands on gives exactly zero.
"""

from mixer.flight.words import const, ptr32

_N_EDGES = const(38)
_EDGES = const(96)
_EDGE_STRIDE = const(12)
_POINT = const(72)
_ORIGIN = const(75)
_GAP = const(77)
_CUT_LO = const(84)
_CUT_HI = const(88)
_NEAR = const(65535)
_FULL = const(131071)  # a share of 4, Q15: further out than any edge once a far gap is shortened


def along(t: ptr32, s: ptr32) -> int:
    """Set POINT to the last point of the segment; needs what `primary` left."""
    gap_x = s[_GAP]
    gap_y = s[_GAP + 1]
    share = 32768
    # the end of a far gap does not matter, only its direction
    while gap_x > _NEAR or gap_x < -_NEAR or gap_y > _NEAR or gap_y < -_NEAR:
        gap_x >>= 1
        gap_y >>= 1
        share = _FULL
    count = t[_N_EDGES]
    o = _EDGES
    for _ in range(count):
        v = t[o] * gap_x + t[o + 1] * gap_y
        sense = 1
        if v < 0:
            v = 0 - v
            sense = -1
        out = 0
        for j in range(4):
            a = t[o + 4 + j] * sense
            if a > 0:
                out += a * s[_CUT_HI + j]
            else:
                out += a * s[_CUT_LO + j]
        o += _EDGE_STRIDE
        wide = 0
        if out > v:
            out >>= 2
            wide = 2
        if v > 0 and out <= v:
            # bring v to 30 bits, so that its upper 15 divide to a part in 2^14
            if v < 32768:
                v <<= 15
                out <<= 15
            if v < 4194304:
                v <<= 8
                out <<= 8
            if v < 67108864:
                v <<= 4
                out <<= 4
            if v < 268435456:
                v <<= 2
                out <<= 2
            if v < 536870912:
                v <<= 1
                out <<= 1
            part = (out // (v >> 15)) << wide
            if part < share:
                share = part
    q = 15
    while share > 32767:
        share >>= 1
        q -= 1
    half = 1 << (q - 1)
    s[_POINT] = s[_ORIGIN] + ((gap_x * share + half) >> q)
    s[_POINT + 1] = s[_ORIGIN + 1] + ((gap_y * share + half) >> q)
    return 0
