"""The node's record of a flight: what the steering was told, in memory taken once, with the tables.

It begins with each arming and ends in the safe state. While nothing is said or believed to burn it
goes round in its memory, and a snapshot of the steering's state now and then is where a replay can
begin. From then on all behind the last but one snapshot is kept; where the memory is full, the
record ends and counts what it lost. New tables begin a new one. Nothing is written to flash. A
cycle's entry is `record_cycle.keep`, which the control calls.
"""

from array import array

from firmware_port import protocol as p
from firmware_port.record_cycle import copy, room
from firmware_port.words import const
from mixer.flight import layout as at

# The log's own words.
_AT = const(0)  # where the next entry goes
_END = const(1)  # of the block
_BLOCK = const(2)  # where it begins
_SIZE = const(3)  # end of the last block
_NUMBER = const(4)  # of the block
_CYCLES = const(5)  # since the log began
_LOST = const(6)  # those of them that found no room
_KEPT = const(7)  # where the block begins that may not be written over; 0 while all may
_SNAPSHOT = const(8)  # where the block begins that the last but one snapshot went into
_LAST_SNAPSHOT = const(9)
_SINCE = const(10)  # blocks since then
_EVERY = const(11)  # blocks between two, while nothing burns
_WATCH = const(12)  # the jam watch's state, as last written
_DUE = const(13)  # a snapshot is due
_LOG_HEAD = const(14)

# Of a record: see mixer/ground/flight_record/record_layout.py.
BLOCK_WORDS = 60
_STATE = const(6)
_TOLD = const(8)
_WORDS = const(10)
_COUNTS = const(12)
_TOLD_WORDS = const(3)
_WATCH_TOLD = const(7)

_LEAST_BLOCKS = const(8)
_MOST_BLOCKS = const(2048)
_EVERY_MOST = const(32)
_LEFT_BYTES = const(4096)  # of a board's memory, for what else the node does
PIECE = at.LASTING_WORDS // 2  # a snapshot goes into two entries


class Recorder:
    """A log of some blocks; None takes what memory is free. receiver: whose damaged frames are
    counted, once a node has one.
    """

    def __init__(self, blocks=None):
        self._wanted = blocks
        self._number = 0  # of the newest block of the logs before
        self.blocks = 0
        self.log = array("i", bytearray(4 * _LOG_HEAD))
        self.runs = False
        self.receiver = None
        self.first = 1  # the oldest block's number, before the log has gone round

    def open(self):
        """Take memory, as new tables have taken theirs; what was recorded before is gone."""
        self.close()
        blocks = _free_blocks() if self._wanted is None else self._wanted
        while blocks >= _LEAST_BLOCKS:
            try:
                # Of a range it is made in place, of bytes beside them.
                self.log = array("i", range(_LOG_HEAD + blocks * BLOCK_WORDS))
                break
            except MemoryError:  # no piece of that size is whole
                blocks = blocks * 3 >> 2
        else:
            return
        self.blocks = blocks
        self.log[_NUMBER] = self._number
        self.clear()

    def close(self):
        """Give the memory back."""
        if self.blocks:
            self._number = self.newest
            self.blocks = 0
            self.log = self.log[:_LOG_HEAD]

    def clear(self):
        """Forget all of it; numbers of blocks go on, so that none is taken for another."""
        log = self.log
        number = log[_NUMBER]
        for i in range(_LOG_HEAD):
            log[i] = 0
        log[_NUMBER] = number
        log[_SIZE] = _LOG_HEAD + self.blocks * BLOCK_WORDS
        log[_BLOCK] = _LOG_HEAD - BLOCK_WORDS
        log[_AT] = _LOG_HEAD
        log[_EVERY] = min(max(self.blocks >> 3, 2), _EVERY_MOST)
        self.first = number + 1  # the oldest block's number, before the log has gone round

    @property
    def newest(self):
        """The number of the newest block, 0 before there is one."""
        return self.log[_NUMBER]

    @property
    def cycles(self):
        """Cycles since the log began."""
        return self.log[_CYCLES]

    @property
    def lost(self):
        """Those of them that found no room."""
        return self.log[_LOST]

    @property
    def oldest(self):
        """The number of the oldest block that is held."""
        return max(self.first, self.log[_NUMBER] - self.blocks + 1)

    # ---- while it runs; allocates nothing ---------------------------------------------------

    def begin(self, words, counters):
        """The node is armed."""
        if not self.runs:
            self.runs = True
            self.state(words, p.ARMED)
            self._count(words, counters)
            self.snapshot(words)

    def state(self, words, state):
        """The node is in another state."""
        where = room(self.log, words, 1)
        if where:
            self.log[where] = _STATE | state << 4
            self.log[_AT] = where + 1

    def told(self, words, kind, first, second):
        """A frame of this kind told the steering something between two cycles."""
        log = self.log
        where = room(log, words, _TOLD_WORDS)
        if where:
            log[where] = _TOLD | kind << 4
            log[where + 1] = first
            log[where + 2] = second
            log[_AT] = where + _TOLD_WORDS

    def watch(self, words):
        """A frame switched the jam watch; off and on again before a cycle leaves its trace too."""
        self.told(words, _WATCH_TOLD, words[at.WATCH_STATE], 0)
        self.log[_WATCH] = words[at.WATCH_STATE]

    def snapshot(self, words):
        """Write the steering's state."""
        log = self.log
        log[_DUE] = 0
        log[_WATCH] = words[at.WATCH_STATE]
        if self._list(words, _WORDS, words, 0, PIECE):
            log[_SNAPSHOT] = log[_LAST_SNAPSHOT] or log[_BLOCK]
            log[_LAST_SNAPSHOT] = log[_BLOCK]
        self._list(words, _WORDS, words, PIECE, PIECE)
        log[_SINCE] = log[_DUE] = 0

    def end(self, words, counters):
        """The node is safe again, after `begin`."""
        self.runs = False
        self.snapshot(words)
        self._count(words, counters)
        log = self.log
        if not log[_END]:
            log[_END] = log[_BLOCK] + BLOCK_WORDS  # the word that was left for this
        self.state(words, p.SAFE)
        if log[_AT] < log[_BLOCK] + BLOCK_WORDS:
            log[log[_AT]] = 0
        if log[_AT] == log[_BLOCK] + BLOCK_WORDS or log[_LOST]:
            log[_END] = 0

    def _count(self, words, counters):
        if self.receiver is not None:
            counters[p.DAMAGED] = self.receiver.damaged
        self._list(words, _COUNTS, counters, 0, p.COUNTER_COUNT)

    def _list(self, words, kind, values, first, count):
        """Write so many of these values; whether there was room."""
        log = self.log
        where = room(log, words, 1 + count)
        if where:
            log[where] = kind | count << 4 | first << 12
            copy(log, where + 1, values, first, count)
            log[_AT] = where + 1 + count
        return where

    # ---- afterwards ----------------------------------------------------------------------------

    def start_of(self, number):
        """Where the block of this number begins in the log; 0 where it is not held."""
        log = self.log
        behind = log[_NUMBER] - number
        if not self.oldest <= number <= log[_NUMBER]:
            return 0
        start = log[_BLOCK] - behind * BLOCK_WORDS
        return start if start >= _LOG_HEAD else start + self.blocks * BLOCK_WORDS


def _free_blocks():
    import gc

    gc.collect()
    free = gc.mem_free() if hasattr(gc, "mem_free") else 4 * BLOCK_WORDS * _MOST_BLOCKS
    return min((free - _LEFT_BYTES) // (4 * BLOCK_WORDS), _MOST_BLOCKS)
