"""The requests that may move a vane: demands, arming, the control check, jammed vanes.

Each is taken only where its sequence number follows on the last taken one, in every state, so that
a repeated or delayed frame moves nothing and changes no belief. A token shows that a frame is
fresh: ASK gives one, and ARM, CHECK or DISARM that brings it back in time begins the numbers anew.
Time is what the control's cycles counted, since ticks wrap.
"""

from firmware_port import protocol as p
from firmware_port.frames import unpack

DEMAND_BYTES = 15
BURN_BYTES = 8
TOKENS = 0x7FFFFF


class Motion:
    """Handles DEMAND, ASK, ARM, DISARM, JAM, FREE, BURN, START, CHECK, CHECKED and WATCH."""

    def __init__(self, node):
        self._node = node
        self._control = node.control
        self._last = None  # sequence number last taken; before there is one, any is in order
        self._token = 0
        node.handle(p.DEMAND, self._on_demand, None)
        node.handle(p.ASK, self._on_ask)
        node.handle(p.ARM, self._on_arm, 1)
        node.handle(p.DISARM, self._on_disarm, 1)
        node.handle(p.JAM, self._on_jam, 2)
        node.handle(p.FREE, self._on_free, 1)
        node.handle(p.BURN, self._on_burn, None)
        node.handle(p.START, self._on_start)
        node.handle(p.CHECK, self._on_check, 2)
        node.handle(p.CHECKED, self._on_checked)
        node.further.handle(p.WATCH, self._on_watch, 1)

    # ---- what is fresh ---------------------------------------------------------------------------

    def _in_order(self):
        """The verdict on the request's sequence number; TAKEN makes it the last one taken."""
        sequence = self._node.sequence
        if self._last is not None:
            ahead = (sequence - self._last) % p.SEQUENCES
            if ahead == 0:
                return p.REPEATED
            if ahead > p.AHEAD:
                return p.STALE
        self._last = sequence
        return p.TAKEN

    def _on_ask(self, words):
        control = self._control
        self._token = ((self._token ^ control.clock.now() & TOKENS) * 73 + 12345) & TOKENS or 1
        control.fresh_us = p.ASK_US
        self._node.put_number(self._token)
        return p.TAKEN

    def _token_fits(self, token):
        """Whether this is the token asked for a moment ago; that is used up either way."""
        control = self._control
        fits = control.fresh_us > 0 and token == self._token
        control.fresh_us = 0
        return fits

    def _begun(self, verdict):
        """Where vanes may move from here on, numbers begin; half-received tables are dropped."""
        if verdict == p.TAKEN:
            self._last = self._node.sequence
            self._node.store.forget()
        return verdict

    # ---- states ----------------------------------------------------------------------------------

    def _on_demand(self, words):
        node = self._node
        if node.length != DEMAND_BYTES:
            return p.WRONG_LENGTH
        if self._control.steering is None:
            return p.NO_TABLES
        order = self._in_order()
        if order != p.TAKEN:
            return order
        request = node.request
        end = unpack(request, p.HEADER, 3, 4, words, 0)
        pressure_pa = request[end] | request[end + 1] << 8 | request[end + 2] << 16
        return self._control.demand(words, pressure_pa, node.sequence)

    def _on_arm(self, words):
        if not self._token_fits(words[0]):
            return p.WRONG_TOKEN
        return self._begun(self._control.arm())

    def _on_disarm(self, words):
        if words[0]:
            if not self._token_fits(words[0]):
                return p.WRONG_TOKEN
            self._last = self._node.sequence
        else:
            order = self._in_order()
            if order != p.TAKEN:
                return order
        self._control.make_safe()
        return p.TAKEN

    def _on_check(self, words):
        if not self._token_fits(words[0]):
            return p.WRONG_TOKEN
        return self._begun(self._control.check.begin(words[1]))

    def _on_checked(self, words):
        node = self._node
        check = self._control.check
        check.go_on()
        node.put_number(check.done)
        node.put_number(check.off)
        node.put(check.turned, 0, 4, 3)
        return p.TAKEN

    # ---- beliefs ---------------------------------------------------------------------------------

    def _on_jam(self, words):
        verdict = self._of_vane(words[0])
        if verdict == p.TAKEN:
            self._control.steering.jam(words[0], words[1])
            self._control.record(p.JAM, words[0], words[1])
        return verdict

    def _on_free(self, words):
        verdict = self._of_vane(words[0])
        if verdict == p.TAKEN:
            self._control.steering.free(words[0])
            self._control.record(p.FREE, words[0])
        return verdict

    def _of_vane(self, vane):
        """The verdict on telling something of this vane; with TAKEN its pulse is ready for it."""
        control = self._control
        if control.steering is None:
            return p.NO_TABLES
        if not 1 <= vane <= 4:
            return p.OUT_OF_RANGE
        if control.state == p.CHECKING:
            return p.NOT_NOW
        order = self._in_order()
        if order == p.TAKEN:
            control.pulses.part(control.steering, vane)
        return order

    def _on_watch(self, words):
        """Vanes that the watch declared are led from where their pulses stand."""
        control = self._control
        steering = control.steering
        if steering is None:
            return p.NO_TABLES
        if not 0 <= words[0] <= 1:
            return p.OUT_OF_RANGE
        if control.state == p.CHECKING:
            return p.NOT_NOW
        order = self._in_order()
        if order == p.TAKEN:
            if not words[0]:
                control.pulses.part_all(steering, steering.declared)
            steering.watch(words[0])
            control.record_watch()
        return order

    def _on_burn(self, words):
        node = self._node
        if node.length != BURN_BYTES:
            return p.WRONG_LENGTH
        control = self._control
        if control.steering is None:
            return p.NO_TABLES
        unpack(node.request, p.HEADER, 2, 4, words, 0)
        if words[0] < 0 or words[1] < 0:
            return p.OUT_OF_RANGE
        if control.state == p.ARMED or control.state == p.CHECKING:
            return p.NOT_NOW
        order = self._in_order()
        if order == p.TAKEN:
            if words[0]:
                control.steering.start(words[0], words[1])
            else:
                control.steering.wait(words[1])
            control.record(p.BURN, words[0], words[1])
        return order

    def _on_start(self, words):
        control = self._control
        if control.steering is None:
            return p.NO_TABLES
        order = self._in_order()
        if order == p.TAKEN:
            if control.state == p.CHECKING:
                control.make_safe()
            control.steering.begin()
            control.record(p.START)
        return order
