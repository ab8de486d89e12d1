"""Recordings on the bench: pulses put out at a steady interval, the angle read with each.

The pulses come in pieces before and the readings go back in pieces after, so that nothing of the
line's own time gets into them. No pulse may jump far from the one before.
"""

from array import array

from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from firmware_port.frames import unpack


class BenchPlay:
    """Handles the requests PLAY_… for a bench on a node."""

    def __init__(self, node, bench):
        self._node = node
        self._bench = bench
        self._vane = 1
        self._interval_us = 1000
        self._filled = 0
        self.forget()
        bench.handle(b.PLAY_BEGIN, self._on_begin, 3)
        node.handle(b.PLAY_PIECE, self._on_piece, None)
        bench.handle(b.PLAY_FILL, self._on_fill, 3)
        bench.handle(b.PLAY_RUN, self._on_run)
        node.handle(b.PLAY_DATA, self._on_data, 2)

    def forget(self):
        """Give the recording's memory back."""
        self._pulses = self._counts = self._supplies = array("H")  # empty: no recording

    def _on_begin(self, words):
        vane, count, interval_us = words[0], words[1], words[2]
        if not 1 <= vane <= 4 or not 0 < count <= b.MOST_PLAYED:
            return p.OUT_OF_RANGE
        if interval_us < b.SHORTEST_INTERVAL_US or count * interval_us > b.LONGEST_PLAY_US:
            return p.OUT_OF_RANGE
        self.forget()
        try:
            self._pulses = array("H", bytes(2 * count))
            self._counts = array("H", bytes(2 * count))
            self._supplies = array("H", bytes(2 * count))
        except MemoryError:
            self.forget()
            return p.NO_ROOM
        self._vane, self._interval_us, self._filled = vane, interval_us, 0
        return p.TAKEN

    def _room(self, offset, count):
        """The verdict on `count` more pulses from an offset on."""
        if not self._pulses or offset != self._filled:
            return p.OUT_OF_ORDER
        if not 0 < count <= len(self._pulses) - offset:
            return p.OUT_OF_RANGE
        return p.TAKEN

    def _on_fill(self, words):
        offset, count, unit = words[0], words[1], words[2]
        verdict = self._room(offset, count)
        if verdict == p.TAKEN and not 0 <= unit < b.NO_COUNT:
            verdict = p.OUT_OF_RANGE
        if verdict == p.TAKEN:
            for i in range(offset, offset + count):
                self._pulses[i] = unit
            self._filled += count
            self._node.put_number(self._filled)
        return verdict

    def _on_piece(self, words):
        node = self._node
        length = node.length
        if not 3 < length <= 3 + 2 * b.PIECE or not length % 2:
            return p.WRONG_LENGTH
        if node.control.state != p.SAFE or node.control.when_safe is None:
            return p.NOT_NOW
        self._bench.silent_us = 0
        place = unpack(node.request, p.HEADER, 1, 3, words, 0)
        pulses = self._pulses
        verdict = self._room(words[0], (length - 3) // 2)
        if verdict != p.TAKEN:
            return verdict
        for i in range(place, p.HEADER + length, 2):
            pulses[self._filled] = node.request[i] | node.request[i + 1] << 8
            self._filled += 1
        node.put_number(self._filled)
        return p.TAKEN

    def _on_run(self, words):
        if not self._pulses or self._filled != len(self._pulses):
            return p.OUT_OF_ORDER
        if not self._playable():
            return p.OUT_OF_RANGE
        self._node.put_number(self._play())
        return p.TAKEN

    def _playable(self):
        """Whether every pulse is one a servo takes, and none is far from the one before."""
        last = self._bench.now[self._vane - 1]
        for unit in self._pulses:
            pulse_ns = unit * b.UNIT_NS
            if (
                not b.SHORTEST_NS <= pulse_ns <= b.LONGEST_NS
                or abs(pulse_ns - last) > b.MOST_JUMP_NS
            ):
                return False
            last = pulse_ns
        return True

    def _play(self):
        """Put the pulses out, one an interval, and read with each; return how many were played."""
        node, bench = self._node, self._bench
        clock, watchdog = node.control.clock, node.watchdog
        start = clock.now()
        count = len(self._pulses)
        for k in range(count):
            bench.jump(self._vane, self._pulses[k] * b.UNIT_NS)
            counts = bench.counts(self._vane)
            self._counts[k] = b.NO_COUNT if counts < 0 else counts
            supply_mv = bench.supply_mv()
            self._supplies[k] = b.NO_COUNT if supply_mv < 0 else supply_mv
            if hasattr(clock, "advance"):  # time comes over the link
                clock.advance(self._interval_us)
            while clock.since(start) < (k + 1) * self._interval_us:
                pass
            if watchdog is not None:
                watchdog.feed()
            if node.receiver.take():
                count = k + 1
                break
        self._bench.silent_us = -clock.since(start)  # the next cycle is told of all that time
        return count

    def _on_data(self, words):
        node = self._node
        if node.control.state != p.SAFE:
            return p.NOT_NOW
        column, first = words[0], words[1]
        if not self._pulses or not 0 <= column <= b.SUPPLIES:
            return p.OUT_OF_RANGE
        values = (self._pulses, self._counts, self._supplies)[column]
        if not 0 <= first < len(values):
            return p.OUT_OF_RANGE
        self._bench.silent_us = 0
        for k in range(first, min(first + b.DATA, len(values))):
            node.put_byte(values[k] & 0xFF)
            node.put_byte(values[k] >> 8)
        return p.TAKEN
