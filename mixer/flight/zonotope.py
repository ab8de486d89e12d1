"""Z, all pitch and yaw that a box of forces gives, and the point of it nearest to a wanted one.

Z = {Σ f_i·b_i} over the box is the zonotope Σ m_i·b_i + {Σ g_i·b_i : |g_i| ≤ h_i}, m_i the middle
of a vane's range and h_i half its width. Each edge is parallel to a vane's b; from the middle its
normal n finds the edge at Σ |n·b_i|·h_i (support function), and along it, t = n turned by +90°,
the edge reaches Σ t·b_i·h_i (taken on the side of n) ± Σ h_i of the vanes it is parallel to. The
edge across is its mirror image. Durham 1993; Shephard, Canad. J. Math. 26, 1974.

Units: an eighth of a count << UNIT, so that every |force| ≤ 2^14 units.
"""

from mixer.flight.clamp import clamp
from mixer.flight.layout import *

NEAR = 32767  # a gap up to here times a normal, less a support, stays in 32 bits
WIDEST = 65536  # four vanes give no more


def set_zonotope(w, box):
    """CENTRE and HALF of Z over a box."""
    shift = w[UNIT] + 1
    half = 1 << w[UNIT]
    x = 8192
    y = 8192
    for vane in range(VANES):
        lo = w[box + vane]
        hi = w[box + VANES + vane]
        middle = (lo + hi + half) >> shift
        x += w[COS + vane] * middle
        y += w[SIN + vane] * middle
        w[HALF + vane] = (hi - lo) >> shift
    w[CENTRE] = x >> 14
    w[CENTRE + 1] = y >> 14


def of_halves(w, weights):
    """Σ weight·h over the vanes, weights in Q14, rounded."""
    result = 8192
    for vane in range(VANES):
        result += w[weights + vane] * w[HALF + vane]
    return result >> 14


def along_edge(w, o, gap_x, gap_y):
    """t·gap, good to a unit at 2^25 units: products of two halves of the normal and of the gap."""
    high_x = gap_x >> 12
    high_y = gap_y >> 12
    low_x = gap_x & 4095
    low_y = gap_y & 4095
    top = w[o] * high_y - w[o + 1] * high_x
    middle = w[o] * low_y - w[o + 1] * low_x
    low = w[o + EDGE_LOW] * high_y - w[o + EDGE_LOW + 1] * high_x
    return ((((low >> 2) + middle) >> 10) + (top << 2) + 8) >> 4


def most_crossed(w, gap_x, gap_y):
    """The edge that a gap from the middle crosses by most: its number, N_EDGES more for the
    edge across it; -1 where the gap stays within Z.
    """
    far = 0
    while gap_x > NEAR or gap_x < -NEAR or gap_y > NEAR or gap_y < -NEAR:
        gap_x >>= 1
        gap_y >>= 1
        far += 1
    found = -1
    most = 0
    o = EDGES
    for k in range(w[N_EDGES]):
        height = w[o] * gap_x + w[o + 1] * gap_y
        support = 0
        for vane in range(VANES):
            support += w[o + EDGE_SUPPORT + vane] * w[HALF + vane]
        over = abs(height) - (support >> far)
        if over > most:
            most = over
            found = k if height > 0 else k + w[N_EDGES]
        o += EDGE_STRIDE
    return found


def nearest(w):
    """POINT becomes the point of Z nearest to it; return whether that moved it.

    From the edge that is crossed by most walk along the boundary, always the way the foot of the
    perpendicular lies, until it falls on an edge (that is the point) or the way turns round at a
    corner (that is the point). No distances are compared: those of a far point need 64 bits.
    """
    gap_x = w[POINT] - w[CENTRE]
    gap_y = w[POINT + 1] - w[CENTRE + 1]
    edge = most_crossed(w, gap_x, gap_y)
    if edge < 0:
        return 0
    side = 1
    if edge >= w[N_EDGES]:
        edge -= w[N_EDGES]
        side = -1
    o = EDGES
    place = 0
    way = 0
    steps = 2 * VANES
    while steps > 0:
        steps -= 1
        o = edge * EDGE_STRIDE + EDGES
        foot = along_edge(w, o, gap_x, gap_y) * side
        middle = of_halves(w, o + EDGE_MIDDLE)
        half = of_halves(w, o + EDGE_HALF)
        place = clamp(clamp(foot, middle - half, middle + half), -WIDEST, WIDEST)
        before = way
        way = 1 if foot > place else -1 if foot < place else 0
        if way == 0 or way + before == 0:
            steps = 0
        else:
            edge += way
            if edge < 0:
                edge = w[N_EDGES] - 1
                side = -side
            elif edge == w[N_EDGES]:
                edge = 0
                side = -side
    height = of_halves(w, o + EDGE_SUPPORT)
    x = ((w[o] * height + 8192) >> 14) - ((w[o + 1] * place + 8192) >> 14)
    y = ((w[o + 1] * height + 8192) >> 14) + ((w[o] * place + 8192) >> 14)
    w[POINT] = x * side + w[CENTRE]
    w[POINT + 1] = y * side + w[CENTRE + 1]
    return 1
