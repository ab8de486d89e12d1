"""The requests that may move a vane: demands, arming, jammed vanes.

Each is taken only where its sequence number follows on the last taken one, in every state, so that
a repeated or delayed frame moves nothing and changes no belief. A token shows that a frame is
fresh: ASK gives one, and ARM or DISARM that brings it back in time begins the numbers anew. Time
is what the node's cycles counted, since ticks wrap.
"""

from firmware_port import protocol as p
from firmware_port.frames import unpack

DEMAND_BYTES = 15
LATE = -1  # answered after the cycle
TOKENS = 0x7FFFFF
NONE = -1  # no sequence number has been taken yet: the first one is in order


class Motion:
    """Handles DEMAND, ASK, ARM, DISARM, JAM, FREE, BURN and START for a node."""

    def __init__(self, node):
        self._node = node
        self._last = NONE  # sequence number last taken
        self._token = 0
        node.handlers[p.DEMAND] = self._on_demand
        node.handlers[p.ASK] = self._on_ask
        node.handlers[p.ARM] = self._on_arm
        node.handlers[p.DISARM] = self._on_disarm
        node.handlers[p.JAM] = self._on_jam
        node.handlers[p.FREE] = self._on_free
        node.handlers[p.BURN] = self._on_burn
        node.handlers[p.START] = self._on_start

    def _in_order(self):
        """The verdict on the request's sequence number; TAKEN makes it the last one taken."""
        sequence = self._node.sequence
        if self._last != NONE:
            ahead = (sequence - self._last) % p.SEQUENCES
            if ahead == 0:
                return p.REPEATED
            if ahead > p.AHEAD:
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
        if node.state == p.CHECKING:
            node.check.end()
        if node.state != p.SAFE:
            if not node.steering.demand(words[0], words[1], words[2]):
                return p.OUT_OF_RANGE
            if node.state == p.LINK_LOST:
                node.become(p.ARMED, p.TO_ARMED)
        node.silent_us = 0
        node.acted_on = node.state != p.SAFE
        node.pressure_pa = request[end] | request[end + 1] << 8 | request[end + 2] << 16
        if node.pending:
            node.count(p.OVERTAKEN)
        node.pending = True
        node.pending_sequence = node.sequence
        return LATE

    def _on_ask(self, length):
        if length:
            return p.WRONG_LENGTH
        node = self._node
        self._token = ((self._token ^ node.clock.now() & TOKENS) * 73 + 12345) & TOKENS or 1
        node.token_us = p.ASK_US
        node.put_number(self._token)
        return p.TAKEN

    def begin_numbers(self):
        """They count from the request being handled on."""
        self._last = self._node.sequence

    def token_fits(self):
        """Whether the request brings the token asked for a moment ago; it is used up either way."""
        node = self._node
        fits = node.token_us > 0 and node.words[0] == self._token
        node.token_us = 0
        return fits

    def _on_arm(self, length):
        node = self._node
        if not node.numbers(length, 1, 3):
            return p.WRONG_LENGTH
        if not self.token_fits():
            return p.WRONG_TOKEN
        if node.steering is None:
            return p.NO_TABLES
        if node.state == p.ARMED or node.state == p.CHECKING or node.when_safe is not None:
            return p.NOT_NOW
        self.begin_numbers()
        node.silent_us = 0
        node.store.forget()
        node.become(p.ARMED, p.TO_ARMED)
        return p.TAKEN

    def _on_disarm(self, length):
        node = self._node
        if not node.numbers(length, 1, 3):
            return p.WRONG_LENGTH
        if node.words[0]:
            if not self.token_fits():
                return p.WRONG_TOKEN
            self.begin_numbers()
        else:
            order = self._in_order()
            if order != p.TAKEN:
                return order
        if node.state == p.CHECKING:
            node.check.end()
        elif node.state != p.SAFE:
            node.steering.release()  # at once: no demand from before may count after a new arming
            node.become(p.SAFE, p.TO_SAFE)
        return p.TAKEN

    def _on_jam(self, length):
        verdict = self._vane_request(length, 2)
        if verdict == p.TAKEN:
            node = self._node
            node.pulses.part(node.steering, node.words[0])
            node.steering.jam(node.words[0], node.words[1])
        return verdict

    def _on_free(self, length):
        verdict = self._vane_request(length, 1)
        if verdict == p.TAKEN:
            node = self._node
            node.pulses.part(node.steering, node.words[0])
            node.steering.free(node.words[0])
        return verdict

    def _vane_request(self, length, count):
        node = self._node
        if not node.numbers(length, count, 3):
            return p.WRONG_LENGTH
        if node.steering is None:
            return p.NO_TABLES
        if not 1 <= node.words[0] <= 4:
            return p.OUT_OF_RANGE
        if node.state == p.CHECKING:
            return p.NOT_NOW
        return self._in_order()

    def _on_burn(self, length):
        node = self._node
        if not node.numbers(length, 2, 4):
            return p.WRONG_LENGTH
        if node.steering is None:
            return p.NO_TABLES
        if node.words[0] < 0 or node.words[1] < 0:
            return p.OUT_OF_RANGE
        if node.state == p.ARMED or node.state == p.CHECKING:
            return p.NOT_NOW
        order = self._in_order()
        if order != p.TAKEN:
            return order
        if node.words[0]:
            node.steering.start(node.words[0], node.words[1])
        else:
            node.steering.wait(node.words[1])
        return p.TAKEN

    def _on_start(self, length):
        node = self._node
        if length:
            return p.WRONG_LENGTH
        steering = node.steering
        if steering is None:
            return p.NO_TABLES
        order = self._in_order()
        if order != p.TAKEN:
            return order
        if node.state == p.CHECKING:
            node.check.end()
        steering.begin()
        return p.TAKEN
