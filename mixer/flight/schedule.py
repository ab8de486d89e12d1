"""What a cycle starts from: pressure, time, wear, lever arm, slew, and the demand in counts.

Also whether there is a jet to steer with and a demand to follow.

Burn load is ∫(pc/pc_ref)^0.8 dt (convective heat-flux scaling, Bartz 1957), by trapezium, the power
from a table. κ_i = (pc/pc_ref)·effectiveness_i(load). The demand becomes pitch/L, yaw/L and roll/R
in eighths of a count, by products of two halves of 14 bits so that far demands stay exact. A vane
may turn ⌊slew · dt⌋ in a cycle, so never faster; that product too is made of two parts.

Written out vane by vane, for the reason given in `secondary`.
"""

from mixer.flight.words import const, ptr32

_POLICY = const(136)
_PA_SHIFT = const(139)
_PA_MANT = const(140)
_PA_MAX = const(141)
_PA_MIN = const(142)
_TIMEOUT_US = const(138)
_GAIN_EXP = const(145)
_ROLL_GAIN = const(147)
_ROLL_GAIN_EXP = const(148)
_SLEW_MDEG_S = const(116)
_RATE_OFF = const(154)
_WEAR_STRIDE = const(9)
_LEVER_STRIDE = const(5)
_LEVER_LEAP = const(20)
_DEMAND = const(56)
_DT = const(59)
_LOAD = const(60)
_LOAD_FRACTION = const(61)
_TIME = const(62)
_UNIT = const(30)
_KAPPA = const(8)
_WANT = const(48)
_WEAR_HINT = const(64)
_LEVER_HINT = const(65)
_RATE = const(63)
_MOMENT_GAIN = const(55)
_FLAGS = const(31)
_NEUTRAL = const(51)
_AGE = const(66)
_BAD = const(67)
_JAMMED = const(68)
_STEP = const(44)
_NO_THRUST = const(8)
_STALE_DEMAND = const(16)
_JAMMED_VANE = const(64)
_LOAD_MAX = const(1000000000)
_LONGEST_GAP_US = const(16000000)
_LONGEST_DT_US = const(500000)


def schedule(w: ptr32, dt_us: int, pressure_pa: int) -> int:
    """Advance burn load and time; set FLAGS, KAPPA, UNIT, MOMENT_GAIN, WANT and, from dt, STEP.

    Return 0, and set NEUTRAL, where there is nothing to steer with or for; else 1, or 2 where the
    policy is "direction".
    """
    if dt_us != w[_DT]:  # on a board it is a little different in every cycle
        if dt_us < 0:
            dt_us = 0
        elif dt_us > _LONGEST_GAP_US:
            dt_us = _LONGEST_GAP_US
        w[_DT] = dt_us
        dt = dt_us
        if dt > _LONGEST_DT_US:
            dt = _LONGEST_DT_US
        rate = w[_SLEW_MDEG_S + 0]
        high = rate // 1000
        step = (high * dt + (rate - high * 1000) * dt // 1000) // 1000
        w[_STEP + 0] = step
        if w[_SLEW_MDEG_S + 1] != rate:  # most vehicles have four servos of one kind
            rate = w[_SLEW_MDEG_S + 1]
            high = rate // 1000
            step = (high * dt + (rate - high * 1000) * dt // 1000) // 1000
        w[_STEP + 1] = step
        if w[_SLEW_MDEG_S + 2] != rate:  # most vehicles have four servos of one kind
            rate = w[_SLEW_MDEG_S + 2]
            high = rate // 1000
            step = (high * dt + (rate - high * 1000) * dt // 1000) // 1000
        w[_STEP + 2] = step
        if w[_SLEW_MDEG_S + 3] != rate:  # most vehicles have four servos of one kind
            rate = w[_SLEW_MDEG_S + 3]
            high = rate // 1000
            step = (high * dt + (rate - high * 1000) * dt // 1000) // 1000
        w[_STEP + 3] = step

    flags = w[_BAD]
    w[_BAD] = 0
    steer = w[_POLICY] + 1
    if w[_AGE] < w[_TIMEOUT_US]:
        w[_AGE] += dt_us
    else:
        flags |= _STALE_DEMAND
        steer = 0
    if pressure_pa < w[_PA_MIN]:
        flags |= _NO_THRUST
        steer = 0
        if pressure_pa < 0:
            pressure_pa = 0
    elif pressure_pa > w[_PA_MAX]:
        pressure_pa = w[_PA_MAX]
    if w[_JAMMED]:
        flags |= _JAMMED_VANE
    w[_FLAGS] = flags
    w[_NEUTRAL] = 0
    if not steer:
        w[_NEUTRAL] = 1

    ratio = ((pressure_pa >> w[_PA_SHIFT]) * w[_PA_MANT]) >> 15
    if ratio > 32767:
        ratio = 32767
    j = (ratio >> 9) + w[_RATE_OFF]
    rate = ((w[j + 64] * (ratio & 511)) >> 9) + w[j]
    mean = (w[_RATE] + rate) >> 1
    w[_RATE] = rate
    # Q14 rate times µs in two parts: 1024 µs · 2^-14 is a sixteenth of a µs
    sixteenths = (dt_us >> 10) * mean
    fraction = ((sixteenths & 15) << 10) + (dt_us & 1023) * mean + w[_LOAD_FRACTION]
    w[_LOAD_FRACTION] = fraction & 16383
    load = (sixteenths >> 4) + (fraction >> 14) + w[_LOAD]
    if load > _LOAD_MAX:
        load = _LOAD_MAX
    w[_LOAD] = load
    time = w[_TIME] + dt_us
    if time > _LOAD_MAX:
        time = _LOAD_MAX
    w[_TIME] = time

    ms = load // 1000
    o = w[_WEAR_HINT]
    while ms < w[o]:
        o -= _WEAR_STRIDE
    while ms >= w[o + _WEAR_STRIDE]:
        o += _WEAR_STRIDE
    w[_WEAR_HINT] = o
    ms -= w[o]
    unit = 1
    kappa = ((((w[o + 2] * ms) >> 16) + w[o + 1]) * ratio) >> 14
    if kappa > 16384:
        unit = 2
        if kappa > 32767:
            kappa = 32767
    elif kappa < 1:
        kappa = 1
    w[_KAPPA + 0] = kappa
    kappa = ((((w[o + 4] * ms) >> 16) + w[o + 3]) * ratio) >> 14
    if kappa > 16384:
        unit = 2
        if kappa > 32767:
            kappa = 32767
    elif kappa < 1:
        kappa = 1
    w[_KAPPA + 1] = kappa
    kappa = ((((w[o + 6] * ms) >> 16) + w[o + 5]) * ratio) >> 14
    if kappa > 16384:
        unit = 2
        if kappa > 32767:
            kappa = 32767
    elif kappa < 1:
        kappa = 1
    w[_KAPPA + 2] = kappa
    kappa = ((((w[o + 8] * ms) >> 16) + w[o + 7]) * ratio) >> 14
    if kappa > 16384:
        unit = 2
        if kappa > 32767:
            kappa = 32767
    elif kappa < 1:
        kappa = 1
    w[_KAPPA + 3] = kappa
    w[_UNIT] = unit

    ms = time // 1000
    o = w[_LEVER_HINT]
    while ms < w[o]:
        o -= _LEVER_STRIDE
    while ms >= w[o + _LEVER_LEAP]:  # after a gap of seconds: this table may be long
        o += _LEVER_LEAP
    while ms >= w[o + _LEVER_STRIDE]:
        o += _LEVER_STRIDE
    w[_LEVER_HINT] = o
    ms -= w[o]
    gain = w[o + 2] * ms + w[o + 1]
    w[_MOMENT_GAIN] = ((w[o + 4] * ms) >> 15) + w[o + 3]

    e = w[_GAIN_EXP]
    g_high = gain >> 14
    g_low = gain & 16383
    high = w[_DEMAND + 0] >> 14
    low = w[_DEMAND + 0] & 16383
    mid = ((low * g_low) >> 14) + low * g_high + high * g_low
    if e > 28:
        w[_WANT + 0] = (high * g_high + (mid >> 14) + (1 << (e - 29))) >> (e - 28)
    else:
        w[_WANT + 0] = ((high * g_high) << (28 - e)) + (mid >> (e - 14))
    high = w[_DEMAND + 1] >> 14
    low = w[_DEMAND + 1] & 16383
    mid = ((low * g_low) >> 14) + low * g_high + high * g_low
    if e > 28:
        w[_WANT + 1] = (high * g_high + (mid >> 14) + (1 << (e - 29))) >> (e - 28)
    else:
        w[_WANT + 1] = ((high * g_high) << (28 - e)) + (mid >> (e - 14))
    e = w[_ROLL_GAIN_EXP]
    g_high = w[_ROLL_GAIN] >> 14
    g_low = w[_ROLL_GAIN] & 16383
    high = w[_DEMAND + 2] >> 14
    low = w[_DEMAND + 2] & 16383
    mid = ((low * g_low) >> 14) + low * g_high + high * g_low
    if e > 28:
        w[_WANT + 2] = (high * g_high + (mid >> 14) + (1 << (e - 29))) >> (e - 28)
    else:
        w[_WANT + 2] = ((high * g_high) << (28 - e)) + (mid >> (e - 14))
    return steer
