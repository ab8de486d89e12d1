"""Steps two and three: the roll to deliver, and the four forces with the least sum of squares.

About the middle c of the box, f = c + g with |g_i| ≤ h_i. The minimum-norm solution of
Σ g_i·b_i = e, Σ g_i = ρ plus s times the null vector v gives g_i = v_i·(s − η_i), η_i a linear row
in (e, ρ). So each vane is a strip |s − η_i| ≤ ω_i = h_i/|v_i|, and two strips meet where
|η_i − η_j| ≤ ω_i + ω_j: the twelve facets of the attainable set (Durham 1993), in the very numbers
the last line uses. Pairs come in rising order of how strongly roll moves them apart, so that
rounding in a nearly parallel pair cannot break a strong one. Σ f² is least at s = −v·c / v·v,
clamped to the strips.

Units: h_max is brought to 14 bits by a shift z, so narrow boxes keep their precision.

Written out vane by vane: in machine code on a Cortex-M3 a word at a fixed place costs 1 or 3
instructions, at a computed one 11, and the loops cost a third of all instructions here. A product
stands before what is added to it, since what waits for an operand is put aside and fetched again.
"""

from mixer.flight.words import const, ptr32

_COS = const(80)
_SIN = const(84)
_N_PAIRS = const(152)
_ROW_X = const(88)
_ROW_Y = const(92)
_ROW_ROLL = const(96)
_WIDTH = const(104)
_NULL = const(108)
_NULL_EFFORT = const(112)
_ROW_Q = const(100)
_PAIRS = const(155)
_PAIR_STRIDE = const(5)
_FORCE = const(16)
_UNIT = const(30)
_WANT = const(48)
_LO = const(0)
_HI = const(4)
_POINT = const(28)
_ETA = const(72)
_OMEGA = const(76)
_FLAGS = const(31)
_ROLL_LIMITED = const(2)


def secondary(w: ptr32) -> int:
    """Set the four FORCE words from POINT, WANT and the box; flag ROLL_LIMITED where it was."""
    roll = w[_WANT + 2] << 1  # named first: machine code keeps it in its one free register
    unit = w[_UNIT]
    c0 = w[_LO + 0] + w[_HI + 0]
    h0 = w[_HI + 0] - w[_LO + 0]
    widest = h0
    c1 = w[_LO + 1] + w[_HI + 1]
    h1 = w[_HI + 1] - w[_LO + 1]
    if h1 > widest:
        widest = h1
    c2 = w[_LO + 2] + w[_HI + 2]
    h2 = w[_HI + 2] - w[_LO + 2]
    if h2 > widest:
        widest = h2
    c3 = w[_LO + 3] + w[_HI + 3]
    h3 = w[_HI + 3] - w[_LO + 3]
    if h3 > widest:
        widest = h3
    # in sixteenths of a count, as lo + hi and hi − lo are
    reach = h0 + h1 + h2 + h3
    roll = roll - c0 - c1 - c2 - c3
    # the middle of the box in units
    cut = unit + 1
    half = 1 << unit
    m0 = (c0 + half) >> cut
    m1 = (c1 + half) >> cut
    m2 = (c2 + half) >> cut
    m3 = (c3 + half) >> cut
    e_x = w[_COS + 0] * m0 + w[_COS + 1] * m1 + w[_COS + 2] * m2 + w[_COS + 3] * m3
    e_y = w[_SIN + 0] * m0 + w[_SIN + 1] * m1 + w[_SIN + 2] * m2 + w[_SIN + 3] * m3
    effort = w[_NULL_EFFORT + 0] * m0 + w[_NULL_EFFORT + 1] * m1
    effort = w[_NULL_EFFORT + 2] * m2 + w[_NULL_EFFORT + 3] * m3 + effort
    e_x = (-e_x >> 10) + (w[_POINT] << 4)
    e_y = (-e_y >> 10) + (w[_POINT + 1] << 4)
    effort = -effort >> 10

    widest >>= 3
    z = 0
    if widest <= 512:
        widest <<= 5
        z = 5
    if widest <= 2048:
        widest <<= 3
        z += 3
    if widest <= 8192:
        z += 1

    limited = 0
    if roll > reach:
        roll = reach
        limited = 1
    elif roll < -reach:
        roll = -reach
        limited = 1
    roll = (roll << z) >> 3
    if roll > 65535:
        roll = 65535
    elif roll < -65535:
        roll = -65535
    # e and the effort's s: from units/16 to the box's own scale, never past what it can reach
    scale = z + unit
    limit = 4194304 >> scale
    if e_x > limit:
        e_x = limit
    elif e_x < -limit:
        e_x = -limit
    if e_y > limit:
        e_y = limit
    elif e_y < -limit:
        e_y = -limit
    limit <<= 4
    if effort > limit:
        effort = limit
    elif effort < -limit:
        effort = -limit
    e_x = (e_x << scale) >> 6
    e_y = (e_y << scale) >> 6
    effort = (effort << scale) >> 6

    q0 = w[_ROW_Q + 0]
    half0 = 1 << (q0 - 1)
    base0 = (w[_ROW_X + 0] * e_x + w[_ROW_Y + 0] * e_y + half0) >> q0
    eta0 = ((w[_ROW_ROLL + 0] * roll + half0) >> q0) + base0
    h0 = ((h0 << z) >> 3) & 32767
    if h0 > 16384:
        h0 = 16384
    omega0 = (w[_WIDTH + 0] * h0) >> q0
    q1 = w[_ROW_Q + 1]
    half1 = 1 << (q1 - 1)
    base1 = (w[_ROW_X + 1] * e_x + w[_ROW_Y + 1] * e_y + half1) >> q1
    eta1 = ((w[_ROW_ROLL + 1] * roll + half1) >> q1) + base1
    h1 = ((h1 << z) >> 3) & 32767
    if h1 > 16384:
        h1 = 16384
    omega1 = (w[_WIDTH + 1] * h1) >> q1
    q2 = w[_ROW_Q + 2]
    half2 = 1 << (q2 - 1)
    base2 = (w[_ROW_X + 2] * e_x + w[_ROW_Y + 2] * e_y + half2) >> q2
    eta2 = ((w[_ROW_ROLL + 2] * roll + half2) >> q2) + base2
    h2 = ((h2 << z) >> 3) & 32767
    if h2 > 16384:
        h2 = 16384
    omega2 = (w[_WIDTH + 2] * h2) >> q2
    q3 = w[_ROW_Q + 3]
    half3 = 1 << (q3 - 1)
    base3 = (w[_ROW_X + 3] * e_x + w[_ROW_Y + 3] * e_y + half3) >> q3
    eta3 = ((w[_ROW_ROLL + 3] * roll + half3) >> q3) + base3
    h3 = ((h3 << z) >> 3) & 32767
    if h3 > 16384:
        h3 = 16384
    omega3 = (w[_WIDTH + 3] * h3) >> q3

    # the strips' common stretch; where there is none, roll gives way until there is
    first = eta0 - omega0
    last = eta0 + omega0
    if eta1 - omega1 > first:
        first = eta1 - omega1
    if eta1 + omega1 < last:
        last = eta1 + omega1
    if eta2 - omega2 > first:
        first = eta2 - omega2
    if eta2 + omega2 < last:
        last = eta2 + omega2
    if eta3 - omega3 > first:
        first = eta3 - omega3
    if eta3 + omega3 < last:
        last = eta3 + omega3
    if first > last:
        w[_ETA + 0] = eta0
        w[_OMEGA + 0] = omega0
        w[_ETA + 1] = eta1
        w[_OMEGA + 1] = omega1
        w[_ETA + 2] = eta2
        w[_OMEGA + 2] = omega2
        w[_ETA + 3] = eta3
        w[_OMEGA + 3] = omega3
        o = _PAIRS
        end = w[_N_PAIRS] * _PAIR_STRIDE + _PAIRS
        while o < end:
            i = w[o]  # where η_i stands, and ω_i four words on
            j = w[o + 1]
            room = w[i + 4] + w[j + 4]
            tries = 2  # the second time for what the rounding of 1/K left
            while tries:
                tries -= 1
                excess = w[i] - w[j]
                if excess > room:
                    excess -= room
                elif excess < -room:
                    excess += room
                else:
                    break
                most = w[o + 4]
                if excess > most:
                    excess = most
                elif excess < -most:
                    excess = -most
                roll -= (w[o + 2] * excess) >> w[o + 3]
                if roll > 65535:
                    roll = 65535
                elif roll < -65535:
                    roll = -65535
                limited = 1
                w[_ETA + 0] = ((w[_ROW_ROLL + 0] * roll + half0) >> q0) + base0
                w[_ETA + 1] = ((w[_ROW_ROLL + 1] * roll + half1) >> q1) + base1
                w[_ETA + 2] = ((w[_ROW_ROLL + 2] * roll + half2) >> q2) + base2
                w[_ETA + 3] = ((w[_ROW_ROLL + 3] * roll + half3) >> q3) + base3
            o += _PAIR_STRIDE
        eta0 = w[_ETA + 0]
        first = eta0 - omega0
        last = eta0 + omega0
        eta1 = w[_ETA + 1]
        if eta1 - omega1 > first:
            first = eta1 - omega1
        if eta1 + omega1 < last:
            last = eta1 + omega1
        eta2 = w[_ETA + 2]
        if eta2 - omega2 > first:
            first = eta2 - omega2
        if eta2 + omega2 < last:
            last = eta2 + omega2
        eta3 = w[_ETA + 3]
        if eta3 - omega3 > first:
            first = eta3 - omega3
        if eta3 + omega3 < last:
            last = eta3 + omega3
    if first > last:  # a unit of rounding
        first = (first + last) >> 1
        last = first
    if effort < first:
        effort = first
    elif effort > last:
        effort = last

    g = effort - eta0
    if g > omega0:
        g = omega0
    elif g < -omega0:
        g = -omega0
    f = ((((w[_NULL + 0] * g) >> 11) >> z) + c0 + 1) >> 1
    if f < w[_LO + 0]:
        f = w[_LO + 0]
    elif f > w[_HI + 0]:
        f = w[_HI + 0]
    w[_FORCE + 0] = f
    g = effort - eta1
    if g > omega1:
        g = omega1
    elif g < -omega1:
        g = -omega1
    f = ((((w[_NULL + 1] * g) >> 11) >> z) + c1 + 1) >> 1
    if f < w[_LO + 1]:
        f = w[_LO + 1]
    elif f > w[_HI + 1]:
        f = w[_HI + 1]
    w[_FORCE + 1] = f
    g = effort - eta2
    if g > omega2:
        g = omega2
    elif g < -omega2:
        g = -omega2
    f = ((((w[_NULL + 2] * g) >> 11) >> z) + c2 + 1) >> 1
    if f < w[_LO + 2]:
        f = w[_LO + 2]
    elif f > w[_HI + 2]:
        f = w[_HI + 2]
    w[_FORCE + 2] = f
    g = effort - eta3
    if g > omega3:
        g = omega3
    elif g < -omega3:
        g = -omega3
    f = ((((w[_NULL + 3] * g) >> 11) >> z) + c3 + 1) >> 1
    if f < w[_LO + 3]:
        f = w[_LO + 3]
    elif f > w[_HI + 3]:
        f = w[_HI + 3]
    w[_FORCE + 3] = f
    if limited:
        w[_FLAGS] |= _ROLL_LIMITED
    return 0
