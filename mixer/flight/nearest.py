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
"""

from mixer.flight.words import const, ptr32

_FLAGS = const(15)
_PRIMARY_LIMITED = const(1)
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
_CUT_LO = const(84)
_CUT_HI = const(88)
_NEAR = const(46340)  # √2 · this in Q14, less the support, stays in 32 bits


def nearest(t: ptr32, s: ptr32) -> int:
    """Set POINT; flag PRIMARY_LIMITED where it is not the demand itself."""
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
        first = 0
        last = 0
        for j in range(4):
            a = t[e + 4]
            c = t[e + 8]
            e += 1
            low = s[_CUT_LO + j]
            high = s[_CUT_HI + j]
            if a == 0:  # parallel: its whole range lies along this edge
                if c > 0:
                    first += c * low
                    last += c * high
                else:
                    first += c * high
                    last += c * low
            else:
                if a * sense > 0:
                    low = high
                out += a * low
                low *= c
                first += low
                last += low
        first = (first + 8192) >> 14
        last = (last + 8192) >> 14
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
