"""Step one, policy "nearest": the demand where it lies in Z_τ, else the point of Z_τ nearest to it.

Z is the zonotope of all Σ f_i·b_i over the force box, a0 its point nearest to "no force", and
Z_τ = a0 + (1 − τ)(Z − a0), τ = 1/128. Everything is measured from a0, so that a vane which cannot
move adds exactly nothing. Each edge of Z is parallel to a vane's b_k; its normal n_k and tangent
t_k = n_k turned by +90° give the support sums Σ max(n_k·b_j·lo_j, n_k·b_j·hi_j).

From a violated edge walk along the boundary, always the way the demand's foot lies, until the foot
falls on an edge (that is the point) or the way turns round at a corner (that is the point). No
distances are compared: a far demand would need 64 bits for that. The foot's place along an edge is
a product of two halves of the normal and of the gap, so it is good to a unit at 2^25 units.

Units: an eighth of a count << UNIT, so that every |force| ≤ 2^14 units.

Written out vane by vane, for the reason given in `secondary`.
"""

from mixer.flight.words import const, ptr32

_FLAGS = const(31)
_PRIMARY_LIMITED = const(1)
_COS = const(0)
_SIN = const(4)
_N_EDGES = const(73)
_EDGES = const(108)
_EDGE_STRIDE = const(16)
_UNIT = const(30)
_WANT = const(56)
_LO = const(0)
_HI = const(4)
_POINT = const(28)
_NEAR = const(46340)  # √2 · this in Q14, less the support, stays in 32 bits


def nearest(t: ptr32, s: ptr32) -> int:
    """Set POINT; flag PRIMARY_LIMITED where it is not the demand itself."""
    unit = s[_UNIT]
    x = 0
    y = 0
    cut = 7 + unit
    lo0 = s[_LO + 0]
    hi0 = s[_HI + 0]
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
    if zero != 0:
        zero >>= unit
        x += t[_COS + 0] * zero
        y += t[_SIN + 0] * zero
    lo0 = 0 - (((0 - lo0) * 127) >> cut)  # toward a0: never past the box
    hi0 = (hi0 * 127) >> cut
    lo1 = s[_LO + 1]
    hi1 = s[_HI + 1]
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
    if zero != 0:
        zero >>= unit
        x += t[_COS + 1] * zero
        y += t[_SIN + 1] * zero
    lo1 = 0 - (((0 - lo1) * 127) >> cut)  # toward a0: never past the box
    hi1 = (hi1 * 127) >> cut
    lo2 = s[_LO + 2]
    hi2 = s[_HI + 2]
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
    if zero != 0:
        zero >>= unit
        x += t[_COS + 2] * zero
        y += t[_SIN + 2] * zero
    lo2 = 0 - (((0 - lo2) * 127) >> cut)  # toward a0: never past the box
    hi2 = (hi2 * 127) >> cut
    lo3 = s[_LO + 3]
    hi3 = s[_HI + 3]
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
    if zero != 0:
        zero >>= unit
        x += t[_COS + 3] * zero
        y += t[_SIN + 3] * zero
    lo3 = 0 - (((0 - lo3) * 127) >> cut)  # toward a0: never past the box
    hi3 = (hi3 * 127) >> cut
    x = (x + 8192) >> 14
    y = (y + 8192) >> 14
    point_x = (s[_WANT] + unit) >> unit  # unit is 1 or 2: also half a unit, to round
    point_y = (s[_WANT + 1] + unit) >> unit
    s[_POINT] = point_x
    s[_POINT + 1] = point_y
    gap_x = point_x - x
    gap_y = point_y - y
    far = 0
    while gap_x > _NEAR or gap_x < -_NEAR or gap_y > _NEAR or gap_y < -_NEAR:
        gap_x >>= 1
        gap_y >>= 1
        far += 1

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
            up += a * hi0
            down += a * lo0
        elif a < 0:
            up += a * lo0
            down += a * hi0
        a = t[o + 5]
        if a > 0:
            up += a * hi1
            down += a * lo1
        elif a < 0:
            up += a * lo1
            down += a * hi1
        a = t[o + 6]
        if a > 0:
            up += a * hi2
            down += a * lo2
        elif a < 0:
            up += a * lo2
            down += a * hi2
        a = t[o + 7]
        if a > 0:
            up += a * hi3
            down += a * lo3
        elif a < 0:
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
        return 0

    s[_FLAGS] |= _PRIMARY_LIMITED
    gap_x = point_x - x
    gap_y = point_y - y
    high_x = gap_x >> 12
    high_y = gap_y >> 12
    low_x = gap_x & 4095
    low_y = gap_y & 4095
    turn = 0
    for _ in range(8):
        if edge >= count:
            k = edge - count
            sense = -1
        else:
            k = edge
            sense = 1
        e = _EDGES + k * _EDGE_STRIDE
        n_x = t[e]
        n_y = t[e + 1]
        # t·gap with t = (−n_y, n_x): Q14 normals and their Q28 low halves
        top = n_x * high_y - n_y * high_x
        mid = n_x * low_y - n_y * low_x
        low = t[e + 2] * high_y - t[e + 3] * high_x
        foot = ((top << 2) + ((mid + (low >> 2)) >> 10) + 8) >> 4
        out = 0
        first = 8192
        last = 8192
        a = t[e + 4]
        c = t[e + 8]
        f = lo0
        g = hi0
        if a * sense > 0:
            f = g
        elif a != 0:
            g = f
        elif c < 0:  # parallel: its whole range lies along this edge
            f = g
            g = lo0
        out += a * f
        first += c * f
        last += c * g
        a = t[e + 5]
        c = t[e + 9]
        f = lo1
        g = hi1
        if a * sense > 0:
            f = g
        elif a != 0:
            g = f
        elif c < 0:  # parallel: its whole range lies along this edge
            f = g
            g = lo1
        out += a * f
        first += c * f
        last += c * g
        a = t[e + 6]
        c = t[e + 10]
        f = lo2
        g = hi2
        if a * sense > 0:
            f = g
        elif a != 0:
            g = f
        elif c < 0:  # parallel: its whole range lies along this edge
            f = g
            g = lo2
        out += a * f
        first += c * f
        last += c * g
        a = t[e + 7]
        c = t[e + 11]
        f = lo3
        g = hi3
        if a * sense > 0:
            f = g
        elif a != 0:
            g = f
        elif c < 0:  # parallel: its whole range lies along this edge
            f = g
            g = lo3
        out += a * f
        first += c * f
        last += c * g
        first >>= 14
        last >>= 14
        if foot > last:
            foot = last
            move = sense
        elif foot < first:
            foot = first
            move = 0 - sense
        else:
            move = 0
        out = (out + 8192) >> 14
        s[_POINT] = x + ((n_x * out - n_y * foot + 8192) >> 14)
        s[_POINT + 1] = y + ((n_y * out + n_x * foot + 8192) >> 14)
        if move == 0 or move + turn == 0:
            break
        turn = move
        edge += move
        if edge < 0:
            edge += 2 * count
        elif edge >= 2 * count:
            edge = 0
    return 0
