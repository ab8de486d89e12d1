"""Counting the instructions a call takes on the emulated Cortex-M3.

with counting_board() as counter:
    counter.run("from mixer.flight import ...")
    counter.of_call("f(1, 2)", times=3)
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hil.boards.emulated import EmulatedBoard
from hil.boards.firmware import build_firmware
from hil.boards.link import Link
from hil.boards.node_on_board import node_on

NS_PER_TICK = 40  # the board's timer runs at 25 MHz
NS_PER_INSTRUCTION = 1024  # QEMU's -icount shift=10


@contextmanager
def counting_board(
    *, machine_code: bool = True, record: bool = False, firmware: Path | None = None
) -> Iterator["InstructionCounter"]:
    """A freshly started emulated board that has the project's files and counts instructions.

    machine_code: False for bytecode only. record: with what keeps a flight's record.
    """
    with (
        EmulatedBoard(firmware or build_firmware(), count_instructions=True) as board,
        node_on(board, machine_code=machine_code, record=record) as there,
    ):
        yield InstructionCounter(there.link)


class InstructionCounter:
    """Counts the instructions of calls on a board that was started to count them."""

    def __init__(self, link: Link):
        self.link = link
        link.execute(_COUNTER)

    def run(self, code: str) -> str:
        """Run statements on the board, uncounted; what they printed."""
        return self.link.execute(code)

    def of_call(self, call: str, *, before: str = "pass", times: int = 1) -> list[int]:
        """Instructions of evaluating `call`, for each of `times` runs.

        call: an expression over the board's global names. before: a statement run ahead of each
        evaluation and not counted. The cost of the measuring itself is taken off.
        """
        counted = self.run(_COUNT.format(call=call, before=before, times=times))
        return [instructions(int(ticks)) for ticks in counted.split()]

    def heap_bytes(self, call: str, *, before: str = "pass") -> int:
        """Heap bytes that evaluating `call` takes, garbage included; 0 is proved, not sampled."""
        return int(self.run(_HEAP.format(call=call, before=before)))


def instructions(ticks: int) -> int:
    """Timer ticks as instructions."""
    return round(ticks * NS_PER_TICK / NS_PER_INSTRUCTION)


# The timer runs down from RELOAD; staying below 2^30 keeps every reading a small integer, so
# that counting costs no heap. CMSDK timer 0: CTRL +0, VALUE +4, RELOAD +8.
_COUNTER = """
import gc, machine, micropython
machine.mem32[0x40000008] = 0x3fffffff
machine.mem32[0x40000000] = 1
def _nothing():
    return None
def _ticks(what, mem=machine.mem32):
    first = mem[0x40000004]
    what()
    return (first - mem[0x40000004]) & 0x3fffffff
_idle = min([_ticks(_nothing) for _ in range(5)])
"""
_COUNT = """
def _call():
    return {call}
for _ in range({times}):
    {before}
    print(_ticks(_call) - _idle)
"""
_HEAP = """
def _call():
    {call}
{before}
try:
    micropython.heap_lock()
    _call()
    micropython.heap_unlock()
    print(0)
except MemoryError:
    micropython.heap_unlock()
    {before}
    gc.collect()
    gc.disable()
    _used = gc.mem_alloc()
    _call()
    print(gc.mem_alloc() - _used)
    gc.enable()
"""
