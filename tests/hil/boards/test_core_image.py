"""The flight core's machine code for boards: the same words as Python, small, quick, alone.

Run on emulated cores (`bare_core`), without MicroPython. No physical board has been tried.
"""

import os
import re
import shutil
import subprocess
import sys
from array import array
from collections.abc import Callable
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from firmware_port import record_cycle
from firmware_port.record_log import LOG_LOST, LOG_NUMBER, LOG_RUNS
from firmware_port.recorder import Recorder
from hil.boards.core_image import (
    COMPILERS,
    RISCV,
    TARGETS,
    THUMB1,
    THUMB2,
    Compiler,
    Target,
    core_image,
    core_source,
    gnu_compiler,
    run,
)
from hil.boards.deploy import ROOT
from hil.boards.machine_code import assembler_module
from hil.node.errors import BoardError
from mixer.flight import layout as at
from mixer.flight.wanted import scaled
from mixer.ground.kernel_code.prelude import PRELUDE
from tests.support.bare_core import SECOND, Core, replay
from tests.support.recorded_cycles import Recorded, allocations, record
from tests.support.unlike_vehicles import unlike_tables

STDINT = "#include <stdint.h>\n"
IN_CI = bool(os.environ.get("CI"))
SEED = 3
CYCLES = {True: 600, False: 100}  # on each of 28 tables: at full size, and not, of six
LIMITED = at.PRIMARY_LIMITED | at.ROLL_LIMITED
IMAGE_BYTES = 12_000
LOG_BLOCKS = 40
STACK_BYTES = 512
# Instructions at worst, four angle sensors read in the same cycle: of the code alone, by GNU's
# compiler. `board/test_step_cost.py` counts what MicroPython's call of it adds.
CYCLE_INSTRUCTIONS = {"armv7m": 3200, "armv6m": 6000, "rv32imc": 3200}
SATURATED_ALLOCATION_INSTRUCTIONS = {"nearest": 1700, "direction": 1700}
BUILDS = [(a, look) for a in ("armv7m", "armv6m", "rv32imc") for look in COMPILERS]


def compiler_for(target: Target, look: Callable[[Target], Compiler | None]) -> Compiler:
    compiler = look(target)
    if compiler is None:
        if IN_CI:
            pytest.fail(f"CI needs {target.gnu}gcc and ziglang")
        pytest.skip(f"neither {target.gnu}gcc nor ziglang is here, or one of them is not")
    return compiler


@pytest.fixture(scope="module")
def recorded(full_size: bool) -> list[tuple[str, Recorded]]:
    unlike = unlike_tables(1 if full_size else 5)
    return [(name, record(tables, SEED, CYCLES[full_size])) for name, tables in unlike]


@pytest.mark.parametrize(("architecture", "look"), BUILDS)
def test_machine_code_gives_the_words_of_python_within_its_instructions(
    architecture: str,
    look: Callable[[Target], Compiler | None],
    recorded: list[tuple[str, Recorded]],
    full_size: bool,
    record_property: Callable[[str, object], None],
) -> None:
    if look is not gnu_compiler and not full_size:
        pytest.skip("by the packaged compiler with --campaigns")
    compiler = compiler_for(TARGETS[architecture], look)
    code = core_image(compiler)
    core = Core(architecture, code)
    worst: dict[str, int] = {}
    for name, one in recorded:
        after, counts = replay(core, one)
        assert (after == one.after).all(), f"{name}, seed {SEED}"
        worst[name] = int(counts.max())
    dearest = max(worst, key=worst.__getitem__)
    record_property(
        "shown",
        f"{architecture} by {compiler.name}: {len(code)} bytes, {worst[dearest]} instructions at "
        f"worst ({dearest}), {sum(len(one.after) for _, one in recorded)} cycles, seed {SEED}",
    )
    assert len(code) <= IMAGE_BYTES
    if look is gnu_compiler:
        assert worst[dearest] <= CYCLE_INSTRUCTIONS[architecture]


@pytest.mark.parametrize("architecture", ["armv7m", "armv6m", "rv32imc"])
def test_a_cycle_that_is_kept_gives_the_words_and_the_log_of_python(
    architecture: str,
    recorded: list[tuple[str, Recorded]],
    record_property: Callable[[str, object], None],
) -> None:
    """Silences, refused demands, jams, readings, a log that stands still now and then; full at last
    at full size."""
    compiler = compiler_for(TARGETS[architecture], gnu_compiler)
    code = core_image(compiler, "recorded")
    core = Core(architecture, code)
    cycles = lost = blocks = 0
    for name, one in recorded[:: len(recorded) // 3]:
        words, log = array("i", one.tables.words), new_log()
        core.load(np.array(words))
        core.load(np.array(log), SECOND)
        given = zip(one.before, one.given.tolist(), strict=True)
        for n, (before, (pressure_pa, dt_us)) in enumerate(given):
            log[LOG_RUNS] = int(n % 50 != 49)
            core.load(np.array([log[LOG_RUNS]]), SECOND + 4 * LOG_RUNS)
            core.load(before)
            core.call(SECOND, pressure_pa, dt_us)
            words[: at.STATE_WORDS] = array("i", before.tolist())
            assert record_cycle.recorded(words, log, pressure_pa, dt_us) == words[at.FLAGS]
            assert (core.words(at.STATE_WORDS) == words[: at.STATE_WORDS]).all(), f"{name}, {n}"
        assert (core.words(len(log), SECOND) == log).all(), f"{name}, seed {SEED}"
        cycles, lost, blocks = (
            cycles + len(one.given),
            lost + log[LOG_LOST],
            blocks + log[LOG_NUMBER],
        )
    record_property(
        "shown",
        f"{architecture} by {compiler.name}: {len(code)} bytes; {cycles} cycles, {blocks} blocks, "
        f"{lost} cycles lost in full logs",
    )
    assert blocks > 0
    assert len(code) <= IMAGE_BYTES


def new_log() -> array:
    recorder = Recorder(LOG_BLOCKS)
    recorder.open()
    return recorder.log


@pytest.mark.parametrize("policy", sorted(SATURATED_ALLOCATION_INSTRUCTIONS))
def test_a_saturated_allocation_stays_within_its_instructions_on_a_cortex_m3(
    policy: str,
    recorded: list[tuple[str, Recorded]],
    record_property: Callable[[str, object], None],
) -> None:
    core = Core("armv7m", core_image(compiler_for(THUMB2, gnu_compiler), "allocate"))
    worst = {"saturated": 0, "attainable": 0}
    for name, one in recorded:
        if not name.endswith(policy):
            continue
        core.load(np.array(one.tables.words))
        for before, after, held in zip(*allocations(one), strict=True):
            core.load(before)
            count = core.call(int(held))
            assert (core.words(at.STATE_WORDS) == after).all(), f"{name}, seed {SEED}"
            kind = "saturated" if after[at.FLAGS] & LIMITED else "attainable"
            worst[kind] = max(worst[kind], count)
    record_property("shown", f"Cortex-M3, allocation, {policy}, instructions at worst: {worst}")
    assert worst["saturated"] <= SATURATED_ALLOCATION_INSTRUCTIONS[policy]


@pytest.mark.parametrize("target", [THUMB2, THUMB1, RISCV], ids=["armv7m", "armv6m", "rv32imc"])
def test_the_stack_stays_within_512_bytes_by_the_compilers_own_report(
    target: Target, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """The deepest chain of calls in GCC's call graph, frame by frame."""
    compiler = compiler_for(target, gnu_compiler)
    (tmp_path / "core.c").write_text(core_source(), encoding="utf-8")
    run([*compiler.compile, "-fcallgraph-info=su", "-c", "core.c", "-o", "core.o"], tmp_path)
    report = (tmp_path / "core.ci").read_text(encoding="utf-8")
    assert "dynamic" not in report.replace("dynamic_objects", "")
    frames = {
        name: int(size)
        for name, size in re.findall(r'title: "([^"]+)" label: "[^"]*?(\d+) bytes', report)
    }
    calls = re.findall(r'sourcename: "([^"]+)" targetname: "([^"]+)"', report)

    def deepest(name: str) -> int:
        below = [deepest(called) for caller, called in calls if caller == name]
        return frames[name] + max(below, default=0)

    needed = deepest("fv_cycle")
    record_property("shown", f"{compiler.name} {target.machine[0]}: {needed} bytes of stack")
    assert 0 < needed <= STACK_BYTES


@pytest.mark.parametrize(
    ("target", "body", "message"),
    [
        (THUMB2, "static int32_t kept; return kept += w[0];", "the flight core has data"),
        (THUMB1, "return w[0] / w[1];", "idiv"),  # no divide instruction, no library
        (
            THUMB2,
            "static const int32_t table[4] = {9, 8, 7, 1}; return table[w[0] & 3];",
            "depends on its address",
        ),
    ],
    ids=["data", "a library", "a fixed address"],
)
def test_code_that_wants_more_than_itself_is_refused(
    target: Target, body: str, message: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = f"{STDINT}int32_t fv_cycle(int32_t *w) {{ {body} }}\n"
    monkeypatch.setattr("hil.boards.core_image.core_source", lambda entry: text)
    with pytest.raises(BoardError, match=message):
        core_image(compiler_for(target, gnu_compiler))


def test_a_module_holds_the_code_word_by_word() -> None:
    text = assembler_module("armv7m", "cycle", 3, bytes(range(1, 7)))
    assert text.startswith("@micropython.asm_thumb\ndef cycle(r0, r1, r2):\n")
    assert "data(4, 67305985, 1541)\n" in text  # little-endian, filled up with zeros
    assert "asm_rv32" in assembler_module("rv32imc", "cycle", 3, b"1234")


def core_of(architecture: str, expression: str, monkeypatch: pytest.MonkeyPatch) -> Core:
    """A core that sets its first word to what a function of the prelude makes of the next ones."""
    text = f"{STDINT}{PRELUDE}\nint32_t fv_cycle(int32_t *w) {{ return w[0] = {expression}; }}\n"
    monkeypatch.setattr("hil.boards.core_image.core_source", lambda entry: text)
    return Core(architecture, core_image(compiler_for(TARGETS[architecture], gnu_compiler)))


@pytest.mark.parametrize("by", [1, 2, 3, 7, 999, 1000, 16384, 32767, 32768, 99_991, 2**24, 2**30])
def test_division_without_a_divide_instruction_rounds_down(
    by: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The core's own division for the Cortex-M0+, about every size of quotient."""
    core = core_of("armv6m", "divided(w[1], w[2])", monkeypatch)
    near = [by * q + rest for q in (0, 1, 2, 127, 128, 65535, 65536) for rest in (-1, 0, 1, by - 1)]
    for x in {*near, *(-number for number in near), 2**31 - 1, -(2**31), 5}:
        if -(2**31) <= x < 2**31:
            core.load(np.array([0, x, by]))
            core.call()
            assert core.words(1)[0] == x // by, f"{x} // {by}"


@pytest.mark.parametrize("architecture", ["armv7m", "armv6m", "rv32imc"])
def test_a_product_longer_than_a_word_comes_back_into_one_rounded_down(
    architecture: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The kernel language's `scaled` in C, of two numbers of up to 29 bits, against Python's."""
    core = core_of(architecture, "product_shifted(w[1], w[2], w[3])", monkeypatch)
    near = [(1 << n) + more for n in (0, 13, 14, 15, 21, 27, 28) for more in (-1, 0, 1, 77)]
    for a, b, bits in product([*near, *(-number for number in near)], near, (14, 15, 27, 28, 31)):
        if -(2**31) <= (a * b) >> bits < 2**31:
            core.load(np.array([0, a, b, bits]))
            core.call()
            assert core.words(1)[0] == scaled(a, b, bits), f"{a} · {b} >> {bits}"


@pytest.mark.usefixtures("campaign")
def test_the_code_is_made_from_the_kernel_files_as_they_lie_beside_it(tmp_path: Path) -> None:
    """Not from an earlier run: an edited kernel gives other code, and edited back the same."""
    compiler_for(THUMB2, gnu_compiler)
    for package in ("mixer", "hil", "firmware_port"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("demo"))
    kernel = tmp_path / "mixer/flight/boxes.py"
    text = kernel.read_text(encoding="utf-8")
    assert "KEPT = 127" in text
    made = []
    for edited in (text, text.replace("KEPT = 127", "KEPT = 126"), text):
        kernel.write_text(edited, encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-B", "-c", MADE], cwd=tmp_path, capture_output=True, text=True,
            env={**os.environ, "PYTHONPATH": str(tmp_path)}, check=True,
        )  # fmt: skip
        made.append(done.stdout)
    assert made[0] == made[2] != made[1]


MADE = """
from hil.boards.deploy import compile_for
from hil.boards.link import BoardFacts
files = compile_for(BoardFacts("Invented", "MicroPython v1.25.0", (6, 3), "armv7m", 32, True))
print(files["firmware_port/record_cycle.mpy"].hex())
"""
