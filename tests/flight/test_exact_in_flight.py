"""Each cycle of random flights of random vehicles, against the oracle's policy.

The oracle is given the true deflections before the cycle and the numbers of the vehicle file; what
the deflections after it give by the file's curves is judged.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from mixer.flight import Steering
from tests.oracle.judge import PRIMARY_COUNTS, ROLL_COUNTS, judge
from tests.support.flown_truth import (
    COARSE_COUNTS,
    FlownRule,
    FlownTruth,
    Maker,
    narrow_and_nearly_parallel,
    random_flight,
    rule_of_window,
)
from tests.support.random_vehicles import RandomVehicle, random_vehicles

SEED = 20_261_128
VEHICLES = {"long": 1000, "ci": 120, "laptop": 5}
CYCLES = {"long": 40, "ci": 30, "laptop": 15}


@dataclass(frozen=True)
class Found:
    """What a cycle was off by, and what makes it hard."""

    where: str
    primary: float
    roll: float
    outside: float
    grazing: bool
    narrow: bool
    grain: float  # counts that 0.001° is worth


def findings(vehicles: Iterator[RandomVehicle], fly, cycles: int) -> Iterator[Found]:
    """Judge every cycle of one flight for each vehicle, flown by `fly(vehicle, **start)`."""
    for one in vehicles:
        rng = np.random.default_rng([SEED, one.number])
        burn_s = one.data["engine"]["burn_time_s"]
        flown = fly(one, time_s=rng.uniform(0, burn_s), load_s=rng.uniform(0, 1.3 * burn_s))
        for number, cycle in enumerate(random_flight(flown, rng, cycles)):
            instant = cycle.instant
            verdict = judge(*instant.arguments, cycle.forces, **instant.boxes)
            strict = float(verdict.primary_error_counts.max())
            grazing = strict > PRIMARY_COUNTS and instant.policy == "direction"
            primary = float(verdict.primary_edge_error_counts.max()) if grazing else strict
            yield Found(
                f"seed {SEED}, vehicle {one.number} ({one.policy}), cycle {number}",
                primary,
                verdict.roll_error_counts,
                verdict.outside_counts,
                grazing and primary <= PRIMARY_COUNTS,
                narrow_and_nearly_parallel(instant),
                float(instant.kappa.max()) * flown.numbers.steepest_counts(),
            )


@pytest.fixture(scope="module")
def maker() -> Maker:
    """What makes a steering from tables."""
    return Steering


@pytest.fixture(scope="module")
def found(size, maker) -> list[Found]:
    vehicles = random_vehicles(VEHICLES[size], SEED)
    return list(
        findings(vehicles, lambda one, **start: FlownTruth(one, maker, **start), CYCLES[size])
    )


def worst(found: list[Found], of: str) -> Found:
    return max(found, key=lambda one: getattr(one, of))


def test_pitch_and_yaw_are_within_four_counts_of_the_policy(found, record_property):
    """Where 0.001°, the step of a command, is worth more than COARSE_COUNTS of force, within four
    counts and that. Grazing segments of "direction" as in test_allocation."""
    fine = [one for one in found if one.grain <= COARSE_COUNTS]
    grazing = sum(one.grazing for one in found)
    most = worst(fine, "primary")
    coarse = [one for one in found if one.grain > COARSE_COUNTS]
    record_property(
        "shown",
        f"in flight: primary within {most.primary:.2f} counts over {len(fine)} cycles "
        f"({grazing} grazing); {len(coarse)} of coarse vehicles within "
        f"{max((one.primary for one in coarse), default=0):.2f}",
    )
    assert most.primary <= PRIMARY_COUNTS, most
    assert all(one.primary <= PRIMARY_COUNTS + one.grain for one in coarse)
    assert grazing <= len(found) * 0.002


def test_roll_is_within_eight_counts_by_the_fair_measure(found, record_property):
    """Narrow windows of nearly parallel vanes are told apart, but keep to the bound too. Coarse
    vehicles as above."""
    narrow = [one.roll for one in found if one.narrow]
    most = worst([one for one in found if one.grain <= COARSE_COUNTS], "roll")
    record_property(
        "shown",
        f"in flight: roll within {most.roll:.2f} counts; {len(narrow)} cycles with a narrow "
        f"window of nearly parallel vanes within {max(narrow):.2f}",
    )
    assert most.roll <= ROLL_COUNTS, most
    assert all(one.roll <= ROLL_COUNTS + one.grain for one in found)


def test_no_vane_leaves_its_window(found):
    """But for what 0.001° is worth: windows end between two commands."""
    assert all(one.outside <= one.grain for one in found), worst(found, "outside")


def test_this_judgement_finds_the_rule_of_the_window_wrong():
    """The target sought in this cycle's window: in floats, so nothing else can be at fault."""
    vehicles = random_vehicles(6, SEED)
    wrong = list(
        findings(vehicles, lambda one, **start: FlownRule(one, rule_of_window, **start), 20)
    )
    assert sum(one.primary > 2 * PRIMARY_COUNTS for one in wrong) > len(wrong) / 10
