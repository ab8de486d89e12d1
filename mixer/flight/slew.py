"""How far each vane may turn in one cycle: ⌊slew · dt⌋, so never faster.

The slew in 0.001°/s times µs in two parts, so that the product stays a word. On a board dt is a
little different in every cycle, so this is part of every cycle.
"""

from mixer.flight.words import const, ptr32

_SLEW_MDEG_S = const(24)
_DT = const(20)
_STEP = const(24)
_LONGEST_DT_US = const(500_000)  # a longer gap moves the vanes no further than this one does


def slew(t: ptr32, s: ptr32) -> int:
    """Set STEP from DT."""
    dt = s[_DT]
    if dt > _LONGEST_DT_US:
        dt = _LONGEST_DT_US
    last = 0
    step = 0
    for i in range(4):
        rate = t[_SLEW_MDEG_S + i]
        if rate != last:  # most vehicles have four servos of one kind
            high = rate // 1000
            low = rate - 1000 * high
            step = (high * dt + low * dt // 1000) // 1000
            last = rate
        s[_STEP + i] = step
    return 0
