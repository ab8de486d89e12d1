"""The check without a vehicle: a simulated flight computer, noisy hands, eyes on simulated vanes.

The flight computer is a plain hold by angle and rate, as crude as it may be: what is rehearsed is
the check. Its demands go through the node in this process, so the answers are the flight core's.
"""

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, read_cycle
from hil.phasing.flight_computer import best_moments_nm
from hil.phasing.motions import Motion
from hil.phasing.session import REST_S, Seen
from hil.tap.kept_bytes import KeptBytes
from hil.tap.listener import Listener, TappedStream
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle

PERIOD_S = 0.08  # seldom, for speed: the check has fewer demands to go by
MOVE_S = 0.8
PAUSE_S = 0.3
FULL_DEG = 25.0  # at this angle the hold asks for all that the vanes can give
RATE_S = 0.3  # rate gain over angle gain
SEEN_DEG = 1.2  # a smaller turn is not noticed


@dataclass(frozen=True)
class Wrong:
    """What is wrong in a rehearsal. axes: 0 pitch, 1 yaw, 2 roll; servos: 0 to 3.

    dead: axes that the flight computer does not steer. weak: its gains times this.
    """

    reversed_axes: tuple[int, ...] = ()
    swapped_axes: tuple[int, int] | None = None
    reversed_servos: tuple[int, ...] = ()
    swapped_servos: tuple[int, int] | None = None
    dead_axes: tuple[int, ...] = ()
    weak: float = 1.0


@dataclass
class Hands:
    """Attitude of a vehicle that somebody holds: never quite still, never about one axis alone."""

    rng: np.random.Generator
    at_deg: Array = field(default_factory=lambda: np.zeros(3))
    target_deg: Array = field(default_factory=lambda: np.zeros(3))
    from_deg: Array = field(default_factory=lambda: np.zeros(3))
    since_s: float = -1e3

    def __post_init__(self) -> None:
        self.rest(0.0)
        self.since_s = -1e3
        self.wobble_hz = self.rng.uniform(0.4, 4.0, (3, 2))
        self.phase = self.rng.uniform(0.0, 2.0 * np.pi, (3, 2))
        self.wobble_deg = self.rng.uniform(0.1, 0.6, (3, 2))

    def move(self, target_deg: Array, now_s: float) -> None:
        self.from_deg, self.target_deg, self.since_s = self.target_deg, target_deg, now_s

    def rest(self, now_s: float) -> None:
        """Back where it stood, within a degree and a half."""
        self.move(self.rng.uniform(-1.5, 1.5, 3), now_s)

    def push(self, motion: Motion, now_s: float) -> None:
        """Six to fourteen degrees about the axis, up to three about the others."""
        target = self.rng.uniform(-3.0, 3.0, 3)
        target[motion.axis] = motion.way * self.rng.uniform(6.0, 14.0)
        self.move(target, now_s)

    def attitude_deg(self, now_s: float) -> Array:
        """Pitch, yaw, roll (3,)."""
        gone = min(max((now_s - self.since_s) / MOVE_S, 0.0), 1.0)
        smooth = gone * gone * (3.0 - 2.0 * gone)
        led = self.from_deg + smooth * (self.target_deg - self.from_deg)
        swing = self.wobble_deg * np.sin(2.0 * np.pi * self.wobble_hz * now_s + self.phase)
        return led + swing.sum(axis=1)


class Rehearsal:
    """Flight computer, node, hands and eyes on one simulated clock: a Clock and a Person in one.

    eyes: somebody looks at the vanes. node_vehicle: whose tables the node has, where they are not
    the vehicle's. kept: where the bytes on the line are written down.
    """

    def __init__(
        self,
        vehicle: Vehicle,
        seed: int,
        wrong: Wrong,
        *,
        eyes: bool = True,
        node_vehicle: Vehicle | None = None,
        kept: KeptBytes | None = None,
    ) -> None:
        self._rng = np.random.default_rng(seed)
        self._wrong, self._eyes = wrong, eyes
        self._now_s = 0.0
        self._hands = Hands(self._rng)
        self._last_deg = self._hands.attitude_deg(0.0)
        self._at_rest_deg = np.zeros(VANES)
        self._turned: deque[Array] = deque([np.zeros(VANES)], maxlen=round(REST_S / PERIOD_S))
        self._pressure_pa = round(vehicle.engine.chamber_pressure_bar * 1e5)
        gain = wrong.weak * self._rng.uniform(0.7, 1.4, 3) * best_moments_nm(vehicle) / FULL_DEG
        gain[list(wrong.reversed_axes)] *= -1.0
        gain[list(wrong.dead_axes)] = 0.0
        self._gain = gain
        self.listener = Listener(kept=kept)
        node = Loopback()
        NodeLink(node).load_tables(flight_tables(node_vehicle or vehicle).to_bytes())
        self._link = NodeLink(TappedStream(node, self.listener, self.now))
        self._link.pace(round(PERIOD_S * 1e6))
        self._link.arm()
        self._link.start()

    # ---- the clock -------------------------------------------------------------------------------

    def now(self) -> float:
        return self._now_s

    def wait(self, seconds: float) -> None:
        """Let the flight computer demand for so long."""
        for _ in range(round(seconds / PERIOD_S)):
            self._now_s += PERIOD_S
            self._demand()

    def _demand(self) -> None:
        attitude = self._hands.attitude_deg(self._now_s)
        rate = (attitude - self._last_deg) / PERIOD_S
        self._last_deg = attitude
        sensed = attitude + RATE_S * rate + self._rng.normal(0.0, 0.1, 3)
        if self._wrong.swapped_axes is not None:
            a, b = self._wrong.swapped_axes
            sensed[[a, b]] = sensed[[b, a]]
        pitch, yaw, roll = (round(float(value) * 1e3) for value in -self._gain * sensed)
        answer = self._link.demand(pitch, yaw, roll, self._pressure_pa)
        commanded = np.array(read_cycle(answer.contents).deflection_mdeg) / 1e3
        if self._wrong.swapped_servos is not None:
            a, b = self._wrong.swapped_servos
            commanded[[a, b]] = commanded[[b, a]]
        commanded[list(self._wrong.reversed_servos)] *= -1.0
        self._turned.append(commanded)

    # ---- the person ------------------------------------------------------------------------------

    def rest(self, motion: Motion) -> None:
        self._hands.rest(self._now_s)
        self.wait(MOVE_S + PAUSE_S)

    def hold(self, motion: Motion) -> None:
        self._at_rest_deg = np.mean(self._turned, axis=0)
        self._hands.push(motion, self._now_s)
        self.wait(MOVE_S + PAUSE_S)

    def seen(self, motion: Motion) -> Seen | None:
        """Where each vane has stood for the last second, against its place at rest; now and then
        nobody can tell.
        """
        if not self._eyes:
            return None
        by_deg = np.mean(self._turned, axis=0) - self._at_rest_deg
        by_deg += self._rng.normal(0.0, 0.3, VANES)
        sure = self._rng.random(VANES) > 0.05
        turned = np.where(np.abs(by_deg) < SEEN_DEG, 0, np.sign(by_deg)).astype(int)
        return tuple(int(way) if told else None for way, told in zip(turned, sure, strict=True))
