"""The jam watch: finds by angle sensors a vane that stands still while its command is elsewhere.

A healthy servo has seen a command at the latest a pulse frame and its latency after it was given,
and then turns towards it. So a vane whose command stays on one side of it, farther away than
WATCH_BAND, for longer than WATCH_WAIT_US, moves within that time by more than WATCH_MOVED; one that
does not is held to be jammed where it stands, and is free once it is seen to move. The longest time
without a reading comes on top: a vane that still follows an older command can go and come back
while nobody looks, but not past the next reading.

Only a sensor that is believed (`angle_sensors`) declares or frees a vane.

What cannot be told apart: a jammed vane, and a sensor that freezes, inside the travel and without
a jump, after it has been seen to follow. The watch then holds the vane to be jammed; being driven
to where it is held to stand, a healthy one does stand there, so that its authority is lost and the
moments that are reported stay true. A vane that is jammed before its sensor has been seen to
follow is not declared: its sensor is told to be out.
"""

from mixer.flight.angle_sensors import FREE_MOVED, WATCH_MOVED, believe, doubt, farthest, take
from mixer.flight.layout import *
from mixer.flight.limits import hold, let_go

LONGEST_SILENCE_US = 100_000


def followed(w, vane, reading, silent_us):
    """Take a reading that shows a vane at its command, so inside its travel, and no jump; return
    whether it does."""
    band = w[WATCH_BAND + vane]
    apart = w[DEFLECTION + vane] - reading
    if apart > band or apart < -band:
        return 0
    seen = w[DEFLECTION + vane] - apart
    if abs(seen - w[WATCH_SEEN + vane]) > farthest(w, vane, silent_us):
        return 0
    w[WATCH_SEEN + vane] = seen
    w[WATCH_STILL_US + vane] = 0
    return 1


def judge(w, vane):
    """A vane has stood too long: declare it, or tell its sensor to be out."""
    bit = 1 << vane
    if w[JAMMED] & bit == 0:
        if w[WATCH_BELIEVED] & bit != 0:
            w[WATCH_DECLARED] |= bit
            w[WATCH_FOUND] = min(w[WATCH_FOUND] + 1, LAST_US)
            w[WATCH_FROM + vane] = w[DEFLECTION + vane]  # from where a pulse is led
            hold(w, vane, w[WATCH_SEEN + vane])
        else:
            w[SENSORS_OUT] |= bit


def count_still(w, vane, side, silent_us, dt_us):
    """With a reading just come, how long the vane has stood still with its command on this side."""
    seen = w[WATCH_SEEN + vane]
    still = w[WATCH_STILL_US + vane] * side
    gap = w[WATCH_GAP_US + vane]
    if still > 0 and abs(seen - w[WATCH_ANCHOR + vane]) <= WATCH_MOVED:
        still = min(still + dt_us, LONGEST_GAP_US)
        gap = max(gap, silent_us)
    else:  # what a µs stands for: from this reading on
        still = 1
        gap = 0
        w[WATCH_ANCHOR + vane] = seen
    w[WATCH_STILL_US + vane] = still * side
    w[WATCH_GAP_US + vane] = gap
    if still > w[WATCH_WAIT_US + vane] + gap:
        judge(w, vane)


def free_moved(w, vane):
    """Free a declared vane that has moved from where it stood."""
    bit = 1 << vane
    moved = abs(w[WATCH_SEEN + vane] - w[WATCH_ANCHOR + vane])
    if w[WATCH_BELIEVED] & bit != 0 and moved > FREE_MOVED:
        w[WATCH_DECLARED] &= ~bit
        let_go(w, vane)


def miss(w, vane, silent_us, dt_us):
    """No reading has come for so long."""
    bit = 1 << vane
    if silent_us > LONGEST_SILENCE_US and w[WATCH_SENSORS] & bit != 0:
        doubt(w, vane)
    if w[WATCH_DECLARED] & bit == 0:
        apart = w[DEFLECTION + vane] - w[WATCH_SEEN + vane]
        band = w[WATCH_BAND + vane]
        side = 1 if apart > band else -1 if apart < -band else 0
        still = w[WATCH_STILL_US + vane] * side
        moved = abs(w[WATCH_SEEN + vane] - w[WATCH_ANCHOR + vane])
        if still > 0 and moved <= WATCH_MOVED:
            w[WATCH_STILL_US + vane] = min(still + dt_us, LONGEST_GAP_US) * side
        else:
            w[WATCH_STILL_US + vane] = 0


def look_at(w, vane, reading, silent_us, dt_us):
    """Watch a vane by a reading, the first for so long."""
    take(w, vane, reading, silent_us)
    apart = w[DEFLECTION + vane] - w[WATCH_SEEN + vane]
    band = w[WATCH_BAND + vane]
    if w[WATCH_DECLARED] & (1 << vane) != 0:
        believe(w, vane)
        free_moved(w, vane)
    elif apart > band:
        count_still(w, vane, 1, silent_us, dt_us)
    elif apart < -band:
        count_still(w, vane, -1, silent_us, dt_us)
    else:
        w[WATCH_STILL_US + vane] = 0
        believe(w, vane)


def look(w, dt_us):
    """Watch the vanes, dt after the last cycle, by the readings that came since.

    Most vanes follow their commands, and of most there is nothing more to find out: they take a
    third of the instructions.
    """
    if w[WATCH_STATE] == WATCH_ON:
        sound = w[WATCH_BELIEVED] & ~(w[SENSORS_OUT] | w[WATCH_DECLARED])
        for vane in range(VANES):
            reading = w[WATCH_READING + vane]
            silent_us = min(w[WATCH_SILENT_US + vane] + dt_us, LONGEST_DT_US)
            if reading == NO_READING:
                w[WATCH_SILENT_US + vane] = silent_us
                miss(w, vane, silent_us, dt_us)
            else:
                w[WATCH_READING + vane] = NO_READING
                w[WATCH_SILENT_US + vane] = 0
                done = 0
                if sound & (1 << vane) != 0:
                    done = followed(w, vane, reading, silent_us)
                if done == 0:
                    look_at(w, vane, reading, silent_us, dt_us)
