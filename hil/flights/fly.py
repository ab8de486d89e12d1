"""Flies a block of flights together: hold, steering, faults, servos and rocket, cycle by cycle."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from hil.faults.effects import FaultsAtWork
from hil.faults.faults import Fault
from hil.faults.wrong_tables import believed, in_tables
from hil.flights.attitude_hold import AttitudeHold, in_mnm
from hil.flights.extremes import Glance, Tally
from hil.rocket.dispersion import Truth, side_by_side
from hil.rocket.rocket import Rocket
from hil.steering.pseudo_inverse import PA_PER_BAR
from hil.steering.steering_block import (
    Given,
    Integers,
    LaptopBlock,
    PartedBlock,
    SteeringBlock,
)
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class Flight:
    """One flight to fly: how it really is, what goes wrong in it, and the seed it came from."""

    truth: Truth
    seed: int = 0
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True)
class Cycle:
    """What a listener sees in each cycle, before the rocket flies on; (N,) or (rows, N)."""

    number: int
    rocket: Rocket
    demand_mnm: Integers
    pressure_pa: Integers
    steering: SteeringBlock
    glance: Glance


WAIT_S = 0.5  # on the pad, unless said otherwise
START_S = 0.1  # after ignition the flight computer is sure of it, and says so once
ALL_VANES = 15  # bit 0 for vane 1
Listener = Callable[[Cycle], None]
MakeSteering = Callable[[Vehicle, Sequence[Flight]], SteeringBlock]


def laptop(vehicle: Vehicle, flights: Sequence[Flight]) -> SteeringBlock:
    """The flight core on this computer, each flight with the tables it believes in.

    Those that believe the same are steered together.
    """
    believing: dict[tuple[Fault, ...], list[int]] = {}
    for number, flight in enumerate(flights):
        believing.setdefault(in_tables(flight.faults), []).append(number)
    parts: list[tuple[Integers, SteeringBlock]] = []
    for wrong, numbers in believing.items():
        tables = flight_tables(believed(vehicle, wrong))
        block = LaptopBlock(tables, len(numbers), cycles_of(vehicle, flights))
        parts.append((np.array(numbers), block))
    return parts[0][1] if len(parts) == 1 else PartedBlock(parts)


def cycles_of(vehicle: Vehicle, flights: Sequence[Flight]) -> int:
    """Control cycles until the last engine of the block has tailed off."""
    burn_s = vehicle.engine.burn_time_s + vehicle.needs_rocket().tail_off_s
    longest_s = max(
        sum(fault.value for fault in flight.faults if fault.row.delays)
        + float(flight.truth.burn_time_alike.max()) * burn_s
        for flight in flights
    )
    return int(np.ceil(longest_s * vehicle.control.rate_hz))


def pad_steps_us(wait_s: float, period_us: int) -> list[int]:
    """The cycles of a wait: a long one in whole seconds, which a steering counts just so; then as
    in flight."""
    coarse = max(0, int(wait_s - WAIT_S))
    return [1_000_000] * coarse + [period_us] * round(1e6 * (wait_s - coarse) / period_us)


def angles_mdeg(rocket: Rocket) -> Integers:
    """What the vanes' angle sensors say, (4, N)."""
    return np.rint(1e3 * rocket.vane_deg).astype(np.int64)


def wait_on_the_pad(
    steering: SteeringBlock,
    conditions: FaultsAtWork,
    seen_mdeg: Integers | None,
    wait_s: float,
    period_us: int,
) -> None:
    """Armed, nothing demanded, no jet; the sensors read what they read. Angle sensors, where there
    are any, were seen to follow in the control check before.
    """
    if seen_mdeg is not None:
        steering.trust(ALL_VANES)
    flights = len(steering.commands.flags)
    nothing, heard = np.zeros((3, flights), np.int64), np.ones(flights, bool)
    time_s = -wait_s
    for step_us in pad_steps_us(wait_s, period_us):
        conditions.at(time_s)
        pressure_pa = conditions.pressure_pa(np.zeros(flights), time_s, 1e-6 * step_us)
        dt_us = np.full(flights, step_us, np.int64)
        steering.cycle(Given(nothing, heard, pressure_pa, dt_us, seen_mdeg))
        time_s += 1e-6 * step_us


def fly(
    vehicle: Vehicle,
    flights: Sequence[Flight],
    make_steering: MakeSteering = laptop,
    watch_jams: bool = True,
    listener: Listener | None = None,
    wait_s: float = WAIT_S,
) -> Tally:
    """Fly a block from the pad through the tail-off. A flight's numbers are its own: they do
    not depend on the block it flies in. `wait_s`: armed, on the pad, from power-on to ignition.
    `watch_jams`: the module reads an angle sensor on every vane.
    """
    rocket = Rocket(vehicle, side_by_side([flight.truth for flight in flights]))
    steering = make_steering(vehicle, flights)
    conditions = FaultsAtWork(
        [flight.faults for flight in flights],
        [flight.seed for flight in flights],
        rocket,
        steering,
    )
    hold = AttitudeHold(vehicle)
    tally = Tally(rocket)
    period_us = round(1e6 / vehicle.control.rate_hz)
    reference_pa = PA_PER_BAR * vehicle.engine.chamber_pressure_bar
    seen_mdeg = angles_mdeg(rocket) if watch_jams else None
    wait_on_the_pad(steering, conditions, seen_mdeg, wait_s, period_us)
    for number in range(cycles_of(vehicle, flights)):
        conditions.at(rocket.time_s)
        demand_mnm = in_mnm(hold.demand_nm(rocket), *steering.most_mnm)
        true_pa = reference_pa * rocket.pressure_share * rocket.truth.sensor_alike[0]
        pressure_pa = conditions.pressure_pa(true_pa, rocket.time_s, 1e-6 * period_us)
        elapsed_us = conditions.elapsed_us(period_us)
        if number == round(START_S * vehicle.control.rate_hz):
            steering.start()
        heard, damaged = conditions.frames()
        for flight in np.flatnonzero(damaged):
            steering.garbled(int(flight), demand_mnm[:, flight].tolist())
        seen_mdeg = angles_mdeg(rocket) if watch_jams else None
        steering.cycle(Given(demand_mnm, heard, pressure_pa, elapsed_us, seen_mdeg))
        glance = tally.see(demand_mnm, heard, steering.commands)
        if listener is not None:
            listener(Cycle(number, rocket, demand_mnm, pressure_pa, steering, glance))
        pulses_us = conditions.pulses_us(steering.commands.pulse_ns)
        rocket.advance(pulses_us, period_us)
    return tally
