"""Instructions of the same calls on the emulated Cortex-M3, as machine code and as bytecode."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from hil.deploy import ROOT, kernels
from hil.instructions import InstructionCounter, counting_board
from hil.step_profile import profile_steps
from mixer.flight import KERNELS
from tests.bench.problems import LIMITED, Problems

CORE = ("__init__", "words", "layout", "tables", "steering", *KERNELS)
SOURCES = ["mixer/__init__.py", *(f"mixer/flight/{name}.py" for name in CORE)]
PERIOD_US = 5000
HELD = 12  # cycles a demand is held: slew lets the vanes reach where it wants them


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
    for form, compiled in (("machine code", kernels() & set(SOURCES)), ("bytecode", set())):
        with counting_board(SOURCES, machine_code=compiled, root=ROOT) as counter:
            for policy, problems in by_policy.items():
                yield cost(counter, form, policy, problems, demands)


def cost(
    counter: InstructionCounter, form: str, policy: str, problems: Problems, demands: int
) -> Cost:
    pressure_pa = round(problems.car.engine.chamber_pressure_bar * 1e5)
    some = np.concatenate([problems.some(saturated, demands) for saturated in (False, True)])
    rows = [
        (PERIOD_US, *problems.demands_mnm[row], pressure_pa) for row in some for _ in range(HELD)
    ]
    profiled = profile_steps(counter, problems.car.flight_tables(), rows)
    attainable = [cost.allocator for cost in profiled if not cost.flags & LIMITED]
    saturated = [cost.allocator for cost in profiled if cost.flags & LIMITED]
    heap_bytes = max(
        counter.heap_bytes(
            f"whole.step({pressure_pa}, {PERIOD_US})",
            before="whole.demand({}, {}, {})".format(*problems.demands_mnm[row]),
        )
        for row in some
    )
    worst = max(attainable), max(saturated), max(cost.total for cost in profiled)
    return Cost(form, policy, *worst, heap_bytes)
