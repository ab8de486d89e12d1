"""The serial node: demands in, one control cycle after the other, answers out.

States. Safe: vanes at neutral, demands answered but not acted on. Armed: they move. Link-lost:
armed, but no good demand for the vehicle's timeout; vanes at neutral, the next good demand goes on.
Checking: safe, but each vane in turn goes out and back by itself (`control_check.py`).
A cycle begins when a demand has come and at least half a period has passed, and by itself when none
comes, so that the vanes follow the flight computer's own rhythm without a beat between two clocks.
"""

from array import array

from firmware_port import protocol as p
from firmware_port.control_check import ControlCheck
from firmware_port.frames import pack, seal, unpack
from firmware_port.inquiries import Inquiries
from firmware_port.motion import Motion
from firmware_port.receiver import Receiver
from firmware_port.servo_pulses import ServoPulses
from firmware_port.table_loading import TableLoading
from mixer.flight import Steering
from mixer.flight import layout as at

WORDS = 8  # numbers in the longest request
ANSWER_SIZE = 64
PERIOD_US = 5000  # before there are tables
LATE = -1  # a handler's word for "answered after the cycle"


class Node:
    """Frames from a line become cycles of Steering and pulses on outputs.

    line: `receive(chunk)` puts bytes in and returns how many, at once; `send(data, count)`.
    outputs: `write(pulse_ns)`, `off()`. clock, meter: see `hardware.py`; the
    meter's unit is that of a step's cost. store: a TableStore. watchdog: a Watchdog, or None.
    console: `serving.Console`, or None where the line is the prompt's own. angles: the vanes' angle
    sensors, a VaneAngles, or None.
    More kinds of frames: `handlers[kind] = function(length of contents)`, which returns a verdict
    and may `put` contents into the answer.
    """

    def __init__(
        self, line, outputs, clock, meter, store, watchdog=None, console=None, angles=None
    ):
        self.line = line
        self.outputs = outputs
        self.clock = clock
        self.store = store
        self.state = p.SAFE
        self.counters = array("i", [0] * p.COUNTER_COUNT)
        self.running = True
        self.steering = None
        self.pulses = ServoPulses()  # the steering's, as they go out
        self.period_us = PERIOD_US
        self.timeout_us = PERIOD_US
        self.tell_forces = False  # put the forces behind the answer to a demand
        self.at_once = False  # a demand's cycle need not wait until half a period has passed
        self.pressure_pa = 0
        self.silent_us = 0  # since the last good demand
        self.pending = False  # a demand waits for its cycle
        self.pending_sequence = 0
        self.acted_on = False  # that demand was taken while armed, and still counts
        self.token_us = 0  # how long the token for arming is still good, 0 where there is none
        self.angles = angles
        self.resting = True  # vanes and pulses stood still in the last cycle
        self.when_safe = None  # another's cycle in the safe state, given the time step in µs
        self.words = array("i", [0] * WORDS)
        self.handlers = [None] * p.KINDS
        self._meter = meter
        self.watchdog = watchdog
        self._console = console
        self.receiver = Receiver(line)
        self.request = self.receiver.body
        self.sequence = 0  # of the request being handled
        self.answer = bytearray(ANSWER_SIZE)
        self.fill = p.ANSWER_HEADER  # bytes of the answer so far
        self._wire = bytearray(ANSWER_SIZE)
        self._one = array("i", [0])
        self._rest = array("i", [0, 0, 0, 0])
        self._cost = array("i", [0])
        self._last = clock.now()
        self.motion = Motion(self)
        self.check = ControlCheck(self)
        self.inquiries = Inquiries(self)
        TableLoading(self)
        if store.tables is not None:
            self.fly(Steering(store.tables), store.tables)
        self._wait_us = self.period_us

    def fly(self, steering, tables):
        """Take a steering, and its tables' times, for every cycle from here on."""
        self.steering = steering
        self.pulses.begin(steering, tables.words)
        self.period_us = tables.words[at.PERIOD_US]
        self.timeout_us = tables.words[at.TIMEOUT_US]

    def become(self, state, counter):
        """Change the state and count the change."""
        self.state = state
        self.count(counter)
        if state == p.SAFE:
            self.acted_on = False
            self._rest[0] = at.END  # nowhere: the first cycle from here on cannot tell of rest

    def count(self, counter):
        """Count one more, up to what an answer can tell."""
        if self.counters[counter] < p.COUNTER_MOST:
            self.counters[counter] += 1

    # ---- the loop ------------------------------------------------------------------------------

    def run(self):
        """Turn until a STOP frame; then, or when something breaks, the pulses end."""
        try:
            while self.running:
                self.turn()
        finally:
            self.outputs.off()

    def turn(self):
        """Take at most one frame; run the cycle where it is due."""
        length = self.receiver.take()
        if length:
            self._dispatch(length)
        since = self.clock.between(self._last, self.clock.now())
        early = self.pending and (self.at_once or since >= (self.period_us + 1) >> 1)
        if early or since >= self._wait_us:
            self.cycle()

    def cycle(self):
        """One control cycle; allocates nothing."""
        now = self.clock.now()
        dt_us = self.clock.between(self._last, now)
        self._last = now
        self.count(p.CYCLES)
        if dt_us > self._wait_us + (self.period_us >> 2):
            self.count(p.SLIPS)
        if self.token_us:
            self.token_us = max(self.token_us - dt_us, 0)
        steering = self.steering
        if steering is not None:
            if self.state == p.SAFE or self.state == p.CHECKING:
                steering.release()
            if self.silent_us < self.timeout_us:
                self.silent_us += dt_us
            elif self.state == p.ARMED:
                self.become(p.LINK_LOST, p.TO_LINK_LOST)
                self.tell(p.STATE, 0, p.TAKEN)
            if self.state == p.SAFE and self.when_safe is not None:
                self.when_safe(dt_us)
            else:
                self._step(steering, dt_us)
            if self.state == p.CHECKING:
                self.check.cycle(dt_us)
            self.resting = False
            if self.state == p.SAFE:
                self._watch_rest(steering)
        self._wait_us = self.period_us
        if self.pending:  # with demands coming, wait a little longer for the next one
            self._wait_us += self.period_us >> 2
            self.pending = False
            verdict = p.TAKEN
            if not self.acted_on:
                verdict = p.NOT_ARMED
                self.count(p.NOT_ARMED)
            self.answer_demand(p.DEMAND, self.pending_sequence, verdict)
        if self._console is not None and self._console.asks_to_end() and self.state == p.SAFE:
            self.running = False
        if self.watchdog is not None:
            self.watchdog.feed(self.state != p.SAFE)

    def _step(self, steering, dt_us):
        if self.angles is not None:
            self.angles.look(steering, self.state == p.CHECKING)
        meter = self._meter
        pressure_pa = self.pressure_pa
        start = meter.now()
        cycle, words = steering.core  # `steering.step` would cost 700 more
        cycle(words, pressure_pa, dt_us)
        self._cost[0] = meter.since(start)
        armed = self.state == p.ARMED or self.state == p.LINK_LOST
        self.pulses.follow(steering, dt_us, armed)
        self.outputs.write(self.pulses.pulse_ns)

    def _watch_rest(self, steering):
        rest = self._rest
        deflection = steering.deflection_mdeg
        self.resting = not self.pulses.leading
        for i in range(4):
            if rest[i] != deflection[i]:
                rest[i] = deflection[i]
                self.resting = False

    # ---- requests and answers ------------------------------------------------------------------

    def _dispatch(self, length):
        request = self.request
        first = request[0]
        kind = first & (p.KINDS - 1)
        sequence = self.sequence = request[1] | request[2] << 8
        if first >> 6 != p.VERSION:
            self.count(p.WRONG_VERSION)
            return
        handler = self.handlers[kind]
        if handler is None or first & p.ANSWER:
            self.count(p.UNKNOWN_KIND)
            self.tell(kind, sequence, p.UNKNOWN_KIND)
            return
        verdict = handler(length - p.HEADER)
        if verdict == LATE:
            return
        if verdict != p.TAKEN:
            self.count(verdict)
        if kind == p.DEMAND or kind == p.PASS:
            self.answer_demand(kind, sequence, verdict)
        else:
            self.tell(kind, sequence, verdict)

    def numbers(self, length, count, width):
        """Read contents of exactly `count` numbers into `words`; False for another length."""
        if length != count * width:
            return False
        unpack(self.request, p.HEADER, count, width, self.words, 0)
        return True

    def put(self, words, first, count, width):
        """Append numbers to the answer."""
        self.fill = pack(words, first, count, width, self.answer, self.fill)

    def put_number(self, value):
        """Append one number of 3 bytes to the answer."""
        self._one[0] = value
        self.put(self._one, 0, 1, 3)

    def tell(self, kind, sequence, verdict):
        """Send the answer with what has been put into it."""
        answer = self.answer
        wire = self._wire
        answer[0] = p.VERSION << 6 | p.ANSWER | kind
        answer[1] = sequence & 0xFF
        answer[2] = sequence >> 8
        answer[3] = self.state << 4 | verdict
        count = seal(answer, self.fill, wire)
        self.fill = p.ANSWER_HEADER
        self.line.send(wire, count)

    def answer_demand(self, kind, sequence, verdict):
        """Tell what the last cycle did."""
        steering = self.steering
        if steering is not None:
            answer = self.answer
            fill = self.fill
            answer[fill] = steering.flags
            fill = pack(steering.deflection_mdeg, 0, 4, 3, answer, fill + 1)
            fill = pack(self.pulses.pulse_ns, 0, 4, 3, answer, fill)
            fill = pack(self._cost, 0, 1, 3, answer, fill)
            fill = pack(steering.moment_mnm, 0, 3, 4, answer, fill)
            if self.tell_forces:
                fill = pack(steering.force, 0, 4, 3, answer, fill)
            self.fill = fill
        self.tell(kind, sequence, verdict)
