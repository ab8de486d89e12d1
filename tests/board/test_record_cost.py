"""What recording adds to a cycle on the emulated Cortex-M3, in the control itself; no heap.

Cycles of a node that records less the same ones of a node that does not: by the node's own meter,
round the call with all that it looks up for it; and the call alone. The rest of the control is the
same code; where MicroPython's cache of attributes falls otherwise it takes 2 % more or less.
"""

from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_port.record_log import LOG_DUE
from hil.verify.instructions import InstructionCounter, counting_board, instructions
from hil.verify.step_profile import Profile
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

ADDED = 400  # to a cycle, by the meter
# The call alone, 5 % above what it was when last looked at: usual, where a block begins, at worst
# with four angles.
USUAL, NEXT_BLOCK, WITH_FOUR_ANGLES = 210, 262, 301
BLOCKS = 32
CYCLES = 60  # more than fill two blocks; fewer than until a snapshot falls due
SET_UP = f"""
LOG_DUE = {LOG_DUE}
from firmware_port.control import Control
from firmware_port.outputs import RecordedPulses
class Meter:
    def now(self, mem=machine.mem32):
        return mem[0x40000004]
    def since(self, then, mem=machine.mem32):
        return (then - mem[0x40000004]) & 0x3fffffff
class Tables:
    words = words
def begin(recorder):
    global control
    control = Control(RecordedPulses(), Meter(), Meter(), Tables, None, recorder)
    control.arm()
    gc.collect()
def give(angles):
    control.demand((500000, -200000, 9000), 2000000, 0)
    if angles:
        control.steering.sensed(100, -200, 300, -400)
def metered(angles):
    give(angles)
    control.cycle(5000)
    return control.cost[0]
def with_snapshot(angles):
    if control.recorder is not None:
        control.recorder.log[LOG_DUE] = 1
    return metered(angles)
def called(angles, mem=machine.mem32):
    give(angles)
    words, log, cycle, recorded = control.words, control._log, control._cycle, control._recorded
    if log is None:
        first = mem[0x40000004]
        cycle(words, 2000000, 5000)
    else:
        first = mem[0x40000004]
        recorded(words, log, 2000000, 5000)
    return (first - mem[0x40000004]) & 0x3fffffff
"""
PLAIN = "None"
RECORDED = f"__import__('firmware_port.recorder').recorder.Recorder({BLOCKS})"


def counted(counter: InstructionCounter, recorder: str) -> dict[tuple[str, bool], list[int]]:
    """Instructions of a node's cycles in a row; by which count, and whether angles are read."""
    Profile(counter).take_tables(flight_tables(vehicle()))
    counter.run(SET_UP)
    found = {}
    for count in ("metered", "called"):
        for angles in (False, True):
            counter.run(f"begin({recorder})")
            ticks = counter.run(f"print(*[{count}({angles}) for _ in range({CYCLES})])").split()
            found[count, angles] = [instructions(int(each)) for each in ticks[2:]]
    counter.run(f"begin({recorder})")
    ticks = counter.run("print(*[with_snapshot(True) for _ in range(8)])").split()
    found["snapshot", True] = [instructions(int(each)) for each in ticks[2:]]
    found["heap", True] = [counter.heap_bytes("control.cycle(5000)", before="give(True)")]
    return found


@pytest.fixture(scope="module")
def costs(firmware: Path, campaign: None) -> dict[tuple[str, bool], list[int]]:
    """What recording adds to each of these cycles."""
    with counting_board(firmware=firmware) as counter:
        plain = counted(counter, PLAIN)
    with counting_board(firmware=firmware, record=True) as counter:
        recorded = counted(counter, RECORDED)
    return {
        count: [kept - without for kept, without in zip(found, plain[count], strict=True)]
        for count, found in recorded.items()
    }


def test_recording_adds_no_more_than_400_instructions_to_a_cycle(
    costs: dict[tuple[str, bool], list[int]], record_property: Callable[[str, object], None]
) -> None:
    metered, called = costs["metered", False], costs["called", False]
    usual = sorted(metered)[len(metered) // 2], sorted(called)[len(called) // 2]
    next_block = max(metered), max(called)
    angles = max(costs["metered", True]), max(costs["called", True])
    record_property(
        "shown",
        "recording, Cortex-M3 instructions a cycle, by the node's meter and the call alone: "
        f"{usual} as usual, {next_block} where a block begins, {angles} at worst with four angles; "
        f"{max(costs['snapshot', True])} where a snapshot is due",
    )
    assert max(usual[0], next_block[0], angles[0]) <= ADDED
    assert usual[1] <= USUAL
    assert next_block[1] <= NEXT_BLOCK
    assert angles[1] <= WITH_FOUR_ANGLES


def test_recording_takes_no_heap(costs: dict[tuple[str, bool], list[int]]) -> None:
    assert costs["heap", True] == [0]
