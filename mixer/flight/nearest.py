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
_COS = const(80)
_SIN = const(84)
_N_EDGES = const(153)
_EDGES = const(188)
_EDGE_STRIDE = const(16)
_UNIT = const(30)
_WANT = const(48)
_LO = const(0)
_HI = const(4)
_POINT = const(28)
_NEAR = const(46340)  # √2 · this in Q14, less the support, stays in 32 bits
_FAR = const(741440)  # sixteen times as far


def nearest(w: ptr32) -> int:
    """Set POINT; flag PRIMARY_LIMITED where it is not the demand itself."""
    o = _EDGES  # named first: machine code keeps it in its one free register
    unit = w[_UNIT]
    x = 0
    y = 0
    cut = unit + 7
    lo0 = w[_LO + 0]
    hi0 = w[_HI + 0]
    if lo0 > 0:
        zero = lo0 >> unit
        x = w[_COS + 0] * zero + x
        y = w[_SIN + 0] * zero + y
        hi0 -= lo0
        lo0 = 0
        if hi0 < 0:
            hi0 = 0
    elif hi0 < 0:
        zero = hi0 >> unit
        x = w[_COS + 0] * zero + x
        y = w[_SIN + 0] * zero + y
        lo0 -= hi0
        hi0 = 0
        if lo0 > 0:
            lo0 = 0
    lo0 = -(-lo0 * 127 >> cut)  # toward a0: never past the box
    hi0 = hi0 * 127 >> cut
    lo1 = w[_LO + 1]
    hi1 = w[_HI + 1]
    if lo1 > 0:
        zero = lo1 >> unit
        x = w[_COS + 1] * zero + x
        y = w[_SIN + 1] * zero + y
        hi1 -= lo1
        lo1 = 0
        if hi1 < 0:
            hi1 = 0
    elif hi1 < 0:
        zero = hi1 >> unit
        x = w[_COS + 1] * zero + x
        y = w[_SIN + 1] * zero + y
        lo1 -= hi1
        hi1 = 0
        if lo1 > 0:
            lo1 = 0
    lo1 = -(-lo1 * 127 >> cut)  # toward a0: never past the box
    hi1 = hi1 * 127 >> cut
    lo2 = w[_LO + 2]
    hi2 = w[_HI + 2]
    if lo2 > 0:
        zero = lo2 >> unit
        x = w[_COS + 2] * zero + x
        y = w[_SIN + 2] * zero + y
        hi2 -= lo2
        lo2 = 0
        if hi2 < 0:
            hi2 = 0
    elif hi2 < 0:
        zero = hi2 >> unit
        x = w[_COS + 2] * zero + x
        y = w[_SIN + 2] * zero + y
        lo2 -= hi2
        hi2 = 0
        if lo2 > 0:
            lo2 = 0
    lo2 = -(-lo2 * 127 >> cut)  # toward a0: never past the box
    hi2 = hi2 * 127 >> cut
    lo3 = w[_LO + 3]
    hi3 = w[_HI + 3]
    if lo3 > 0:
        zero = lo3 >> unit
        x = w[_COS + 3] * zero + x
        y = w[_SIN + 3] * zero + y
        hi3 -= lo3
        lo3 = 0
        if hi3 < 0:
            hi3 = 0
    elif hi3 < 0:
        zero = hi3 >> unit
        x = w[_COS + 3] * zero + x
        y = w[_SIN + 3] * zero + y
        lo3 -= hi3
        hi3 = 0
        if lo3 > 0:
            lo3 = 0
    lo3 = -(-lo3 * 127 >> cut)  # toward a0: never past the box
    hi3 = hi3 * 127 >> cut
    x = (x + 8192) >> 14
    y = (y + 8192) >> 14
    point_x = (w[_WANT] + unit) >> unit  # unit is 1 or 2: also half a unit, to round
    point_y = (w[_WANT + 1] + unit) >> unit
    w[_POINT] = point_x
    w[_POINT + 1] = point_y
    gap_x = point_x - x
    gap_y = point_y - y
    far = 0
    if gap_x > _NEAR or gap_x < -_NEAR or gap_y > _NEAR or gap_y < -_NEAR:
        while gap_x > _FAR or gap_x < -_FAR or gap_y > _FAR or gap_y < -_FAR:
            gap_x >>= 4
            gap_y >>= 4
            far += 4
        while gap_x > _NEAR or gap_x < -_NEAR or gap_y > _NEAR or gap_y < -_NEAR:
            gap_x >>= 1
            gap_y >>= 1
            far += 1

    # a0 lies inside, so an edge can only be violated on the side where the demand lies
    count = w[_N_EDGES]
    worst = 0
    edge = 0
    sense = 0
    for k in range(count):
        along = w[o] * gap_x + w[o + 1] * gap_y
        if along > 0:
            a = w[o + 4]
            if a > 0:
                out = a * hi0
            else:
                out = a * lo0
            a = w[o + 5]
            if a > 0:
                out = a * hi1 + out
            else:
                out = a * lo1 + out
            a = w[o + 6]
            if a > 0:
                out = a * hi2 + out
            else:
                out = a * lo2 + out
            a = w[o + 7]
            if a > 0:
                out = a * hi3 + out
            else:
                out = a * lo3 + out
            over = along - (out >> far)
            if over > worst:
                worst = over
                edge = k
                sense = 1
        elif along < 0:
            a = w[o + 4]
            if a > 0:
                out = a * lo0
            else:
                out = a * hi0
            a = w[o + 5]
            if a > 0:
                out = a * lo1 + out
            else:
                out = a * hi1 + out
            a = w[o + 6]
            if a > 0:
                out = a * lo2 + out
            else:
                out = a * hi2 + out
            a = w[o + 7]
            if a > 0:
                out = a * lo3 + out
            else:
                out = a * hi3 + out
            over = (out >> far) - along
            if over > worst:
                worst = over
                edge = k
                sense = -1
        o += _EDGE_STRIDE
    if not sense:
        return 0

    w[_FLAGS] |= _PRIMARY_LIMITED
    gap_x = point_x - x
    gap_y = point_y - y
    high_x = gap_x >> 12
    high_y = gap_y >> 12
    low_x = gap_x & 4095
    low_y = gap_y & 4095
    turn = 0
    for _ in range(8):
        o = edge * _EDGE_STRIDE + _EDGES
        n_x = w[o]
        n_y = w[o + 1]
        # t·gap with t = (−n_y, n_x): Q14 normals and their Q28 low halves
        top = n_x * high_y - n_y * high_x
        mid = n_x * low_y - n_y * low_x
        low = w[o + 2] * high_y - w[o + 3] * high_x
        foot = ((((low >> 2) + mid) >> 10) + (top << 2) + 8) >> 4
        out = 8192
        first = 8192
        last = 8192
        same = 0
        a = w[o + 4]
        c = w[o + 8]
        if a:
            f = lo0
            if a * sense > 0:
                f = hi0
            out = a * f + out
            same = c * f + same
        elif c > 0:  # parallel: its whole range lies along this edge
            first = c * lo0 + first
            last = c * hi0 + last
        else:
            first = c * hi0 + first
            last = c * lo0 + last
        a = w[o + 5]
        c = w[o + 9]
        if a:
            f = lo1
            if a * sense > 0:
                f = hi1
            out = a * f + out
            same = c * f + same
        elif c > 0:  # parallel: its whole range lies along this edge
            first = c * lo1 + first
            last = c * hi1 + last
        else:
            first = c * hi1 + first
            last = c * lo1 + last
        a = w[o + 6]
        c = w[o + 10]
        if a:
            f = lo2
            if a * sense > 0:
                f = hi2
            out = a * f + out
            same = c * f + same
        elif c > 0:  # parallel: its whole range lies along this edge
            first = c * lo2 + first
            last = c * hi2 + last
        else:
            first = c * hi2 + first
            last = c * lo2 + last
        a = w[o + 7]
        c = w[o + 11]
        if a:
            f = lo3
            if a * sense > 0:
                f = hi3
            out = a * f + out
            same = c * f + same
        elif c > 0:  # parallel: its whole range lies along this edge
            first = c * lo3 + first
            last = c * hi3 + last
        else:
            first = c * hi3 + first
            last = c * lo3 + last
        first = (first + same) >> 14
        last = (last + same) >> 14
        out >>= 14
        move = 0
        if foot > last:
            foot = last
            move = sense
        elif foot < first:
            foot = first
            move = -sense
        w[_POINT] = ((n_x * out - n_y * foot + 8192) >> 14) + x
        w[_POINT + 1] = ((n_y * out + n_x * foot + 8192) >> 14) + y
        if not move or move + turn == 0:
            break
        turn = move
        edge += move
        if edge < 0:
            edge = count - 1
            sense = -sense
        elif edge >= count:
            edge = 0
            sense = -sense
    return 0
