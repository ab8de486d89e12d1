"""The flight record's blocks and a cycle's entry: functions on words, for machine code.

What the entries are: `mixer/ground/flight_record/record_layout.py`. Its numbers and those of
`layout.py` stand here anew, since a name of another module costs as much as the rest; a test holds
them together. The log is one array: LOG_HEAD words of its own, then blocks, written one after
another and round again. Where the block begins that is to be kept, the writing ends.
"""

from firmware_port.words import const, ptr32

# The log's own words, as in `recorder.py`.
_AT = const(0)
_END = const(1)
_BLOCK = const(2)
_SIZE = const(3)
_NUMBER = const(4)
_CYCLES = const(5)
_LOST = const(6)
_KEPT = const(7)
_SNAPSHOT = const(8)
_SINCE = const(10)
_EVERY = const(11)
_WATCH = const(12)
_DUE = const(13)
_LOG_HEAD = const(14)

_BLOCK_WORDS = const(60)
_AGE = const(19)
_BAD = const(20)
_BURN = const(44)
_SAID = const(2)
_READING = const(50)
_WATCH_STATE = const(82)
_NO_READING = const(0x3FFFFFFF)
_MOMENT = const(0x8000000)
_ROLL = const(0x800000)


def room(log: ptr32, w: ptr32, need: int) -> int:
    """Where so many words can be written, in the next block where this one is full; 0 for
    nowhere, and from then on. The last word of a block is left for the end of the record.
    """
    at = log[_AT]
    if at + need <= log[_END]:
        return at
    start = log[_BLOCK] + _BLOCK_WORDS
    if start >= log[_SIZE]:
        start = _LOG_HEAD
    if w[_BURN] >= _SAID and log[_KEPT] == 0:
        log[_KEPT] = log[_SNAPSHOT]
    if at < log[_BLOCK] + _BLOCK_WORDS:
        log[at] = 0
    if start == log[_KEPT]:
        log[_END] = 0
        return 0
    log[_BLOCK] = start
    log[_END] = start + _BLOCK_WORDS - 1
    log[_NUMBER] += 1
    log[start] = log[_NUMBER]
    log[start + 1] = log[_CYCLES]
    log[start + 2] = w[4] ^ (w[5] << 2) ^ (w[6] << 4) ^ (w[7] << 6) ^ (w[15] << 8)
    log[_SINCE] += 1
    if log[_SINCE] >= log[_EVERY] and w[_BURN] < _SAID:
        log[_DUE] = 1
    log[_AT] = start + 3
    return start + 3


def copy(log: ptr32, at: int, w: ptr32, first: int, count: int):
    """Copy words into the log."""
    for i in range(count):
        log[at + i] = w[first + i]


def keep(log: ptr32, w: ptr32, pressure_pa: int, dt_us: int) -> int:
    """Write what a steering was told for the cycle to come; return 1, and nothing is
    written, where a snapshot is due first.

    w: the steering's words before the cycle. Allocates nothing.
    """
    if log[_DUE] != 0:
        return 1
    pitch = w[16]
    yaw = w[17]
    roll = w[18]
    misfit = w[_AGE] | w[_BAD] | (pressure_pa >> 23) | (dt_us >> 15)
    misfit |= ((pitch + _MOMENT) >> 28) | ((yaw + _MOMENT) >> 28) | ((roll + _ROLL) >> 24)
    need = 4
    if misfit:
        need = 6
    watched = w[_WATCH_STATE]
    if watched != 0 or log[_WATCH] != 0:
        need += 7
    at = log[_AT]
    if at + need > log[_END]:
        at = int(room(log, w, need))
        if at == 0:
            log[_CYCLES] += 1
            log[_LOST] += 1
            return 0
    if need > 6:
        if watched != log[_WATCH]:
            log[_WATCH] = watched
            log[at] = 0x78
            log[at + 1] = watched
            log[at + 2] = 0
            at += 3
        for i in range(4):
            reading = w[_READING + i]
            if reading != _NO_READING:
                log[at] = 4 | i << 4 | reading << 6
                at += 1
    check = w[4] ^ (w[5] << 2) ^ (w[6] << 4) ^ (w[7] << 6) ^ (w[15] << 8)
    check ^= (check >> 9) ^ (check >> 17)
    if misfit:
        flags = 0x12
        if w[_AGE]:
            flags = 2
        if w[_BAD]:
            flags |= 0x40
        log[at] = flags | (check & 0xFF) << 8
        log[at + 1] = dt_us
        log[at + 2] = pressure_pa
        log[at + 3] = pitch
        log[at + 4] = yaw
        log[at + 5] = roll
        log[_AT] = at + 6
    else:
        log[at] = pressure_pa << 8 | dt_us >> 7 & 0xFE | 1
        log[at + 1] = pitch << 4 | check & 15
        log[at + 2] = yaw << 4 | check >> 4 & 15
        log[at + 3] = roll << 8 | dt_us & 0xFF
        log[_AT] = at + 4
    log[_CYCLES] += 1
    return 0
