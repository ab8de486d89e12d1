"""Pulses on their way to a declared vane, where a node is made safe or a vane freed half-way."""

import numpy as np
import pytest

from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from firmware_port.bench.motion import Bench
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers
from mixer.flight import layout as at
from mixer.flight.servo_pulses import pulse_of
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

BLOB = flight_tables(vehicle()).to_bytes()
NEUTRAL_NS = 1_500_000
NS_PER_CYCLE = 12_500


def armed(deflection_mdeg: int) -> tuple[Loopback, NodeLink]:
    """A node whose vane 3 is declared to stand there and whose pulse is two cycles on its way."""
    loop = Loopback()
    Bench(loop.node)
    link = NodeLink(loop)
    link.load_tables(BLOB)
    link.arm()
    link.jam(3, deflection_mdeg)
    link.let_pass(5000)
    link.let_pass(5000)
    return loop, link


@pytest.mark.parametrize("sense", [-1, 1])
def test_a_pulse_half_way_to_a_jammed_vane_stays_there_in_the_safe_state(sense: int) -> None:
    loop, link = armed(sense * 15_000)
    link.disarm()
    for _ in range(10):
        link.let_pass(5000)
        assert loop.outputs.pulse_ns[2] == NEUTRAL_NS + sense * 2 * NS_PER_CYCLE


def test_a_vane_freed_half_way_goes_to_neutral_and_no_bench_begins_before_it_is_there() -> None:
    loop, link = armed(15_000)
    link.jam(3, 0)  # what the steering has of it is at neutral from here on
    link.disarm()
    link.free(3)
    seen = []
    for _ in range(2):
        link.let_pass(5000)
        seen.append(loop.outputs.pulse_ns[2])
        verdict = link.request(b.MOVE, numbers((1, NEUTRAL_NS, 1000))).verdict
        assert verdict == p.NOT_NOW, seen
    assert seen == [NEUTRAL_NS + NS_PER_CYCLE, NEUTRAL_NS]
    link.let_pass(5000)
    assert link.request(b.MOVE, numbers((1, NEUTRAL_NS, 1000))).taken


@pytest.mark.parametrize("safe", [False, True])
def test_a_vane_that_the_watch_declares_is_led_there_at_the_slew_and_only_while_armed(
    safe: bool,
) -> None:
    """Vane 3 stands at 10 degrees, by a trusted sensor, while its command is at neutral."""
    loop = Loopback()
    link = NodeLink(loop)
    link.load_tables(BLOB)
    if not safe:
        link.arm()
    seen, cycles = [], 0
    while not loop.node.control.words[at.WATCH_DECLARED]:
        link.see([0, 0, 10_000, 0], followed=0b1111)
        if not safe:
            link.demand(0, 0, 0, 2_000_000)
        link.let_pass(5000)
        cycles += 1
        assert loop.outputs.pulse_ns[2] == NEUTRAL_NS or loop.node.control.words[at.WATCH_DECLARED]
        assert cycles < 200
    assert loop.node.control.steering.deflection_mdeg[2] == 10_000
    for _ in range(12):
        seen.append(loop.outputs.pulse_ns[2])
        link.let_pass(5000)
    if safe:
        assert set(seen) == {NEUTRAL_NS}
    else:
        goal_ns = pulse_of(loop.node.control.words, 2, 10_000)
        first_ns = seen[0]  # one or two cycles after it was declared
        assert NEUTRAL_NS < first_ns <= NEUTRAL_NS + 2 * NS_PER_CYCLE
        assert seen == [min(first_ns + i * NS_PER_CYCLE, goal_ns) for i in range(len(seen))]
        assert seen[-1] == goal_ns > first_ns + NS_PER_CYCLE


def test_a_servo_table_of_several_pieces_is_read_piece_by_piece() -> None:
    """Against straight lines between its points; unlike tables, so that a wrong vane's shows."""
    rising = {"deflection_deg": [-15.0, -2.0, 1.0, 15.0], "pulse_us": [1400, 1470, 1510, 1580]}
    falling = {"deflection_deg": [-15.0, 3.0, 15.0], "pulse_us": [1600, 1480, 1400]}
    tables = [rising, falling, rising, falling]
    servos = {"table": tables, "neutral_us": None, "us_per_deg": None}
    words = flight_tables(vehicle(servos=servos)).words
    for vane, table in enumerate(tables):
        for x_mdeg in range(-16_000, 16_001, 125):
            expected = np.interp(x_mdeg / 1000, table["deflection_deg"], table["pulse_us"])
            assert pulse_of(words, vane, x_mdeg) == pytest.approx(1000 * expected, abs=20)
