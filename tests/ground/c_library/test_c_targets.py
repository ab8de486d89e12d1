"""The exported library compiles without a word everywhere, and runs where QEMU has the machine."""

import importlib.util
import re
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support.c_library import C99, STRICT, exported, missing, needs, run, sources
from tests.support.c_targets import EMULATED, TARGETS, Target, self_tested
from tests.support.vehicles import vehicle

FLASH_MOST = 64_000
SMALL = ("cortex-m0plus", "x86-64")  # compiled for however small the run: unlike in all
ZIG_TARGETS = (
    ("x86_64-linux-gnu",),
    ("aarch64-macos",),
    ("x86_64-windows-gnu",),
    *(
        ("thumb-freestanding-eabi", f"-mcpu=cortex_{core}")
        for core in ("m0plus", "m3", "m4", "m7", "m33")
    ),
    ("riscv32-freestanding",),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return exported(tmp_path_factory.mktemp("c"), vehicle(control={"policy": "direction"}))


def compiled(folder: Path, *command: object) -> None:
    for source in sources(folder):
        run(*command, "-I", folder / "src", "-c", source, "-o", folder / "x.o")


@pytest.mark.parametrize("optimise", ["-O0", "-Os", "-O3"])
@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_gcc_for_every_processor_warns_of_nothing(
    folder: Path, target: Target, optimise: str, full_size: bool
) -> None:
    if not full_size and (optimise != "-Os" or target.name not in SMALL):
        pytest.skip("other levels and processors with --campaigns")
    needs(target.compiler)
    compiled(folder, target.compiler, *C99, optimise, *target.options)


@pytest.mark.parametrize("command", [("clang",), ("gcc",)], ids=lambda command: command[0])
@pytest.mark.parametrize(
    "language", [C99, ("-x", "c++", "-std=c++17", *STRICT)], ids=["c99", "c++17"]
)
def test_host_compilers_warn_of_nothing_in_c_and_in_cpp(
    folder: Path, command: tuple[str, ...], language: tuple[str, ...]
) -> None:
    needs(*command)
    compiled(folder, *command, *language)


def test_every_header_stands_alone_in_cpp(folder: Path) -> None:
    needs("g++")
    for header in (folder / "src").glob("*.h"):
        unit = folder / "alone.cpp"
        unit.write_text(f'#include "{header.name}"\nint main() {{ return 0; }}\n')
        run("g++", "-std=c++17", *STRICT, "-I", folder / "src", "-c", unit, "-o", folder / "x.o")


@pytest.mark.parametrize("target", ZIG_TARGETS, ids=lambda target: " ".join(target))
def test_the_packaged_clang_warns_of_nothing(
    folder: Path, target: tuple[str, ...], campaign: None
) -> None:
    if importlib.util.find_spec("ziglang") is None:
        missing("the package ziglang")
    compiled(folder, sys.executable, "-m", "ziglang", "cc", "-target", *target, *C99, "-Os")


# What a compiler may call by itself: copies of structures, and division where a core has none.
HELPERS = re.compile(r"mem(cpy|set|move)|__aeabi_\w+|__gnu_thumb\w*")


@pytest.mark.parametrize("name", ["fourvane", "fourvane_vehicle", "fourvane_self_test"])
def test_nothing_is_needed_from_outside_and_no_state_is_global(folder: Path, name: str) -> None:
    needs("arm-none-eabi-gcc", "arm-none-eabi-nm")
    target = next(target for target in TARGETS if target.name == "cortex-m0plus")
    run(target.compiler, *C99, "-Os", *target.options, "-c", folder / f"src/{name}.c",
        "-o", folder / "x.o")  # fmt: skip
    for line in run("arm-none-eabi-nm", folder / "x.o").stdout.decode().splitlines():
        kind, symbol = line.split()[-2:]
        assert kind not in "dDbBC", f"{symbol} is a variable"
        if kind == "U":
            assert symbol.startswith("fv_") or HELPERS.fullmatch(symbol), symbol


# ---- on the machines -----------------------------------------------------------------------------


@pytest.mark.parametrize("target", EMULATED, ids=lambda target: target.name)
def test_the_self_test_differs_nowhere_and_fits(
    folder: Path, target: Target, record_property: Callable[[str, object], None]
) -> None:
    came = self_tested(target, folder)
    assert (came.differ, came.cycle, came.word) == (0, 0, 0)
    assert came.flash < FLASH_MOST
    record_property(
        "shown",
        f"{target.name} ({target.machine}): self-test 0 differ, {came.flash} bytes of flash, "
        f"{came.stack} bytes of stack",
    )


def test_a_wrong_word_is_found_on_a_machine(tmp_path: Path) -> None:
    target = next(target for target in EMULATED if target.name == "cortex-m3")
    folder = exported(tmp_path)
    file = folder / "src/fourvane_self_test.c"
    before, rows = file.read_text().split("[FV_SELF_TEST_WORDS] = {\n")
    first, rest = rows.split(", ", 1)
    file.write_text(f"{before}[FV_SELF_TEST_WORDS] = {{\n{first} + 1, {rest}")
    came = self_tested(target, folder)
    assert (came.differ, came.cycle, came.word) == (1, 1, 0)
