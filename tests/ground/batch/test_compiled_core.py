"""The flight core in C, compiled for this computer, gives every word that plain Python gives.

By GCC and Clang, at every level of optimisation, and with their sanitizers for undefined behaviour
(C11, annex J.2) and addresses, which have to stay silent.
"""

import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from hil.boards.core_image import core_source
from mixer.flight import FlightTables
from mixer.flight import layout as at
from tests.support.c_library import needs
from tests.support.random_vehicles import random_vehicles
from tests.support.recorded_cycles import Recorded, record
from tests.support.unlike_vehicles import unlike_tables

SEED = 10
CYCLES = {"long": 1_000_000, "ci": 100_000}  # over all vehicles
RANDOM_VEHICLES = {"long": 200, "ci": 40}
SANITIZED = "-O1 -fsanitize=undefined,address -fno-sanitize-recover=all"
DRIVER = Path(__file__).parents[2] / "support" / "compiled_core.c"
BUILDS = [
    (compiler, options)
    for compiler in ("gcc", "clang")
    for options in ("-O0", "-O1", "-O2", "-O3", SANITIZED)
]
STRICT = "-std=c99 -Wall -Wextra -Wconversion -Werror".split()  # noqa: SIM905


def many_tables(size: str) -> list[tuple[str, FlightTables]]:
    """Unlike vehicles, and random ones."""
    drawn = random_vehicles(RANDOM_VEHICLES[size], SEED)
    return [*unlike_tables(), *((f"vehicle {one.number}", one.tables) for one in drawn)]


def built(folder: Path, build: int) -> Path:
    """The core with its driver, by one of `BUILDS`."""
    compiler, options = BUILDS[build]
    source, program = folder / "core.c", folder / f"core{build}"
    source.write_text(core_source() + DRIVER.read_text(encoding="utf-8"), encoding="utf-8")
    subprocess.run([compiler, *STRICT, *options.split(), source, "-o", program], check=True)
    return program


@pytest.fixture(scope="module")
def programs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The core with its driver, by every compiler that is here."""
    folder = tmp_path_factory.mktemp("core")
    found = {}
    for n, (compiler, options) in enumerate(BUILDS):
        if shutil.which(compiler) is not None:
            found[f"{compiler} {options}"] = built(folder, n)
        elif os.environ.get("CI"):
            pytest.fail(f"CI needs {compiler}")
    if not found:
        pytest.skip("neither gcc nor clang is here")
    return found


def run_cycles(program: Path, recorded: Recorded) -> tuple[np.ndarray, bytes]:
    """The words after each cycle, and what the program had to say."""
    tables = np.array(recorded.tables.words, np.int32)
    counts = np.array([len(tables), at.STATE_WORDS, len(recorded.before)], np.int32)
    cycles = np.hstack([recorded.before, recorded.given]).astype(np.int32)
    given = counts.tobytes() + tables.tobytes() + cycles.tobytes()
    done = subprocess.run([program], input=given, capture_output=True, check=False)
    assert done.returncode == 0, f"{program}: {done.returncode}: {done.stderr[-2000:].decode()}"
    return np.frombuffer(done.stdout, np.int32).reshape(-1, at.STATE_WORDS), done.stderr


@pytest.mark.usefixtures("campaign")
def test_every_word_of_every_cycle_is_that_of_python(
    programs: dict[str, Path], size: str, record_property: Callable[[str, object], None]
) -> None:
    vehicles = many_tables(size)
    each = -(-CYCLES[size] // len(vehicles))
    for name, tables in vehicles:
        recorded = record(tables, SEED, each)
        for build, program in programs.items():
            after, said = run_cycles(program, recorded)
            different = np.flatnonzero((after != recorded.after).any(axis=1))
            assert not len(different), f"{name}, {build}: cycle {different[0]}, seed {SEED}"
            assert not said, f"{name}, {build}: {said.decode()}"
    record_property(
        "shown",
        f"{each * len(vehicles)} cycles, {len(vehicles)} tables, seed {SEED}, by Python and "
        f"{', '.join(programs)}: 0 differ",
    )


def test_the_comparison_sees_a_single_wrong_word(tmp_path: Path) -> None:
    needs(BUILDS[0][0])
    program = built(tmp_path, 0)
    _, tables = next(unlike_tables())
    recorded = record(tables, SEED, 5)
    recorded.before[2, at.LOAD] += 5_000_000
    after, _ = run_cycles(program, recorded)
    assert [bool((a != b).any()) for a, b in zip(after, recorded.after, strict=True)] == [
        False, False, True, False, False,
    ]  # fmt: skip
