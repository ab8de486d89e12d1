"""A control cycle that is kept: what the steering is told for it goes into the log, then it runs.

Kernels, so that on a board it is one call into machine code that holds the core too.
"""

from firmware_port.record_log import *
from mixer.flight.cycle import cycle
from mixer.flight.layout import *

# Entries, of `record_layout`.
KEPT_WATCH = 0x78  # the jam watch is in another state
KEPT_READING = 4
KEPT_WIDE = 2
WIDE_WORDS = 6
SHORT_WORDS = 4
WATCHED_WORDS = 3 + VANES  # the most that the watch and four readings take
# What a short entry has bits for.
KEPT_PRESSURE_BITS = 23
KEPT_DT_BITS = 15
KEPT_MOMENT_BITS = 28
KEPT_ROLL_BITS = 24


def misfit(w, pressure_pa, dt_us):
    """0 where a demand came for the cycle and all fits a short entry."""
    bad = w[AGE] | w[BAD] | pressure_pa >> KEPT_PRESSURE_BITS | dt_us >> KEPT_DT_BITS
    for axis in range(2):
        bad = bad | w[DEMAND + axis] + (1 << KEPT_MOMENT_BITS - 1) >> KEPT_MOMENT_BITS
    return bad | w[DEMAND + 2] + (1 << KEPT_ROLL_BITS - 1) >> KEPT_ROLL_BITS


def keep_watch(w, log, here):
    """Write the jam watch's state where it is another one, and the angles read; where they end."""
    if w[WATCH_STATE] != log[LOG_WATCH]:
        log[LOG_WATCH] = w[WATCH_STATE]
        log[here] = KEPT_WATCH
        log[here + 1] = w[WATCH_STATE]
        log[here + 2] = 0
        here += 3
    for vane in range(VANES):
        reading = w[WATCH_READING + vane]
        if reading != NO_READING:
            log[here] = KEPT_READING | vane << 4 | reading << 6
            here += 1
    return here


def keep(w, log, pressure_pa, dt_us):
    """Write what the steering was told for the cycle to come; before it, a snapshot that is due."""
    if log[LOG_DUE] != 0:
        snapshot(w, log)
    wide = misfit(w, pressure_pa, dt_us)
    watched = w[WATCH_STATE] | log[LOG_WATCH]
    need = SHORT_WORDS if wide == 0 else WIDE_WORDS
    if watched != 0:
        need += WATCHED_WORDS
    here = room(w, log, need)
    log[LOG_CYCLES] += 1
    if here == 0:
        log[LOG_LOST] += 1
        return
    if watched != 0:
        here = keep_watch(w, log, here)
    check = answer_check(w)
    check = check ^ (check >> 9) ^ (check >> 17)
    if wide == 0:
        log[here] = pressure_pa << 8 | dt_us >> 7 & 0xFE | 1
        log[here + 1] = w[DEMAND] << 4 | check & 15
        log[here + 2] = w[DEMAND + 1] << 4 | check >> 4 & 15
        log[here + 3] = w[DEMAND + 2] << 8 | dt_us & 0xFF
        log[LOG_AT] = here + SHORT_WORDS
        return
    flags = 0x12 if w[AGE] == 0 else 2
    if w[BAD] != 0:
        flags = flags | 0x40
    log[here] = flags | (check & 0xFF) << 8
    log[here + 1] = dt_us
    log[here + 2] = pressure_pa
    for axis in range(3):
        log[here + 3 + axis] = w[DEMAND + axis]
    log[LOG_AT] = here + WIDE_WORDS


def recorded(w, log, pressure_pa, dt_us):
    """Run one control cycle as `cycle` does, and keep it where the log runs; return FLAGS."""
    if log[LOG_RUNS] != 0:
        keep(w, log, pressure_pa, dt_us)
    return cycle(w, pressure_pa, dt_us)
