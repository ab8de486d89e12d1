"""One control cycle: demand, pressure and time in; deflections, pulses, moments and flags out.

Everything lives in one array of 32-bit words (`layout.py`); a cycle allocates nothing and raises
nothing. Vanes are numbered 1 to 4. The caller owns the clock: `step` is told how long it has been.
"""

from array import array

from mixer.flight import layout as at
from mixer.flight.along import along
from mixer.flight.box import box
from mixer.flight.deflect import deflect
from mixer.flight.nearest import nearest
from mixer.flight.schedule import schedule
from mixer.flight.secondary import secondary


class Steering:
    """Turns demands into deflections by the tables it is given.

    After each `step`: `deflection_mdeg` (4), `pulse_ns` (4), `force` (4, eighths of a count),
    `moment_mnm` (pitch, yaw, roll; what the commanded deflections give) and `flags`.
    """

    def __init__(self, tables):
        self._w = array("i", tables.words)
        view = memoryview(self._w)
        self.deflection_mdeg = view[at.DEFLECTION : at.DEFLECTION + 4]
        self.pulse_ns = view[at.PULSE : at.PULSE + 4]
        self.force = view[at.FORCE : at.FORCE + 4]
        self.moment_mnm = view[at.MOMENT : at.MOMENT + 3]
        self.reset()

    def reset(self):
        """Back to the moment before ignition: vanes neutral and free, new, no demand yet."""
        w = self._w
        for i in range(at.STATE_WORDS):
            w[i] = 0
        self.release()
        for vane in range(1, 5):
            self.free(vane)
        self._seek_from_the_start()
        schedule(w, 0, 0)
        box(w)
        deflect(w)
        w[at.FLAGS] = 0

    def start(self, time_us, load_us):
        """Set burn time and burn load, for a run that does not begin at ignition."""
        w = self._w
        w[at.TIME] = time_us
        w[at.LOAD] = load_us
        w[at.RATE] = 16384
        self._seek_from_the_start()

    def _seek_from_the_start(self):
        w = self._w
        w[at.WEAR_HINT] = w[at.WEAR_OFF]
        w[at.LEVER_HINT] = w[at.LEVER_OFF]

    @property
    def flags(self):
        return self._w[at.FLAGS]

    @property
    def jammed(self):
        """The vanes told to be jammed: bit 0 for vane 1."""
        return self._w[at.JAMMED]

    @property
    def time_us(self):
        return self._w[at.TIME]

    @property
    def load_us(self):
        return self._w[at.LOAD]

    def demand(self, pitch_mnm, yaw_mnm, roll_mnm):
        """Take a demand, integers in mN·m. False, and nothing changed, where it is out of range."""
        w = self._w
        most = w[at.MNM_MAX]
        most_roll = w[at.ROLL_MNM_MAX]
        if (
            -most <= pitch_mnm <= most
            and -most <= yaw_mnm <= most
            and -most_roll <= roll_mnm <= most_roll
        ):
            w[at.DEMAND] = pitch_mnm
            w[at.DEMAND + 1] = yaw_mnm
            w[at.DEMAND + 2] = roll_mnm
            w[at.AGE] = 0
            return True
        self._w[at.BAD] = at.BAD_DEMAND
        return False

    def release(self):
        """Drop the demand: the vanes go to neutral at the slew rate until there is another."""
        self._w[at.AGE] = self._w[at.TIMEOUT_US]

    def jam(self, vane, deflection_mdeg):
        """Vane 1 … 4 stands still at this deflection (held inside its travel) until it is freed."""
        i = vane - 1
        w = self._w
        x = min(max(deflection_mdeg, w[at.TRAVEL_LO + i]), w[at.TRAVEL_HI + i])
        w[at.DEFLECTION + i] = x
        w[at.LIMIT_LO + i] = x
        w[at.LIMIT_HI + i] = x
        w[at.JAMMED] |= 1 << i

    def free(self, vane):
        """Vane 1 … 4 moves again, from where it stood."""
        i = vane - 1
        self._w[at.LIMIT_LO + i] = self._w[at.TRAVEL_LO + i]
        self._w[at.LIMIT_HI + i] = self._w[at.TRAVEL_HI + i]
        self._w[at.JAMMED] &= ~(1 << i)

    def step(self, pressure_pa, dt_us):
        """Run one control cycle, `dt_us` after the last one; return the flags."""
        w = self._w
        steer = schedule(w, dt_us, pressure_pa)
        box(w)
        if steer:
            if steer == 1:
                nearest(w)
            else:
                along(w)
            secondary(w)
        return deflect(w)
