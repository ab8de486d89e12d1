"""Days of a node in minutes: `python -m tests.tools.soak --cycles 10000000`.

A node in this process, its clock the interpreter's ticks, which are made here and wrap as a board's
do. Its sender is as bad as a line can make it: frames damaged, repeated, late, missing, jams told
and taken back, the node disarmed and armed again. Now and then it stops, and the node has to do
exactly what it did at the start: same states, same pulses, no more memory.
"""

import argparse
import gc
import random
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from zlib import crc32

from firmware_port import protocol as p
from firmware_port.hardware import TicksClock
from hil.node.loopback import Loopback
from hil.node.node_link import demand_contents, numbers, parse_answer, wire_frame
from mixer.flight import FlightTables
from mixer.ground.tables.build import flight_tables
from tests.support.damage import REFERENCE_PA, damaged
from tests.support.ticks import LARGE_WRAP, SMALL_WRAP, Ticks
from tests.support.vehicles import vehicle

PERIOD_US = 5000
SPELL = 2000  # cycles of a bad line between two looks
CEILING_US = 1_000_000_000  # of burn time and load in the flight core


@dataclass
class Soaked:
    """What a soak went through."""

    cycles: int = 0
    frames: int = 0
    looks: int = 0
    tick_wraps: int = 0
    sequence_wraps: int = 0
    ceilings: int = 0  # looks at a node whose burn time had reached its ceiling
    grown_blocks: int = (
        0  # of the interpreter's memory since the second look; buffers have their size
    )
    answers: dict[str, int] = field(default_factory=dict)


class Soak:
    """A node, its bad sender, and what it did at the start."""

    def __init__(self, tables: FlightTables, seed: int, wrap_us: int = SMALL_WRAP):
        self.random = random.Random(seed)
        self.ticks = Ticks(wrap_us - 3_000_000, wrap_us)
        time.ticks_us = self.ticks  # type: ignore[attr-defined]
        self.loop = Loopback(clock=TicksClock())
        self.node = self.loop.node
        self.sequence = 65_000
        self.done = Soaked()
        self._sent = [wire_frame(p.COUNTERS, 1, numbers((0,)))]
        blob = tables.to_bytes()
        crc = crc32(blob)
        self.ask(p.TABLES_BEGIN, numbers((len(blob), crc >> 16, crc & 0xFFFF)))
        for start in range(0, len(blob), p.PIECE):
            self.ask(p.TABLES_PIECE, numbers((start,)) + blob[start : start + p.PIECE])
        self.let_pass(4)
        assert self.ask(p.TABLES_COMMIT) == "taken"
        self.first = self.look()
        self._blocks = sys.getallocatedblocks()

    # ---- the line ------------------------------------------------------------------------------

    def send(self, data: bytes) -> None:
        """Bytes to the node, no time passes."""
        self.done.frames += 1
        self.loop.write(data)

    def frame(self, kind: int, contents: bytes = b"") -> bytes:
        """The next frame in order."""
        self.sequence += 1
        if self.sequence == p.SEQUENCES:
            self.sequence = 0
            self.done.sequence_wraps += 1
        return wire_frame(kind, self.sequence, contents)

    def ask(self, kind: int, contents: bytes = b"") -> str:
        """A frame that is answered at once; the verdict. The contents are kept in `told`."""
        self.heard()
        self.send(b"\0" + self.frame(kind, contents))
        answers = [answer for answer in self.heard() if answer.kind == kind]
        assert len(answers) == 1, (kind, answers)
        self.told = answers[0].contents
        return p.VERDICT_NAMES[answers[0].verdict]

    def heard(self) -> list:
        """What the node has said."""
        found = []
        for frame in self.loop.read(self.loop.in_waiting).split(b"\0")[:-1]:
            answer = parse_answer(frame)
            assert answer is not None, "the node sent a damaged frame"
            found.append(answer)
            name = p.VERDICT_NAMES[answer.verdict]
            self.done.answers[name] = self.done.answers.get(name, 0) + 1
        return found

    def let_pass(self, cycles: int = 1, us: int = PERIOD_US) -> None:
        """Time without a frame."""
        for _ in range(cycles):
            self.ticks.advance(us)
            self.loop.turn()
            self.done.cycles += 1

    def demand(self, pitch: int, yaw: int, roll: int) -> bytes:
        return self.frame(p.DEMAND, demand_contents(pitch, yaw, roll, REFERENCE_PA))

    def arm(self) -> None:
        assert self.ask(p.ASK) == "taken"
        assert self.ask(p.ARM, self.told) in ("taken", "not-now")

    def disarm(self) -> None:
        assert self.ask(p.ASK) == "taken"
        assert self.ask(p.DISARM, self.told) == "taken"

    # ---- a bad line ----------------------------------------------------------------------------

    def spell(self, cycles: int) -> None:
        """So many cycles of it."""
        source = self.random
        until = self.done.cycles + cycles
        while self.done.cycles < until:
            way = source.randrange(100)
            size = 2_000_000
            frame = self.demand(source.randint(-size, size), source.randint(-size, size), 3000)
            if way < 70:
                self._keep(frame)
                self.send(frame)
            elif way < 82:
                self.send(damaged(source, frame, self._sent))
                self.send(b"\0")
            elif way < 90:
                self.send(source.choice(self._sent))  # repeated, or late
            elif way < 93:
                vane = source.randint(1, 4)
                self.send(self.frame(p.JAM, numbers((vane, source.randint(-15_000, 15_000)))))
            elif way < 96:
                self.send(self.frame(p.FREE, numbers((source.randint(1, 4),))))
            elif way == 96:
                self.let_pass(source.randint(1, 60))  # until the link is lost
            elif way == 97:
                self.disarm()
            elif way == 98:
                self.arm()
            else:
                self.let_pass(1, source.choice((1, 900, 20_000, 400_000, 9_000_000)))
            self.let_pass(1, source.randint(4000, 6000))
        self.heard()

    def _keep(self, frame: bytes) -> None:
        self._sent.append(frame)
        if len(self._sent) > 40:
            del self._sent[:20]

    # ---- the look ------------------------------------------------------------------------------

    def look(self) -> list[tuple]:
        """What the node does from rest: states and pulses, always the same ones."""
        self.done.looks += 1
        steering = self.node.control.steering
        self.done.ceilings += bool(steering and steering.time_us == CEILING_US)
        self.disarm()
        for vane in range(1, 5):
            assert self.ask(p.FREE, numbers((vane,))) == "taken"
        assert self.ask(p.BURN, numbers((5_000_000, 4_000_000), 4)) == "taken"
        self.let_pass(60)
        self.heard()
        seen: list[tuple] = [(self.node.control.state, list(self.loop.outputs.pulse_ns))]
        assert self.ask(p.BURN, numbers((5_000_000, 4_000_000), 4)) == "taken"
        self.arm()
        for i in range(24):
            self.send(self.demand(80_000 * (i // 6), -50_000 * (i // 8), 1000))
            self.let_pass()
            seen.append((self.node.control.state, list(self.loop.outputs.pulse_ns)))
        assert self.ask(p.JAM, numbers((2, 7000))) == "taken"
        for _ in range(40):
            self.let_pass()
            seen.append((self.node.control.state, list(self.loop.outputs.pulse_ns)))
        assert self.ask(p.FREE, numbers((2,))) == "taken"
        self.heard()
        return seen

    def run(self, cycles: int, progress: Callable[[int], None] = lambda done: None) -> Soaked:
        """Spells and looks, at least so many cycles. AssertionError where a look is another."""
        while self.done.cycles < cycles:
            if self.done.looks % 3 == 0:  # burn time comes to its ceiling in this spell
                self.disarm()
                self.ask(p.BURN, numbers((CEILING_US - 1_000_000, CEILING_US - 1_000_000), 4))
                self.arm()
            self.spell(SPELL)
            assert self.look() == self.first, f"cycle {self.done.cycles}"
            gc.collect()
            if self.done.looks == 3:
                self._blocks = sys.getallocatedblocks()
            self.done.grown_blocks = sys.getallocatedblocks() - self._blocks
            progress(self.done.cycles)
        self.done.tick_wraps = self.ticks.wraps
        return self.done


def soak(
    cycles: int, seed: int, wrap_us: int, progress: Callable[[int], None] = lambda done: None
) -> Soaked:
    """One soak of a node with the tables of an invented vehicle."""
    try:
        return Soak(flight_tables(vehicle()), seed, wrap_us).run(cycles, progress)
    finally:
        del time.ticks_us  # type: ignore[attr-defined]


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cycles", type=int, default=10_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--wrap", choices=("small", "large"), default="small")
    asked = parser.parse_args()
    began = time.monotonic()

    def progress(done: int) -> None:
        print(f"\r{done} cycles, {time.monotonic() - began:.0f} s", end="", flush=True)

    wrap_us = SMALL_WRAP if asked.wrap == "small" else LARGE_WRAP
    print(f"\nseed {asked.seed}: {soak(asked.cycles, asked.seed, wrap_us, progress)}")


if __name__ == "__main__":
    main()
