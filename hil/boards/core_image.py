"""The flight core for a board: from the kernels to C, from C to bytes that run at any address.

Nothing is kept from one run to the next: the bytes are made from the kernel files that are deployed
beside them. They are one block, entered at its first byte, with no data and no library behind them,
and only what comes out alike when linked to two addresses is taken.
"""

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from firmware_port import RECORD_KERNELS
from hil.node.errors import BoardError
from mixer.ground.kernel_code.c99 import c_source
from mixer.ground.kernel_code.language import Program, flight_core
from mixer.ground.kernel_code.prelude import PRELUDE

PREFIX = "fv_"
ENTRY = "cycle"
ZIG = (sys.executable, "-m", "ziglang")
ADDRESSES = (0, 0x10000)
ALONE = ("-std=c99", "-ffreestanding", "-ffunction-sections", "-fno-unwind-tables",
         "-fno-asynchronous-unwind-tables")  # fmt: skip
# Measured on the dearest cycles of unlike vehicles, as are a target's own.
GCC = ("-O3", "-fno-tree-pre", "-fno-schedule-insns", "-fno-caller-saves", "-fno-reorder-blocks",
       "-frename-registers", "-fno-if-conversion2")  # fmt: skip
CLANG = ("-O3", "-fomit-frame-pointer")


@dataclass(frozen=True)
class Target:
    """A family of cores that runs the same code, and what its compilers are told."""

    gnu: str  # prefix of its GNU tools
    machine: tuple[str, ...]  # for GCC, and how much it is to inline
    zig: tuple[str, ...]
    linked: tuple[str, ...] = ()  # for GNU ld


# Armv7-M and later, M33 included, run code for the Cortex-M3: whole numbers need no more, and an
# M33 need not have the instructions that an M4 adds.
THUMB2 = Target(
    "arm-none-eabi-",
    ("-mcpu=cortex-m3", "-mthumb", "-finline-limit=2000"),
    ("-target", "thumb-freestanding-eabi", "-mcpu=cortex_m3"),
)
THUMB1 = Target(  # its jumps are short and its registers few
    "arm-none-eabi-",
    ("-mcpu=cortex-m0plus", "-mthumb", "-finline-limit=150"),
    ("-target", "thumb-freestanding-eabi", "-mcpu=cortex_m0plus"),
)
RISCV = Target(
    "riscv64-unknown-elf-",
    ("-march=rv32imc", "-mabi=ilp32", "-mcmodel=medany", "-finline-limit=2000"),
    ("-target", "riscv32-freestanding-none", "-mcpu=generic_rv32+m+c", "-mcmodel=medany"),
    ("-m", "elf32lriscv"),
)
TARGETS = {  # by MicroPython's names of architectures
    "armv6m": THUMB1,
    "armv7m": THUMB2,
    "armv7em": THUMB2,
    "armv7emsp": THUMB2,
    "armv7emdp": THUMB2,
    "rv32imc": RISCV,
}


@dataclass(frozen=True)
class Compiler:
    """How C becomes an object file, that an image, and that its bytes. name: for people."""

    name: str
    compile: tuple[str, ...]
    link: tuple[str, ...]
    strip: tuple[str, ...]


def gnu_compiler(target: Target) -> Compiler | None:
    """What this machine has."""
    name = target.gnu + "gcc"
    if shutil.which(name) is None:
        return None
    options = (*target.machine, *GCC, *ALONE)
    return Compiler(
        name, (name, *options), (target.gnu + "ld", *target.linked), (target.gnu + "objcopy",)
    )


def zig_compiler(target: Target) -> Compiler | None:
    """The compiler of the Python package `ziglang`."""
    if find_spec("ziglang") is None:
        return None
    options = (*target.zig, *CLANG, *ALONE)
    return Compiler("zig cc", (*ZIG, "cc", *options), (*ZIG, "ld.lld"), (*ZIG, "objcopy"))


COMPILERS: tuple[Callable[[Target], Compiler | None], ...] = (gnu_compiler, zig_compiler)


def find_compiler(architecture: str) -> Compiler | None:
    """The first one that is here, for an architecture by MicroPython's name; None: none is."""
    target = TARGETS.get(architecture)
    found = (look(target) for look in COMPILERS) if target else ()
    return next((compiler for compiler in found if compiler is not None), None)


def board_kernels() -> Program:
    """The flight core's kernels and those of the record."""
    return flight_core(*(f"firmware_port.{name}" for name in RECORD_KERNELS))


def core_source(entry: str = ENTRY) -> str:
    """C99 text of a kernel function and of all that it calls."""
    return f"#include <stdint.h>\n\n{PRELUDE}\n{c_source(board_kernels(), [entry], PREFIX)}"


def core_image(compiler: Compiler, entry: str = ENTRY) -> bytes:
    """A kernel function as machine code, entered at its first byte.

    BoardError where the compiler fails, or its code wants more than itself: data, a library, a
    fixed address.
    """
    with tempfile.TemporaryDirectory(prefix="fourvane-core-") as name:
        folder = Path(name)
        (folder / "core.c").write_text(core_source(entry), encoding="utf-8")
        run([*compiler.compile, "-c", "core.c", "-o", "core.o"], folder)
        first, second = (_linked(compiler, entry, folder, address) for address in ADDRESSES)
    if first != second:
        raise BoardError(f"{compiler.name}: the flight core's code depends on its address")
    return first


def _linked(compiler: Compiler, entry: str, folder: Path, address: int) -> bytes:
    (folder / "core.ld").write_text(
        _SCRIPT.format(address=address, entry=PREFIX + entry), encoding="utf-8"
    )
    options = ["-T", "core.ld", "-e", PREFIX + entry]
    run([*compiler.link, *options, "core.o", "-o", "core.elf"], folder)
    run([*compiler.strip, "-O", "binary", "core.elf", "core.bin"], folder)
    return (folder / "core.bin").read_bytes()


def run(command: list[str], folder: Path) -> str:
    """Run a compiler's program; what it printed. BoardError with its own words where it fails."""
    done = subprocess.run(
        command, cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    if done.returncode:
        said = "\n".join((done.stdout + done.stderr).strip().splitlines()[:12])
        raise BoardError(f"compiling the flight core: {' '.join(command)}:\n{said}")
    return done.stdout


_SCRIPT = """\
SECTIONS {{
    . = {address};
    .text : {{ *(.text.{entry}) *(.text .text.* .rodata .rodata.*) }}
    .stray : {{ *(.data .data.* .sdata .sdata.* .bss .bss.* .sbss .sbss.* COMMON .got .got.*) }}
    /DISCARD/ : {{ *(.comment .note.* .ARM.* .riscv.* .eh_frame*) }}
}}
ASSERT(SIZEOF(.stray) == 0, "the flight core has data")
"""
