"""The demand in counts of force: pitch/L, yaw/L and roll/R."""

from mixer.flight.layout import *


def scaled(a, b, bits):
    """a·b·2^-bits, 14 ≤ bits ≤ 31, rounded down: the one product that may leave a word, up to 2^58.

    A word of the kernel language: its readers know it by name, see `kernel_code/language.py`.
    """
    return (a * b) >> bits


def counts(demand, gain, e):
    """demand·gain·2^-e, rounded, for e ≥ 24, both of up to 29 bits; rounded down to e = 28."""
    if e > 28:
        return (scaled(demand, gain, 28) + (1 << (e - 29))) >> (e - 28)
    return scaled(demand, gain, e)


def set_want(w, gain):
    """WANT from DEMAND; gain: of the lever arm."""
    w[WANT] = counts(w[DEMAND], gain, w[GAIN_EXP])
    w[WANT + 1] = counts(w[DEMAND + 1], gain, w[GAIN_EXP])
    w[WANT + 2] = counts(w[DEMAND + 2], w[ROLL_GAIN], w[ROLL_GAIN_EXP])
