"""The jam watch: finds by angle sensors a vane that stands still while its command is elsewhere.

A healthy servo has seen a command at the latest a pulse frame and its latency after it was given,
and then turns towards it. So a vane whose command stays on one side of it, farther away than
WATCH_BAND, for longer than WATCH_WAIT_US, moves within that time by more than WATCH_MOVED; one that
does not is held to be jammed where it stands, and is free once it is seen to move. The longest time
without a reading comes on top: a vane that still follows an older command can go and come back
while nobody looks, but not past the next reading.

A sensor is believed once its reading has moved with the command, and no longer once a reading lies
outside the travel or jumps farther than a servo can turn, or none comes: such a sensor is out, and
declares and frees nothing until it has followed its command anew.

What cannot be told apart: a jammed vane, and a sensor that freezes, inside the travel and without
a jump, after it has been seen to follow. The watch then holds the vane to be jammed; being driven
to where it is held to stand, a healthy one does stand there, so that its authority is lost and the
moments that are reported stay true. A vane that is jammed before its sensor has been seen to
follow is not declared: its sensor is told to be out.
"""

from mixer.flight.clamp import clamp
from mixer.flight.layout import *
from mixer.flight.limits import hold, let_go

WATCH_MOVED = 300  # 0.001°: less is noise
FREE_MOVED = 600
FASTER = 2  # no vane turns so many times its slew
LONGEST_SILENCE_US = 100_000


def doubt(w, vane):
    """Believe a sensor no longer, until it has followed its command from here on."""
    w[SENSORS_OUT] |= 1 << vane
    w[WATCH_BELIEVED] &= ~(1 << vane)
    w[WATCH_FROM + vane] = w[WATCH_SEEN + vane]
    w[WATCH_STILL_US + vane] = 0


def take(w, vane, reading, silent_us):
    """SEEN from a reading, the first for so long; judge the sensor by it."""
    band = w[WATCH_BAND + vane]
    seen = clamp(reading, w[TRAVEL_LO + vane] - band, w[TRAVEL_HI + vane] + band)
    step = (w[SLEW_HIGH + vane] + 1) * ((silent_us >> 10) + 1)  # within 3 % of its slew, or more
    moved = abs(seen - w[WATCH_SEEN + vane])
    w[WATCH_SEEN + vane] = seen
    if w[WATCH_SENSORS] & (1 << vane) == 0:
        w[WATCH_SENSORS] |= 1 << vane
        w[WATCH_FROM + vane] = seen
        w[WATCH_STILL_US + vane] = 0
        moved = 0
    if seen != reading or moved > FASTER * step + FREE_MOVED:
        doubt(w, vane)
    elif (
        abs(w[DEFLECTION + vane] - seen) < band
        and abs(seen - w[WATCH_FROM + vane]) > band + WATCH_MOVED
    ):
        w[WATCH_BELIEVED] |= 1 << vane
        w[SENSORS_OUT] &= ~(1 << vane)


def count_still(w, vane, came, dt_us):
    """How long the vane has stood still with its command on one side of it."""
    seen = w[WATCH_SEEN + vane]
    apart = w[DEFLECTION + vane] - seen
    band = w[WATCH_BAND + vane]
    side = 1 if apart > band else -1 if apart < -band else 0
    still = w[WATCH_STILL_US + vane] * side
    if side != 0 and still > 0 and abs(seen - w[WATCH_ANCHOR + vane]) <= WATCH_MOVED:
        w[WATCH_STILL_US + vane] = min(still + dt_us, LONGEST_GAP_US) * side
        w[WATCH_GAP_US + vane] = max(w[WATCH_GAP_US + vane], w[WATCH_SILENT_US + vane])
    else:  # what a µs stands for: from this reading on
        w[WATCH_STILL_US + vane] = side if came != 0 else 0
        w[WATCH_ANCHOR + vane] = seen
        w[WATCH_GAP_US + vane] = 0


def judge(w, vane):
    """With a reading just come: declare a vane that has stood too long, free one that moved."""
    bit = 1 << vane
    believed = w[WATCH_BELIEVED] & bit
    if w[WATCH_DECLARED] & bit != 0:
        moved = abs(w[WATCH_SEEN + vane] - w[WATCH_ANCHOR + vane])
        if believed != 0 and moved > FREE_MOVED:
            w[WATCH_DECLARED] &= ~bit
            let_go(w, vane)
    elif w[JAMMED] & bit == 0:
        most = w[WATCH_WAIT_US + vane] + w[WATCH_GAP_US + vane]
        if abs(w[WATCH_STILL_US + vane]) > most:
            if believed != 0:
                w[WATCH_DECLARED] |= bit
                w[WATCH_FOUND] = min(w[WATCH_FOUND] + 1, LAST_US)
                hold(w, vane, w[WATCH_SEEN + vane])
            else:
                w[SENSORS_OUT] |= bit


def look(w, dt_us):
    """Watch the vanes, dt after the last cycle, by the readings that came since."""
    if w[WATCH_STATE] == WATCH_ON:
        for vane in range(VANES):
            reading = w[WATCH_READING + vane]
            w[WATCH_READING + vane] = NO_READING
            silent_us = min(w[WATCH_SILENT_US + vane] + dt_us, LONGEST_DT_US)
            w[WATCH_SILENT_US + vane] = silent_us
            came = 1 if reading != NO_READING else 0
            if came != 0:
                take(w, vane, reading, silent_us)
            elif silent_us > LONGEST_SILENCE_US and w[WATCH_SENSORS] & (1 << vane) != 0:
                doubt(w, vane)
            if w[WATCH_DECLARED] & (1 << vane) == 0:
                count_still(w, vane, came, dt_us)
            if came != 0:
                judge(w, vane)
                w[WATCH_SILENT_US + vane] = 0
