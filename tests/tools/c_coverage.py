"""Branches of the exported C that random cycles do not take: `python -m tests.tools.c_coverage`.

Branches are gcc's (gcov), of the code as it stands, without optimisation.
"""

import re
import tempfile
from pathlib import Path

from mixer.flight import layout as at
from mixer.ground.c_library import self_test
from tests.support.c_library import (
    BEGIN,
    DEMAND,
    FREE,
    JAM,
    RELEASE,
    RESET,
    ROOM,
    SENSED,
    START,
    STEP,
    TRUST,
    WAIT,
    WATCH,
    build_player,
    carried,
    exported,
    operations,
    play,
    random_tables,
    run,
)
from tests.support.watched_ops import SLIPPING, WAYS, watched_operations
from tests.tools.table_mutants import word_by_word

VEHICLES = 100
CYCLES = 176  # of each, so that every kind of segment comes
# What no steering can take, and why.
REASONS = {
    ("core_unfit_word", "if (count < CORE_BODY) {"): "fv_init has refused such tables before",
    ("core_deflection_at", "while (force < w[o + 1]) {"): (
        "a cell names the record that its lower end lies on, and no force lies below its cell"
    ),
    ("parted", "return x >= 0 ? x / by : -1 - (-1 - x) / by;"): (
        "what the kernels part is a way in a time, never below 0"
    ),
}


def uncovered(folder: Path, name: str) -> list[tuple[str, str]]:
    """Function and text of each line with a branch that was never taken, or never came up."""
    (data,) = folder.glob(f"*{name}.gcda")
    run("gcov", "-b", "-c", "-o", data, folder / f"src/{name}.c", cwd=folder)
    found, function, line = [], "", ""
    for text in (folder / f"{name}.c.gcov").read_text().splitlines():
        if started := re.match(r"function (\w+) called", text):
            function = started[1]
        elif re.match(r"branch +\d+ (never executed|taken 0\b)", text):
            found.append((function, line))
        elif not re.match(r"(branch|call|unconditional) ", text):
            line = text.split(":", 2)[-1].strip()
    return list(dict.fromkeys(found))


def core(folder: Path) -> list[tuple[str, str]]:
    """What random cycles, and tables that are refused, leave uncovered of the flight core."""
    player = build_player(exported(folder), ("--coverage", "-O0"))
    for seed in range(VEHICLES):
        tables = random_tables(seed)
        ops = operations(self_test.record(tables, CYCLES, seed))
        play(player, [(carried(tables, ops), len(ops))])
        for ways in (WAYS, SLIPPING):
            ops = watched_operations(tables, CYCLES, seed, ways)
            play(player, [(carried(tables, ops), len(ops))])
    every = [(STEP, 0, 0), (DEMAND, 0, 0, 0), (JAM, 1, 0), (FREE, 1), (JAM, 0, 0), (FREE, 5),
             (JAM, 5, 0), (FREE, 0), (START, 0, 0), (RELEASE,), (RESET,), (SENSED, 0, 0, 0, 0),
             (RESET,), (BEGIN,), (BEGIN,), (WAIT, 0), (TRUST, 15), (WATCH, 0)]  # fmt: skip
    tables = random_tables(0)
    weak_pa, right_pa = (tables.words[at.PA_MAX] // share for share in (6, 2))
    ignition = [  # one that dies again, one, a sensor that dies, one that is told of and never seen
        (RESET,), *[(STEP, weak_pa, 20_000)] * 5, (STEP, 0, 20_000),
        *[(STEP, right_pa, 20_000)] * 5,
        *[(STEP, 0, 20_000)] * 2, (START, 0, 0), *[(STEP, 0, 20_000)] * 30,
    ]  # fmt: skip
    play(player, [(carried(tables, ignition), len(ignition))])
    for header in ({}, {"version": 0}, {"count": 9}, {"count": ROOM + 1}, {"crc": 1}):
        play(player, [(carried(tables, every, **header), len(every))])
    play(player, [(carried(one, []), 0) for one in word_by_word(tables)])
    return uncovered(folder, "fourvane")


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        for function, line in core(Path(name)):
            print(f"{function}: {line}\n    {REASONS.get((function, line), 'NO REASON KNOWN')}")


if __name__ == "__main__":
    main()
