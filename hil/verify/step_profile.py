"""What a control cycle costs on the emulated board, and what words it leaves.

Cycles are handed over as words before, pressure and time step; the board runs one as the node does,
`cycle(words, pressure, dt)` from bytecode, and tells the CRC-32 of the words after it.
"""

from binascii import b2a_base64, crc32
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hil.verify.instructions import InstructionCounter, instructions
from mixer.flight import FlightTables
from mixer.flight import layout as at

CHUNK = 384  # bytes sent at a time
STATE_BYTES = 4 * at.STATE_WORDS


@dataclass(frozen=True)
class CycleCost:
    """Instructions of one cycle, or of a part; all that the node's call of it takes. crc: of the
    words after."""

    instructions: int
    crc: int


class Profile:
    """Cycles of one vehicle after another on a counting board."""

    def __init__(self, counter: InstructionCounter) -> None:
        self._counter = counter
        counter.run(_SET_UP)

    def take_tables(self, tables: FlightTables) -> None:
        """Use these tables from here on."""
        self._counter.run(f"blob = None\nblob = bytearray({4 * len(tables.words)})")
        self._send("blob", bytes(tables.words))
        self._counter.run("words = None\nwords = array('i', blob)\nstate = memoryview(words)")

    def cycles(self, before: np.ndarray, given: np.ndarray) -> list[CycleCost]:
        """A cycle from each of these words, (N, STATE_WORDS), with pressure, Pa, and time step, µs,
        (N, 2)."""
        return self._calls("cycle", before, given)

    def allocations(self, before: np.ndarray, held: np.ndarray) -> list[CycleCost]:
        """An allocation from each of these words, on a board that has it as bytecode."""
        return self._calls("allocate", before, held[:, None])

    def heap_bytes(self, pressure_pa: int, dt_us: int) -> int:
        """Heap that one more cycle takes."""
        return self._counter.heap_bytes(f"cycle(words, {pressure_pa}, {dt_us})")

    def _calls(self, function: str, before: np.ndarray, given: np.ndarray) -> list[CycleCost]:
        self._counter.run(f"use({function}, words)\ncount = node.count_{function}")
        costs = []
        for words, numbers in zip(before, given, strict=True):
            text = b2a_base64(words.astype("<i4").tobytes(), newline=False)
            arguments = ", ".join(str(int(number)) for number in numbers)
            ticks, crc = map(
                int, self._counter.run(f"put({text!r})\ntell(count({arguments}))").split()
            )
            costs.append(CycleCost(instructions(ticks), crc))
        return costs

    def _send(self, name: str, content: bytes) -> None:
        for start in range(0, len(content), CHUNK):
            chunk = content[start : start + CHUNK]
            text = b2a_base64(chunk, newline=False)
            self._counter.run(f"{name}[{start}:{start + len(chunk)}] = a2b_base64({text!r})")


def crc_of(after: np.ndarray | Sequence[int]) -> int:
    """What the board tells of these words."""
    return crc32(np.asarray(after).astype("<i4").tobytes())


# The call alone is counted, from bytecode with an array and its numbers. Where the code and its
# words come from is the caller's: an attribute of an object, as `Control` has them, costs some 100.
_SET_UP = f"""
from array import array
from binascii import a2b_base64, crc32
from mixer.flight.cycle import cycle
try:
    from mixer.flight.allocate import allocate
except ImportError:
    allocate = None
class CallNode:
    def count_cycle(self, pressure_pa, dt_us, mem=machine.mem32):
        function, words = self.core
        first = mem[0x40000004]
        function(words, pressure_pa, dt_us)
        return (first - mem[0x40000004]) & 0x3fffffff
    def count_allocate(self, held, mem=machine.mem32):
        function, words = self.core
        first = mem[0x40000004]
        function(words, held)
        return (first - mem[0x40000004]) & 0x3fffffff
    def idle(self, mem=machine.mem32):
        first = mem[0x40000004]
        return (first - mem[0x40000004]) & 0x3fffffff
node = CallNode()
node.idle()
idle = node.idle()
def use(core, words):
    node.core = (core, words)
def put(text):
    state[:{at.STATE_WORDS}] = array('i', a2b_base64(text))
def tell(ticks):
    print(ticks - idle, crc32(bytes(state[:{at.STATE_WORDS}])))
"""
