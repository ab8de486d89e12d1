"""From force to deflection to pulse, and what the deflections give.

δ = c⁻¹(f/κ) by straight lines between the curve's points, held inside this cycle's window; the
pulse from the servo table; the moments from the forces. Both tables are sought from the piece of
the last cycle.

Written out vane by vane, for the reason given in `secondary`.
"""

from mixer.flight.words import const, ptr32

_MOMENT_EXP = const(66)
_ROLL_MOMENT = const(69)
_ROLL_MOMENT_EXP = const(70)
_COS = const(0)
_SIN = const(4)
_PULSE_Q = const(71)
_CURVE_STRIDE = const(4)
_SERVO_STRIDE = const(3)
_DEFLECTION = const(32)
_PULSE = const(36)
_FORCE = const(16)
_MOMENT = const(60)
_LIMIT_LO = const(44)
_LIMIT_HI = const(48)
_KAPPA = const(8)
_CURVE_HINT = const(12)
_SERVO_HINT = const(40)
_WINDOW_LO = const(20)
_WINDOW_HI = const(24)
_MOMENT_GAIN = const(63)
_FLAGS = const(31)
_SLEW_LIMITED = const(4)


def deflect(t: ptr32, s: ptr32) -> int:
    """Set DEFLECTION, PULSE and MOMENT from FORCE; flag SLEW_LIMITED where slew holds a vane.

    Slew holds a vane that moves as fast as it may; where authority ran out also one that is within
    1/64 of its window of that, since the last 1/128 of the primary is kept back. Returns FLAGS.
    """
    held = 0
    close = s[_FLAGS] & 3  # primary or roll limited
    q = t[_PULSE_Q]
    force = s[_FORCE + 0]
    p_x = (t[_COS + 0] * force + 8192) >> 14
    p_y = (t[_SIN + 0] * force + 8192) >> 14
    lo = s[_WINDOW_LO + 0]
    hi = s[_WINDOW_HI + 0]
    x = lo
    if lo != hi:
        kappa = s[_KAPPA + 0]
        o = s[_CURVE_HINT + 0]
        f = ((force << 14) + (kappa >> 1)) // kappa
        while f < t[o + 1]:
            o -= _CURVE_STRIDE
        while f >= t[o + _CURVE_STRIDE + 1]:
            o += _CURVE_STRIDE
        s[_CURVE_HINT + 0] = o
        x = (((f - t[o + 1]) * t[o + 3] + 32768) >> 16) + t[o]
        if x < lo:
            x = lo
        elif x > hi:
            x = hi
        near = 0
        if close:
            near = (hi - lo) >> 6
        if x - near <= lo:
            if lo > s[_LIMIT_LO + 0]:
                held = 1
        elif x + near >= hi and hi < s[_LIMIT_HI + 0]:
            held = 1
    elif x and s[_LIMIT_LO + 0] != s[_LIMIT_HI + 0]:
        held = 1
    s[_DEFLECTION + 0] = x
    o = s[_SERVO_HINT + 0]
    while x < t[o]:
        o -= _SERVO_STRIDE
    while x >= t[o + _SERVO_STRIDE]:
        o += _SERVO_STRIDE
    s[_SERVO_HINT + 0] = o
    s[_PULSE + 0] = (((x - t[o]) * t[o + 2]) >> q) + t[o + 1]
    force = s[_FORCE + 1]
    p_x = ((t[_COS + 1] * force + 8192) >> 14) + p_x
    p_y = ((t[_SIN + 1] * force + 8192) >> 14) + p_y
    lo = s[_WINDOW_LO + 1]
    hi = s[_WINDOW_HI + 1]
    x = lo
    if lo != hi:
        kappa = s[_KAPPA + 1]
        o = s[_CURVE_HINT + 1]
        f = ((force << 14) + (kappa >> 1)) // kappa
        while f < t[o + 1]:
            o -= _CURVE_STRIDE
        while f >= t[o + _CURVE_STRIDE + 1]:
            o += _CURVE_STRIDE
        s[_CURVE_HINT + 1] = o
        x = (((f - t[o + 1]) * t[o + 3] + 32768) >> 16) + t[o]
        if x < lo:
            x = lo
        elif x > hi:
            x = hi
        near = 0
        if close:
            near = (hi - lo) >> 6
        if x - near <= lo:
            if lo > s[_LIMIT_LO + 1]:
                held = 1
        elif x + near >= hi and hi < s[_LIMIT_HI + 1]:
            held = 1
    elif x and s[_LIMIT_LO + 1] != s[_LIMIT_HI + 1]:
        held = 1
    s[_DEFLECTION + 1] = x
    o = s[_SERVO_HINT + 1]
    while x < t[o]:
        o -= _SERVO_STRIDE
    while x >= t[o + _SERVO_STRIDE]:
        o += _SERVO_STRIDE
    s[_SERVO_HINT + 1] = o
    s[_PULSE + 1] = (((x - t[o]) * t[o + 2]) >> q) + t[o + 1]
    force = s[_FORCE + 2]
    p_x = ((t[_COS + 2] * force + 8192) >> 14) + p_x
    p_y = ((t[_SIN + 2] * force + 8192) >> 14) + p_y
    lo = s[_WINDOW_LO + 2]
    hi = s[_WINDOW_HI + 2]
    x = lo
    if lo != hi:
        kappa = s[_KAPPA + 2]
        o = s[_CURVE_HINT + 2]
        f = ((force << 14) + (kappa >> 1)) // kappa
        while f < t[o + 1]:
            o -= _CURVE_STRIDE
        while f >= t[o + _CURVE_STRIDE + 1]:
            o += _CURVE_STRIDE
        s[_CURVE_HINT + 2] = o
        x = (((f - t[o + 1]) * t[o + 3] + 32768) >> 16) + t[o]
        if x < lo:
            x = lo
        elif x > hi:
            x = hi
        near = 0
        if close:
            near = (hi - lo) >> 6
        if x - near <= lo:
            if lo > s[_LIMIT_LO + 2]:
                held = 1
        elif x + near >= hi and hi < s[_LIMIT_HI + 2]:
            held = 1
    elif x and s[_LIMIT_LO + 2] != s[_LIMIT_HI + 2]:
        held = 1
    s[_DEFLECTION + 2] = x
    o = s[_SERVO_HINT + 2]
    while x < t[o]:
        o -= _SERVO_STRIDE
    while x >= t[o + _SERVO_STRIDE]:
        o += _SERVO_STRIDE
    s[_SERVO_HINT + 2] = o
    s[_PULSE + 2] = (((x - t[o]) * t[o + 2]) >> q) + t[o + 1]
    force = s[_FORCE + 3]
    p_x = ((t[_COS + 3] * force + 8192) >> 14) + p_x
    p_y = ((t[_SIN + 3] * force + 8192) >> 14) + p_y
    lo = s[_WINDOW_LO + 3]
    hi = s[_WINDOW_HI + 3]
    x = lo
    if lo != hi:
        kappa = s[_KAPPA + 3]
        o = s[_CURVE_HINT + 3]
        f = ((force << 14) + (kappa >> 1)) // kappa
        while f < t[o + 1]:
            o -= _CURVE_STRIDE
        while f >= t[o + _CURVE_STRIDE + 1]:
            o += _CURVE_STRIDE
        s[_CURVE_HINT + 3] = o
        x = (((f - t[o + 1]) * t[o + 3] + 32768) >> 16) + t[o]
        if x < lo:
            x = lo
        elif x > hi:
            x = hi
        near = 0
        if close:
            near = (hi - lo) >> 6
        if x - near <= lo:
            if lo > s[_LIMIT_LO + 3]:
                held = 1
        elif x + near >= hi and hi < s[_LIMIT_HI + 3]:
            held = 1
    elif x and s[_LIMIT_LO + 3] != s[_LIMIT_HI + 3]:
        held = 1
    s[_DEFLECTION + 3] = x
    o = s[_SERVO_HINT + 3]
    while x < t[o]:
        o -= _SERVO_STRIDE
    while x >= t[o + _SERVO_STRIDE]:
        o += _SERVO_STRIDE
    s[_SERVO_HINT + 3] = o
    s[_PULSE + 3] = (((x - t[o]) * t[o + 2]) >> q) + t[o + 1]
    s[_MOMENT] = ((p_x >> 2) * s[_MOMENT_GAIN]) >> t[_MOMENT_EXP]
    s[_MOMENT + 1] = ((p_y >> 2) * s[_MOMENT_GAIN]) >> t[_MOMENT_EXP]
    roll = s[_FORCE + 0] + s[_FORCE + 1] + s[_FORCE + 2] + s[_FORCE + 3]
    s[_MOMENT + 2] = ((roll >> 2) * t[_ROLL_MOMENT]) >> t[_ROLL_MOMENT_EXP]
    if held:
        s[_FLAGS] |= _SLEW_LIMITED
    return s[_FLAGS]
