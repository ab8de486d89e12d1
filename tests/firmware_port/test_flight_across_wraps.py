"""A flight during which the ticks wrap is the flight that it is without."""

import random
import time
from zlib import crc32

import pytest

from firmware_port import protocol as p
from firmware_port.hardware import TicksClock
from hil.node.loopback import Loopback
from hil.node.node_link import demand_contents, numbers, parse_answer, wire_frame
from mixer.ground.tables.build import flight_tables
from tests.support.damage import REFERENCE_PA
from tests.support.ticks import LARGE_WRAP, SMALL_WRAP, Ticks
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle()).to_bytes()
BURN_AT, CYCLES = 60, 700
CYCLE_US = 5000


def flown(monkeypatch: pytest.MonkeyPatch, ticks: Ticks) -> tuple[list[bytes], list[list[int]]]:
    """All that a node says but tokens, which are made of the ticks, and every pulse, from its
    tables to the end of a flight.
    """
    monkeypatch.setattr(time, "ticks_us", ticks, raising=False)
    loop = Loopback(clock=TicksClock())
    draw = random.Random(7)
    said: list[bytes] = []
    pulses: list[list[int]] = []
    sequence = 0

    def send(kind: int, contents: bytes = b"") -> bytes:
        nonlocal sequence
        sequence += 1
        loop.write(wire_frame(kind, sequence, contents))
        frames = loop.read(loop.in_waiting).split(b"\0")[:-1]
        if kind != p.ASK:
            said.extend(frames)
        answer = parse_answer(frames[-1]) if frames else None
        return answer.contents if answer else b""

    crc = crc32(TABLES)
    send(p.TABLES_BEGIN, numbers((len(TABLES), crc >> 16, crc & 0xFFFF)))
    for start in range(0, len(TABLES), p.PIECE):
        send(p.TABLES_PIECE, numbers((start,)) + TABLES[start : start + p.PIECE])
    send(p.TABLES_COMMIT)
    send(p.ARM, send(p.ASK))
    for n in range(CYCLES):
        if n == BURN_AT:
            send(p.START)
        if n % 97 == 50:
            send(p.JAM, numbers((draw.randint(1, 4), draw.randint(-9_000, 9_000))))
        if n % 97 == 90:
            send(p.FREE, numbers((1 + n % 4,)))
        if n % 61 < 58:  # else the last demand is held, and once the link is lost
            size = draw.choice((50_000, 2_000_000))
            wanted = [draw.randint(-size, size) for _ in range(2)]
            send(p.DEMAND, demand_contents(*wanted, 1000, REFERENCE_PA * (n >= BURN_AT)))
        ticks.advance(CYCLE_US if n % 150 else 400_000)
        loop.turn()
        pulses.append(list(loop.outputs.pulse_ns))
    send(p.DISARM, send(p.ASK))
    return said, pulses


@pytest.fixture(scope="module")
def unwrapped() -> tuple[list[bytes], list[list[int]]]:
    with pytest.MonkeyPatch.context() as patch:
        return flown(patch, Ticks(1_000_000, SMALL_WRAP))


@pytest.mark.parametrize("wrap_us", [SMALL_WRAP, LARGE_WRAP])
@pytest.mark.parametrize("wraps_at_s", [0.0, 0.305, 2.0, 3.7])
def test_ticks_that_wrap_in_a_flight_change_no_byte_of_it(
    monkeypatch: pytest.MonkeyPatch,
    unwrapped: tuple[list[bytes], list[list[int]]],
    wrap_us: int,
    wraps_at_s: float,
) -> None:
    """From power-on, about ignition, in mid-burn and after a link that was lost."""
    ticks = Ticks(wrap_us - 1 - round(1e6 * wraps_at_s), wrap_us)
    assert flown(monkeypatch, ticks) == unwrapped
    assert ticks.wraps == 1
    assert len({tuple(row) for row in unwrapped[1]}) > CYCLES / 2
