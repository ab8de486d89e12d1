"""Control check on the pad: each vane out and back by a few degrees, one after the other, slowly.

It has a state of its own: no demand is followed, the steering rests, and only `pulses` turn. It
begins only from the safe state, with the vanes at rest and free, no demand lately, no jet, and the
burn clock standing. It ends, with the vanes led to neutral, on a demand (jet or not), on START, on
DISARM, and when nobody asks for a while what it has found. Where a vane has an angle sensor, how
far that turned is kept and compared with how far it should have.
"""

from array import array

from firmware_port import protocol as p
from mixer.flight import layout as at

LEAST_MDEG, MOST_MDEG = 2000, 5000
SLOW_MDEG_MS = 10  # 10°/s
STAY_US = 300_000  # a vane stays out, and then at neutral, so long: a slow servo arrives
OFF_MDEG = 1000  # a sensor that turned so much too far or too little tells of a fault
SILENT_US = 500_000


class ControlCheck:
    """Handles CHECK and CHECKED for a node; `cycle` is the node's while it checks."""

    def __init__(self, node):
        self._node = node
        self._vane = 0  # which one moves, 0 to 3
        self._goal = 0
        self._stayed_us = 0
        self._silent_us = 0
        self._done = 0  # vanes that are through: bit 0 for vane 1
        self._off = 0  # those whose sensor disagrees
        self._turned = array("i", [p.NO_ANGLE] * 4)  # by the sensors, 0.001°
        self._from = p.NO_ANGLE  # what the sensor told at neutral
        node.handlers[p.CHECK] = self._on_check
        node.handlers[p.CHECKED] = self._on_checked

    def may_begin(self):
        """Whether nothing moves, burns or demands."""
        node = self._node
        steering = node.steering
        return (
            node.state == p.SAFE
            and node.resting
            and node.when_safe is None
            and not steering.jammed
            and node.silent_us >= node.timeout_us
            and node.pressure_pa < steering.core[1][at.PA_MIN]
            and steering.burn == at.WAITING
        )

    def begin(self, deflection_mdeg):
        """The verdict on a check by so much; with TAKEN the first vane begins to turn."""
        node = self._node
        words = node.steering.core[1]
        if not LEAST_MDEG <= abs(deflection_mdeg) <= MOST_MDEG:
            return p.OUT_OF_RANGE
        for i in range(4):
            if not words[at.TRAVEL_LO + i] <= deflection_mdeg <= words[at.TRAVEL_HI + i]:
                return p.OUT_OF_RANGE
        self._vane = 0
        self._goal = deflection_mdeg
        self._stayed_us = self._silent_us = 0
        self._done = self._off = 0
        for i in range(4):
            self._turned[i] = p.NO_ANGLE
        self._from = self._angle(0)
        node.pulses.turn(node.steering, 0, deflection_mdeg, SLOW_MDEG_MS)
        return p.TAKEN

    def end(self):
        """Back to the safe state; what is out is led to neutral at the slew rate."""
        node = self._node
        node.pulses.turn_no_more()
        node.become(p.SAFE, p.TO_SAFE)

    def cycle(self, dt_us):
        """Time has passed; allocates nothing."""
        node = self._node
        self._silent_us += dt_us
        if self._silent_us > SILENT_US:
            self._end_by_itself()
        elif not node.pulses.leading:
            self._stayed_us += dt_us
            if self._stayed_us >= STAY_US:
                self._stayed_us = 0
                self._go_on()

    def _go_on(self):
        """A vane has stayed long enough: out, it comes back; back, the next one goes out."""
        node = self._node
        i = self._vane
        if node.pulses.wanted_mdeg[i]:
            self._compare(i)
            node.pulses.turn(node.steering, i, 0, SLOW_MDEG_MS)
            return
        self._done |= 1 << i
        if i == 3:
            self._end_by_itself()
            return
        self._vane = i + 1
        self._from = self._angle(i + 1)
        node.pulses.turn(node.steering, i + 1, self._goal, SLOW_MDEG_MS)

    def _end_by_itself(self):
        self.end()
        self._node.tell(p.STATE, 0, p.TAKEN)

    def _angle(self, i):
        angles = self._node.angles
        return p.NO_ANGLE if angles is None else angles.mdeg[i]

    def _compare(self, i):
        """A sensor that fails at either end has nothing to tell."""
        there = self._angle(i)
        if there != p.NO_ANGLE and self._from != p.NO_ANGLE:
            self._turned[i] = there - self._from
            if abs(self._turned[i] - self._goal) > OFF_MDEG:
                self._off |= 1 << i

    # ---- requests --------------------------------------------------------------------------------

    def _on_check(self, length):
        node = self._node
        if not node.numbers(length, 2, 3):
            return p.WRONG_LENGTH
        if not node.motion.token_fits():
            return p.WRONG_TOKEN
        if node.steering is None:
            return p.NO_TABLES
        if not self.may_begin():
            return p.NOT_NOW
        verdict = self.begin(node.words[1])
        if verdict == p.TAKEN:
            node.motion.begin_numbers()
            node.store.forget()
            node.become(p.CHECKING, p.TO_CHECKING)
        return verdict

    def _on_checked(self, length):
        if length:
            return p.WRONG_LENGTH
        node = self._node
        self._silent_us = 0
        node.put_number(self._done)
        node.put_number(self._off)
        node.put(self._turned, 0, 4, 3)
        return p.TAKEN
