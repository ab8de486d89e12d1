"""The requests that move nothing: counters, identity, forces, beliefs, and the end of the node."""

from array import array

from firmware_port import protocol as p
from mixer.flight import layout as at


class Inquiries:
    """Handles COUNTERS, IDENTIFY, FORCES, BELIEF, WATCHED and STOP for a node."""

    def __init__(self, node):
        self._node = node
        node.handle(p.COUNTERS, self._on_counters, 1)
        node.handle(p.IDENTIFY, self._on_identify)
        node.handle(p.FORCES, self._on_forces)
        node.handle(p.BELIEF, self._on_belief)
        node.handle(p.STOP, self._on_stop)
        node.further.handle(p.WATCHED, self._on_watched)
        self._belief = array("i", [0, 0, 0])
        self.name = b""
        self.cost_unit = p.MICROSECONDS

    def _on_counters(self, words):
        first = words[0]
        if not 0 <= first < p.COUNTER_COUNT:
            return p.OUT_OF_RANGE
        node = self._node
        counters = node.control.counters
        counters[p.DAMAGED] = node.receiver.damaged
        node.put(counters, first, min(p.COUNTERS_PAGE, p.COUNTER_COUNT - first), 3)
        return p.TAKEN

    def _on_identify(self, words):
        node = self._node
        node.put_number(self.cost_unit)
        node.put_number(node.store.size)
        node.put_number(node.store.crc_high)
        node.put_number(node.store.crc_low)
        for letter in self.name:
            node.put_byte(letter)
        return p.TAKEN

    def _on_forces(self, words):
        node = self._node
        steering = node.control.steering
        if steering is None:
            return p.NO_TABLES
        node.put(steering.force, 0, 4, 3)
        node.put_number(steering.load_us // 1000)
        node.put_number(steering.time_us // 1000)
        return p.TAKEN

    def _on_belief(self, words):
        node = self._node
        steering = node.control.steering
        if steering is None:
            return p.NO_TABLES
        belief = self._belief
        belief[0] = steering.time_us
        belief[1] = steering.load_us
        belief[2] = steering.doubted_us
        node.put(belief, 0, 3, 4)
        node.put_number(steering.ratio_q14)
        node.put_number(steering.jammed)
        node.put_number(steering.burn)
        return p.TAKEN

    def _on_watched(self, words):
        node = self._node
        if node.control.steering is None:
            return p.NO_TABLES
        state = node.control.words
        node.put_number(state[at.WATCH_STATE])
        node.put_number(state[at.WATCH_BELIEVED])
        node.put_number(state[at.SENSORS_OUT])
        node.put_number(state[at.WATCH_DECLARED])
        node.put_number(min(state[at.WATCH_FOUND], p.COUNTER_MOST))
        return p.TAKEN

    def _on_stop(self, words):
        if self._node.control.state != p.SAFE:
            return p.NOT_NOW
        self._node.running = False
        return p.TAKEN
