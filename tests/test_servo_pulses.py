"""Pulses on their way to a declared vane, where a node is made safe or a vane freed half-way."""

from array import array
from itertools import pairwise

import numpy as np
import pytest

from firmware_port import bench_protocol as b
from firmware_port import protocol as p
from firmware_port.bench_motion import Bench
from firmware_port.servo_pulses import pulse_of
from hil.loopback import Loopback
from hil.node_link import NodeLink, numbers
from mixer.flight import layout as at
from tests.vehicles import vehicle

BLOB = vehicle().flight_tables().to_bytes()
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


def test_a_servo_table_of_several_pieces_is_read_piece_by_piece() -> None:
    """Against straight lines between its points; two tables, so that a wrong vane's shows."""
    q = 8
    words = array("i", [0] * 400)
    words[at.PULSE_Q] = q
    points = {
        0: [(-9000, 1_400_000), (-2000, 1_470_000), (1000, 1_510_000), (9000, 1_580_000)],
        1: [(-9000, 1_600_000), (3000, 1_480_000), (9000, 1_400_000)],
    }
    place = 300
    for vane, table in points.items():
        words[at.SERVO_OFF + vane], words[at.SERVO_N + vane] = place, len(table)
        words[at.TRAVEL_LO + vane], words[at.TRAVEL_HI + vane] = -9000, 9000
        for (x, y), (beyond, above) in pairwise(table):
            words[place], words[place + 1] = x, y
            words[place + 2] = round((above - y) / (beyond - x) * 2**q)
            place += at.SERVO_STRIDE
        words[place] = at.END
        place += at.SERVO_STRIDE
    for vane, table in points.items():
        xs, ys = zip(*table, strict=True)
        for x in range(-9500, 9501, 125):
            expected = np.interp(x, xs, ys)
            assert pulse_of(words, vane, x) == pytest.approx(expected, abs=20)
