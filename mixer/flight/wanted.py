"""The demand in counts of force: pitch/L, yaw/L and roll/R."""

from mixer.flight.layout import *


def scaled(a, gain, e):
    """a·gain·2^-e for e ≥ 24, both of up to 29 bits: by halves of 14 bits, so that no digit of a
    far demand is lost.
    """
    a_high = a >> 14
    a_low = a & 16383
    gain_high = gain >> 14
    gain_low = gain & 16383
    middle = ((a_low * gain_low) >> 14) + a_low * gain_high + a_high * gain_low
    if e > 28:
        return (a_high * gain_high + (middle >> 14) + (1 << (e - 29))) >> (e - 28)
    return ((a_high * gain_high) << (28 - e)) + (middle >> (e - 14))


def set_want(w, gain):
    """WANT from DEMAND; gain: of the lever arm."""
    w[WANT] = scaled(w[DEMAND], gain, w[GAIN_EXP])
    w[WANT + 1] = scaled(w[DEMAND + 1], gain, w[GAIN_EXP])
    w[WANT + 2] = scaled(w[DEMAND + 2], w[ROLL_GAIN], w[ROLL_GAIN_EXP])
