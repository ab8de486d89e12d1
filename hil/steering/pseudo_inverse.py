"""A rival to compare with: the pseudo-inverse, clipped to travel and slew, on the same tables.

It knows pressure, wear and lever arm as the flight core does, and finds jams by the flight core's
own watch, but shares nothing out by priority: what does not fit is cut off vane by vane. It flies
in comparisons alone.
"""

import numpy as np

from hil.engine.burn import LOAD_EXPONENT
from hil.steering.steering_block import Commands, Flags, Given, Integers, most_demanded
from mixer.flight.layout import JAMMED_VANE, NO_THRUST, PRIMARY_LIMITED, STALE_DEMAND
from mixer.ground.batch.steerings import Steerings
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle

LEAST_PRESSURE_SHARE = 0.05
PA_PER_BAR = 1e5
SMALL_CUT = 8.0 / 4096  # of the largest force; a demand cut by less is not called limited


class ClippedBlock:
    """Flights steered by a clipped pseudo-inverse, all believing one vehicle file."""

    def __init__(self, vehicle: Vehicle, flights: int):
        self.commands = Commands(flights)
        self.ratio_q14 = None  # it believes every reading
        tables = flight_tables(vehicle)
        self.most_mnm = most_demanded(tables)  # takes what the flight core does
        self._watched = Steerings(tables, flights)
        self._vehicle = vehicle
        clocking_rad = np.radians(vehicle.layout.clocking_deg)
        self._rows = np.stack([np.cos(clocking_rad), np.sin(clocking_rad), np.ones(4)])
        self._inverse = np.repeat(np.linalg.pinv(self._rows)[None], flights, axis=0)  # (N, 4, 3)
        self._slew_deg_s = np.array([[servo.slew_deg_s] for servo in vehicle.servos])
        curves, travel_deg = vehicle.vanes.curves, vehicle.vanes.travel_deg
        ends = [c.force_at(travel) for c, travel in zip(curves, travel_deg, strict=True)]
        self._low_n, self._high_n = np.stack(ends).T[:, :, None]
        self._held_deg = np.full((4, flights), np.nan)
        self._angle_deg = np.zeros((4, flights))
        self._time_s = np.zeros(flights)
        self._load_s = np.zeros(flights)
        self._burning = np.zeros(flights, bool)  # its clock runs from the first jet on
        self._age_s = np.full(flights, np.inf)
        self._demand_nm = np.zeros((3, flights))
        self._pressure_pa = np.zeros(flights, np.int64)
        self._write()

    def cycle(self, given: Given) -> None:
        dt_s = 1e-6 * given.dt_us
        if given.seen_mdeg is not None:
            self._look(given.seen_mdeg, given)
        self._demand_nm = np.where(given.heard, 1e-3 * given.demand_mnm, self._demand_nm)
        self._age_s[given.heard] = 0.0
        self._pressure_pa = np.where(given.heard, given.pressure_pa, self._pressure_pa)
        share = self._pressure_pa / (PA_PER_BAR * self._vehicle.engine.chamber_pressure_bar)
        self._load_s += np.maximum(share, 0.0) ** LOAD_EXPONENT * dt_s
        self._burning |= share >= LEAST_PRESSURE_SHARE
        self._time_s += np.where(self._burning, dt_s, 0.0)
        stale = self._age_s >= 1e-3 * self._vehicle.control.demand_timeout_ms
        no_thrust = share < LEAST_PRESSURE_SHARE
        self._age_s += dt_s
        jammed = ~np.isnan(self._held_deg)
        wanted_deg, cut = self._wanted_deg(np.maximum(share, LEAST_PRESSURE_SHARE), jammed)
        wanted_deg = np.where(stale | no_thrust, 0.0, wanted_deg)
        slew_deg = self._slew_deg_s * dt_s
        last_deg = self._angle_deg
        angle_deg = np.clip(wanted_deg, last_deg - slew_deg, last_deg + slew_deg)
        self._angle_deg = np.where(jammed, self._held_deg, angle_deg)
        flags = np.where(cut & ~stale & ~no_thrust, PRIMARY_LIMITED, 0)
        flags |= np.where(stale, STALE_DEMAND, 0) | np.where(no_thrust, NO_THRUST, 0)
        flags |= np.where(jammed.any(axis=0), JAMMED_VANE, 0)
        self.commands.flags[:] = np.where(given.runs, flags, self.commands.flags)
        self._write()

    def garbled(self, flight: int, demand_mnm: list[int]) -> None:
        """There is no line: a damaged demand is one that does not arrive."""

    def trust(self, vanes: int) -> None:
        self._watched.trust(slice(None), vanes)

    def start(self) -> None:
        """It goes by the pressure alone."""

    def reset(self, flight: int) -> None:
        self._watched.reset(flight)
        for vane in range(VANES):
            self._hold(flight, vane, np.nan)
        self._angle_deg[:, flight] = 0.0
        self._time_s[flight] = self._load_s[flight] = 0.0
        self._burning[flight] = False
        self._age_s[flight] = np.inf
        self._pressure_pa[flight] = 0

    def _look(self, seen_mdeg: Integers, given: Given) -> None:
        """Let the jam watch see the vanes, and hold those that it declares."""
        self._watched.deflection_mdeg[:] = self.commands.deflection_mdeg
        self._watched.sensed(seen_mdeg, given.runs)
        self._watched.look(given.dt_us, given.runs)
        declared = (self._watched.declared >> np.arange(VANES)[:, None] & 1).astype(bool)
        for vane, flight in np.argwhere(declared == np.isnan(self._held_deg)).tolist():
            stands_deg = 1e-3 * seen_mdeg[vane, flight]
            self._hold(flight, vane, stands_deg if declared[vane, flight] else np.nan)

    def _hold(self, flight: int, vane: int, angle_deg: float) -> None:
        self._held_deg[vane, flight] = angle_deg
        moving = np.isnan(self._held_deg[:, flight])
        self._inverse[flight] = np.linalg.pinv(self._rows * moving)

    def _wanted_deg(self, share: Array, jammed: Flags) -> tuple[Array, Flags]:
        """Deflections (4, N) for the demands, and where a force had to be cut."""
        vehicle = self._vehicle
        kappa = share * vehicle.effectiveness(self._load_s).T
        lever_arm_m = vehicle.lever_arm_m_at(self._time_s)
        roll_arm_m = np.full_like(lever_arm_m, vehicle.layout.roll_arm_m)
        wanted_n = self._demand_nm / np.stack([lever_arm_m, lever_arm_m, roll_arm_m])
        curves = vehicle.vanes.curves
        held_deg = np.nan_to_num(self._held_deg)
        held_n = kappa * np.stack([c.force_at(d) for c, d in zip(curves, held_deg, strict=True)])
        held_n = np.where(jammed, held_n, 0.0)
        rest_n = wanted_n - self._rows @ held_n
        force_n = np.einsum("nij,jn->in", self._inverse, rest_n)
        clipped_n = np.clip(force_n, kappa * self._low_n, kappa * self._high_n)
        cut = np.abs(clipped_n - force_n).max(axis=0) > SMALL_CUT * self._high_n.max()
        new_n = clipped_n / kappa
        angle_deg = [c.deflection_at(force) for c, force in zip(curves, new_n, strict=True)]
        return np.stack(angle_deg), cut

    def _write(self) -> None:
        self.commands.deflection_mdeg[:] = np.rint(1e3 * self._angle_deg)
        servos = zip(self._vehicle.servos, self._angle_deg, strict=True)
        self.commands.pulse_ns[:] = np.rint(
            1e3 * np.stack([servo.pulse_us(angle) for servo, angle in servos])
        )
