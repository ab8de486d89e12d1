"""frama-c's Eva over the exported flight core: `python -m tests.tools.c_eva` (frama-c-base).

Twice. Recorded cycles, every number known: Eva follows C's rules on a machine with 32-bit `int` and
must find nothing undefined, and no integer that differs. Then one step of a steering that was told
anything at all, with this vehicle's tables: each number becomes a range, by itself. Eva knows
nothing of how ranges belong together (a force to its own box, an edge's number to how many there
are), so it cannot show that some sums stay in their word and some searches in their table; these
alarms stand in `REASONS`, by function and statement. That they cannot be is shown for each vehicle
by the ground's own proof (`mixer/ground/kernel_code/bounds.py`), which knows those relations: it
goes record by record, runs what follows for each unit with its κ, and takes each word's range over
all cycles. The prelude's functions it takes for Python's own.
"""

import os
import re
import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from unittest import mock

from mixer.ground.c_library import render, self_test
from tests.support.c_library import exported, run

CYCLES = 16
PIECE = (
    "the search has ended at the record whose piece holds the number; the proof goes on record by "
    "record, with what the search has found out of the number"
)
SEARCH = "a cell names a record and the table is closed; the proof walks it, record by record"
UNIT = (
    "the unit is 2 wherever a κ is above 1, so that forces in units stay within 2^14; the proof "
    "runs what follows for each unit, with the κ that it stands for"
)
REACH = "what the curve gives within travel, ±32769: the proof takes it from the curve's records"
SCALED = (
    "demands and gains have 29 bits, and no demand is more than 2^25 eighths of a count; the proof "
    "runs the product with the shift that stands in the tables"
)
POINTS = (
    "a gap is no larger than want and zonotope allow, and is halved until it is near; the proof "
    "follows that turn by turn, and has the number of edges from the tables"
)
ROWS = "errors are held within 2^16, for which rows are made; the proof takes each row as it is"
MOMENTS = "forces in their boxes and a gain of 14 bits: the proof has both as ranges"
DIVIDED = "x less a multiple of the divisor is smaller than that; the proof has // as Python does"
SIZE = "no height is the least word: its two products stay within 2^30 each"
# What Eva cannot show, and what the proof shows it by.
REASONS = {
    ("core_set_force_gains", "effectiveness ="): PIECE,
    ("core_gain_of_lever_arm", "w[CORE_MOMENT_GAIN] ="): PIECE,
    ("core_gain_of_lever_arm", "return"): PIECE,
    ("core_counts", "return"): SCALED,
    ("core_to_neutral", "w[CORE_FORCE + vane] ="): REACH,
    ("core_set_boxes", "force_lo ="): REACH,
    ("core_set_boxes", "force_hi ="): REACH,
    ("core_set_boxes", "first_lo ="): REACH,
    ("core_set_boxes", "first_hi ="): REACH,
    ("core_set_zonotope", "x ="): UNIT,
    ("core_set_zonotope", "y ="): UNIT,
    ("core_most_crossed", "support ="): UNIT,
    ("core_most_crossed", "over ="): UNIT,
    ("core_most_crossed", "height ="): POINTS,
    ("magnitude", "return"): SIZE,
    ("core_along_edge", "return"): POINTS,
    ("core_of_halves", "result ="): UNIT,
    ("core_set_forces", "wanted ="): UNIT,
    ("core_set_forces", "e_x ="): UNIT,
    ("core_set_forces", "e_y ="): UNIT,
    ("core_set_forces", "row ="): ROWS,
    ("core_set_forces", "w[CORE_BASE + vane] ="): ROWS,
    ("divided", "return"): DIVIDED,
    ("core_deflection_at", "while (force"): SEARCH,
    ("core_deflection_at", "return"): PIECE,
    ("core_deflect", "w[CORE_MOMENT] ="): MOMENTS,
    ("core_deflect", "w[CORE_MOMENT + 1] ="): MOMENTS,
}
PLAYED = """\
#include "fourvane_self_test.h"
static fv_steering steering;
int main(void)
{
    fv_difference first;
    const int32_t differ = fv_self_test(&steering, &first);
    /*@ assert differ == 0; */
    return differ;
}
"""
ANYTHING = """\
#include "__fc_builtin.h"
#include "fourvane_vehicle.h"
#define ANY Frama_C_interval(INT32_MIN, INT32_MAX)
static fv_steering steering;
int main(void)
{
    fv_init(&steering, &fv_vehicle);
    fv_start(&steering, ANY, ANY);
    fv_jam(&steering, ANY, ANY);
    fv_free(&steering, ANY);
    fv_demand(&steering, ANY, ANY, ANY);
    fv_sensed(&steering, ANY, ANY, ANY, ANY);
    fv_step(&steering, ANY, ANY);
    fv_watch(&steering, ANY);
    return 0;
}
"""


Place = tuple[str, str]  # a function, and a statement of it


def alarms(folder: Path, main: str, steps: int, *names: str) -> Counter[Place]:
    """Alarms by their places; an assertion that is not shown counts as one in main.

    steps: how many states of a statement are kept apart before they are joined.
    """
    (folder / "main.c").write_text(main)
    said = run(
        "frama-c", "-eva", "-eva-slevel", steps, "-eva-no-show-progress", "-eva-slevel-function",
        "crc32_of:1000000000,fv_init:1000000000,core_reset:1000000", "-cpp-extra-args=-Isrc",
        "-machdep", "gcc_x86_32", "main.c", *(f"src/{name}.c" for name in names), cwd=folder,
        env={**os.environ, "PWD": str(folder)},  # what frama-c takes for the folder it runs in
    ).stdout.decode()  # fmt: skip
    (total,) = re.findall(r"(\d+) alarms? generated by the analysis", said)
    found: Counter[Place] = Counter()
    for file, line in re.findall(r"\[eva:alarm\] (\S+):(\d+): ", said):
        found[place_at(folder / file, int(line))] += 1
    assert found.total() >= int(total)
    return found


def place_at(file: Path, line: int) -> Place:
    """The function that a line of a C file stands in, and the line."""
    name = file.name
    lines = file.read_text().splitlines()
    for text in lines[:line]:
        if started := re.match(r"(?:static )?(?:inline )?\w+ \*?(\w+)\(", text):
            name = started[1]
    return name, lines[line - 1].strip()


def unexplained(found: Iterable[Place]) -> list[Place]:
    """Alarms that no reason is given for."""
    return [
        (function, line)
        for function, line in found
        if not any(function == where and line.startswith(begin) for where, begin in REASONS)
    ]


def played(folder: Path, cycles: int = CYCLES) -> Counter[Place]:
    """Alarms over recorded cycles, every number known: there must be none."""
    record = self_test.record
    with mock.patch.object(render.self_test, "record", lambda tables: record(tables, cycles)):
        exported(folder)
    names = ("fourvane", "fourvane_vehicle", "fourvane_self_test")
    return alarms(folder, PLAYED, 1_000_000_000, *names)


def anything(folder: Path) -> Counter[Place]:
    """Alarms over one step after anything at all."""
    return alarms(exported(folder), ANYTHING, 500, "fourvane", "fourvane_vehicle")


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        print(f"{CYCLES} recorded cycles: {played(Path(name)).total()} alarms", flush=True)
        found = anything(Path(name))
        print(f"one step after anything at all: {found.total()} alarms for want of relations")
        for (function, line), count in sorted(found.items()):
            print(f"{count:4} {function}: {line}")
        fresh = unexplained(found)
    print(f"{len(fresh)} of these have no reason in REASONS", *fresh, sep="\n  ")
    raise SystemExit(bool(fresh))


if __name__ == "__main__":
    main()
