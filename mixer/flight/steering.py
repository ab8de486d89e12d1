"""One control cycle: demand, pressure and time in; deflections, pulses, moments and flags out.

Everything lives in two arrays of 32-bit words (`layout.py`); a cycle allocates nothing and raises
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
        self._t = tables.words
        self._s = array("i", [0] * at.STATE_WORDS)
        view = memoryview(self._s)
        self.deflection_mdeg = view[at.DEFLECTION : at.DEFLECTION + 4]
        self.pulse_ns = view[at.PULSE : at.PULSE + 4]
        self.force = view[at.FORCE : at.FORCE + 4]
        self.moment_mnm = view[at.MOMENT : at.MOMENT + 3]
        self.reset()

    def reset(self):
        """Back to the moment before ignition: vanes neutral and free, new, no demand yet."""
        t = self._t
        s = self._s
        for i in range(at.STATE_WORDS):
            s[i] = 0
        self.release()
        for vane in range(1, 5):
            self.free(vane)
        s[at.WEAR_HINT] = t[at.WEAR_OFF]
        s[at.LEVER_HINT] = t[at.LEVER_OFF]
        for i in range(4):
            s[at.CURVE_HINT + i] = t[at.CURVE_OFF + i]
            s[at.SERVO_HINT + i] = t[at.SERVO_OFF + i]
        schedule(t, s, 0, 0)
        box(t, s)
        deflect(t, s)
        s[at.FLAGS] = 0

    def start(self, time_us, load_us):
        """Set burn time and burn load, for a run that does not begin at ignition."""
        self._s[at.TIME] = time_us
        self._s[at.LOAD] = load_us
        self._s[at.RATE] = 16384

    @property
    def flags(self):
        return self._s[at.FLAGS]

    @property
    def jammed(self):
        """The vanes told to be jammed: bit 0 for vane 1."""
        return self._s[at.JAMMED]

    @property
    def time_us(self):
        return self._s[at.TIME]

    @property
    def load_us(self):
        return self._s[at.LOAD]

    def demand(self, pitch_mnm, yaw_mnm, roll_mnm):
        """Take a demand, integers in mN·m. False, and nothing changed, where it is out of range."""
        t = self._t
        most = t[at.MNM_MAX]
        most_roll = t[at.ROLL_MNM_MAX]
        if (
            -most <= pitch_mnm <= most
            and -most <= yaw_mnm <= most
            and -most_roll <= roll_mnm <= most_roll
        ):
            s = self._s
            s[at.DEMAND] = pitch_mnm
            s[at.DEMAND + 1] = yaw_mnm
            s[at.DEMAND + 2] = roll_mnm
            s[at.AGE] = 0
            return True
        self._s[at.BAD] = at.BAD_DEMAND
        return False

    def release(self):
        """Drop the demand: the vanes go to neutral at the slew rate until there is another."""
        self._s[at.AGE] = self._t[at.TIMEOUT_US]

    def jam(self, vane, deflection_mdeg):
        """Vane 1 … 4 stands still at this deflection (held inside its travel) until it is freed."""
        i = vane - 1
        t = self._t
        s = self._s
        x = min(max(deflection_mdeg, t[at.TRAVEL_LO + i]), t[at.TRAVEL_HI + i])
        s[at.DEFLECTION + i] = x
        s[at.LIMIT_LO + i] = x
        s[at.LIMIT_HI + i] = x
        s[at.JAMMED] |= 1 << i

    def free(self, vane):
        """Vane 1 … 4 moves again, from where it stood."""
        i = vane - 1
        self._s[at.LIMIT_LO + i] = self._t[at.TRAVEL_LO + i]
        self._s[at.LIMIT_HI + i] = self._t[at.TRAVEL_HI + i]
        self._s[at.JAMMED] &= ~(1 << i)

    def step(self, pressure_pa, dt_us):
        """Run one control cycle, `dt_us` after the last one; return the flags."""
        t = self._t
        s = self._s
        steer = schedule(t, s, pressure_pa, dt_us)
        box(t, s)
        if steer:
            if steer == 1:
                nearest(t, s)
            else:
                along(t, s)
            secondary(t, s)
        return deflect(t, s)
