"""A flight to try the steering with, cycle by cycle, and what the steering did in it.

    trial = SteeringOnTrial(load_vehicle("vehicle.toml"))
    for flown in trial.fly(TrialFlight((TrialCycle(demand_mnm=(0, 5000, 0)),))):
        print(flown.after_mdeg)

Everything is whole numbers in the flight core's units, so that a flight written down runs again
exactly as it did.
"""

from dataclasses import dataclass, fields

from mixer.flight import layout as at

Demand = tuple[int, int, int]
Four = tuple[int, int, int, int]


@dataclass(frozen=True)
class TrialCycle:
    """One control cycle: what the steering is told before it, the pressure and the time step.

    Without a demand nothing is said; without a pressure it is the reference pressure, without a
    time step the control period. `jam` is (vane 1 to 4, deflection in 0.001°), `free` a vane.
    """

    demand_mnm: Demand | None = None
    pressure_pa: int | None = None
    dt_us: int | None = None
    jam: tuple[int, int] | None = None
    free: int | None = None

    def __str__(self) -> str:
        """As Python that makes it again, without what is left at its default."""
        told = [(one.name, getattr(self, one.name)) for one in fields(self)]
        given = ", ".join(f"{name}={value!r}" for name, value in told if value is not None)
        return f"TrialCycle({given})"


@dataclass(frozen=True)
class TrialFlight:
    """Cycles one after the other, from a burn time and a burn load on."""

    cycles: tuple[TrialCycle, ...]
    time_us: int = 0
    load_us: int = 0

    def __str__(self) -> str:
        """As Python that makes it again."""
        start = [
            f"{name}={getattr(self, name)}"
            for name in ("time_us", "load_us")
            if getattr(self, name)
        ]
        lines = [
            "TrialFlight(",
            "    cycles=(",
            *(f"        {cycle}," for cycle in self.cycles),
            "    ),",
        ]
        return "\n".join([*lines, *([f"    {', '.join(start)},"] if start else []), ")"])


@dataclass(frozen=True)
class FlownCycle:
    """One cycle that was flown. `demand_mnm` is the last one that was taken, `age_us` how long ago
    (None before the first), `taken` whether that was now; `jammed` the vanes that stand still.
    Burn time and burn load are those the cycle was worked out with.
    """

    demand_mnm: Demand
    age_us: int | None
    taken: bool
    pressure_pa: int
    dt_us: int
    jammed: tuple[bool, ...]
    before_mdeg: Four
    after_mdeg: Four
    pulse_ns: Four
    moment_mnm: Demand
    flags: int
    time_us: int
    load_us: int

    @property
    def steered(self) -> bool:
        """Whether there was a jet to steer with and a demand to follow, by the flags."""
        return not self.flags & (at.NO_THRUST | at.STALE_DEMAND)


class BreachError(AssertionError):
    """A promise that was not kept, in words."""
