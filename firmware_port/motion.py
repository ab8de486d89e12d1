"""The requests that may move a vane: demands, arming, jammed vanes.

Each is taken only where its sequence number follows on the last taken one, so that a repeated or
delayed frame moves nothing. Arming is two steps: ASK gives a token, ARM brings it back in time.
"""

from firmware_port import protocol as p
from firmware_port.frames import unpack

DEMAND_BYTES = 15
LATE = -1  # answered after the cycle
TOKENS = 0x7FFFFF


class Motion:
    """Handles DEMAND, ASK, ARM, DISARM, JAM, FREE and BURN for a node."""

    def __init__(self, node):
        self._node = node
        self._last = 0  # sequence number last taken
        self._token = 0
        self._asked = 0
        node.handlers[p.DEMAND] = self._on_demand
        node.handlers[p.ASK] = self._on_ask
        node.handlers[p.ARM] = self._on_arm
        node.handlers[p.DISARM] = self._on_disarm
        node.handlers[p.JAM] = self._on_jam
        node.handlers[p.FREE] = self._on_free
        node.handlers[p.BURN] = self._on_burn

    def _in_order(self):
        """The verdict on the request's sequence number; TAKEN makes it the last one taken."""
        sequence = self._node.sequence
        ahead = (sequence - self._last) % p.SEQUENCES
        if ahead == 0:
            return p.REPEATED
        if ahead > p.AHEAD and self._node.state != p.SAFE:
            return p.STALE
        self._last = sequence
        return p.TAKEN

    def _on_demand(self, length):
        node = self._node
        if length != DEMAND_BYTES:
            return p.WRONG_LENGTH
        if node.steering is None:
            return p.NO_TABLES
        order = self._in_order()
        if order != p.TAKEN:
            return order
        words = node.words
        request = node.request
        end = unpack(request, p.HEADER, 3, 4, words, 0)
        if node.state != p.SAFE:
            if not node.steering.demand(words[0], words[1], words[2]):
                return p.OUT_OF_RANGE
            node.silent_us = 0
            if node.state == p.LINK_LOST:
                node.become(p.ARMED, p.TO_ARMED)
        node.pressure_pa = request[end] | request[end + 1] << 8 | request[end + 2] << 16
        if node.pending:
            node.counters[p.OVERTAKEN] += 1
        node.pending = True
        node.pending_sequence = node.sequence
        return LATE

    def _on_ask(self, length):
        if length:
            return p.WRONG_LENGTH
        node = self._node
        self._asked = node.clock.now()
        self._token = ((self._token ^ self._asked & TOKENS) * 73 + 12345) & TOKENS or 1
        node.put_number(self._token)
        return p.TAKEN

    def _token_fits(self):
        """Whether the request brings the token asked for a moment ago; it is used up either way."""
        fits = self._token != 0 and self._node.words[0] == self._token
        self._token = 0
        clock = self._node.clock
        return fits and clock.between(self._asked, clock.now()) <= p.ASK_US

    def _on_arm(self, length):
        node = self._node
        if not node.numbers(length, 1, 3):
            return p.WRONG_LENGTH
        if not self._token_fits():
            return p.WRONG_TOKEN
        if node.steering is None:
            return p.NO_TABLES
        if node.state == p.ARMED or node.when_safe is not None:
            return p.NOT_NOW
        self._last = node.sequence
        node.silent_us = 0
        node.store.forget()
        node.become(p.ARMED, p.TO_ARMED)
        return p.TAKEN

    def _on_disarm(self, length):
        node = self._node
        if not node.numbers(length, 1, 3):
            return p.WRONG_LENGTH
        if node.words[0]:
            if not self._token_fits():
                return p.WRONG_TOKEN
        elif node.state != p.SAFE:
            order = self._in_order()
            if order != p.TAKEN:
                return order
        if node.state != p.SAFE:
            node.become(p.SAFE, p.TO_SAFE)
        return p.TAKEN

    def _on_jam(self, length):
        verdict = self._vane_request(length, 2)
        if verdict == p.TAKEN:
            self._node.steering.jam(self._node.words[0], self._node.words[1])
        return verdict

    def _on_free(self, length):
        verdict = self._vane_request(length, 1)
        if verdict == p.TAKEN:
            self._node.steering.free(self._node.words[0])
        return verdict

    def _vane_request(self, length, count):
        node = self._node
        if not node.numbers(length, count, 3):
            return p.WRONG_LENGTH
        if node.steering is None:
            return p.NO_TABLES
        if not 1 <= node.words[0] <= 4:
            return p.OUT_OF_RANGE
        return self._in_order()

    def _on_burn(self, length):
        node = self._node
        if not node.numbers(length, 2, 4):
            return p.WRONG_LENGTH
        if node.steering is None:
            return p.NO_TABLES
        if node.words[0] < 0 or node.words[1] < 0:
            return p.OUT_OF_RANGE
        if node.state == p.ARMED:
            return p.NOT_NOW
        node.steering.start(node.words[0], node.words[1])
        return p.TAKEN
