"""From force to deflection to pulse, and what the deflections give.

δ = c⁻¹(f/κ) by straight lines between the curve's points, held inside this cycle's window; the
pulse from the servo table; the moments from the forces.

Written out vane by vane, for the reason given in `secondary`.
"""

from mixer.flight.words import const, ptr32

_MOMENT_EXP = const(146)
_ROLL_MOMENT = const(149)
_ROLL_MOMENT_EXP = const(150)
_COS = const(80)
_SIN = const(84)
_PULSE_Q = const(151)
_CURVE_STRIDE = const(4)
_SERVO_STRIDE = const(3)
_DEFLECTION = const(12)
_PULSE = const(32)
_FORCE = const(16)
_MOMENT = const(52)
_LIMIT_LO = const(36)
_LIMIT_HI = const(40)
_KAPPA = const(8)
_FORCE_CELLS = const(276)
_FORCE_CELL = const(12)
_FORCE_CELLS_MASK = const(31)
_SERVO_CELLS = const(280)
_ANGLE_CELL = const(11)
_WINDOW_LO = const(20)
_WINDOW_HI = const(24)
_MOMENT_GAIN = const(55)
_FLAGS = const(31)
_SLEW_LIMITED = const(4)


def deflect(w: ptr32) -> int:
    """Set DEFLECTION, PULSE and MOMENT from FORCE; flag SLEW_LIMITED where slew holds a vane.

    Slew holds a vane that moves as fast as it may; where authority ran out also one that is within
    1/64 of its window of that, since the last 1/128 of the primary is kept back. Returns FLAGS.
    """
    x = 0  # named first: machine code keeps it in its one free register
    held = 0
    close = w[_FLAGS] & 3  # primary or roll limited
    q = w[_PULSE_Q]
    force = w[_FORCE + 0]
    p_x = (w[_COS + 0] * force + 8192) >> 14
    p_y = (w[_SIN + 0] * force + 8192) >> 14
    lo = w[_WINDOW_LO + 0]
    hi = w[_WINDOW_HI + 0]
    x = lo
    if lo != hi:
        kappa = w[_KAPPA + 0]
        f = ((force << 14) + (kappa >> 1)) // kappa
        o = w[((f >> _FORCE_CELL) & _FORCE_CELLS_MASK) + w[_FORCE_CELLS + 0]]
        while f < w[o + 1]:
            o -= _CURVE_STRIDE
        while f >= w[o + _CURVE_STRIDE + 1]:
            o += _CURVE_STRIDE
        x = (((f - w[o + 1]) * w[o + 3] + 32768) >> 16) + w[o]
        if x < lo:
            x = lo
        elif x > hi:
            x = hi
        if not held:
            near = 0
            if close:
                near = (hi - lo) >> 6
            if x - near <= lo:
                if lo > w[_LIMIT_LO + 0]:
                    held = 1
            elif x + near >= hi and hi < w[_LIMIT_HI + 0]:
                held = 1
    elif x and w[_LIMIT_LO + 0] != w[_LIMIT_HI + 0]:
        held = 1
    w[_DEFLECTION + 0] = x
    o = w[(x >> _ANGLE_CELL) + w[_SERVO_CELLS + 0]]
    while x >= w[o + _SERVO_STRIDE]:
        o += _SERVO_STRIDE
    w[_PULSE + 0] = (((x - w[o]) * w[o + 2]) >> q) + w[o + 1]
    force = w[_FORCE + 1]
    p_x = ((w[_COS + 1] * force + 8192) >> 14) + p_x
    p_y = ((w[_SIN + 1] * force + 8192) >> 14) + p_y
    lo = w[_WINDOW_LO + 1]
    hi = w[_WINDOW_HI + 1]
    x = lo
    if lo != hi:
        kappa = w[_KAPPA + 1]
        f = ((force << 14) + (kappa >> 1)) // kappa
        o = w[((f >> _FORCE_CELL) & _FORCE_CELLS_MASK) + w[_FORCE_CELLS + 1]]
        while f < w[o + 1]:
            o -= _CURVE_STRIDE
        while f >= w[o + _CURVE_STRIDE + 1]:
            o += _CURVE_STRIDE
        x = (((f - w[o + 1]) * w[o + 3] + 32768) >> 16) + w[o]
        if x < lo:
            x = lo
        elif x > hi:
            x = hi
        if not held:
            near = 0
            if close:
                near = (hi - lo) >> 6
            if x - near <= lo:
                if lo > w[_LIMIT_LO + 1]:
                    held = 1
            elif x + near >= hi and hi < w[_LIMIT_HI + 1]:
                held = 1
    elif x and w[_LIMIT_LO + 1] != w[_LIMIT_HI + 1]:
        held = 1
    w[_DEFLECTION + 1] = x
    o = w[(x >> _ANGLE_CELL) + w[_SERVO_CELLS + 1]]
    while x >= w[o + _SERVO_STRIDE]:
        o += _SERVO_STRIDE
    w[_PULSE + 1] = (((x - w[o]) * w[o + 2]) >> q) + w[o + 1]
    force = w[_FORCE + 2]
    p_x = ((w[_COS + 2] * force + 8192) >> 14) + p_x
    p_y = ((w[_SIN + 2] * force + 8192) >> 14) + p_y
    lo = w[_WINDOW_LO + 2]
    hi = w[_WINDOW_HI + 2]
    x = lo
    if lo != hi:
        kappa = w[_KAPPA + 2]
        f = ((force << 14) + (kappa >> 1)) // kappa
        o = w[((f >> _FORCE_CELL) & _FORCE_CELLS_MASK) + w[_FORCE_CELLS + 2]]
        while f < w[o + 1]:
            o -= _CURVE_STRIDE
        while f >= w[o + _CURVE_STRIDE + 1]:
            o += _CURVE_STRIDE
        x = (((f - w[o + 1]) * w[o + 3] + 32768) >> 16) + w[o]
        if x < lo:
            x = lo
        elif x > hi:
            x = hi
        if not held:
            near = 0
            if close:
                near = (hi - lo) >> 6
            if x - near <= lo:
                if lo > w[_LIMIT_LO + 2]:
                    held = 1
            elif x + near >= hi and hi < w[_LIMIT_HI + 2]:
                held = 1
    elif x and w[_LIMIT_LO + 2] != w[_LIMIT_HI + 2]:
        held = 1
    w[_DEFLECTION + 2] = x
    o = w[(x >> _ANGLE_CELL) + w[_SERVO_CELLS + 2]]
    while x >= w[o + _SERVO_STRIDE]:
        o += _SERVO_STRIDE
    w[_PULSE + 2] = (((x - w[o]) * w[o + 2]) >> q) + w[o + 1]
    force = w[_FORCE + 3]
    p_x = ((w[_COS + 3] * force + 8192) >> 14) + p_x
    p_y = ((w[_SIN + 3] * force + 8192) >> 14) + p_y
    lo = w[_WINDOW_LO + 3]
    hi = w[_WINDOW_HI + 3]
    x = lo
    if lo != hi:
        kappa = w[_KAPPA + 3]
        f = ((force << 14) + (kappa >> 1)) // kappa
        o = w[((f >> _FORCE_CELL) & _FORCE_CELLS_MASK) + w[_FORCE_CELLS + 3]]
        while f < w[o + 1]:
            o -= _CURVE_STRIDE
        while f >= w[o + _CURVE_STRIDE + 1]:
            o += _CURVE_STRIDE
        x = (((f - w[o + 1]) * w[o + 3] + 32768) >> 16) + w[o]
        if x < lo:
            x = lo
        elif x > hi:
            x = hi
        if not held:
            near = 0
            if close:
                near = (hi - lo) >> 6
            if x - near <= lo:
                if lo > w[_LIMIT_LO + 3]:
                    held = 1
            elif x + near >= hi and hi < w[_LIMIT_HI + 3]:
                held = 1
    elif x and w[_LIMIT_LO + 3] != w[_LIMIT_HI + 3]:
        held = 1
    w[_DEFLECTION + 3] = x
    o = w[(x >> _ANGLE_CELL) + w[_SERVO_CELLS + 3]]
    while x >= w[o + _SERVO_STRIDE]:
        o += _SERVO_STRIDE
    w[_PULSE + 3] = (((x - w[o]) * w[o + 2]) >> q) + w[o + 1]
    w[_MOMENT] = ((p_x >> 2) * w[_MOMENT_GAIN]) >> w[_MOMENT_EXP]
    w[_MOMENT + 1] = ((p_y >> 2) * w[_MOMENT_GAIN]) >> w[_MOMENT_EXP]
    roll = w[_FORCE + 0] + w[_FORCE + 1] + w[_FORCE + 2] + w[_FORCE + 3]
    w[_MOMENT + 2] = ((roll >> 2) * w[_ROLL_MOMENT]) >> w[_ROLL_MOMENT_EXP]
    if held:
        w[_FLAGS] |= _SLEW_LIMITED
    return w[_FLAGS]
