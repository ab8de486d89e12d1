"""Steering: one array of words, what may be told to it, and a cycle that advances it.

A cycle allocates nothing and raises nothing. Vanes are numbered 1 to 4. The caller owns the clock:
`step` is told how long it has been.
"""

from array import array

from mixer.flight import commands
from mixer.flight import layout as at
from mixer.flight.cycle import cycle


class Steering:
    """Turns demands into deflections by the tables it is given.

    After each `step`: `deflection_mdeg` (4), `pulse_ns` (4), `force` (4, eighths of a count),
    `moment_mnm` (pitch, yaw, roll; what the commanded deflections give) and `flags`. `core` is the
    cycle and its words: `cycle(words, pressure_pa, dt_us)` is `step`, for a board's loop, where one
    more call costs a quarter of the cycle. copy: False where nobody else needs the tables, whose
    words the steering then takes for its own.
    """

    def __init__(self, tables, copy=True):
        self._w = array("i", tables.words) if copy else tables.words
        self._cycle = cycle
        self.core = (cycle, self._w)
        view = memoryview(self._w)
        self.deflection_mdeg = view[at.DEFLECTION : at.DEFLECTION + 4]
        self.pulse_ns = view[at.PULSE : at.PULSE + 4]
        self.force = view[at.FORCE : at.FORCE + 4]
        self.moment_mnm = view[at.MOMENT : at.MOMENT + 3]
        self.reset()

    def reset(self):
        """Back to the moment before ignition: vanes neutral and free, new, no demand yet."""
        commands.reset(self._w)

    def start(self, time_us, load_us):
        """The burn has begun: set burn time and burn load, from which they run on."""
        commands.start(self._w, time_us, load_us)

    def begin(self):
        """The burn has begun; a clock that runs is never set back by it."""
        commands.begin(self._w)

    def wait(self, load_us):
        """The burn has yet to begin, of vanes with this burn load."""
        commands.wait(self._w, load_us)

    flags = property(lambda self: self._w[at.FLAGS])
    jammed = property(lambda self: self._w[at.JAMMED])  # the vanes held to be: bit 0 for vane 1
    declared = property(lambda self: self._w[at.WATCH_DECLARED])  # those of them by the jam watch
    jams_found = property(lambda self: self._w[at.WATCH_FOUND])
    sensors_out = property(lambda self: self._w[at.SENSORS_OUT])  # bit 0 for vane 1
    time_us = property(lambda self: self._w[at.TIME])
    load_us = property(lambda self: self._w[at.LOAD])
    ratio_q14 = property(lambda self: self._w[at.RATIO])  # pc/pc_ref that counts
    burn = property(lambda self: self._w[at.BURN])  # WAITING, STARTED, SAID or BELIEVED

    @property
    def doubted_us(self):
        """For how long another pressure has counted than the one read, 0 where it does not."""
        return self._w[at.SINCE_US] if self._w[at.FLAGS] & at.DOUBTED_PRESSURE else 0

    def demand(self, pitch_mnm, yaw_mnm, roll_mnm):
        """Take a demand, integers in mN·m. False, and nothing changed, where it is out of range."""
        return commands.demand(self._w, pitch_mnm, yaw_mnm, roll_mnm) != 0

    def release(self):
        """Drop the demand: the vanes go to neutral at the slew rate until there is another."""
        commands.release(self._w)

    def jam(self, vane, deflection_mdeg):
        """Vane 1 … 4 stands still at this deflection (held inside its travel) until it is freed."""
        commands.jam(self._w, vane - 1, deflection_mdeg)

    def free(self, vane):
        """Vane 1 … 4 moves again, from where it stood."""
        commands.free(self._w, vane - 1)

    def sensed(self, vane1_mdeg, vane2_mdeg, vane3_mdeg, vane4_mdeg):
        """Tell what the angle sensors say, for the next `step`; NO_READING where one says nothing.

        From the first call on the jam watch is on: see `jam_watch`.
        """
        commands.sensed(self._w, vane1_mdeg, vane2_mdeg, vane3_mdeg, vane4_mdeg)

    def trust(self, vanes):
        """A check on the ground has seen these vanes' sensors follow, bit 0 for vane 1."""
        commands.trust(self._w, vanes)

    def watch(self, on):
        """Switch the jam watch off, and what it declared is free; or on again."""
        commands.watch(self._w, on)

    def step(self, pressure_pa, dt_us):
        """Run one control cycle, `dt_us` after the last one; return the flags."""
        return self._cycle(self._w, pressure_pa, dt_us)
