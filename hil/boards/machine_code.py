"""A block of machine code as a MicroPython module with one function, without MicroPython's linker.

MicroPython's assembler takes words as they are: a function under its decorator calls the block
that stands in its own body, and leaves. MicroPython gives it the addresses of arrays and the values
of integers in the registers where C expects its arguments, and makes an integer of what C returns.
"""

import struct
from dataclasses import dataclass

from firmware_port.record_log import LOG_HEAD

ROW = 8  # words in a line
# The core's plain entry where its code stands in that of a cycle that is kept: a log that does not
# run keeps nothing.
LED_CYCLE = f"""\
from array import array
from firmware_port.record_cycle import recorded
_no_log = array("i", [0] * {LOG_HEAD})
def cycle(w, pressure_pa, dt_us):
    return recorded(w, _no_log, pressure_pa, dt_us)
"""


@dataclass(frozen=True)
class Assembler:
    """MicroPython's assembler of a family of cores: its decorator, its argument registers, and how
    a function calls the label CODE and goes on at the label LEAVE, its end."""

    decorator: str
    registers: tuple[str, str, str, str]
    call: tuple[str, ...]


# A function has saved its return address; a call reaches farther than a jump.
THUMB = Assembler("asm_thumb", ("r0", "r1", "r2", "r3"), ("bl(CODE)", "bl(LEAVE)"))
# A function has not saved it; the stack is kept on multiples of 16.
RISCV = Assembler(
    "asm_rv32",
    ("a0", "a1", "a2", "a3"),
    (
        "addi(sp, sp, -16)",
        "sw(ra, 12(sp))",
        "jal(ra, CODE)",
        "lw(ra, 12(sp))",
        "addi(sp, sp, 16)",
        "jal(zero, LEAVE)",
    ),
)


def assembler_module(architecture: str, function: str, arguments: int, code: bytes) -> str:
    """The source of a module whose `function` runs the code.

    architecture: by MicroPython's name. arguments: how many it takes, at most four.
    """
    assembler = RISCV if architecture.startswith("rv32") else THUMB
    padded = code + bytes(-len(code) % 4)
    words = struct.unpack(f"<{len(padded) // 4}I", padded)
    rows = (words[i : i + ROW] for i in range(0, len(words), ROW))
    body = (
        *assembler.call,
        "align(4)",
        "label(CODE)",
        *(f"data(4, {', '.join(map(str, row))})" for row in rows),
        "label(LEAVE)",
    )
    head = f"def {function}({', '.join(assembler.registers[:arguments])}):"
    lines = [f"@micropython.{assembler.decorator}", head, *(f"    {line}" for line in body)]
    return "\n".join(lines) + "\n"
