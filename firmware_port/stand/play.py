"""A programme played on the node's own clock, for a test stand: the line's jitter moves no vane.

It runs in the safe state, by the way of every led pulse: deflections of the programme, never faster
than the slew (`servo_pulses.py`). The vanes go to neutral by themselves when it is over, when it is
halted, when the node is asked to end, and when nobody has fetched for a second. While it plays the
node cannot be armed.
"""

# pyright: reportOptionalMemberAccess=false
# Who waits has a trigger.

from array import array

from firmware_port import protocol as p
from firmware_port.stand import protocol as s
from firmware_port.stand.points import DEFLECTION, SUPPLY, SYNC, Points
from firmware_port.stand.programme import StandProgramme
from firmware_port.stand.sync_output import SyncOutput

NOT_MEASURED = -1


class Play:
    """Handles the stand's requests for a node.

    supply: see `angle_encoder.py`, or None. sync, trigger: a `machine.Pin` each, or None. `seen`
    (4): angles in 0.001°, where no sensors of the node's own tell them.
    """

    def __init__(self, node, supply=None, sync=None, trigger=None):
        self._node = node
        self._control = node.control
        self._supply = supply
        self._trigger = trigger
        self._sync = SyncOutput(sync)
        self._points = Points()
        self._programme = StandProgramme()
        self.seen = array("i", [p.NO_ANGLE] * 4)
        self.phase = s.EMPTY
        self._outcome = s.UNDECIDED
        self._run = 0
        self._silent_us = self._time_us = 0
        self._stop, self._disarm = node.handlers[p.STOP], node.handlers[p.DISARM]
        node.handle(s.BEGIN, self._on_begin, 4)
        node.handle(s.KNOTS, self._on_knots, None)
        node.handle(s.LOOK, self._on_look)
        node.handle(s.GO, self._on_go, 2)
        node.handle(s.FETCH, self._on_fetch, 1)
        node.handle(s.HALT, self._on_halt)
        node.handle(p.STOP, self._on_stop)
        node.handle(p.DISARM, self._on_disarm, 1)

    # ---- the cycle; allocates nothing ------------------------------------------------------------

    def _cycle(self, dt_us):
        """The node's cycle from GO until the vanes are home again."""
        self._silent_us += dt_us
        if self.phase < s.HOMING and self._silent_us > s.HOLD_US:
            self._home(s.SILENT)
        if self.phase == s.WAITING:
            if not self._trigger.value():
                return
            self.phase = s.PLAYING
        else:
            self._time_us += dt_us
        self._sync.step(dt_us)
        control = self._control
        steering, pulses = control.steering, control.pulses
        wanted = self._programme.wanted_mdeg
        if self.phase == s.PLAYING and not self._programme.seek(self._time_us):
            self._home(s.PLAYED)
        if self.phase == s.PLAYING:
            for i in range(4):
                pulses.turn(steering, i, wanted[i], 0)
        pulses.follow(steering, dt_us, False)
        control.outputs.write(pulses.pulse_ns)
        self._keep()
        if self.phase == s.HOMING and not pulses.leading:
            self.phase = s.OVER
            control.when_safe = None

    def _home(self, outcome):
        self._control.pulses.turn_no_more()
        self.phase = s.HOMING
        self._outcome = outcome

    def _keep(self):
        control = self._control
        pulses = control.pulses
        angles = self.seen
        if control.angles is not None:
            control.angles.look(control.steering, True)
            angles = control.angles.mdeg
        self._points.put(
            self._time_us, pulses.stands_mdeg, pulses.pulse_ns, angles, self._supply_mv(),
            self._sync.level,
        )  # fmt: skip

    def _supply_mv(self):
        return NOT_MEASURED if self._supply is None else self._supply.read_mv()

    # ---- requests --------------------------------------------------------------------------------

    def _on_begin(self, words):
        control = self._control
        if control.steering is None:
            return p.NO_TABLES
        if not control.at_rest():
            return p.NOT_NOW
        if not 1 <= words[3] <= s.MOST_RUN or words[1] >> 16 or words[2] >> 16:
            return p.OUT_OF_RANGE
        self.phase = s.EMPTY
        self._run = words[3]
        self._points.forget()
        verdict = self._programme.begin(words[0], words[1] << 16 | words[2])
        if verdict == p.TAKEN and not self._points.take():
            self._programme.forget()
            verdict = p.NO_ROOM
        return verdict

    def _on_knots(self, words):
        node = self._node
        count = (node.length - 3) // s.KNOT_BYTES
        if not 1 <= count <= s.PIECE or node.length != 3 + count * s.KNOT_BYTES:
            return p.WRONG_LENGTH
        if self.phase != s.EMPTY:
            return p.NOT_NOW
        request = node.request
        first = request[p.HEADER] | request[p.HEADER + 1] << 8 | request[p.HEADER + 2] << 16
        programme = self._programme
        verdict = programme.take(request, first, count, words, self._control.words)
        if verdict == p.TAKEN:
            node.put_number(first + count)
            if programme.whole:
                self.phase = s.READY
        return verdict

    def _on_look(self, words):
        node = self._node
        angles = self._control.angles
        if angles is not None and self._control.steering is not None and self.phase <= s.READY:
            for _ in range(4):  # however few it reads at a time
                angles.look(self._control.steering, True)
        node.put_number(self.phase)
        node.put_number(self._supply_mv())
        node.put(self.seen if angles is None else angles.mdeg, 0, 4, 3)
        return p.TAKEN

    def _on_go(self, words):
        control = self._control
        if self.phase != s.READY:
            return p.OUT_OF_ORDER
        if words[0] != self._run:
            return p.WRONG_TOKEN
        if not control.at_rest():
            return p.NOT_NOW
        if words[1] and self._trigger is None:
            return p.OUT_OF_RANGE
        self.phase = s.WAITING if words[1] else s.PLAYING
        self._outcome = s.UNDECIDED
        self._time_us = self._silent_us = 0
        self._points.clear()
        self._programme.start()
        self._sync.begin(self._run)
        control.when_safe = self._cycle
        return p.TAKEN

    def _on_fetch(self, words):
        node, points = self._node, self._points
        if not points.give_back(words[0]):
            return p.OUT_OF_RANGE
        self._silent_us = 0
        kept = points.next - words[0]
        sync = 0
        if kept:
            block, place = points.block(words[0]), points.place(words[0])
            sync = block[place + SYNC]
        node.put_byte(self.phase | self._outcome << 3 | sync << 7)
        node.put_number(kept)
        node.put_number(min(points.lost, p.COUNTER_MOST))
        if kept:
            node.put(block, place, 1, 4)
            node.put(block, place + DEFLECTION, SUPPLY - DEFLECTION + 1, 3)
        return p.TAKEN

    def halt(self):
        """To neutral from wherever it is."""
        if s.WAITING <= self.phase < s.HOMING:
            self._home(s.HALTED)

    def _on_halt(self, words):
        self.halt()
        return p.TAKEN

    def _on_stop(self, words):
        self.halt()
        return p.NOT_NOW if self.phase == s.HOMING else self._stop(words)

    def _on_disarm(self, words):
        self.halt()
        return self._disarm(words)
