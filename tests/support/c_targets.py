"""The processors that the exported library is compiled for, and QEMU's machines that run it."""

import re
from dataclasses import dataclass
from pathlib import Path

from tests.support.c_library import HERE, STRICT, needs, run, sources

ARM, RISCV, AVR = "arm-none-eabi-gcc", "riscv64-unknown-elf-gcc", "avr-gcc"


@dataclass(frozen=True)
class Target:
    """A processor by the options of its compiler; and where QEMU has it: the emulator, a machine,
    where its code and memory stand and how much memory is used.
    """

    name: str
    compiler: str
    options: tuple[str, ...]
    emulator: str = ""
    machine: str = ""
    code: int = 0
    ram: int = 0x2000_0000
    ram_bytes: int = 16 * 1024


def arm(core: str, machine: str = "", **where: int) -> Target:
    return Target(
        core, ARM, (f"-mcpu={core}", "-mthumb"), machine and "qemu-system-arm", machine, **where
    )


TARGETS = (
    Target("x86-64", "gcc", ()),
    arm("cortex-m0", "microbit"),
    arm("cortex-m0plus"),
    arm("cortex-m3", "mps2-an385"),
    arm("cortex-m4", "mps2-an386"),
    arm("cortex-m7", "mps2-an500"),
    arm("cortex-m33", "mps2-an505", code=0x1000_0000, ram=0x3800_0000),
    Target(
        "rv32imac", RISCV,
        ("-march=rv32imac", "-mabi=ilp32", "-mcmodel=medany", "-ffreestanding"),
        "qemu-system-riscv32", "virt", 0x8000_0000, 0x8010_0000,
    ),
    Target("atmega2560", AVR, ("-mmcu=atmega2560",)),
)  # fmt: skip
EMULATED = tuple(target for target in TARGETS if target.machine)


@dataclass(frozen=True)
class SelfTested:
    """What the self-test said on a machine; stack in bytes; bytes of flash, the start-up's too."""

    differ: int
    cycle: int
    word: int
    stack: int
    flash: int


def self_tested(target: Target, folder: Path, optimise: str = "-Os") -> SelfTested:
    """Build a folder's library and self-test for a machine of QEMU's and run it there."""
    needs(target.compiler, target.emulator)
    kind = "riscv" if target.compiler == RISCV else "arm"
    elf = folder / f"{target.name}.elf"
    run(
        target.compiler, "-std=gnu99", *STRICT[:4], optimise, *target.options, "-nostdlib",
        "-ffreestanding", "-ffunction-sections", "-I", folder / "src", "-I", HERE,
        HERE / f"start_{kind}.c", *sources(folder, "fourvane_link"), "-T", HERE / "link.ld",
        f"-Wl,--defsym=CODE={target.code:#x},--defsym=RAM={target.ram:#x}",
        f"-Wl,--defsym=RAM_BYTES={target.ram_bytes},--gc-sections,-e,"
        f"{'entry' if kind == 'riscv' else 'reset'}",
        "-lgcc", "-o", elf,
    )  # fmt: skip
    done = run(
        target.emulator, "-M", target.machine, "-nographic", "-monitor", "none", "-kernel", elf,
        *(("-bios", "none") if kind == "riscv" else ("-semihosting",)),
        timeout=60,
    )  # fmt: skip
    said = re.search(rb"(-?\d+) (\d+) (\d+) (\d+) ?\n", done.stdout + done.stderr)
    assert said is not None, (done.stdout, done.stderr)
    return SelfTested(*(int(number) for number in said.groups()), flash_of(target, elf))


def flash_of(target: Target, file: Path) -> int:
    """Code, constants and what variables begin as: what a file takes of flash."""
    size = target.compiler.replace("-gcc", "-size") if target.compiler != "gcc" else "size"
    text, data = run(size, file).stdout.decode().splitlines()[1].split()[:2]
    return int(text) + int(data)
