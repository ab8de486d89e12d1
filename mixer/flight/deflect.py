"""From force to deflection to pulse, and what the deflections give.

δ = c⁻¹(f/κ) by straight lines between the curve's points, held inside this cycle's window; the
pulse from the servo table; the moments from the forces.
"""

from mixer.flight.words import const, ptr32

_MOMENT_EXP = const(10)
_ROLL_MOMENT = const(13)
_ROLL_MOMENT_EXP = const(14)
_COS = const(16)
_SIN = const(20)
_PULSE_Q = const(36)
_CURVE_OFF = const(172)
_CURVE_N = const(176)
_SERVO_OFF = const(180)
_SERVO_N = const(184)
_DEFLECTION = const(0)
_PULSE = const(4)
_FORCE = const(8)
_MOMENT = const(12)
_LIMIT_LO = const(28)
_LIMIT_HI = const(32)
_KAPPA = const(38)
_CURVE_HINT = const(45)
_SERVO_HINT = const(49)
_WINDOW_LO = const(56)
_WINDOW_HI = const(60)
_MOMENT_GAIN = const(82)
_FLAGS = const(15)
_SLEW_LIMITED = const(4)


def deflect(t: ptr32, s: ptr32) -> int:
    """Set DEFLECTION, PULSE and MOMENT from FORCE; flag SLEW_LIMITED where slew holds a vane.

    Slew holds a vane that moves as fast as it may; where authority ran out also one that is within
    1/64 of its window of that, since the last 1/128 of the primary is kept back. Returns FLAGS.
    """
    held = 0
    close = s[_FLAGS] & 3  # primary or roll limited
    p_x = 0
    p_y = 0
    roll = 0
    q = t[_PULSE_Q]
    for i in range(4):
        force = s[_FORCE + i]
        p_x += (t[_COS + i] * force + 8192) >> 14
        p_y += (t[_SIN + i] * force + 8192) >> 14
        roll += force
        lo = s[_WINDOW_LO + i]
        hi = s[_WINDOW_HI + i]
        x = lo
        if lo != hi:
            kappa = s[_KAPPA + i]
            n = t[_CURVE_N + i]
            base = t[_CURVE_OFF + i] + n
            j = s[_CURVE_HINT + i]
            o = base + j
            f = ((force << 14) + (kappa >> 1)) // kappa
            if f < t[o] or f >= t[o + 1]:  # not on the piece of the last cycle
                while j > 0 and f < t[base + j]:
                    j -= 1
                while j < n - 2 and f >= t[base + j + 1]:
                    j += 1
                s[_CURVE_HINT + i] = j
                o = base + j
            span = t[o + 1] - t[o]
            f -= t[o]
            if f > span:
                f = span
            elif f < 0:
                f = 0
            x = t[o - n] + ((f * t[o + 2 * n] + 32768) >> 16)
            if x < lo:
                x = lo
            elif x > hi:
                x = hi
            near = 0
            if close != 0:
                near = (hi - lo) >> 6
            if x <= lo + near:
                if lo > s[_LIMIT_LO + i]:
                    held = 1
            elif x >= hi - near and hi < s[_LIMIT_HI + i]:
                held = 1
        elif x != 0 and s[_LIMIT_LO + i] != s[_LIMIT_HI + i]:
            held = 1
        s[_DEFLECTION + i] = x
        n = t[_SERVO_N + i]
        base = t[_SERVO_OFF + i]
        j = s[_SERVO_HINT + i]
        o = base + j
        if x < t[o] or x >= t[o + 1]:
            while j > 0 and x < t[base + j]:
                j -= 1
            while j < n - 2 and x >= t[base + j + 1]:
                j += 1
            s[_SERVO_HINT + i] = j
            o = base + j
        span = t[o + 1] - t[o]
        x -= t[o]
        if x > span:
            x = span
        elif x < 0:
            x = 0
        s[_PULSE + i] = t[o + n] + ((x * t[o + 2 * n]) >> q)
    gain = s[_MOMENT_GAIN]
    s[_MOMENT] = ((p_x >> 2) * gain) >> t[_MOMENT_EXP]
    s[_MOMENT + 1] = ((p_y >> 2) * gain) >> t[_MOMENT_EXP]
    s[_MOMENT + 2] = ((roll >> 2) * t[_ROLL_MOMENT]) >> t[_ROLL_MOMENT_EXP]
    if held != 0:
        s[_FLAGS] |= _SLEW_LIMITED
    return s[_FLAGS]
