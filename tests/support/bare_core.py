"""The flight core's machine code on an emulated core, without MicroPython; instructions counted.

The emulator is the PyPI package `unicorn`, a library that runs single functions of machine code.
"""

import struct
from functools import cached_property

import numpy as np
import unicorn
from unicorn import arm_const, riscv_const
from unicorn.unicorn import Uc

from mixer.flight import layout as at
from tests.support.recorded_cycles import Recorded

CODE, WORDS, STACK, LEAVE = 0x10000, 0x200000, 0x300000, 0x400000
STACK_BYTES = 0x1000
WORDS_BYTES = 0x10000
SECOND = WORDS + WORDS_BYTES // 2  # another array


class Core:
    """A core of one architecture, by MicroPython's name, with code entered at its first byte."""

    def __init__(self, architecture: str, code: bytes) -> None:
        self.risc = architecture.startswith("rv32")
        machine = self.machine = emulator(architecture)
        for place, size in (
            (CODE, 0x10000),
            (WORDS, WORDS_BYTES),
            (STACK, STACK_BYTES),
            (LEAVE, 0x1000),
        ):
            machine.mem_map(place, size)
        machine.mem_write(CODE, code)
        machine.hook_add(unicorn.UC_HOOK_BLOCK, self._block)
        self.code = code
        self.instructions = 0
        self._sizes: dict[tuple[int, int], int] = {}

    def load(self, words: np.ndarray, place: int = WORDS) -> None:
        """Words from the first one on."""
        self.machine.mem_write(place, words.astype("<i4").tobytes())

    def words(self, count: int, place: int = WORDS) -> np.ndarray:
        return np.frombuffer(bytes(self.machine.mem_read(place, 4 * count)), "<i4")

    def call(self, *arguments: int) -> int:
        """Call the code with the words and these arguments; how many instructions it took."""
        machine, registers = self.machine, self.registers
        for register, value in zip(registers, (WORDS, *arguments), strict=False):
            machine.reg_write(register, value & 0xFFFFFFFF)
        if self.risc:
            machine.reg_write(riscv_const.UC_RISCV_REG_SP, STACK + STACK_BYTES)
            machine.reg_write(riscv_const.UC_RISCV_REG_RA, LEAVE)
        else:
            machine.reg_write(arm_const.UC_ARM_REG_SP, STACK + STACK_BYTES)
            machine.reg_write(arm_const.UC_ARM_REG_LR, LEAVE | 1)
        self.instructions = 0
        machine.emu_start(CODE | (not self.risc), LEAVE)
        return self.instructions

    @cached_property
    def registers(self) -> tuple[int, int, int, int]:
        if self.risc:
            return (
                riscv_const.UC_RISCV_REG_A0,
                riscv_const.UC_RISCV_REG_A1,
                riscv_const.UC_RISCV_REG_A2,
                riscv_const.UC_RISCV_REG_A3,
            )
        return (
            arm_const.UC_ARM_REG_R0,
            arm_const.UC_ARM_REG_R1,
            arm_const.UC_ARM_REG_R2,
            arm_const.UC_ARM_REG_R3,
        )

    def _block(self, _machine: object, place: int, size: int, _data: object) -> None:
        """Count a block of instructions that is about to run."""
        key = (place, size)
        if key not in self._sizes:
            self._sizes[key] = self._count(place - CODE, size)
        self.instructions += self._sizes[key]

    def _count(self, place: int, size: int) -> int:
        """Instructions in a piece of code: 2 bytes long or 4, as their first two tell."""
        end, count = place + size, 0
        while place < end:
            (half,) = struct.unpack_from("<H", self.code, place)
            long = half & 3 == 3 if self.risc else half >> 11 >= 0b11101
            place += 4 if long else 2
            count += 1
        return count


def emulator(architecture: str) -> Uc:
    if architecture.startswith("rv32"):
        return Uc(unicorn.UC_ARCH_RISCV, unicorn.UC_MODE_RISCV32)
    machine = Uc(unicorn.UC_ARCH_ARM, unicorn.UC_MODE_THUMB | unicorn.UC_MODE_MCLASS)
    model = (
        arm_const.UC_CPU_ARM_CORTEX_M0
        if architecture == "armv6m"
        else arm_const.UC_CPU_ARM_CORTEX_M3
    )
    machine.ctl_set_cpu_model(model)
    return machine


def replay(core: Core, recorded: Recorded) -> tuple[np.ndarray, np.ndarray]:
    """Run every cycle: the words after it, (N, STATE_WORDS), and its instructions, (N,)."""
    after = np.empty_like(recorded.after)
    counts = np.empty(len(after), int)
    core.load(np.array(recorded.tables.words))
    for n, (before, given) in enumerate(zip(recorded.before, recorded.given, strict=True)):
        core.load(before)
        counts[n] = core.call(*map(int, given))
        after[n] = core.words(at.STATE_WORDS)
    return after, counts
