"""What the exported C costs on each processor: a table of `python -m tests.bench`.

Instructions of `fv_step` are counted in an emulated core (the package unicorn), cycle by cycle
beside Python, whose words it must give. Instructions are not clock cycles: a core takes more than
one for many of them, and waits for its flash. Flash is what `-O2` and `-Os` make of fourvane.c;
stack is measured in QEMU by the self-test, so it holds that one's own frames too.
"""

import shutil
import statistics
import struct
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from mixer.flight import FlightTables, Steering
from mixer.ground.c_library import self_test
from tests.support.c_library import (
    C99,
    HERE,
    ROOM,
    STEP,
    done_in_python,
    exported,
    operations,
    random_tables,
    run,
)
from tests.support.c_targets import RISCV, TARGETS, Target, flash_of, self_tested

VEHICLES = 8
CYCLES = 176  # of each, so that every kind of segment comes
CODE, WORDS, STACK, BACK = 0x10000, 0x200000, 0x300000, 0x400000
READY = 0x34565445
COUNTED = [target for target in TARGETS if target.compiler not in ("gcc", "avr-gcc")]


@dataclass(frozen=True)
class Cost:
    """Of one processor; instructions of a whole cycle, and of one whose demand is out of reach."""

    target: Target
    median: int
    worst: int
    flash_os: int
    flash_o2: int
    stack: int


class Core:
    """An emulated core with fourvane.c in it."""

    def __init__(self, target: Target, source: Path) -> None:
        import unicorn as uc

        elf = source.parent / f"{target.name}-core.elf"
        run(
            target.compiler, *C99, "-O2", f"-DFV_WORDS={ROOM}", *target.options,
            "-ffreestanding", "-nostdlib", source,
            "-T", HERE / "link.ld", "-Wl,--defsym=CODE=0x10000,--defsym=RAM=0x20000",
            "-Wl,--defsym=RAM_BYTES=4096,-e,fv_step", "-lgcc", "-o", elf,
        )  # fmt: skip
        tool = target.compiler.removesuffix("gcc")
        image = elf.with_suffix(".bin")
        run(f"{tool}objcopy", "-O", "binary", elf, image)
        symbols = run(f"{tool}nm", elf).stdout.decode().splitlines()
        (self.entry,) = (int(one.split()[0], 16) for one in symbols if one.endswith(" fv_step"))
        self.riscv = target.compiler == RISCV
        if self.riscv:
            self.machine = uc.Uc(uc.UC_ARCH_RISCV, uc.UC_MODE_RISCV32)
        else:
            self.machine = uc.Uc(uc.UC_ARCH_ARM, uc.UC_MODE_THUMB | uc.UC_MODE_MCLASS)
            self.machine.ctl_set_cpu_model(self.model(target.name))
        for place in (CODE, WORDS, STACK, BACK):
            self.machine.mem_map(place, 0x10000)
        self.machine.mem_write(CODE, image.read_bytes())
        self.count = 0
        self.machine.hook_add(uc.UC_HOOK_CODE, self.counted)

    @staticmethod
    def model(name: str) -> int:
        from unicorn import arm_const as arm

        return {
            "cortex-m0": arm.UC_CPU_ARM_CORTEX_M0,
            "cortex-m0plus": arm.UC_CPU_ARM_CORTEX_M0,
            "cortex-m3": arm.UC_CPU_ARM_CORTEX_M3,
            "cortex-m4": arm.UC_CPU_ARM_CORTEX_M4,
            "cortex-m7": arm.UC_CPU_ARM_CORTEX_M7,
            "cortex-m33": arm.UC_CPU_ARM_CORTEX_M33,
        }[name]

    def counted(self, *_: object) -> None:
        self.count += 1

    def step(self, words: list[int], pressure_pa: int, dt_us: int) -> tuple[int, list[int]]:
        """The instructions of a step, and the words after it."""
        from unicorn import arm_const as arm
        from unicorn import riscv_const as riscv

        self.machine.mem_write(WORDS, struct.pack(f"<{len(words) + 1}i", READY, *words))
        given = (WORDS, pressure_pa & 0xFFFFFFFF, dt_us & 0xFFFFFFFF, STACK + 0x8000, BACK)
        if self.riscv:
            names = (riscv.UC_RISCV_REG_A0, riscv.UC_RISCV_REG_A1, riscv.UC_RISCV_REG_A2,
                     riscv.UC_RISCV_REG_SP, riscv.UC_RISCV_REG_RA)  # fmt: skip
        else:
            names = (arm.UC_ARM_REG_R0, arm.UC_ARM_REG_R1, arm.UC_ARM_REG_R2, arm.UC_ARM_REG_SP,
                     arm.UC_ARM_REG_LR)  # fmt: skip
            given = (*given[:4], BACK | 1)
        for name, value in zip(names, given, strict=True):
            self.machine.reg_write(name, value)
        self.count = 0
        self.machine.emu_start(self.entry if self.riscv else self.entry | 1, BACK)
        after = struct.unpack(f"<{len(words)}i", self.machine.mem_read(WORDS + 4, 4 * len(words)))
        return self.count, list(after)


def counts(core: Core, tables: FlightTables, seed: int) -> Iterator[int]:
    """Instructions of each cycle of a recording, checked against Python."""
    steering = Steering(tables)
    core.machine.mem_write(WORDS, bytes(0x10000))  # no led pulses left of the vehicle before
    for op in operations(self_test.record(tables, CYCLES, seed)):
        if op[0] != STEP:
            done_in_python(steering, op)
            continue
        count, after = core.step(list(steering._w), op[1], op[2])
        steering.step(op[1], op[2])
        assert after == list(steering._w)
        yield count


def cost(target: Target, folder: Path) -> Cost:
    source = folder / "src/fourvane.c"
    core = Core(target, source)
    every = [n for seed in range(VEHICLES) for n in counts(core, random_tables(seed), seed)]
    flash = []
    for optimise in ("-Os", "-O2"):
        run(target.compiler, *C99, optimise, *target.options, "-c", source, "-o", folder / "x.o")
        flash.append(flash_of(target, folder / "x.o"))
    stack = self_tested(target, folder).stack if target.machine else 0
    return Cost(target, round(statistics.median(every)), max(every), *flash, stack)


def every_cost() -> list[Cost]:
    """Of every cross-compiled processor that unicorn has, as far as its compiler is here."""
    with tempfile.TemporaryDirectory() as name:
        folder = exported(Path(name))
        return [cost(target, folder) for target in COUNTED if shutil.which(target.compiler)]
