"""Which angle sensors are believed.

A sensor is believed once its reading has moved with the command, and no longer once a reading lies
outside the travel or jumps farther than a servo can turn, or none comes: such a sensor is out, and
declares and frees nothing until it has followed its command anew.
"""

from mixer.flight.clamp import clamp
from mixer.flight.layout import *

WATCH_MOVED = 300  # 0.001°: less is noise
FREE_MOVED = 600
FASTER = 2  # no vane turns so many times its slew


def doubt(w, vane):
    """Believe a sensor no longer, until it has followed its command from here on."""
    w[SENSORS_OUT] |= 1 << vane
    w[WATCH_BELIEVED] &= ~(1 << vane)
    w[WATCH_FROM + vane] = w[WATCH_SEEN + vane]
    w[WATCH_STILL_US + vane] = 0


def farthest(w, vane, silent_us):
    """What no healthy vane moves by between two readings so far apart."""
    step = (w[SLEW_HIGH + vane] + 1) * ((silent_us >> 10) + 1)  # within 3 % of its slew, or more
    return FASTER * step + FREE_MOVED


def meet(w, vane, reading):
    """The first reading of a sensor."""
    w[WATCH_SENSORS] |= 1 << vane
    w[WATCH_SEEN + vane] = reading
    w[WATCH_FROM + vane] = reading
    w[WATCH_STILL_US + vane] = 0


def take(w, vane, reading, silent_us):
    """SEEN from a reading, the first for so long; doubt the sensor if that cannot be."""
    bit = 1 << vane
    band = w[WATCH_BAND + vane]
    seen = clamp(reading, w[TRAVEL_LO + vane] - band, w[TRAVEL_HI + vane] + band)
    if w[WATCH_SENSORS] & bit == 0:
        meet(w, vane, seen)
    moved = abs(seen - w[WATCH_SEEN + vane])
    w[WATCH_SEEN + vane] = seen
    if seen != reading or moved > farthest(w, vane, silent_us):
        doubt(w, vane)


def believe(w, vane):
    """Believe a sensor once it has come to its command from elsewhere."""
    seen = w[WATCH_SEEN + vane]
    band = w[WATCH_BAND + vane]
    moved = abs(seen - w[WATCH_FROM + vane])
    if moved > band + WATCH_MOVED and abs(w[DEFLECTION + vane] - seen) < band:
        w[WATCH_BELIEVED] |= 1 << vane
        w[SENSORS_OUT] &= ~(1 << vane)
