"""What changes over the burn: jet pressure, wear, lever arm; and the demand in counts.

Also what the cycle starts from: whether there is a jet to steer with and a demand to follow.

Burn load is ∫(pc/pc_ref)^0.8 dt (convective heat-flux scaling, Bartz 1957), by trapezium, the power
from a table. κ_i = (pc/pc_ref)·effectiveness_i(load). The demand becomes pitch/L, yaw/L and roll/R
in eighths of a count, by products of two halves of 14 bits so that far demands stay exact.
"""

from mixer.flight.words import const, ptr32

_PA_SHIFT = const(3)
_PA_MANT = const(4)
_PA_MAX = const(5)
_PA_MIN = const(6)
_TIMEOUT_US = const(2)
_GAIN_EXP = const(9)
_ROLL_GAIN = const(11)
_ROLL_GAIN_EXP = const(12)
_RATE_OFF = const(39)
_WEAR_OFF = const(188)
_WEAR_N = const(189)
_LEVER_OFF = const(190)
_LEVER_N = const(191)
_DEMAND = const(16)
_PRESSURE = const(19)
_DT = const(20)
_LOAD = const(21)
_LOAD_FRACTION = const(22)
_TIME = const(23)
_UNIT = const(37)
_KAPPA = const(38)
_WANT = const(42)
_WEAR_HINT = const(53)
_LEVER_HINT = const(54)
_RATE = const(55)
_GAIN = const(81)
_MOMENT_GAIN = const(82)
_FLAGS = const(15)
_NEUTRAL = const(36)
_AGE = const(104)
_BAD = const(105)
_JAMMED = const(106)
_NO_THRUST = const(8)
_STALE_DEMAND = const(16)
_JAMMED_VANE = const(64)
_LOAD_MAX = const(1000000000)


def schedule(t: ptr32, s: ptr32) -> int:
    """Advance burn load and time by DT under PRESSURE; set FLAGS, KAPPA, UNIT, gains and WANT.

    Return 1, and set NEUTRAL to 0, where there is something to steer with and for.
    """
    pressure = s[_PRESSURE]
    flags = s[_BAD]
    s[_BAD] = 0
    age = s[_AGE]
    steer = 1
    if age >= t[_TIMEOUT_US]:
        flags |= _STALE_DEMAND
        steer = 0
    else:
        s[_AGE] = age + s[_DT]
    if pressure < t[_PA_MIN]:
        flags |= _NO_THRUST
        steer = 0
    if s[_JAMMED] != 0:
        flags |= _JAMMED_VANE
    s[_FLAGS] = flags
    s[_NEUTRAL] = 1 - steer
    if pressure > t[_PA_MAX]:
        pressure = t[_PA_MAX]
    if pressure < 0:
        pressure = 0
    ratio = ((pressure >> t[_PA_SHIFT]) * t[_PA_MANT]) >> 15
    if ratio > 32767:
        ratio = 32767
    j = t[_RATE_OFF] + (ratio >> 9)
    rate = t[j] + ((t[j + 64] * (ratio & 511)) >> 9)
    mean = (rate + s[_RATE]) >> 1
    s[_RATE] = rate
    dt = s[_DT]
    # Q14 rate times µs in two parts: 1024 µs · 2^-14 is a sixteenth of a µs
    sixteenths = mean * (dt >> 10)
    fraction = s[_LOAD_FRACTION] + ((sixteenths & 15) << 10) + mean * (dt & 1023)
    load = s[_LOAD] + (sixteenths >> 4) + (fraction >> 14)
    if load > _LOAD_MAX:
        load = _LOAD_MAX
    s[_LOAD] = load
    s[_LOAD_FRACTION] = fraction & 16383
    time = s[_TIME] + dt
    if time > _LOAD_MAX:
        time = _LOAD_MAX
    s[_TIME] = time

    ms = load // 1000
    o = t[_WEAR_OFF]
    n = t[_WEAR_N]
    j = s[_WEAR_HINT]
    while j > 0 and ms < t[o + j]:
        j -= 1
    while j < n - 2 and ms >= t[o + j + 1]:
        j += 1
    s[_WEAR_HINT] = j
    dx = ms - t[o + j]
    span = t[o + j + 1] - t[o + j]
    if dx > span:
        dx = span
    elif dx < 0:
        dx = 0
    unit = 1
    o += n
    for i in range(4):
        kappa = (ratio * (t[o + j] + ((dx * t[o + n + j]) >> 16))) >> 14
        if kappa < 1:
            kappa = 1
        if kappa > 16384:
            unit = 2
            if kappa > 32767:
                kappa = 32767
        s[_KAPPA + i] = kappa
        o += 2 * n
    s[_UNIT] = unit

    ms = time // 1000
    o = t[_LEVER_OFF]
    n = t[_LEVER_N]
    j = s[_LEVER_HINT]
    while j > 0 and ms < t[o + j]:
        j -= 1
    while j < n - 2 and ms >= t[o + j + 1]:
        j += 1
    s[_LEVER_HINT] = j
    dx = ms - t[o + j]
    span = t[o + j + 1] - t[o + j]
    if dx > span:
        dx = span
    elif dx < 0:
        dx = 0
    gain = t[o + n + j] + dx * t[o + 2 * n + j]
    s[_GAIN] = gain
    s[_MOMENT_GAIN] = t[o + 3 * n + j] + ((dx * t[o + 4 * n + j]) >> 15)

    e = t[_GAIN_EXP]
    for axis in range(3):
        if axis == 2:
            gain = t[_ROLL_GAIN]
            e = t[_ROLL_GAIN_EXP]
        demand = s[_DEMAND + axis]
        high = demand >> 14
        low = demand & 16383
        g_high = gain >> 14
        g_low = gain & 16383
        top = high * g_high
        mid = high * g_low + low * g_high + ((low * g_low) >> 14)
        if e > 28:
            s[_WANT + axis] = (top + (mid >> 14) + (1 << (e - 29))) >> (e - 28)
        else:
            s[_WANT + axis] = (top << (28 - e)) + (mid >> (e - 14))
    return steer
