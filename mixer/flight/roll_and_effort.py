"""Roll, and of all forces that give it the four with the least sum of squares.

About the middle c of the box W, f = c + g with |g_i| ≤ h_i. The minimum-norm solution of
Σ g_i·b_i = e, Σ g_i = ρ plus s times the null vector v gives g_i = v_i·(s − η_i), η_i a linear row
in (e, ρ). So each vane is a strip |s − η_i| ≤ ω_i = h_i/|v_i|, and two strips meet where
|η_i − η_j| ≤ ω_i + ω_j: the twelve facets of the attainable set (Durham 1993), in the very numbers
that the last line uses. Pairs come in rising order of how strongly roll moves them apart, so that
rounding in a nearly parallel pair cannot break a strong one. Σ f² is least at s = −v·c / v·v,
clamped to the strips.

Units: half the widest range is brought to 14 bits by a shift z, so narrow boxes keep precision.
"""

from mixer.flight.clamp import clamp
from mixer.flight.layout import *


def lift_of(widest):
    """The shift up that brings half a width of up to 2^14 to 14 bits."""
    z = 0
    if widest <= 512:
        widest <<= 5
        z = 5
    if widest <= 2048:
        widest <<= 3
        z += 3
    return z + 1 if widest <= 8192 else z


def raised(x, shift, most):
    """x·2^shift, held within ±most."""
    limit = most >> shift
    return clamp(x, -limit, limit) << shift


def strip_middle(w, vane, roll):
    """η of a vane at this roll."""
    q = w[ROW_Q + vane]
    return ((((w[ROW_ROLL + vane] * roll) >> (q - 1)) + 1) >> 1) + w[BASE + vane]


def set_strips(w, roll):
    """ETA at this roll; BEGIN where the last strip begins, END_ where the first one ends."""
    begin = -END
    end = END
    for vane in range(VANES):
        eta = strip_middle(w, vane, roll)
        omega = w[OMEGA + vane]
        w[ETA + vane] = eta
        if eta - omega > begin:
            begin = eta - omega
        if eta + omega < end:
            end = eta + omega
    w[STRIPS_BEGIN] = begin
    w[STRIPS_END] = end


def times(a, mantissa, q):
    """a·mantissa·2^-q, q ≥ 9, by halves of a: of 20 bits, the mantissa of 19."""
    return (mantissa * (a >> 9) + ((mantissa * (a & 511)) >> 9)) >> (q - 9)


def yielding(w):
    """The change of roll after which all strips meet: each pair moves it until its two do."""
    change = 0
    o = PAIRS
    for _ in range(w[N_PAIRS]):
        i = w[o]
        j = w[o + 1]
        room = w[OMEGA + i] + w[OMEGA + j]
        apart = w[ETA + i] - w[ETA + j]
        if change != 0:
            apart += times(change, w[o + 2], w[o + 3])
        if apart > room:
            change -= times(min(apart - room, w[o + 6]), w[o + 4], w[o + 5])
            change = clamp(change, -131071, 131071)
        elif apart < -room:
            change -= times(max(apart + room, -w[o + 6]), w[o + 4], w[o + 5])
            change = clamp(change, -131071, 131071)
        o += PAIR_STRIDE
    return change


def set_forces(w):
    """FORCE from POINT, WANT and the box W; flag ROLL_LIMITED where roll had to give way."""
    unit = w[UNIT]
    widest = 0
    reach = 0
    wanted = w[WANT + 2] << 1  # in sixteenths of a count, as lo + hi and hi − lo are
    e_x = 0
    e_y = 0
    effort = 0
    for vane in range(VANES):
        lo = w[SLEW_BOX + vane]
        hi = w[SLEW_BOX + VANES + vane]
        if hi - lo > widest:
            widest = hi - lo
        reach += hi - lo
        wanted -= lo + hi
        middle = (lo + hi + (1 << unit)) >> (unit + 1)
        e_x -= w[COS + vane] * middle
        e_y -= w[SIN + vane] * middle
        effort -= w[NULL_EFFORT + vane] * middle
    z = lift_of(widest >> 3)
    roll = clamp(wanted, -reach, reach)
    limited = 1 if roll != wanted else 0
    roll = clamp((roll << z) >> 3, -65535, 65535)
    e_x = raised((w[POINT] << 4) + (e_x >> 10), z + unit, 4194304) >> 6
    e_y = raised((w[POINT + 1] << 4) + (e_y >> 10), z + unit, 4194304) >> 6
    effort = raised(effort >> 10, z + unit, 67108864) >> 6

    for vane in range(VANES):
        q = w[ROW_Q + vane]
        row = w[ROW_X + vane] * e_x + w[ROW_Y + vane] * e_y
        half = (w[SLEW_BOX + VANES + vane] - w[SLEW_BOX + vane]) << z
        w[BASE + vane] = ((row >> (q - 1)) + 1) >> 1
        w[OMEGA + vane] = (w[WIDTH + vane] * clamp(half >> 3, 0, 16384)) >> q
    set_strips(w, roll)
    if w[STRIPS_BEGIN] > w[STRIPS_END]:
        change = yielding(w)
        if change != 0:
            limited = 1
            set_strips(w, clamp(roll + change, -65535, 65535))
    begin = w[STRIPS_BEGIN]
    end = w[STRIPS_END]
    if begin > end:  # a unit of rounding
        begin = (begin + end) >> 1
        end = begin
    s = clamp(effort, begin, end)

    for vane in range(VANES):
        lo = w[SLEW_BOX + vane]
        hi = w[SLEW_BOX + VANES + vane]
        omega = w[OMEGA + vane]
        g = clamp(s - w[ETA + vane], -omega, omega)
        force = (((w[NULL + vane] * g) >> (z + 11)) + lo + hi + 1) >> 1
        w[FORCE + vane] = clamp(force, lo, hi)
    if limited != 0:
        w[FLAGS] |= ROLL_LIMITED
