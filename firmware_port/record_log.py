"""The log that a flight's record is written into: its own words first, then blocks, written one
after another and round again. Where the block begins that is to be kept, the writing ends.

Kernels: they go into the core's machine code with `record_cycle`, and the recorder calls them as
they are. What stands in a block: `mixer/ground/flight_record/record_layout.py`; its numbers stand
here anew, and a test holds them together.
"""

from mixer.flight.layout import *

# The log's own words.
LOG_AT = 0  # where the next entry goes
LOG_END = 1  # of the block
LOG_BLOCK = 2  # where it begins
LOG_SIZE = 3  # end of the last block
LOG_NUMBER = 4  # of the block
LOG_CYCLES = 5  # since the log began
LOG_LOST = 6  # those of them that found no room
LOG_KEPT = 7  # where the block begins that may not be written over; 0 while all may
LOG_SNAPSHOT = 8  # where the block begins that the last but one snapshot went into,
LOG_LAST_SNAPSHOT = 9  # and the last one
LOG_SINCE = 10  # blocks since then
LOG_EVERY = 11  # blocks between two, while nothing burns
LOG_WATCH = 12  # the jam watch's state, as last written
LOG_DUE = 13  # a snapshot is due
LOG_RUNS = 14  # cycles are to be kept
LOG_HEAD = 15

BLOCK_WORDS = 60
LOG_STATE_KIND = 10  # of an entry: some words of the steering's state
SNAPSHOT_PIECE = LASTING_WORDS >> 1  # a snapshot goes into two entries


def answer_check(w):
    """What a record keeps of a cycle's answer, its pulses and flags; below 2^30."""
    pulses = w[PULSE] ^ (w[PULSE + 1] << 2) ^ (w[PULSE + 2] << 4) ^ (w[PULSE + 3] << 6)
    return pulses ^ (w[FLAGS] << 8)


def room(w, log, need):
    """Where so many words can be written, in the next block where this one is full; 0 for
    nowhere, and from then on. The last word of a block is left for the end of the record.
    """
    here = log[LOG_AT]
    if here + need <= log[LOG_END]:
        return here
    start = log[LOG_BLOCK] + BLOCK_WORDS
    if start >= log[LOG_SIZE]:
        start = LOG_HEAD
    if w[BURN] >= SAID and log[LOG_KEPT] == 0:
        log[LOG_KEPT] = log[LOG_SNAPSHOT]
    if here < log[LOG_BLOCK] + BLOCK_WORDS:
        log[here] = 0
    if start == log[LOG_KEPT]:
        log[LOG_END] = 0
        return 0
    log[LOG_BLOCK] = start
    log[LOG_END] = start + BLOCK_WORDS - 1
    log[LOG_NUMBER] += 1
    log[start] = log[LOG_NUMBER]
    log[start + 1] = log[LOG_CYCLES]
    log[start + 2] = answer_check(w)
    log[LOG_SINCE] += 1
    if log[LOG_SINCE] >= log[LOG_EVERY] and w[BURN] < SAID:
        log[LOG_DUE] = 1
    log[LOG_AT] = start + 3
    return start + 3


def keep_state(w, log, first):
    """Write a piece of the steering's state; 0 where there was no room."""
    here = room(w, log, 1 + SNAPSHOT_PIECE)
    if here != 0:
        log[here] = LOG_STATE_KIND | SNAPSHOT_PIECE << 4 | first << 12
        for i in range(SNAPSHOT_PIECE):
            log[here + 1 + i] = w[first + i]
        log[LOG_AT] = here + 1 + SNAPSHOT_PIECE
    return here


def snapshot(w, log):
    """Write the steering's state: where a replay can begin."""
    log[LOG_WATCH] = w[WATCH_STATE]
    here = keep_state(w, log, 0)
    if here != 0:
        log[LOG_SNAPSHOT] = log[LOG_LAST_SNAPSHOT]
        if log[LOG_SNAPSHOT] == 0:
            log[LOG_SNAPSHOT] = log[LOG_BLOCK]
        log[LOG_LAST_SNAPSHOT] = log[LOG_BLOCK]
    keep_state(w, log, SNAPSHOT_PIECE)
    log[LOG_SINCE] = 0
    log[LOG_DUE] = 0
