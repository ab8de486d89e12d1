"""A simulated static test: what identification is tried against, and what a team can rehearse on.

The truth may differ from the vehicle file in everything that a static test should find out.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import scipy

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.static_test.log import RATE_EXPONENT, StandLog
from mixer.ground.static_test.programme import Programme
from mixer.ground.vehicle.vehicle import Vehicle

BEFORE_S, AFTER_S = 2.0, 2.0  # the log runs before ignition and after burn-out
RISE_S, FALL_S = 0.15, 0.3
ENCODER_DEG = 0.02

# Force or drag in N of one vane (0 to 3) at true deflections and burn loads, (n,) each,
# at the reference pressure.
VaneForce = Callable[[int, Array, Array], Array]


@dataclass(frozen=True)
class StandTruth:
    """What is really there: forces, where the vanes stand, how their zeros are off, and the rest.

    `side_n` (2,) and `swirl_nm` are what the jet gives by itself, `lag_s` how late the load cells
    are read.
    """

    force_n: VaneForce
    drag_n: VaneForce
    thrust_n: float
    clocking_deg: Array
    roll_arm_m: float
    zero_deg: Array = field(default_factory=lambda: np.zeros(VANES))
    side_n: Array = field(default_factory=lambda: np.zeros(2))
    swirl_nm: float = 0.0
    lag_s: float = 0.0


@dataclass(frozen=True)
class StandNoise:
    """Load cells: full scale of the four channels, noise and drift as shares of it.

    Noise hangs together over `memory_s`; `ring_share` of it is the stand swinging at `ring_hz`.
    The drift is a random walk that has come to `drift` by the end, and a slope as large.
    """

    full_scale: Array
    noise: float = 0.01
    drift: float = 0.01
    memory_s: float = 0.0
    ring_share: float = 0.0
    ring_hz: float = 12.0

    def drawn(self, rng: np.random.Generator, count: int, step_s: float) -> Array:
        """Noise and drift of four channels: (count, 4)."""
        white = rng.standard_normal((count, VANES))
        keep = np.exp(-step_s / self.memory_s) if self.memory_s > 0 else 0.0
        fresh = np.sqrt(1 - keep**2) * white
        noise = np.asarray(scipy.signal.lfilter([1.0], [1.0, -keep], fresh, axis=0))
        if self.ring_share > 0:
            radius = np.exp(-2 * np.pi * self.ring_hz * 0.03 * step_s)  # 3 % of critical damping
            swing = [1.0, -2 * radius * np.cos(2 * np.pi * self.ring_hz * step_s), radius**2]
            ring = np.asarray(
                scipy.signal.lfilter([1.0], swing, rng.standard_normal((count, VANES)), axis=0)
            )
            ring = ring / ring.std(axis=0)
            noise = np.sqrt(1 - self.ring_share) * noise + np.sqrt(self.ring_share) * ring
        walk = np.cumsum(rng.standard_normal((count, VANES)), axis=0) / np.sqrt(count)
        slope = np.linspace(0, 1, count)[:, None] * rng.standard_normal(VANES)
        offset = rng.standard_normal(VANES)
        return self.full_scale * (self.noise * noise + self.drift * (walk + slope + offset))


def truth_of(
    vehicle: Vehicle, effectiveness: Callable[[Array], Array] | None = None, **changes: object
) -> StandTruth:
    """The truth as the vehicle file has it, with changes; `effectiveness` of loads (n,): (n, 4)."""
    worn = effectiveness or vehicle.effectiveness

    def force_n(vane: int, deflection_deg: Array, load_s: Array) -> Array:
        return worn(load_s)[:, vane] * vehicle.force_n(vane, deflection_deg)

    def drag_n(vane: int, deflection_deg: Array, load_s: Array) -> Array:
        curve = vehicle.vanes.curves[vane]
        return np.zeros_like(load_s) if curve.drag_n is None else curve.drag_at(deflection_deg)

    truth = StandTruth(
        force_n,
        drag_n,
        vehicle.engine.thrust_n,
        vehicle.layout.clocking_deg,
        vehicle.layout.roll_arm_m,
    )
    return replace(truth, **changes)


def simulate_test(
    vehicle: Vehicle,
    truth: StandTruth,
    programme: Programme,
    noise: StandNoise,
    rng: np.random.Generator,
    rate_hz: float = 200.0,
    pressure_share: float = 1.0,
    pressure_droop: float = 0.02,
) -> StandLog:
    """One burn with a programme: the log as a data recorder would have written it.

    The pressure stands at a share of the reference and droops by another share to the end.
    """
    burn_s = float(programme.time_s[-1])
    count = int((BEFORE_S + burn_s + AFTER_S) * rate_hz)
    time_s = np.arange(count) / rate_hz - BEFORE_S
    standing = pressure_share * (1 - pressure_droop * np.clip(time_s / burn_s, 0, 1))
    share = standing * np.interp(
        time_s, [0.0, RISE_S, burn_s, burn_s + FALL_S], [0.0, 1.0, 1.0, 0.0]
    )
    load_s = np.cumsum(share**RATE_EXPONENT) / rate_hz
    moved = np.column_stack(
        [np.interp(time_s, programme.time_s, row) for row in programme.deflection_deg.T]
    )
    angle = moved + truth.zero_deg
    force = np.column_stack([share * truth.force_n(v, angle[:, v], load_s) for v in range(VANES)])
    drag = sum(share * truth.drag_n(v, angle[:, v], load_s) for v in range(VANES))
    clocking = np.radians(truth.clocking_deg)
    loads = np.column_stack(
        [
            -force @ np.sin(clocking) + share * truth.side_n[0],
            force @ np.cos(clocking) + share * truth.side_n[1],
            force.sum(axis=1) * truth.roll_arm_m + share * truth.swirl_nm,
            share * truth.thrust_n - drag,
        ]
    )
    late = np.column_stack([np.interp(time_s - truth.lag_s, time_s, c) for c in loads.T])
    return StandLog(
        "simulated",
        time_s,
        share * vehicle.engine.chamber_pressure_bar,
        moved + ENCODER_DEG * rng.standard_normal(moved.shape),
        late + noise.drawn(rng, count, 1 / rate_hz),
    )
