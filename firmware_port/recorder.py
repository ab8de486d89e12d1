"""The node's record of a flight: what the steering was told, in memory taken once, with the tables.

It begins with each arming and ends in the safe state. While nothing is said or believed to burn it
goes round in its memory, and a snapshot of the steering's state now and then is where a replay can
begin. From then on all behind the last but one snapshot is kept; where the memory is full, the
record ends and counts what it lost. New tables begin a new one. Nothing is written to flash. A
cycle is kept by `record_cycle.recorded`, which the control calls.
"""

from array import array

from firmware_port import protocol as p
from firmware_port.record_log import (
    BLOCK_WORDS,
    LOG_AT,
    LOG_BLOCK,
    LOG_CYCLES,
    LOG_END,
    LOG_EVERY,
    LOG_HEAD,
    LOG_LOST,
    LOG_NUMBER,
    LOG_RUNS,
    LOG_SIZE,
    LOG_WATCH,
    room,
    snapshot,
)
from firmware_port.words import const
from mixer.flight import layout as at

# Entries, of `record_layout`; that of the steering's state is `record_log`'s.
_STATE = const(6)
_TOLD = const(8)
_COUNTS = const(12)
_TOLD_WORDS = const(3)
_WATCH_TOLD = const(7)

_LEAST_BLOCKS = const(8)
_MOST_BLOCKS = const(2048)
_EVERY_MOST = const(32)
_LEFT_BYTES = const(4096)  # of a board's memory, for what else the node does


class Recorder:
    """A log of some blocks; None takes what memory is free. receiver: whose damaged frames are
    counted, once a node has one.
    """

    def __init__(self, blocks=None):
        self._wanted = blocks
        self._number = 0  # of the newest block of the logs before
        self.blocks = 0
        self.log = array("i", bytearray(4 * LOG_HEAD))
        self.receiver = None
        self.first = 1  # the oldest block's number, before the log has gone round

    def open(self):
        """Take memory, as new tables have taken theirs; what was recorded before is gone."""
        self.close()
        blocks = _free_blocks() if self._wanted is None else self._wanted
        while blocks >= _LEAST_BLOCKS:
            try:
                # Of a range it is made in place, of bytes beside them.
                self.log = array("i", range(LOG_HEAD + blocks * BLOCK_WORDS))
                break
            except MemoryError:  # no piece of that size is whole
                blocks = blocks * 3 >> 2
        else:
            return
        self.blocks = blocks
        self.log[LOG_NUMBER] = self._number
        self.clear()

    def close(self):
        """Give the memory back."""
        if self.blocks:
            self._number = self.newest
            self.blocks = 0
            self.log = self.log[:LOG_HEAD]

    def clear(self):
        """Forget all of it; numbers of blocks go on, so that none is taken for another."""
        log = self.log
        number = log[LOG_NUMBER]
        for i in range(LOG_HEAD):
            log[i] = 0
        log[LOG_NUMBER] = number
        log[LOG_SIZE] = LOG_HEAD + self.blocks * BLOCK_WORDS
        log[LOG_BLOCK] = LOG_HEAD - BLOCK_WORDS
        log[LOG_AT] = LOG_HEAD
        log[LOG_EVERY] = min(max(self.blocks >> 3, 2), _EVERY_MOST)
        self.first = number + 1  # the oldest block's number, before the log has gone round

    @property
    def newest(self):
        """The number of the newest block, 0 before there is one."""
        return self.log[LOG_NUMBER]

    @property
    def cycles(self):
        """Cycles since the log began."""
        return self.log[LOG_CYCLES]

    @property
    def lost(self):
        """Those of them that found no room."""
        return self.log[LOG_LOST]

    @property
    def oldest(self):
        """The number of the oldest block that is held."""
        return max(self.first, self.log[LOG_NUMBER] - self.blocks + 1)

    # ---- while it runs; allocates nothing ---------------------------------------------------

    def begin(self, words, counters):
        """The node is armed."""
        log = self.log
        if not log[LOG_RUNS]:
            log[LOG_RUNS] = 1
            self.state(words, p.ARMED)
            self._count(words, counters)
            snapshot(words, log)

    def state(self, words, state):
        """The node is in another state."""
        where = room(words, self.log, 1)
        if where:
            self.log[where] = _STATE | state << 4
            self.log[LOG_AT] = where + 1

    def told(self, words, kind, first, second):
        """A frame of this kind told the steering something between two cycles."""
        log = self.log
        where = room(words, log, _TOLD_WORDS)
        if where:
            log[where] = _TOLD | kind << 4
            log[where + 1] = first
            log[where + 2] = second
            log[LOG_AT] = where + _TOLD_WORDS

    def watch(self, words):
        """A frame switched the jam watch; off and on again before a cycle leaves its trace too."""
        self.told(words, _WATCH_TOLD, words[at.WATCH_STATE], 0)
        self.log[LOG_WATCH] = words[at.WATCH_STATE]

    def end(self, words, counters):
        """The node is safe again, after `begin`."""
        log = self.log
        log[LOG_RUNS] = 0
        snapshot(words, log)
        self._count(words, counters)
        if not log[LOG_END]:
            log[LOG_END] = log[LOG_BLOCK] + BLOCK_WORDS  # the word that was left for this
        self.state(words, p.SAFE)
        if log[LOG_AT] < log[LOG_BLOCK] + BLOCK_WORDS:
            log[log[LOG_AT]] = 0
        if log[LOG_AT] == log[LOG_BLOCK] + BLOCK_WORDS or log[LOG_LOST]:
            log[LOG_END] = 0

    def _count(self, words, counters):
        if self.receiver is not None:
            counters[p.DAMAGED] = self.receiver.damaged
        log = self.log
        where = room(words, log, 1 + p.COUNTER_COUNT)
        if where:
            log[where] = _COUNTS | p.COUNTER_COUNT << 4
            for i in range(p.COUNTER_COUNT):
                log[where + 1 + i] = counters[i]
            log[LOG_AT] = where + 1 + p.COUNTER_COUNT

    # ---- afterwards ----------------------------------------------------------------------------

    def start_of(self, number):
        """Where the block of this number begins in the log; 0 where it is not held."""
        log = self.log
        behind = log[LOG_NUMBER] - number
        if not self.oldest <= number <= log[LOG_NUMBER]:
            return 0
        start = log[LOG_BLOCK] - behind * BLOCK_WORDS
        return start if start >= LOG_HEAD else start + self.blocks * BLOCK_WORDS


def _free_blocks():
    import gc

    gc.collect()
    free = gc.mem_free() if hasattr(gc, "mem_free") else 4 * BLOCK_WORDS * _MOST_BLOCKS
    return min((free - _LEFT_BYTES) // (4 * BLOCK_WORDS), _MOST_BLOCKS)
