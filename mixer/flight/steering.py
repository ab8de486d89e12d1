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
from mixer.flight.within import within

LONGEST_DT_US = 500_000  # a longer gap moves the vanes no further than this one does


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
        self.flags = 0
        self.jammed = 0  # bit 0 for vane 1
        self._dt_us = 0
        self._age_us = 0
        self._bad = 0
        self.reset()

    def reset(self):
        """Back to the moment before ignition: vanes neutral and free, new, no demand yet."""
        t = self._t
        s = self._s
        for i in range(at.STATE_WORDS):
            s[i] = 0
        self.flags = 0
        self.jammed = 0
        self._bad = 0
        self._dt_us = 0
        self._age_us = t[at.TIMEOUT_US]
        for vane in range(1, 5):
            self.free(vane)
        s[at.NEUTRAL] = 1
        schedule(t, s)
        box(t, s)
        deflect(t, s)

    def start(self, time_us, load_us):
        """Set burn time and burn load, for a run that does not begin at ignition."""
        self._s[at.TIME] = time_us
        self._s[at.LOAD] = load_us
        self._s[at.RATE] = 16384

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
            self._age_us = 0
            return True
        self._bad = at.BAD_DEMAND
        return False

    def release(self):
        """Drop the demand: the vanes go to neutral at the slew rate until there is another."""
        self._age_us = self._t[at.TIMEOUT_US]

    def jam(self, vane, deflection_mdeg):
        """Vane 1 … 4 stands still at this deflection (held inside its travel) until it is freed."""
        i = vane - 1
        t = self._t
        s = self._s
        x = min(max(deflection_mdeg, t[at.TRAVEL_LO + i]), t[at.TRAVEL_HI + i])
        s[at.DEFLECTION + i] = x
        s[at.LIMIT_LO + i] = x
        s[at.LIMIT_HI + i] = x
        self.jammed |= 1 << i

    def free(self, vane):
        """Vane 1 … 4 moves again, from where it stood."""
        i = vane - 1
        self._s[at.LIMIT_LO + i] = self._t[at.TRAVEL_LO + i]
        self._s[at.LIMIT_HI + i] = self._t[at.TRAVEL_HI + i]
        self.jammed &= ~(1 << i)

    def step(self, pressure_pa, dt_us):
        """Run one control cycle, `dt_us` after the last one; return the flags."""
        t = self._t
        s = self._s
        if dt_us != self._dt_us:
            self._set_dt(dt_us)
        s[at.PRESSURE] = pressure_pa
        flags = self._bad
        self._bad = 0
        if self._age_us >= t[at.TIMEOUT_US]:
            flags |= at.STALE_DEMAND
        else:
            self._age_us += dt_us
        if pressure_pa < t[at.PA_MIN]:
            flags |= at.NO_THRUST
        if self.jammed:
            flags |= at.JAMMED_VANE
        schedule(t, s)
        if flags & (at.STALE_DEMAND | at.NO_THRUST):
            s[at.NEUTRAL] = 1
            box(t, s)
        else:
            s[at.NEUTRAL] = 0
            box(t, s)
            if t[at.POLICY]:
                if not along(t, s):
                    flags |= at.PRIMARY_LIMITED
            elif not within(t, s):
                nearest(t, s)
                flags |= at.PRIMARY_LIMITED
            if secondary(t, s):
                flags |= at.ROLL_LIMITED
        if deflect(t, s):
            flags |= at.SLEW_LIMITED
        s[at.FLAGS] = flags
        self.flags = flags
        return flags

    def _set_dt(self, dt_us):
        """Work out how far each vane may move in one cycle: ⌊slew·dt⌋, so never faster."""
        t = self._t
        s = self._s
        self._dt_us = dt_us
        dt_us = max(dt_us, 0)
        s[at.DT] = min(dt_us, 16_000_000)
        dt_us = min(dt_us, LONGEST_DT_US)
        for i in range(4):
            slew = t[at.SLEW_MDEG_S + i]
            s[at.STEP + i] = (slew // 1000 * dt_us + slew % 1000 * dt_us // 1000) // 1000
