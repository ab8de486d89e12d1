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
    """What a Control does while it checks, and what that found.

    done: vanes that are through, bit 0 for vane 1; off: those whose sensor disagrees; turned: how
    far each turned by its sensor, 0.001°, or NO_ANGLE.
    """

    def __init__(self, control):
        self._control = control
        self.done = 0
        self.off = 0
        self.turned = array("i", [p.NO_ANGLE] * 4)
        self._vane = 0  # which one moves, 0 to 3
        self._goal = 0
        self._from = p.NO_ANGLE  # what its sensor told at neutral
        self._stayed_us = 0
        self._silent_us = 0

    def begin(self, deflection_mdeg):
        """The verdict on a check by so much; with TAKEN the first vane begins to turn."""
        control = self._control
        if control.steering is None:
            return p.NO_TABLES
        if not self._may_begin():
            return p.NOT_NOW
        if not LEAST_MDEG <= abs(deflection_mdeg) <= MOST_MDEG:
            return p.OUT_OF_RANGE
        words = control.words
        for i in range(4):
            if not words[at.TRAVEL_LO + i] <= deflection_mdeg <= words[at.TRAVEL_HI + i]:
                return p.OUT_OF_RANGE
        self.done = self.off = 0
        for i in range(4):
            self.turned[i] = p.NO_ANGLE
        self._goal = deflection_mdeg
        self._stayed_us = self._silent_us = 0
        self._turn_out(0)
        control.become(p.CHECKING)
        return p.TAKEN

    def _may_begin(self):
        """Whether nothing moves, burns or demands."""
        control = self._control
        return (
            control.at_rest()
            and control.silent_us >= control.timeout_us
            and control.pressure_pa < control.words[at.PA_MIN]
            and control.words[at.BURN] == at.WAITING
        )

    def go_on(self):
        """Somebody still asks what it has found."""
        self._silent_us = 0

    def cycle(self, dt_us):
        """Time has passed; allocates nothing."""
        control = self._control
        self._silent_us += dt_us
        if self._silent_us > SILENT_US:
            control.make_safe()
        elif not control.pulses.leading:
            self._stayed_us += dt_us
            if self._stayed_us >= STAY_US:
                self._stayed_us = 0
                self._next()

    def _next(self):
        """A vane has stayed long enough: out, it comes back; back, the next one goes out."""
        control = self._control
        i = self._vane
        if control.pulses.wanted_mdeg[i]:
            self._compare(i)
            control.pulses.turn(control.steering, i, 0, SLOW_MDEG_MS)
            return
        self.done |= 1 << i
        if i < 3:
            self._turn_out(i + 1)
        else:
            control.make_safe()

    def _turn_out(self, i):
        control = self._control
        self._vane = i
        self._from = self._angle(i)
        control.pulses.turn(control.steering, i, self._goal, SLOW_MDEG_MS)

    def _angle(self, i):
        angles = self._control.angles
        return p.NO_ANGLE if angles is None else angles.mdeg[i]

    def _compare(self, i):
        """A sensor that fails at either end has nothing to tell."""
        there = self._angle(i)
        if there != p.NO_ANGLE and self._from != p.NO_ANGLE:
            self.turned[i] = there - self._from
            if abs(self.turned[i] - self._goal) > OFF_MDEG:
                self.off |= 1 << i
            else:
                self._control.steering.trust(1 << i)
