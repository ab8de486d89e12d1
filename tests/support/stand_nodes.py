"""A node that plays programmes, in this process, with time moved by the test."""

from typing import Any

import numpy as np

from firmware_port import protocol as p
from firmware_port.stand import protocol as s
from firmware_port.stand.rehearsed import rehearsed
from hil.node.answers import Answer
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers, read_numbers
from hil.stand.programme_file import Knots
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TICKS_S = 1_000_000 // s.TICK_US
PERIOD_US = 5000


def blob(**changes: Any) -> bytes:
    return flight_tables(vehicle(**changes)).to_bytes()


TABLES = blob()


def knots(*corners: tuple[float, float]) -> Knots:
    """A programme of all four vanes alike but for vane 3, which stays: times in s, deg."""
    times = [round(time_s * TICKS_S) for time_s, _ in corners]
    rows = [[round(1000 * deg), round(-500 * deg), 0, round(1000 * deg)] for _, deg in corners]
    return Knots(np.array(times), np.array(rows), 0.0)


SHORT = knots((0, 0), (0.5, 0), (0.6, 10), (1.0, 10), (1.1, -10), (1.5, -10), (1.6, 0), (1.8, 0))


class StandSetup:
    """The node, its link, and what one sends to it."""

    def __init__(self, tables: bytes | None = TABLES) -> None:
        self.loop = Loopback.__new__(Loopback)
        Loopback.__init__(self.loop)
        self.play = rehearsed(self.loop.node)
        self.link = NodeLink(self.loop)
        if tables is not None:
            self.link.load_tables(tables)
            for _ in range(3):
                self.let_pass()

    def request(self, kind: int, *values: int) -> Answer:
        return self.link.request(kind, numbers(values))

    def let_pass(self, us: int = PERIOD_US) -> list[int]:
        """One cycle; the pulses that are out after it."""
        self.link.request(p.PASS, numbers((us,)))
        return list(self.loop.outputs.pulse_ns)

    def load(self, programme: Knots = SHORT, run: int = 77) -> Answer:
        """The whole programme; the last answer."""
        crc = programme.crc
        answer = self.request(s.BEGIN, len(programme.ticks), crc >> 16, crc & 0xFFFF, run)
        pieces = programme.pieces
        for first in range(0, len(pieces), s.PIECE):
            if not answer.taken:
                return answer
            some = b"".join(pieces[first : first + s.PIECE])
            answer = self.link.request(s.KNOTS, numbers((first,)) + some)
        return answer

    def fetch(self, number: int) -> tuple[int, int, int, int, tuple[int, ...]]:
        """Phase, outcome, kept, lost, and the point: time, deflections, pulses, angles, supply."""
        contents = self.link.ask(s.FETCH, numbers((number,))).contents
        kept, lost = read_numbers(contents[1:7])
        point = (*read_numbers(contents[7:11], 4), *read_numbers(contents[11:])) if kept else ()
        return contents[0] & 7, contents[0] >> 3 & 7, kept, lost, point

    def phase(self) -> int:
        return read_numbers(self.link.ask(s.LOOK).contents)[0]
