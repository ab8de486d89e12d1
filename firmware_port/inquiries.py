"""The requests that move nothing: counters, identity, forces, beliefs, and the end of the node."""

from array import array

from firmware_port import protocol as p


class Inquiries:
    """Handles COUNTERS, IDENTIFY, FORCES, BELIEF and STOP for a node."""

    def __init__(self, node):
        self._node = node
        node.handlers[p.COUNTERS] = self._on_counters
        node.handlers[p.IDENTIFY] = self._on_identify
        node.handlers[p.FORCES] = self._on_forces
        node.handlers[p.BELIEF] = self._on_belief
        node.handlers[p.STOP] = self._on_stop
        self._belief = array("i", [0, 0, 0])
        self.name = b""
        self.cost_unit = p.MICROSECONDS

    def _on_counters(self, length):
        node = self._node
        if not node.numbers(length, 1, 3):
            return p.WRONG_LENGTH
        first = node.words[0]
        if not 0 <= first < p.COUNTER_COUNT:
            return p.OUT_OF_RANGE
        node.counters[p.DAMAGED] = node.receiver.damaged
        node.put(node.counters, first, min(p.COUNTERS_PAGE, p.COUNTER_COUNT - first), 3)
        return p.TAKEN

    def _on_identify(self, length):
        if length:
            return p.WRONG_LENGTH
        node = self._node
        node.put_number(self.cost_unit)
        node.put_number(node.store.size)
        node.put_number(node.store.crc_high)
        node.put_number(node.store.crc_low)
        for letter in self.name:
            node.answer[node.fill] = letter
            node.fill += 1
        return p.TAKEN

    def _on_forces(self, length):
        if length:
            return p.WRONG_LENGTH
        node = self._node
        if node.steering is None:
            return p.NO_TABLES
        node.put(node.steering.force, 0, 4, 3)
        node.put_number(node.steering.load_us // 1000)
        node.put_number(node.steering.time_us // 1000)
        return p.TAKEN

    def _on_belief(self, length):
        if length:
            return p.WRONG_LENGTH
        node = self._node
        steering = node.steering
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

    def _on_stop(self, length):
        if length:
            return p.WRONG_LENGTH
        if self._node.state != p.SAFE:
            return p.NOT_NOW
        self._node.running = False
        return p.TAKEN
