"""Instructions of the same calls on the emulated Cortex-M3, as machine code and as bytecode."""

from base64 import b64encode
from collections.abc import Iterator
from dataclasses import dataclass

from hil.deploy import ROOT, kernels
from hil.instructions import InstructionCounter, counting_board
from mixer.flight import KERNELS
from tests.bench.problems import Problems

CORE = ("__init__", "words", "layout", "tables", "steering", *KERNELS)
SOURCES = ["mixer/__init__.py", *(f"mixer/flight/{name}.py" for name in CORE)]
PERIOD_US = 5000
SETTLED = 12  # cycles until slew lets the vanes reach where the demand wants them


@dataclass(frozen=True)
class Cost:
    """Instructions at the worst of some demands; heap bytes of a cycle."""

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
    tables = b64encode(problems.car.flight_tables().to_bytes()).decode()
    pressure_pa = round(problems.car.engine.chamber_pressure_bar * 1e5)
    primary = "along" if policy == "direction" else "nearest"
    counter.run(
        "from binascii import a2b_base64\n"
        "from mixer.flight import FlightTables, Steering\n"
        f"from mixer.flight.{primary} import {primary}\n"
        "from mixer.flight.secondary import secondary\n"
        f"s = Steering(FlightTables.from_bytes(a2b_base64('{tables}')))\n"
        "t, w = s._t, s._s\n"
        f"def settle(p, y, r):\n    for _ in range({SETTLED}):\n"
        f"        s.demand(p, y, r)\n        s.step({pressure_pa}, {PERIOD_US})\n"
    )
    worst = {False: 0, True: 0}
    cycle = 0
    for saturated in worst:
        for row in problems.some(saturated, demands):
            demand = "settle({}, {}, {})".format(*problems.demands_mnm[row])
            alone = [
                counter.of_call(f"{kernel}(t, w)", before=demand)[0]
                for kernel in (primary, "secondary")
            ]
            worst[saturated] = max(worst[saturated], sum(alone))
            step = f"s.step({pressure_pa}, {PERIOD_US})"
            cycle = max(cycle, counter.of_call(step, before=demand)[0])
    heap_bytes = counter.heap_bytes(f"s.step({pressure_pa}, {PERIOD_US})")
    return Cost(form, policy, worst[False], worst[True], cycle, heap_bytes)
