"""How far the burn is, and which pressure counts: steering outlives its one sensor.

The burn clock stands at 0 until the jet is there, JET_LASTS_US without a break, or until the flight
computer says that the burn has begun; from then on it runs with dt. A reading is believed within a
band about what is expected at this burn time. Until the first believed one readings count as they
stand; then, up to TRUST_US, the last believed one, carried along what is expected, stands in for
what is not believed. Where nothing believable comes for SILENCE_US after the flight computer said
so, what is expected counts. A jet that really went out has no use for the vanes.
"""

from mixer.flight.clamp import clamp
from mixer.flight.interpolate import piece
from mixer.flight.layout import *

JET_LASTS_US = 50_000
SILENCE_US = 500_000
JET_RATIO = 820  # 0.05, Q14: below it there is no jet to steer with


def pressure_ratio(w, pressure_pa):
    """pc/pc_ref, Q14, below 2."""
    pressure_pa = clamp(pressure_pa, 0, w[PA_MAX])
    return min(((pressure_pa >> w[PA_SHIFT]) * w[PA_MANT]) >> 15, 32767)


def burnt_us(w, jet, dt_us):
    """What of dt belongs to the burn: none of it while the clock stands; when the jet has lasted,
    all the time that it has.
    """
    if w[BURN] != WAITING:
        return dt_us
    lasted = 0  # and 1 more, where there is a jet
    if jet != 0:
        lasted = min(w[SINCE_US] + dt_us, LONGEST_GAP_US) if w[SINCE_US] > 0 else 1
    if lasted <= JET_LASTS_US:
        w[SINCE_US] = lasted
        return 0
    w[BURN] = STARTED
    w[SINCE_US] = 0
    return lasted - 1


def expected_ratio(w):
    """e at this burn time, Q14."""
    ticks = w[TIME] >> TICK
    o = piece(w, EXPECTED_HINT, EXPECTED_STRIDE, ticks)
    return ((w[o + 2] * (ticks - w[o])) >> 15) + w[o + 1]


def stand_in(w, ratio, expected, dt_us):
    """What counts instead of a reading that is not believed; or the reading, as it stands."""
    w[SINCE_US] = min(w[SINCE_US] + dt_us, LAST_US)
    if w[BURN] == BELIEVED:
        w[FLAGS] |= DOUBTED_PRESSURE
        return min(w[BELIEVED_RATIO] * expected // w[BELIEVED_EXPECTED], 32767)
    if w[BURN] == SAID and w[SINCE_US] >= SILENCE_US:
        w[FLAGS] |= DOUBTED_PRESSURE
        return expected
    return ratio


def counted_ratio(w, ratio, dt_us):
    """pc/pc_ref that counts for this reading of it, Q14."""
    if w[BURN] == WAITING or w[TIME] > w[TRUST_US]:
        return ratio
    expected = expected_ratio(w)
    least = (w[BELIEVED_LOW] * expected) >> 14
    if ratio < least or ratio > (w[BELIEVED_HIGH] * expected) >> 14:
        return stand_in(w, ratio, expected, dt_us)
    w[BURN] = BELIEVED
    w[SINCE_US] = 0
    w[BELIEVED_RATIO] = ratio
    w[BELIEVED_EXPECTED] = max(expected, 1)
    return ratio


def advance_burn(w, pressure_pa, dt_us):
    """Advance TIME, set RATIO; flag NO_THRUST, DOUBTED_PRESSURE; return what of dt is burn."""
    jet = 1 if pressure_pa >= w[PA_MIN] else 0
    burnt = burnt_us(w, jet, dt_us)
    w[TIME] = min(w[TIME] + burnt, LAST_US)
    w[RATIO] = counted_ratio(w, pressure_ratio(w, pressure_pa), burnt)
    if w[FLAGS] & DOUBTED_PRESSURE != 0:
        jet = 1 if w[RATIO] >= JET_RATIO else 0
    if jet == 0:
        w[FLAGS] |= NO_THRUST
        if w[BURN] == STARTED:  # it died again before a reading was believed
            w[BURN] = WAITING
            w[TIME] = 0
            w[SINCE_US] = 0
    return burnt
