"""What a cycle costs on the emulated Cortex-M3, through MicroPython, and that it does not creep up.

Every counted cycle is also held against plain Python: all words of its state. What the code costs
without MicroPython's call of it: tests/hil/boards/test_core_image.py.
"""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from hil.verify.instructions import counting_board
from hil.verify.step_profile import Profile, crc_of
from tests.support.recorded_cycles import record
from tests.support.unlike_vehicles import unlike_tables

LIMITS = Path(__file__).with_name("step_cost.json")  # worst cases when last looked at
GROWTH = 1.05
CYCLE_INSTRUCTIONS = 3500  # with four angle sensors read in the same cycle
SEED = 3
CYCLES = {"long": 100, "ci": 20}  # on each vehicle
BYTECODE_EVERY = 7  # tables
COUNTS = ("machine_code", "bytecode")


class Costs:
    """The dearest cycle of each form; words that differ; heap bytes."""

    def __init__(self) -> None:
        self.worst: dict[str, int] = dict.fromkeys(COUNTS, 0)
        self.dearest = ""
        self.tables = self.cycles = self.differing = self.heap_bytes = 0


@pytest.fixture(scope="module")
def costs(firmware: Path, size: str, campaign: None) -> Costs:
    found, tables_of_all = Costs(), list(unlike_tables())
    found.tables = len(tables_of_all)
    for form in COUNTS:
        every = BYTECODE_EVERY if form == "bytecode" else 1
        with counting_board(machine_code=form == "machine_code", firmware=firmware) as counter:
            profile = Profile(counter)
            for name, tables in tables_of_all[::every]:
                recorded = record(tables, SEED, CYCLES[size])
                profile.take_tables(tables)
                counted = profile.cycles(recorded.before, recorded.given)
                worst = max(cost.instructions for cost in counted)
                if worst > found.worst[form]:
                    found.worst[form] = worst
                    found.dearest = name if form == "machine_code" else found.dearest
                found.cycles += len(counted)
                found.differing += sum(
                    cost.crc != crc_of(words)
                    for cost, words in zip(counted, recorded.after, strict=True)
                )
                if form == "machine_code":
                    heap_bytes = profile.heap_bytes(*map(int, recorded.given[0]))
                    found.heap_bytes = max(found.heap_bytes, heap_bytes)
    return found


def test_a_cycle_stays_within_its_instructions_with_micropythons_call_of_it(
    costs: Costs, record_property: Callable[[str, object], None]
) -> None:
    record_property(
        "shown",
        f"Cortex-M3 instructions at worst, {costs.cycles} cycles of {costs.tables} tables, "
        f"seed {SEED}: {costs.worst}; the dearest as machine code: {costs.dearest}",
    )
    assert costs.worst["machine_code"] <= CYCLE_INSTRUCTIONS


def test_every_word_after_a_cycle_is_that_of_plain_python(costs: Costs) -> None:
    assert costs.differing == 0


def test_a_cycle_in_machine_code_takes_no_heap(costs: Costs) -> None:
    assert costs.heap_bytes == 0


def test_the_worst_case_has_not_grown_by_more_than_5_percent(costs: Costs) -> None:
    """Where more instructions are meant, step_cost.json beside this file takes the new figure.

    Of bytecode nothing is held: collections of its heap fall into some cycles or others.
    """
    before = json.loads(LIMITS.read_text(encoding="utf-8"))["machine_code"]
    now = costs.worst["machine_code"]
    assert now <= GROWTH * before, f"{before} instructions before, {now} now"
