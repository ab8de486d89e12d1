"""From a flight that shows something to the smallest one that still does.

Hypothesis's own shrinking works on what it drew, and stops with cycles that do not matter still in.
This knows what a person would leave out: cycles, then jams, pressures and time steps, then digits.
One thing is tried at a time, and kept where the flight still shows it, until nothing more can go.
"""

from collections.abc import Callable, Iterator
from dataclasses import fields, replace

from mixer.ground.check.trial_flight import TrialCycle, TrialFlight

MOST_TRIES = 2000


def smallest(flight: TrialFlight, shows: Callable[[TrialFlight], bool]) -> TrialFlight:
    """The smallest flight found for which `shows` is true, as it is for `flight`."""
    tries = 0
    simpler = simpler_flights(flight)
    while tries < MOST_TRIES:
        candidate = next(simpler, None)
        if candidate is None:
            break
        tries += 1
        if shows(candidate):
            flight, simpler = candidate, simpler_flights(candidate)
    return flight


def simpler_flights(flight: TrialFlight) -> Iterator[TrialFlight]:
    """Flights that differ in one thing and are simpler by it, the largest steps first."""
    cycles = flight.cycles
    for length in (len(cycles) // 2, 1):
        for start in range(len(cycles) - length + 1 if 0 < length < len(cycles) else 0):
            yield replace(flight, cycles=cycles[:start] + cycles[start + length :])
    for name in ("time_us", "load_us"):
        for number in simpler_numbers(getattr(flight, name)):
            yield replace(flight, **{name: number})
    for place, cycle in enumerate(cycles):
        for simpler in simpler_cycles(cycle):
            yield replace(flight, cycles=(*cycles[:place], simpler, *cycles[place + 1 :]))


def simpler_cycles(cycle: TrialCycle) -> Iterator[TrialCycle]:
    """Cycles with something left out or a number that is simpler."""
    for one in fields(cycle):
        if getattr(cycle, one.name) is not None:
            yield replace(cycle, **{one.name: None})
    if cycle.demand_mnm is not None:
        for axis, moment in enumerate(cycle.demand_mnm):
            for number in simpler_numbers(moment):
                demand = list(cycle.demand_mnm)
                demand[axis] = number
                yield replace(cycle, demand_mnm=(demand[0], demand[1], demand[2]))
    if cycle.jam is not None:
        vane, stands = cycle.jam
        for number in simpler_numbers(stands):
            yield replace(cycle, jam=(vane, number))
    for name in ("pressure_pa", "dt_us"):
        if getattr(cycle, name) is not None:
            for number in simpler_numbers(getattr(cycle, name)):
                yield replace(cycle, **{name: number})


def simpler_numbers(number: int) -> Iterator[int]:
    """Numbers nearer to 0, or as near and rounder, and at last the positive for the negative."""
    size, sign = abs(number), -1 if number < 0 else 1
    if not size:
        return
    yield 0
    for digits in (1, 2):
        unit = 10 ** max(len(str(size)) - digits, 0)
        if size % unit:
            yield sign * (size // unit * unit)
    for numerator, denominator in ((1, 2), (3, 4), (15, 16)):
        fewer = size * numerator // denominator
        if 0 < fewer < size:
            yield sign * fewer
    if sign < 0:
        yield size
