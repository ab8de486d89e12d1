"""Instructions of the same cycles on the emulated Cortex-M3, as machine code and as bytecode.

A cycle is counted on the board, with the call of it from MicroPython. The allocation alone is
counted in machine code by itself, without MicroPython, and on the board as bytecode.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from hil.boards.core_image import core_image, find_compiler
from hil.node.errors import BoardError
from hil.verify.instructions import counting_board
from hil.verify.step_profile import Profile
from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.bench.problems import LIMITED, Problems
from tests.support.bare_core import Core
from tests.support.recorded_cycles import Recorded, allocations

ARCHITECTURE = "armv7m"
PERIOD_US = 5000
HELD = 12  # cycles a demand is held: slew lets the vanes reach where it wants them
BYTECODE_EVERY = 5  # cycles


@dataclass(frozen=True)
class Cost:
    """Instructions of the costliest cycle: its allocation where the demand can be met, where it
    is limited, and all of it; heap bytes of a cycle."""

    form: str
    policy: str
    attainable: int
    saturated: int
    cycle: int
    heap_bytes: int


def costs(by_policy: dict[str, Problems], demands: int) -> Iterator[Cost]:
    """For each form of code and each policy. BoardError where no board can be emulated."""
    compiler = find_compiler(ARCHITECTURE)
    if compiler is None:
        raise BoardError("no compiler for the Cortex-M3 is here")
    alone = Core(ARCHITECTURE, core_image(compiler, "allocate"))
    for form in ("machine code", "bytecode"):
        with counting_board(machine_code=form == "machine code") as counter:
            profile = Profile(counter)
            for policy, problems in by_policy.items():
                flown = fly(problems, demands)
                before, after, held = allocations(flown)
                limited = (after[:, at.FLAGS] & LIMITED) != 0
                profile.take_tables(flown.tables)
                some = slice(None, None, 1 if form == "machine code" else BYTECODE_EVERY)
                cycles = profile.cycles(flown.before[some], flown.given[some])
                if form == "machine code":
                    counts = count_alone(alone, flown, before, held)
                else:
                    before, held, limited = before[some], held[some], limited[some]
                    counts = [one.instructions for one in profile.allocations(before, held)]
                parts = np.array(counts)
                yield Cost(
                    form,
                    policy,
                    int(parts[~limited].max()),
                    int(parts[limited].max()),
                    max(cost.instructions for cost in cycles),
                    profile.heap_bytes(*map(int, flown.given[0])),
                )


def fly(problems: Problems, demands: int) -> Recorded:
    """Some demands of both kinds, each held for a while."""
    tables = flight_tables(problems.car)
    pressure_pa = round(problems.car.engine.chamber_pressure_bar * 1e5)
    some = np.concatenate([problems.some(saturated, demands) for saturated in (False, True)])
    steering = Steering(tables)
    cycle, words = steering.core
    before, after = [], []
    for row in some:
        for _ in range(HELD):
            steering.demand(*problems.demands_mnm[row])
            before.append(words[: at.STATE_WORDS])
            cycle(words, pressure_pa, PERIOD_US)
            after.append(words[: at.STATE_WORDS])
    given = np.full((len(before), 2), (pressure_pa, PERIOD_US), np.int32)
    return Recorded(tables, np.array(before, np.int32), np.array(after, np.int32), given)


def count_alone(core: Core, flown: Recorded, before: np.ndarray, held: np.ndarray) -> list[int]:
    core.load(np.array(flown.tables.words))
    counts = []
    for words, whether in zip(before, held, strict=True):
        core.load(words)
        counts.append(core.call(int(whether)))
    return counts
