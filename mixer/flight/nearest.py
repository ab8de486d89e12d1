"""Where the demand lies outside Z_τ, policy "nearest": the point of Z_τ nearest to it.

From any violated edge walk along the boundary, always the way the demand's foot lies, until the
foot falls on an edge (that is the point) or the way turns round at a corner (that is the point).
No distances are compared: a far demand would need 64 bits for that. The foot's place along an edge
is a product of two halves of the normal and of the gap, so that it is good to a unit at 2^25 units.
"""

from mixer.flight.words import const, ptr32

_N_EDGES = const(38)
_EDGES = const(108)
_EDGE_STRIDE = const(16)
_POINT = const(72)
_EDGE = const(74)
_ORIGIN = const(75)
_GAP = const(77)
_CUT_LO = const(84)
_CUT_HI = const(88)


def nearest(t: ptr32, s: ptr32) -> int:
    """Set POINT to the nearest point of Z_τ; needs what `within` left."""
    gap_x = s[_GAP]
    gap_y = s[_GAP + 1]
    high_x = gap_x >> 12
    high_y = gap_y >> 12
    low_x = gap_x & 4095
    low_y = gap_y & 4095
    count = t[_N_EDGES]
    edge = s[_EDGE]
    turn = 0
    for _ in range(8):
        if edge >= count:
            k = edge - count
            sense = -1
        else:
            k = edge
            sense = 1
        o = _EDGES + k * _EDGE_STRIDE
        n_x = t[o]
        n_y = t[o + 1]
        # t·gap with t = (−n_y, n_x): Q14 normals and their Q28 low halves
        top = n_x * high_y - n_y * high_x
        mid = n_x * low_y - n_y * low_x
        low = t[o + 2] * high_y - t[o + 3] * high_x
        foot = ((top << 2) + ((mid + (low >> 2)) >> 10) + 8) >> 4
        out = 0
        first = 0
        last = 0
        for j in range(4):
            a = t[o + 4 + j]
            c = t[o + 8 + j]
            if a == 0:  # parallel: its whole range lies along this edge
                if c > 0:
                    first += c * s[_CUT_LO + j]
                    last += c * s[_CUT_HI + j]
                else:
                    first += c * s[_CUT_HI + j]
                    last += c * s[_CUT_LO + j]
            else:
                f = s[_CUT_LO + j]
                if a * sense > 0:
                    f = s[_CUT_HI + j]
                out += a * f
                first += c * f
                last += c * f
        first = (first + 8192) >> 14
        last = (last + 8192) >> 14
        if foot > last:
            end = last
            move = sense
        elif foot < first:
            end = first
            move = 0 - sense
        else:
            end = foot
            move = 0
        rise = (out + 8192) >> 14
        s[_POINT] = s[_ORIGIN] + ((n_x * rise - n_y * end + 8192) >> 14)
        s[_POINT + 1] = s[_ORIGIN + 1] + ((n_y * rise + n_x * end + 8192) >> 14)
        if move == 0 or move + turn == 0:
            break
        turn = move
        edge += move
        if edge < 0:
            edge += 2 * count
        elif edge >= 2 * count:
            edge = 0
    return 0
