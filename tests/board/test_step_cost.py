"""What a step costs on the emulated Cortex-M3, and that it does not creep up."""

import json
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from hil.instructions import counting_board
from hil.step_profile import StepCost, profile_steps
from mixer.flight import layout as at
from tests.vehicles import vehicle

LIMITS = Path(__file__).with_name("step_cost.json")  # worst cases when last looked at
GROWTH = 1.05
ALLOCATOR_INSTRUCTIONS = 5000
STEP_INSTRUCTIONS = 12_000
SATURATED = at.PRIMARY_LIMITED
SEED = 3
ROWS = 400


@pytest.fixture(scope="module")
def costs(firmware: Path) -> list[StepCost]:
    """Saturated, far, slewing and small demands, at a dt that changes from cycle to cycle."""
    source = random.Random(SEED)
    rows = []
    for _ in range(ROWS):
        size = source.choice((20_000, 400_000, 2_000_000, 100_000_000))
        demand = (source.randint(-size, size), source.randint(-size, size))
        roll = source.randint(-size // 20, size // 20)
        dt_us = source.choice((4990, 5000, 5010, 60_000))
        rows.append((dt_us, *demand, roll, source.choice((2_000_000, 1_400_000))))
    with counting_board(firmware=firmware) as counter:
        profiles = []
        for policy in ("nearest", "direction"):
            tables = vehicle(control={"policy": policy}).flight_tables()
            profiles += profile_steps(counter, tables, rows)
    return profiles


def worst(costs: list[StepCost]) -> dict[str, int]:
    return {
        "step": max(cost.total for cost in costs),
        "allocator_saturated": max(c.allocator for c in costs if c.flags & SATURATED),
        "allocator_attainable": max(c.allocator for c in costs if not c.flags & SATURATED),
    }


def test_the_saturated_allocator_stays_within_5000_and_a_step_within_12000_instructions(
    costs: list[StepCost], record_property: Callable[[str, object], None]
) -> None:
    dearest = max(costs, key=lambda cost: cost.total)
    record_property(
        "shown",
        f"Cortex-M3 instructions, seed {SEED}, {len(costs)} steps: {worst(costs)}; the dearest "
        f"step {dearest.total}, of which {dearest.kernels}",
    )
    assert worst(costs)["allocator_saturated"] <= ALLOCATOR_INSTRUCTIONS
    assert worst(costs)["step"] <= STEP_INSTRUCTIONS


@pytest.mark.parametrize("what", ["step", "allocator_saturated", "allocator_attainable"])
def test_no_worst_case_has_grown_by_more_than_5_percent(costs: list[StepCost], what: str) -> None:
    """Where more instructions are meant, step_cost.json beside this file takes the new figure."""
    before = json.loads(LIMITS.read_text(encoding="utf-8"))[what]
    now = worst(costs)[what]
    assert now <= GROWTH * before, f"{what}: {before} instructions before, {now} now"
