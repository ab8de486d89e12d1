"""Does the demand lie in Z_τ? If not, what the search for the nearest point starts from.

Z is the zonotope of all Σ f_i·b_i over the force box, a0 its point nearest to "no force", and
Z_τ = a0 + (1 − τ)(Z − a0), τ = 1/128. Everything is measured from a0, so that a vane which cannot
move adds exactly nothing. Each edge of Z is parallel to a vane's b_k; its normal n_k and tangent
t_k = n_k turned by +90° give the support sums Σ max(n_k·b_j·lo_j, n_k·b_j·hi_j).

Units: an eighth of a count << UNIT, so that every |force| ≤ 2^14 units.
"""

from mixer.flight.words import const, ptr32

_COS = const(16)
_SIN = const(20)
_N_EDGES = const(38)
_EDGES = const(108)
_EDGE_STRIDE = const(16)
_UNIT = const(37)
_WANT = const(42)
_LO = const(64)
_HI = const(68)
_POINT = const(72)
_EDGE = const(74)
_ORIGIN = const(75)
_GAP = const(77)
_CUT_LO = const(84)
_CUT_HI = const(88)
_NEAR = const(46340)  # √2 · this in Q14, less the support, stays in 32 bits


def within(t: ptr32, s: ptr32) -> int:
    """Set POINT to the demand and return 1 where it lies in Z_τ; else return 0, with EDGE, ORIGIN,
    GAP, CUT_LO and CUT_HI left for `nearest`."""
    unit = s[_UNIT]
    x = 0
    y = 0
    for i in range(4):
        down = s[_LO + i]
        up = s[_HI + i]
        zero = 0
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
        if zero != 0:
            zero >>= unit
            x += t[_COS + i] * zero
            y += t[_SIN + i] * zero
        # toward a0, so that the cut box never reaches past the box
        s[_CUT_LO + i] = 0 - (((0 - down) * 127) >> (7 + unit))
        s[_CUT_HI + i] = (up * 127) >> (7 + unit)
    half = 1 << (unit - 1)
    x = (x + 8192) >> 14
    y = (y + 8192) >> 14
    point_x = (s[_WANT] + half) >> unit
    point_y = (s[_WANT + 1] + half) >> unit
    gap_x = point_x - x
    gap_y = point_y - y
    s[_POINT] = point_x
    s[_POINT + 1] = point_y
    s[_ORIGIN] = x
    s[_ORIGIN + 1] = y
    s[_GAP] = gap_x
    s[_GAP + 1] = gap_y

    far = 0
    while gap_x > _NEAR or gap_x < -_NEAR or gap_y > _NEAR or gap_y < -_NEAR:
        gap_x >>= 1
        gap_y >>= 1
        far += 1

    lo0 = s[_CUT_LO]
    lo1 = s[_CUT_LO + 1]
    lo2 = s[_CUT_LO + 2]
    lo3 = s[_CUT_LO + 3]
    hi0 = s[_CUT_HI]
    hi1 = s[_CUT_HI + 1]
    hi2 = s[_CUT_HI + 2]
    hi3 = s[_CUT_HI + 3]
    count = t[_N_EDGES]
    worst = 0
    edge = -1
    o = _EDGES
    for k in range(count):
        along = t[o] * gap_x + t[o + 1] * gap_y
        up = 0
        down = 0
        a = t[o + 4]
        if a > 0:
            up = a * hi0
            down = a * lo0
        else:
            up = a * lo0
            down = a * hi0
        a = t[o + 5]
        if a > 0:
            up += a * hi1
            down += a * lo1
        else:
            up += a * lo1
            down += a * hi1
        a = t[o + 6]
        if a > 0:
            up += a * hi2
            down += a * lo2
        else:
            up += a * lo2
            down += a * hi2
        a = t[o + 7]
        if a > 0:
            up += a * hi3
            down += a * lo3
        else:
            up += a * lo3
            down += a * hi3
        over = along - (up >> far)
        if over > worst:
            worst = over
            edge = k
        over = (down >> far) - along
        if over > worst:
            worst = over
            edge = k + count
        o += _EDGE_STRIDE
    if edge < 0:
        return 1
    s[_EDGE] = edge
    return 0
