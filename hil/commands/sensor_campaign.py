"""Does a failing pressure sensor lose a flight that a true one keeps?

    python -m hil.commands.sensor_campaign --flights 500 --each-way VEHICLE

Each dispersed flight is flown with a true sensor and with one that fails, at a burn time that its
seed draws; in a way that it draws too, or in every way. CAUTION: these are simulated flights; none
of them is leave to fly.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

from hil.campaigns.failure_campaign import Limits
from hil.campaigns.failures import beginning
from hil.campaigns.plans import FLIGHTS_A_BLOCK, Plan, fly_plans, in_blocks
from hil.faults.faults import Fault
from mixer.ground.command_line.fourvane import FAILED
from mixer.ground.reports.console import output, progress
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle

WAYS = (
    Fault("pressure", value=0.0),
    Fault("pressure-full-scale"),
    Fault("pressure-frozen"),
    *(Fault("pressure", value=share) for share in (0.3, 0.6, 1.4, 3.0)),
    *(Fault("pressure-intermittent", value=hz) for hz in (1.0, 5.0, 20.0, 50.0)),
)
TIMES = 20  # of the burn, the first and the last a fortieth of it from its ends
DRAWS = 0x5E4C


@dataclass(frozen=True)
class Found:
    """Of one vehicle's flights: how many there were, and which were lost."""

    flights: int
    lost_true: tuple[Plan, ...]  # with a true sensor
    lost_failing: tuple[Plan, ...]

    @property
    def lost_by_the_sensor(self) -> tuple[Plan, ...]:
        """Lost with the failing sensor, kept with a true one."""
        lost = {plan.seed for plan in self.lost_true}
        return tuple(plan for plan in self.lost_failing if plan.seed not in lost)


def plans_of(vehicle: Vehicle, seeds: Sequence[int], ways: Sequence[Fault] = WAYS) -> list[Plan]:
    """One flight a seed; time and way are drawn."""
    found = []
    for seed in seeds:
        draws = np.random.default_rng([DRAWS, seed])
        share = (draws.integers(TIMES) + 0.5) / TIMES
        way = ways[int(draws.integers(len(ways)))]
        found.append(Plan(seed, (beginning(way, share * vehicle.engine.burn_time_s),)))
    return found


def compare(
    vehicle: Vehicle,
    seeds: Sequence[int],
    each_way: bool = False,
    flown: Callable[[int], None] = lambda flights: None,
) -> Found:
    """Fly each with a true sensor, and with one that fails in the way drawn, or in every way."""
    groups = [(way,) for way in WAYS] if each_way else [WAYS]
    failing = [plan for ways in groups for plan in plans_of(vehicle, seeds, ways)]
    lost_true = lost_of(vehicle, [Plan(seed) for seed in seeds], flown)
    return Found(len(failing), lost_true, lost_of(vehicle, failing, flown))


def lost_of(
    vehicle: Vehicle,
    plans: Sequence[Plan],
    done: Callable[[int], None] = lambda flights: None,
) -> tuple[Plan, ...]:
    """Those that were lost."""
    limits, lost = Limits(), []
    for block in in_blocks(plans, FLIGHTS_A_BLOCK):
        flown = fly_plans(vehicle, block, watch_jams=False)
        errors = zip(block, flown["attitude_error_deg"], flown["roll_rate_deg_s"], strict=True)
        lost += [plan for plan, tilt, roll in errors if limits.outcome(tilt, roll) == "lost"]
        done(len(block))
    return tuple(lost)


@click.command()
@click.option("--flights", type=click.IntRange(1), default=500, show_default=True)
@click.option("--first-seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--each-way", is_flag=True, help="So many flights for every way to fail.")
@click.argument("vehicle_file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def sensor_campaign(vehicle_file: Path, flights: int, first_seed: int, each_way: bool) -> None:
    """Fly dispersed flights with a failing pressure sensor, and the same ones with a true one."""
    vehicle, seeds = load_vehicle(vehicle_file), range(first_seed, first_seed + flights)
    with progress("Flying", flights * (1 + (len(WAYS) if each_way else 1))) as more:
        found = compare(vehicle, seeds, each_way, more)
    output.print(
        f"{found.flights} flights: {len(found.lost_true)} lost with a true sensor, "
        f"{len(found.lost_failing)} with a failing one, {len(found.lost_by_the_sensor)} by it"
    )
    for plan in found.lost_by_the_sensor:
        output.print(f"  seed {plan.seed}: {plan.faults[0]}")
    if found.lost_by_the_sensor:
        raise SystemExit(FAILED)


if __name__ == "__main__":
    sensor_campaign()
