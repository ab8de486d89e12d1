"""The pulses that go out: those of the steering, but never faster than the slew.

A steering believes at once where a vane is declared to stand, since the other vanes have to make
up for its true force. Its servo must not be thrown there: the declaration may be wrong, and the
linkage may let go. So the pulse of a declared vane is led to where the vane stands, from the last
pulse, at the slew rate and only while armed; arrived there, a jammed servo pulls at nothing. In the
safe state it stays where it is, and once the vane is free it goes to neutral at the slew rate. A
freed vane is led on until its pulse is the steering's own again. A vane that the jam watch declares
is led in the same way. A control check turns a vane likewise, slower, while the steering rests.
"""

from array import array

from mixer.flight import layout as at
from mixer.flight.boxes import step_in
from mixer.flight.interpolate import pulse_at

VANES = 4


class ServoPulses:
    """Pulses beside a steering that is told the same. `pulse_ns` (4) is what goes out."""

    def __init__(self):
        self._words = array("i")  # of the steering, its tables among them
        self.pulse_ns = array("i", [0, 0, 0, 0])
        self._apart = 0  # vanes whose pulse is not the steering's: bit 0 for vane 1
        self._jammed = 0  # in the last cycle
        self.stands_mdeg = array(
            "i", [0, 0, 0, 0]
        )  # the deflections their pulses stand for, 0.001°
        self.leading = False  # a pulse of theirs moved in the last cycle
        self.wanted_mdeg = array("i", [0, 0, 0, 0])  # by a control check
        self._slow_mdeg_ms = 0  # its rate, 0 without one
        self.resting = True  # vanes and pulses stood still in the last cycle
        self._rest = array("i", [0, 0, 0, 0])  # where the vanes stood then, 0.001°

    def begin(self, steering):
        """Take a fresh steering; the pulses are its own."""
        self._words = steering.core[1]
        self._apart = self._jammed = 0
        for i in range(VANES):
            self.pulse_ns[i] = steering.pulse_ns[i]

    def part(self, steering, vane):
        """To be told before the steering is told where vane 1 … 4 stands."""
        i = vane - 1
        if not self._apart >> i & 1:
            self.stands_mdeg[i] = steering.deflection_mdeg[i]
            self._apart |= 1 << i

    def part_all(self, steering, vanes):
        """The same of several, bit 0 for vane 1."""
        for vane in range(1, VANES + 1):
            if vanes >> (vane - 1) & 1:
                self.part(steering, vane)

    def _part_declared(self, vanes):
        """The jam watch has declared these in the cycle that is just over."""
        for i in range(VANES):
            if vanes >> i & 1:
                self.stands_mdeg[i] = self._words[at.WATCH_FROM + i]
        self._apart |= vanes

    def turn(self, steering, i, deflection_mdeg, rate_mdeg_ms):
        """Lead vane i (0 … 3) there, no faster than this, while the steering rests at neutral."""
        self.part(steering, i + 1)
        self.wanted_mdeg[i] = deflection_mdeg
        self._slow_mdeg_ms = rate_mdeg_ms
        self.leading = True

    def turn_no_more(self):
        """The check is over: what is out goes to neutral at the slew rate."""
        self._slow_mdeg_ms = 0
        for i in range(VANES):
            self.wanted_mdeg[i] = 0

    def follow(self, steering, dt_us, armed):
        """A cycle of the steering is over, `dt_us` long; allocates nothing."""
        self.leading = self.resting = False
        jammed = self._words[at.JAMMED]
        if jammed != self._jammed:
            self._part_declared(jammed & ~self._jammed & ~self._apart)
            self._jammed = jammed
        if self._apart:
            self._lead(steering, dt_us, armed)
        apart = self._apart
        pulse_ns = self.pulse_ns
        given = steering.pulse_ns
        for i in range(VANES):
            if not apart >> i & 1:
                pulse_ns[i] = given[i]

    def watch_rest(self, steering):
        """The cycle is over, in the safe state: see whether all stands still."""
        rest = self._rest
        deflection = steering.deflection_mdeg
        self.resting = not self.leading
        for i in range(VANES):
            if rest[i] != deflection[i]:
                rest[i] = deflection[i]
                self.resting = False

    def doubt_rest(self):
        """The safe state begins: its first cycle cannot tell of rest."""
        self._rest[0] = at.END  # nowhere

    def _lead(self, steering, dt_us, armed):
        words = self._words
        stands = self.stands_mdeg
        dt_us = min(dt_us, at.LONGEST_DT_US)
        for i in range(VANES):
            if self._apart >> i & 1:
                goal = steering.deflection_mdeg[i]
                if not armed:
                    goal = stands[i] if steering.jammed >> i & 1 else self.wanted_mdeg[i]
                step = step_in(words[at.SLEW_HIGH + i], words[at.SLEW_LOW + i], dt_us)
                if self._slow_mdeg_ms:
                    step = min(step, self._slow_mdeg_ms * dt_us // 1000)
                step = max(-step, min(step, goal - stands[i]))
                if step:
                    self.leading = True
                stands[i] += step
                if stands[i] == steering.deflection_mdeg[i] and not self.wanted_mdeg[i]:
                    self._apart &= ~(1 << i)
                self.pulse_ns[i] = pulse_of(words, i, stands[i])


def pulse_of(words, i, deflection_mdeg):
    """The pulse of vane i (0 … 3) at a deflection, or at the end of travel that it lies beyond."""
    lo = words[at.TRAVEL_LO + i]
    return pulse_at(words, i, min(max(deflection_mdeg, lo), words[at.TRAVEL_HI + i]))
