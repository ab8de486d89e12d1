"""Servos moved on the bench: direct pulses and deflections, angles read. Safe state only.

Every way of moving is bounded on the board: pulses stay within what servos take and are led to
their place at a fixed slew. When the bench falls silent the servos go to neutral by themselves.
While it is at work the node cannot be armed.
"""

from array import array

from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from firmware_port.bench.play import BenchPlay
from mixer.flight import layout as at
from mixer.flight.servo_pulses import pulse_of


class Bench:
    """Handles the bench's requests for a node. reader, supply: see `angle_encoder.py`, or None."""

    def __init__(self, node, reader=None, supply=None):
        self._node = node
        self._control = node.control
        self._reader = reader
        self._supply = supply
        self.now = array("i", [0, 0, 0, 0])  # the pulses put out, ns
        self._goal = array("i", [0, 0, 0, 0])
        self._neutral = array("i", [0, 0, 0, 0])
        self._hold_us = 0
        self.silent_us = 0
        self.handle(b.MOVE, self._on_move, 3)
        self.handle(b.TURN, self._on_turn, 3)
        self.handle(b.LOOK, self._on_look, 2)
        node.handle(b.END, self._on_end)
        self._play = BenchPlay(node, self)

    def _cycle(self, dt_us):
        """The node's cycle while the bench is at work: lead every pulse towards its goal."""
        self.silent_us += dt_us
        silent = self.silent_us > self._hold_us
        step = b.SLEW_NS_PER_US * min(dt_us, b.LONGEST_DT_US)
        now = self.now
        resting = True
        for i in range(4):
            goal = self._neutral[i] if silent else self._goal[i]
            now[i] += max(-step, min(step, goal - now[i]))
            if now[i] != self._neutral[i]:
                resting = False
        self._control.outputs.write(now)
        if silent and resting:
            self._control.when_safe = None

    def handle(self, kind, handler, count=0):
        """As a node's; but the handler is only asked where the bench is at work or may be."""

        def handle(words):
            verdict = self.begin()
            return handler(words) if verdict == p.TAKEN else verdict

        self._node.handle(kind, handle, count)

    def begin(self):
        """The verdict on any request; from TAKEN on the bench is at work."""
        control = self._control
        if control.steering is None:
            return p.NO_TABLES
        if control.state != p.SAFE:
            return p.NOT_NOW
        if control.when_safe is None:
            if not control.pulses.resting:
                return p.NOT_NOW
            for i in range(4):
                self.now[i] = self._goal[i] = self._neutral[i] = control.pulses.pulse_ns[i]
            self._hold_us = 2_000_000
            control.when_safe = self._cycle
        self.silent_us = 0
        return p.TAKEN

    def _aim(self, vane, pulse_ns, hold_ms):
        if not 1 <= vane <= 4 or not b.SHORTEST_NS <= pulse_ns <= b.LONGEST_NS:
            return p.OUT_OF_RANGE
        if not 0 < hold_ms <= b.MOST_HOLD_MS:
            return p.OUT_OF_RANGE
        self._goal[vane - 1] = pulse_ns
        self._hold_us = hold_ms * 1000
        self._node.put(self.now, vane - 1, 1, 3)
        return p.TAKEN

    def _on_move(self, words):
        return self._aim(words[0], words[1], words[2])

    def _on_turn(self, words):
        vane, deflection_mdeg = words[0], words[1]
        if not 1 <= vane <= 4:
            return p.OUT_OF_RANGE
        t = self._control.words
        if not t[at.TRAVEL_LO + vane - 1] <= deflection_mdeg <= t[at.TRAVEL_HI + vane - 1]:
            return p.OUT_OF_RANGE
        verdict = self._aim(vane, pulse_of(t, vane - 1, deflection_mdeg), words[2])
        self._node.put(self._goal, vane - 1, 1, 3)
        return verdict

    def _on_look(self, words):
        node = self._node
        vane, samples = words[0], words[1]
        if not 1 <= vane <= 4 or not 0 < samples <= b.MOST_SAMPLES:
            return p.OUT_OF_RANGE
        reader = self._reader
        node.put(self.now, vane - 1, 1, 3)
        node.put_number(self.supply_mv())
        node.put_number(1 if reader is not None and reader.magnet(vane) else 0)
        for _ in range(samples):
            node.put_number(self.counts(vane))
        return p.TAKEN

    def counts(self, vane):
        """What the angle reader gives, -1 for nothing."""
        return -1 if self._reader is None else self._reader.read(vane)

    def supply_mv(self):
        """The servos' supply, -1 where it is not measured."""
        return -1 if self._supply is None else self._supply.read_mv()

    def jump(self, vane, pulse_ns):
        """Put out a pulse at once; the caller has seen that it is near the last."""
        self.now[vane - 1] = self._goal[vane - 1] = pulse_ns
        self._control.outputs.write(self.now)

    def _on_end(self, words):
        verdict = self.begin()
        self._hold_us = -1
        self._play.forget()
        return verdict
