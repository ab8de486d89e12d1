"""The serial node: frames in, control cycles when they are due, answers out.

What happens between frames, and what the states are: `control.py`. Who handles which request:
`motion.py`, `inquiries.py`, `table_loading.py`; of further kinds: `further_kinds.py`.
"""

from array import array

from firmware_port import protocol as p
from firmware_port.control import Control
from firmware_port.frames import pack, seal, unpack
from firmware_port.further_kinds import FurtherKinds
from firmware_port.inquiries import Inquiries
from firmware_port.motion import Motion

# By name what every cycle needs: `p.NAME` costs 120 instructions more.
from firmware_port.protocol import ANSWER, DEMAND, HEADER, KINDS, SAFE, TAKEN, VERSION
from firmware_port.receiver import Receiver
from firmware_port.table_loading import TableLoading
from mixer.flight.layout import FLAGS

WORDS = 8  # numbers in the longest request
ANSWER_SIZE = 64
ANY = 0xFF  # in place of a count of numbers: the handler looks at the contents by itself


class Node:
    """Frames from a line become cycles of a Control, and what came of them becomes answers.

    line: `receive(chunk)` puts bytes in and returns how many, at once; `send(data, count)`.
    outputs, clock, meter, angles: see Control. store: a TableStore. watchdog: a Watchdog, or None.
    console: `serving.Console`, or None where the line is the prompt's own. recorder: a Recorder, or
    None.
    Of the request being handled: `request` its bytes, `length` of its contents, `sequence` its
    number.
    """

    def __init__(
        self,
        line,
        outputs,
        clock,
        meter,
        store,
        watchdog=None,
        console=None,
        angles=None,
        recorder=None,
    ):
        self.line = line
        self.store = store
        self.watchdog = watchdog
        self.control = Control(outputs, clock, meter, store.hand_over(), angles, recorder)
        self.running = True
        self.tell_forces = False  # put the forces behind the answer to a demand
        self.handlers = [None] * KINDS
        self.receiver = Receiver(line)
        self.request = self.receiver.body
        self.length = 0
        self.sequence = 0
        self._console = console
        self._counts = bytearray(KINDS)  # numbers that a handler takes
        self._words = array("i", [0] * WORDS)
        self._one = array("i", [0])
        self._answer = bytearray(ANSWER_SIZE)
        self._fill = p.ANSWER_HEADER  # bytes of the answer so far
        self._wire = bytearray(ANSWER_SIZE)
        self.further = FurtherKinds(self)
        self.inquiries = Inquiries(self)
        Motion(self)
        TableLoading(self)
        if recorder is not None:
            # A node that records nothing does without their memory.
            from firmware_port.record_frames import RecordFrames

            recorder.receiver = self.receiver
            RecordFrames(self, recorder)

    def handle(self, kind, handler, count=0):
        """Let `handler(words)` give the verdict on requests of a kind, and `put` what it answers.

        words: the `count` numbers of 3 bytes that they hold; those of another length never come.
        With count None all come, and the handler reads them.
        """
        self.handlers[kind] = handler
        self._counts[kind] = ANY if count is None else count

    # ---- the loop ------------------------------------------------------------------------------

    def run(self):
        """Turn until a STOP frame; then, or when something breaks, the pulses end."""
        try:
            while self.running:
                self.turn()
        finally:
            self.control.outputs.off()

    def turn(self):
        """Take at most one frame; run the cycle where it is due."""
        size = self.receiver.take()
        if size:
            self._dispatch(size - HEADER)
        dt_us = self.control.begin()
        if dt_us:
            self.cycle(dt_us)

    def cycle(self, dt_us):
        """A control cycle that has begun, and what is to be said of it; allocates nothing."""
        control = self.control
        state = control.state
        sequence = control.cycle(dt_us)
        if control.state != state:
            self.tell(p.STATE, 0, TAKEN)
        if sequence is not None:
            verdict = TAKEN
            if not control.acted_on:
                verdict = p.NOT_ARMED
                control.count(p.NOT_ARMED)
            self._answer_demand(DEMAND, sequence, verdict)
        safe = control.state == SAFE
        if self._console is not None and self._console.asks_to_end() and safe:
            self.running = False
        if self.watchdog is not None:
            self.watchdog.feed(not safe)

    # ---- requests ------------------------------------------------------------------------------

    def _dispatch(self, length):
        request = self.request
        first = request[0]
        kind = first & (KINDS - 1)
        sequence = request[1] | request[2] << 8
        self.sequence = sequence
        self.length = length
        if first >> 6 != VERSION:
            self.control.count(p.WRONG_VERSION)
            return
        handler = self.handlers[kind]
        if handler is None or first & ANSWER:
            self.control.count(p.UNKNOWN_KIND)
            self.tell(kind, sequence, p.UNKNOWN_KIND)
            return
        count = self._counts[kind]
        words = self._words
        if count == ANY:
            verdict = handler(words)
        elif length == 3 * count:
            unpack(request, HEADER, count, 3, words, 0)
            verdict = handler(words)
        else:
            verdict = p.WRONG_LENGTH
        if verdict != TAKEN:
            self.control.count(verdict)
        elif kind == DEMAND:
            return  # answered after its cycle
        if kind != DEMAND and kind != p.PASS:
            self.tell(kind, sequence, verdict)
        else:
            self._answer_demand(kind, sequence, verdict)

    # ---- answers -------------------------------------------------------------------------------

    def put(self, words, first, count, width):
        """Append numbers to the answer."""
        self._fill = pack(words, first, count, width, self._answer, self._fill)

    def put_number(self, value):
        """Append one number of 3 bytes to the answer."""
        self._one[0] = value
        self.put(self._one, 0, 1, 3)

    def put_byte(self, value):
        """Append one byte to the answer."""
        self._answer[self._fill] = value
        self._fill += 1

    def tell(self, kind, sequence, verdict):
        """Send the answer with what has been put into it."""
        answer = self._answer
        wire = self._wire
        answer[0] = VERSION << 6 | ANSWER | kind
        answer[1] = sequence & 0xFF
        answer[2] = sequence >> 8
        answer[3] = self.control.state << 4 | verdict
        count = seal(answer, self._fill, wire)
        self._fill = p.ANSWER_HEADER
        self.line.send(wire, count)

    def _answer_demand(self, kind, sequence, verdict):
        """Tell what the last cycle did."""
        control = self.control
        steering = control.steering
        if steering is not None:
            answer = self._answer
            fill = self._fill
            answer[fill] = control.words[FLAGS]
            fill = pack(steering.deflection_mdeg, 0, 4, 3, answer, fill + 1)
            fill = pack(control.pulses.pulse_ns, 0, 4, 3, answer, fill)
            fill = pack(control.cost, 0, 1, 3, answer, fill)
            fill = pack(steering.moment_mnm, 0, 3, 4, answer, fill)
            if self.tell_forces:
                fill = pack(steering.force, 0, 4, 3, answer, fill)
            self._fill = fill
        self.tell(kind, sequence, verdict)
