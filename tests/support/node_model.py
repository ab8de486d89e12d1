"""An independent account of what the serial node owes its sender, kept in step with a real one.

The model decodes what is sent with `cobs` and `binascii`, decides by its own short rules which
frames count, and steps a Steering of its own whenever the node writes pulses. Whatever a frame
that does not count does to the node shows as a difference.
"""

from binascii import crc_hqx
from zlib import crc32

from cobs import cobs

from firmware_port import protocol as p
from hil.node.answers import Answer
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers, parse_answer, read_numbers, wire_frame
from mixer.flight import FlightTables, Steering
from mixer.flight import layout as at
from mixer.ground.tables.build import slew_mdeg_s
from tests.support.led_pulses import LedPulses

NS_PER_MDEG = 10  # of the servos of `vehicle()`


class Model:
    """What the node's state and vanes must be."""

    def __init__(self, tables: FlightTables):
        self.tables = tables
        self.twin = Steering(tables)
        self.state = p.SAFE
        self.pulses = LedPulses(tables)
        self.last: int | None = None
        self.silent_us = 0
        self.pressure_pa = 0
        self.token = 0
        self.token_age_us = 0
        self.known: set[bytes] = set()  # bodies with their CRC that were meant to be sent
        self.slipped = 0  # frames with a right CRC that nobody sent
        self.slipped_zeros = 0  # those that have only gained or lost zeros at their end
        self.placed = 0  # vanes declared to stand somewhere since the last cycle, bit 0 for vane 1

    def frame(self, encoded: bytes) -> None:
        """A frame without its closing zero has been sent."""
        body = decoded_body(encoded)
        if body is None or body[0] >> 6 != p.VERSION or body[0] & p.ANSWER:
            return
        self._count_slipped(cobs.decode(encoded))
        kind, sequence, contents = body[0] & 31, body[1] | body[2] << 8, body[3:]
        if kind == p.DEMAND and len(contents) == 15:
            self._demand(sequence, contents)
        elif kind == p.ARM and len(contents) == 3:
            fits = self._token_fits(contents)
            if fits and self.state != p.ARMED:
                self.state, self.last, self.silent_us = p.ARMED, sequence, 0
        elif kind == p.DISARM and len(contents) == 3:
            if contents != b"\0\0\0":
                if self._token_fits(contents):
                    self.last = sequence
                    self._disarm()
            elif self._in_order(sequence):
                self._disarm()
        elif kind == p.JAM and len(contents) == 6:
            vane, deflection = read_numbers(contents)
            if 1 <= vane <= 4 and self._in_order(sequence):
                self.pulses.told(vane, self.twin.deflection_mdeg[vane - 1])
                self.twin.jam(vane, deflection)
                self.placed |= 1 << vane - 1
        elif kind == p.FREE and len(contents) == 3:
            (vane,) = read_numbers(contents)
            if 1 <= vane <= 4 and self._in_order(sequence):
                self.pulses.told(vane, self.twin.deflection_mdeg[vane - 1])
                self.twin.free(vane)
        elif kind == p.BURN and len(contents) == 8 and self.state != p.ARMED:
            time_us, load_us = held(read_numbers(contents, 4))
            if time_us >= 0 and load_us >= 0 and self._in_order(sequence):
                self.twin.start(time_us, load_us) if time_us else self.twin.wait(load_us)
        elif (
            kind == p.START
            and not contents
            and self._in_order(sequence)
            and self.twin.burn < at.SAID
        ):
            self.twin.start(self.twin.time_us, self.twin.load_us)

    def _count_slipped(self, body: bytes) -> None:
        if body not in self.known:
            self.slipped += 1
            self.slipped_zeros += body.rstrip(b"\0") in self.known

    def _disarm(self) -> None:
        if self.state != p.SAFE:
            self.state = p.SAFE
            self.twin.release()

    def answered_token(self, token: int) -> None:
        """The node has given this token."""
        self.token, self.token_age_us = token, 0

    def cycle(self, dt_us: int) -> None:
        """The node has run a cycle."""
        self.token_age_us += dt_us
        if self.state == p.SAFE:
            self.twin.release()
        elif self.silent_us < self.tables.words[at.TIMEOUT_US]:
            self.silent_us += dt_us
        else:
            self.state = p.LINK_LOST
        self.twin.step(self.pressure_pa, dt_us)
        self.pulses.cycle(self.twin, dt_us, self.state != p.SAFE)

    def new_tables(self, tables: FlightTables) -> None:
        """A whole and valid set has been committed."""
        self.tables, self.twin = tables, Steering(tables)
        self.pulses = LedPulses(tables)

    def _demand(self, sequence: int, contents: bytes) -> None:
        if not self._in_order(sequence):
            return
        if self.state != p.SAFE:
            if not self.twin.demand(*held(read_numbers(contents[:12], 4))):
                return
            self.silent_us, self.state = 0, p.ARMED
        self.pressure_pa = int.from_bytes(contents[12:], "little")

    def _in_order(self, sequence: int) -> bool:
        if self.last is not None and not 0 < (sequence - self.last) % 65536 <= p.AHEAD:
            return False
        self.last = sequence
        return True

    def _token_fits(self, contents: bytes) -> bool:
        (token,) = read_numbers(contents)
        fits = self.token != 0 and token == self.token and self.token_age_us < p.ASK_US
        self.token = 0
        return fits


class Harness:
    """A node in this process and the model of it; every write checks one against the other."""

    def __init__(self, tables: FlightTables):
        self.loop = Loopback()
        self.link = NodeLink(self.loop)
        self.link.load_tables(tables.to_bytes())
        self.node = self.loop.node
        self.model = Model(tables)
        self.sequence = self.link.sequence
        self.cycles = 0
        self._sent = b""  # of a frame whose closing zero has not been sent yet
        self._last_us = 0
        write = self.loop.outputs.write
        self._before = list(self.node.control.steering.deflection_mdeg)
        self._pulses_before: list[int] = []
        self._pulses_of: FlightTables | None = None  # the tables they were given by

        def check(pulse_ns) -> None:
            write(pulse_ns)
            self._check_cycle()

        self.loop.outputs.write = check

    def _check_cycle(self) -> None:
        """In the middle of the node's cycle: the vanes are where the model has them."""
        now_us = self.loop.clock.now()
        dt_us = (now_us - self._last_us) & 0x3FFFFFFF
        self._last_us = now_us
        self.cycles += 1
        self.model.cycle(dt_us)
        steering, words = self.node.control.steering, self.model.tables.words
        moved = list(steering.deflection_mdeg)
        assert moved == list(self.model.twin.deflection_mdeg)
        assert list(self.loop.outputs.pulse_ns) == self.model.pulses.pulse_ns
        self._check_pulses(dt_us)
        for i, (before, after) in enumerate(zip(self._before, moved, strict=True)):
            assert words[at.TRAVEL_LO + i] <= after <= words[at.TRAVEL_HI + i]
            if not self.model.placed >> i & 1:
                assert abs(after - before) * 1_000_000 <= slew_mdeg_s(self.model.tables)[i] * dt_us
        self._before = moved
        self.model.placed = 0

    def _check_pulses(self, dt_us: int) -> None:
        """Whatever is declared: no pulse goes faster than the slew, and in the safe state none goes
        but towards neutral. For vehicles whose servos have the same µs a degree everywhere."""
        neutral_ns = Steering(self.model.tables).pulse_ns[0]
        if self._pulses_of is not self.model.tables:  # new tables begin at their own neutral
            self._pulses_of, self._pulses_before = self.model.tables, [neutral_ns] * 4
        pulses = list(self.loop.outputs.pulse_ns)
        for i, (before, after) in enumerate(zip(self._pulses_before, pulses, strict=True)):
            turned_mdeg = (abs(after - before) - 1) / NS_PER_MDEG
            assert turned_mdeg * 1_000_000 <= slew_mdeg_s(self.model.tables)[i] * dt_us
            if self.model.state == p.SAFE:
                assert abs(after - neutral_ns) <= abs(before - neutral_ns)
                assert (after - neutral_ns) * (before - neutral_ns) >= 0
        self._pulses_before = pulses

    def send(self, data: bytes) -> list[Answer]:
        """Send bytes, frame by frame; the node's answers."""
        answers: list[Answer] = []
        rest = data
        while rest:
            frame, zero, rest = rest.partition(b"\0")
            self._sent += frame
            if not zero:
                self.loop.write(frame)
                break
            self.model.frame(self._sent)
            self._sent = b""
            self.loop.write(frame + b"\0")
            answers += self._heard()
            assert self.node.control.state == self.model.state
        return answers

    def _heard(self) -> list[Answer]:
        """What the node has just answered; the model learns of tokens from it."""
        answers = []
        for frame in self.loop.read(self.loop.in_waiting).split(b"\0")[:-1]:
            answer = parse_answer(frame)
            assert answer is not None, "the node sent a damaged frame"
            if answer.kind == p.ASK and answer.taken:
                self.model.answered_token(read_numbers(answer.contents)[0])
            answers.append(answer)
        return answers

    def good(self, kind: int, contents: bytes = b"") -> bytes:
        """The next frame in order."""
        self.sequence = (self.sequence + 1) % 65536
        frame = wire_frame(kind, self.sequence, contents)
        self.model.known.add(cobs.decode(frame[:-1]))
        self.model.known.add(cobs.decode(frame[:-1]).rstrip(b"\0"))
        return frame

    def arm(self) -> "Harness":
        """Both steps of arming, from any state."""
        (answer,) = self.send(self.good(p.ASK))
        self.send(self.good(p.ARM, answer.contents))
        assert self.node.control.state == p.ARMED
        return self

    def disarm(self) -> None:
        """To the safe state by token, then on until the vanes rest at neutral."""
        (answer,) = self.send(self.good(p.ASK))
        self.send(self.good(p.DISARM, answer.contents))
        assert self.node.control.state == p.SAFE

    def load(self, tables: FlightTables, pieces: int | None = None) -> None:
        """Load tables, or only so many pieces of them."""
        blob = tables.to_bytes()
        crc = crc32(blob)
        self.send(self.good(p.TABLES_BEGIN, numbers((len(blob), crc >> 16, crc & 0xFFFF))))
        starts = range(0, len(blob), p.PIECE)
        for start in list(starts)[:pieces]:
            self.send(self.good(p.TABLES_PIECE, numbers((start,)) + blob[start : start + p.PIECE]))


def verdicts(answers: list[Answer]) -> list[str]:
    """In words."""
    return [p.VERDICT_NAMES[answer.verdict] for answer in answers]


def decoded_body(encoded: bytes) -> bytes | None:
    """The body of a frame without its closing zero, by independent means."""
    if not 0 < len(encoded) <= p.BODY_MOST + 3:
        return None
    try:
        body = cobs.decode(encoded)
    except cobs.DecodeError:
        return None
    return body[:-2] if len(body) >= 5 and crc_hqx(body, 0xFFFF) == 0 else None


def held(values: tuple[int, ...]) -> tuple[int, ...]:
    """As a board holds numbers inside 31 bits."""
    most = 2**30 - 1
    return tuple(min(max(value, -most), most) for value in values)
