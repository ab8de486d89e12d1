"""Every single jam is told soon after the command has left the vane."""

from collections.abc import Callable

import numpy as np
import pytest

from hil.campaigns.failures import single_plans
from hil.flights.fly import Cycle, Flight, fly
from hil.rocket.dispersion import drawn
from mixer.flight.jam_watch import WATCH_MOVED
from mixer.flight.layout import JAMMED_VANE
from mixer.ground.tables.watch_limits import watch_limits
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle
from tests.support.flying import BRIEF, flying_vehicle

VEHICLES: dict[str, Callable[[], Vehicle]] = {
    "brief": lambda: flying_vehicle(BRIEF, {"rocket.servo_lag_ms": 20.0}),
    "demo": lambda: load_vehicle("mixer/ground/demo/demo.toml"),
}
LONGEST_S = 0.15


class Away:
    """How long each jammed vane has stood outside the band of its command, undeclared, at most."""

    def __init__(self, vehicle: Vehicle, vanes: list[int]) -> None:
        self.vane = np.array(vanes) - 1
        self.flight = np.arange(len(vanes))
        self.band_mdeg = 1e3 * watch_limits(vehicle)[0][self.vane]
        self.period_s = 1 / vehicle.control.rate_hz
        self.from_mdeg = np.full(len(vanes), np.inf)
        self.away_s = np.zeros(len(vanes))
        self.longest_s = np.zeros(len(vanes))
        self.told = np.zeros(len(vanes), bool)

    def see(self, cycle: Cycle) -> None:
        seen_mdeg = 1e3 * cycle.rocket.vane_deg[self.vane, self.flight]
        asked_mdeg = cycle.steering.commands.deflection_mdeg[self.vane, self.flight]
        stands = np.abs(seen_mdeg - self.from_mdeg) < WATCH_MOVED
        self.from_mdeg = np.where(stands, self.from_mdeg, seen_mdeg)
        self.told |= (cycle.steering.commands.flags & JAMMED_VANE) != 0
        away = stands & ~self.told & (np.abs(asked_mdeg - seen_mdeg) > self.band_mdeg)
        self.away_s = np.where(away, self.away_s + self.period_s, 0.0)
        self.longest_s = np.maximum(self.longest_s, self.away_s)


@pytest.mark.usefixtures("campaign")
@pytest.mark.parametrize("name", VEHICLES)
def test_a_jam_is_told_within_150_ms_of_the_commands_leaving_it(name: str) -> None:
    """All single jams of the failures table, at each of its times, in one block."""
    vehicle = VEHICLES[name]()
    plans = [p for p in single_plans(vehicle, [1]) if p.faults[0].kind in ("jam", "jam-in-place")]
    away = Away(vehicle, [plan.faults[0].vane for plan in plans])
    flights = [Flight(drawn(vehicle, plan.seed), plan.seed, plan.faults) for plan in plans]
    fly(vehicle, flights, listener=away.see)
    print(f"{name}: {away.told.sum()} of {len(plans)} told, {away.longest_s.max():.3f} s at most")
    assert len(plans) >= 80 and away.told.sum() > len(plans) / 2
    assert away.longest_s.max() <= LONGEST_S + 1e-9
