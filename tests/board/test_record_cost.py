"""What recording adds to a cycle on the emulated Cortex-M3, as the control calls it; no heap."""

from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_port.recorder import Recorder
from hil.verify.instructions import counting_board, instructions
from mixer.flight import Steering
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

# 5 % above what it was when last looked at. MicroPython's call of a function with two arrays and
# two numbers is 480 of them; 400 in all would need the entry written within the core's own call.
USUAL, NEXT_BLOCK, WITH_FOUR_ANGLES = 1190, 1780, 2090
BLOCKS = 8
SET_UP = """
from array import array
from firmware_port.record_cycle import keep
class Node:
    def count(self, pressure_pa, dt_us, mem=machine.mem32):
        words = self.words
        first = mem[0x40000004]
        log = self._log
        if log is not None and keep(log, words, pressure_pa, dt_us):
            return 0
        return (first - mem[0x40000004]) & 0x3fffffff
    def idle(self, mem=machine.mem32):
        first = mem[0x40000004]
        return (first - mem[0x40000004]) & 0x3fffffff
node = Node()
node.idle()
idle = node.idle()
"""


@pytest.fixture(scope="module")
def costs(firmware: Path, campaign: None) -> dict[str, list[int]]:
    """Instructions of 28 cycles in a row: as usual, and with four angles read in each."""
    steering = Steering(flight_tables(vehicle()))
    words = steering.core[1]
    found: dict[str, list[int]] = {}
    with counting_board(firmware=firmware, record=True) as counter:
        counter.run(SET_UP)
        recorder = Recorder(BLOCKS)
        recorder.open()
        recorder.log[11] = 1000  # no snapshot falls due
        for name, angles in (("usual", False), ("angles", True)):
            steering.demand(500_000, -200_000, 9000)
            if angles:
                steering.sensed(100, -200, 300, -400)
            counter.run(f"node.words = array('i', {list(words[:152])})")
            counter.run(f"node._log = array('i', bytearray({4 * len(recorder.log)}))")
            for place, value in enumerate(recorder.log[:14]):
                counter.run(f"node._log[{place}] = {value}")
            counted = counter.run(
                "print(*[node.count(2000000, 5000) - idle for _ in range(28)])"
            ).split()
            found[name] = [instructions(int(ticks)) for ticks in counted[1:]]
        found["heap"] = [counter.heap_bytes("node.count(2000000, 5000)")]
    return found


def test_a_recorded_cycle_takes_no_more_than_when_last_looked_at(
    costs: dict[str, list[int]], record_property: Callable[[str, object], None]
) -> None:
    usual = sorted(costs["usual"])[len(costs["usual"]) // 2]
    record_property(
        "shown",
        f"recording, Cortex-M3 instructions a cycle: {usual} as usual, {max(costs['usual'])} where "
        f"a block begins, {max(costs['angles'])} at worst with four angles",
    )
    assert usual <= USUAL
    assert max(costs["usual"]) <= NEXT_BLOCK
    assert max(costs["angles"]) <= WITH_FOUR_ANGLES


def test_recording_takes_no_heap(costs: dict[str, list[int]]) -> None:
    assert costs["heap"] == [0]
