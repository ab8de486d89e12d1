"""Policy "direction": the last point of the segment from a0 to the demand that lies in Z_τ(T).

a0 is the point of Z that the forces of T nearest to 0 give. Each edge of Z that the segment crosses
cuts it at (support from a0)/(n·gap); the smallest share wins. Where a segment leaves at a grazing
angle, a hair of an edge moves the point by a handful, so everything here is kept in 1/128 of a
count, with normals of two halves. Supports are summed from a0: an edge that a0 stands on gives
exactly zero.
"""

from mixer.flight.clamp import clamp
from mixer.flight.layout import *
from mixer.flight.wanted import scaled

FAR = 8388607  # 2^23 − 1: half of it is out of Z, which no four vanes stretch to 2^22
WHOLE = 1 << 21


def fine(weight, weight_low, force):
    """weight·force in 1/128 of a count, the weight in Q28 by two halves, force in eighths."""
    return (((weight_low * force) >> 14) + weight * force + 512) >> 10


def across_edge(w, o, gap_x, gap_y):
    """n·gap, by products of two halves of the normal and of the gap."""
    high_x = gap_x >> 12
    high_y = gap_y >> 12
    top = w[o] * high_x + w[o + 1] * high_y
    middle = w[o] * (gap_x & 4095) + w[o + 1] * (gap_y & 4095)
    low = w[o + EDGE_LOW] * high_x + w[o + EDGE_LOW + 1] * high_y
    return ((((low >> 2) + middle) >> 10) + (top << 2) + 8) >> 4


def support_from_rest(w, o, side):
    """How far the edge on this side of Z stands from a0, 1/128 of a count."""
    support = 0
    for vane in range(VANES):
        across = w[o + EDGE_ACROSS + vane]
        end = w[FROM_REST + VANES + vane] if across * side > 0 else w[FROM_REST + vane]
        support += fine(across, w[o + EDGE_ACROSS_LOW + vane], end)
    return max(support * side, 0)


def share_of(part, whole):
    """part/whole, 0 ≤ part < whole < 2^24, in Q21: three digits of 7 bits each."""
    share = 0
    for _ in range(3):
        part <<= 7
        share = (share << 7) + ((part // whole) & 127)
        part %= whole
    return share


def last_on_segment(w):
    """POINT becomes the last point of the segment in Z_τ; return whether that is not the demand."""
    x = 0
    y = 0
    for vane in range(VANES):
        lo = w[TARGET_BOX + vane]
        hi = w[TARGET_BOX + VANES + vane]
        rest = clamp(0, lo, hi)
        w[FROM_REST + vane] = lo - rest
        w[FROM_REST + VANES + vane] = hi - rest
        if rest != 0:
            x += fine(w[COS + vane], w[COS_LOW + vane], rest)
            y += fine(w[SIN + vane], w[SIN_LOW + vane], rest)
    gap_x = (w[WANT] << 4) - x
    gap_y = (w[WANT + 1] << 4) - y
    while gap_x > FAR or gap_x < -FAR or gap_y > FAR or gap_y < -FAR:  # its end does not matter
        gap_x >>= 1
        gap_y >>= 1

    kept = WHOLE  # of what the segment goes across the edge that leaves the smallest share
    crossed = WHOLE
    share = WHOLE
    o = EDGES
    for _ in range(w[N_EDGES]):
        rise = across_edge(w, o, gap_x, gap_y)
        if rise > 0:  # two calls, so that a compiler makes two functions without a sign
            support = support_from_rest(w, o, 1)
        else:
            support = support_from_rest(w, o, -1)
            rise = -rise
        if rise > support:
            here = scaled(support, crossed, 20)
            so_far = scaled(kept, rise, 20)
            if here < so_far:
                kept = support
                crossed = rise
            elif here == so_far:  # too much alike to tell without a division
                share = min(share, share_of(support, rise))
        o += EDGE_STRIDE
    if kept == crossed:
        return 0
    share = min(share, share_of(kept, crossed))
    shift = w[UNIT] + 4
    half = 1 << (shift - 1)
    w[POINT] = (scaled(gap_x, share << 7, 28) + x + half) >> shift
    w[POINT + 1] = (scaled(gap_y, share << 7, 28) + y + half) >> shift
    return 1
