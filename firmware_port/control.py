"""The control cycle: states, silence on the line, the demand that waits, pulses that go out.

States. Safe: vanes at neutral, demands answered but not acted on. Armed: they move. Link-lost:
armed, but no good demand for the vehicle's timeout; vanes at neutral, the next good demand goes on.
Checking: safe, but each vane in turn goes out and back by itself (`control_check.py`).
A cycle begins when a demand has come and at least half a period has passed, and by itself when none
comes, so that the vanes follow the flight computer's own rhythm without a beat between two clocks.
"""

# pyright: reportOptionalMemberAccess=false, reportOptionalCall=false
# In every state but the safe one there is a steering.

from array import array

from firmware_port import protocol as p
from firmware_port.control_check import ControlCheck

# By name what every cycle needs: `p.NAME` costs 120 instructions more.
from firmware_port.protocol import ARMED, CHECKING, COUNTER_MOST, CYCLES, LINK_LOST, SAFE, TAKEN
from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.flight.servo_pulses import ServoPulses

PERIOD_US = 5000  # before there are tables
CHANGES = (p.TO_SAFE, p.TO_ARMED, p.TO_LINK_LOST, p.TO_CHECKING)  # the counters, by the new state


class Control:
    """Cycles of a Steering; it knows of no frames.

    outputs: `write(pulse_ns)`, `off()`. clock, meter: see `hardware.py`; the meter's unit is that
    of a step's cost. tables: FlightTables, or None. angles: the vanes' angle sensors, a VaneAngles,
    or None. recorder: of what the steering is told, a Recorder, or None.
    """

    def __init__(self, outputs, clock, meter, tables, angles, recorder=None):
        self.outputs = outputs
        self.clock = clock
        self.angles = angles
        self.recorder = recorder
        self._log = None  # the recorder's, while it records
        self._recorded = None
        if recorder is not None:
            # A node that records nothing does without its memory.
            from firmware_port.record_cycle import recorded

            self._recorded = recorded  # a cycle that is kept
        self.counters = array("i", [0] * p.COUNTER_COUNT)
        self.state = SAFE
        self.steering = None
        self.words = array("i")  # the steering's, its tables among them
        self.pulses = ServoPulses()  # the steering's, as they go out
        self.cost = array("i", [0])  # of the last step
        self.pressure_pa = 0
        self.silent_us = 0  # since the last good demand
        self.timeout_us = PERIOD_US
        self.fresh_us = 0  # for how long a token that was given is still good
        self.acted_on = False  # the last demand was taken while armed, and still counts
        self.at_once = False  # a demand's cycle need not wait until half a period has passed
        self.when_safe = None  # another's cycle in the safe state, given the time step in µs
        self.check = ControlCheck(self)
        self._pending = None  # the number of the demand that waits for its cycle
        self._meter = meter
        self._cycle = None  # the steering's
        self._last = clock.now()
        self._period_us = PERIOD_US
        if tables is not None:
            self.fly(Steering(tables))
        self._wait_us = self._period_us  # as long as a cycle lasts that no demand begins
        self._due_us = self._wait_us  # as long as this one may, at the least

    def fly(self, steering):
        """Take a steering for every cycle from here on."""
        self.steering = steering
        self._cycle, self.words = steering.core  # `steering.step` would cost 700 more
        self.pulses.begin(steering)
        self._period_us = self.words[at.PERIOD_US]
        self.timeout_us = self.words[at.TIMEOUT_US]
        if self.recorder is not None:
            self.recorder.open()

    def count(self, counter):
        """Count one more, up to what an answer can tell."""
        counters = self.counters
        if counters[counter] < COUNTER_MOST:
            counters[counter] += 1

    # ---- states ----------------------------------------------------------------------------------

    def become(self, state):
        """Change the state and count the change."""
        self.state = state
        self.count(CHANGES[state])
        if self._log is not None:
            self.recorder.state(self.words, state)
        if state == SAFE:
            self.acted_on = False
            self.pulses.doubt_rest()

    def demand(self, moment_mnm, pressure_pa, sequence):
        """The verdict on a demand (pitch, yaw, roll); where it is taken its cycle is to come."""
        if self.state == CHECKING:
            self.make_safe()
        if self.state != SAFE:
            if not self.steering.demand(moment_mnm[0], moment_mnm[1], moment_mnm[2]):
                return p.OUT_OF_RANGE
            if self.state == LINK_LOST:
                self.become(ARMED)
        self.silent_us = 0
        self.acted_on = self.state != SAFE
        self.pressure_pa = pressure_pa
        if self._pending is not None:
            self.count(p.OVERTAKEN)
        self._pending = sequence
        self._due_us = 0 if self.at_once else (self._period_us + 1) >> 1
        return TAKEN

    def arm(self):
        """The verdict on arming; where it is taken the vanes follow demands from here on."""
        if self.steering is None:
            return p.NO_TABLES
        if (self.state != SAFE and self.state != LINK_LOST) or self.when_safe is not None:
            return p.NOT_NOW
        self.silent_us = 0
        self.become(ARMED)
        if self.recorder is not None and self.recorder.blocks:
            self.recorder.begin(self.words, self.counters)
            self._log = self.recorder.log
        return TAKEN

    def make_safe(self):
        """To the safe state from any; what is out is led to neutral at the slew rate."""
        if self.state != SAFE:
            if self._log is not None:
                self.recorder.end(self.words, self.counters)
                self._log = None
            self.steering.release()  # at once: no demand from before may count after a new arming
            self.pulses.turn_no_more()
            self.become(SAFE)

    def record(self, kind, first=0, second=0):
        """Keep what a frame of this kind told the steering, where that is recorded."""
        if self._log is not None:
            self.recorder.told(self.words, kind, first, second)

    def record_watch(self):
        """Keep how the jam watch stands, which a frame has just told, where that is recorded."""
        if self._log is not None:
            self.recorder.watch(self.words)

    def at_rest(self):
        """Whether all vanes stand at neutral, none counts as jammed, and no bench is at work."""
        if self.steering is not None and self.words[at.JAMMED]:
            return False
        return self.state == SAFE and self.pulses.resting and self.when_safe is None

    # ---- the cycle; allocates nothing ------------------------------------------------------------

    def hasten(self):
        """The next cycle is due as soon as any time has passed."""
        self._due_us = 0

    def begin(self):
        """Begin a cycle where one is due: µs since the last one began, 0 for not yet."""
        clock = self.clock
        now = clock.now()
        dt_us = clock.between(self._last, now)
        if dt_us < self._due_us:
            return 0
        self._last = now
        return dt_us

    def cycle(self, dt_us):
        """The cycle that has begun; the number of the demand that waited for it, or None."""
        period_us = self._period_us
        self.count(CYCLES)
        if dt_us > self._wait_us + (period_us >> 2):
            self.count(p.SLIPS)
        if self.fresh_us:
            self.fresh_us = max(self.fresh_us - dt_us, 0)
        if self.steering is not None:
            self._steer(dt_us)
        pending = self._pending
        self._pending = None
        # With demands coming, wait a little longer for the next one.
        wait_us = period_us if pending is None else period_us + (period_us >> 2)
        self._wait_us = self._due_us = wait_us
        return pending

    def _steer(self, dt_us):
        if self.silent_us < self.timeout_us:
            self.silent_us += dt_us
        elif self.state == ARMED:
            self.become(LINK_LOST)
        state = self.state
        steering = self.steering
        armed = state != SAFE and state != CHECKING
        if not armed:
            steering.release()
        if state == SAFE and self.when_safe is not None:
            self.when_safe(dt_us)
        else:
            if self.angles is not None:
                self.angles.look(steering, state == CHECKING)
            meter = self._meter
            words = self.words
            pressure_pa = self.pressure_pa
            log = self._log
            if log is not None:
                start = meter.now()
                self._recorded(words, log, pressure_pa, dt_us)
            else:
                start = meter.now()
                self._cycle(words, pressure_pa, dt_us)
            self.cost[0] = meter.since(start)
            pulses = self.pulses
            pulses.follow(steering, dt_us, armed)
            self.outputs.write(pulses.pulse_ns)
            if state == CHECKING:
                self.check.cycle(dt_us)
        if self.state == SAFE:
            self.pulses.watch_rest(steering)
