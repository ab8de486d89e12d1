"""Emulated vanes on a node's recorded pulses, and cycles as uneven as a real loop makes them."""

from collections.abc import Sequence

import numpy as np

from firmware_port import protocol as p
from hil.emulated_servos.faults import emulated_servo
from hil.emulated_servos.servo import EmulatedServo
from hil.node.node_link import NodeLink, numbers, read_cycle
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.vehicle.vehicle import Vehicle

LATE = 0.2  # of a period that a cycle begins late at the most, as a loop that polls does
SENSOR_DEG = 0.03  # noise of the angle sensors


class EmulatedVanes:
    """Four servos that follow the pulses of a node whose time comes over the link.

    `true_s` and `true_deg` are where the vanes really stood, at every cycle. sensors: whether they
    tell the node their angles.
    """

    def __init__(self, vehicle: Vehicle, seed: int, sensors: bool = True) -> None:
        self._rng = np.random.default_rng([seed, 11])
        self.servos: Sequence[EmulatedServo] = [
            emulated_servo(seed * VANES + n, None, *servo_line(vehicle, n)) for n in range(VANES)
        ]
        self._period_us = round(1e6 / vehicle.control.rate_hz)
        self._sensors = sensors
        self._now_us = 0
        self._ticks_us = 0.0
        self.true_s: list[float] = []
        self.true_deg: list[list[float]] = []

    def begin(self) -> None:
        """The play begins: time counts from here."""
        self._now_us = 0
        self.true_s, self.true_deg = [], []

    def let_pass(self, link: NodeLink) -> None:
        """One cycle of the node: sensors told, time passed, the pulses put to the servos."""
        step_us = self._period_us + int(self._rng.uniform(0, LATE * self._period_us))
        before = [servo.vane_deg for servo in self.servos]
        self._ticks_us += step_us
        whole_s = self._ticks_us // 500 * 0.0005  # the servos' own time goes by half a ms
        self._ticks_us -= whole_s * 1e6
        for servo in self.servos:
            servo.advance(whole_s)
        angles = [servo.vane_deg for servo in self.servos]
        if self._sensors:
            noisy = np.array(angles) + SENSOR_DEG * self._rng.standard_normal(VANES)
            link.see(np.round(1000 * noisy).astype(int).tolist())
        cycle = read_cycle(link.request(p.PASS, numbers((step_us,))).contents)
        for servo, pulse_ns in zip(self.servos, cycle.pulse_ns, strict=True):
            servo.pulse(pulse_ns / 1000)
        self._now_us += step_us
        if not self.true_s:
            self.true_s, self.true_deg = [0.0], [before]
        self.true_s.append(self._now_us / 1e6)
        self.true_deg.append(angles)

    @property
    def motion(self) -> tuple[Array, Array]:
        """Times (n,) and true angles (n, 4)."""
        return np.array(self.true_s), np.array(self.true_deg)


def servo_line(vehicle: Vehicle, number: int) -> tuple[float, float]:
    """Neutral pulse and pulse per degree of one servo of the vehicle file."""
    servo = vehicle.servos[number]
    low, high = vehicle.vanes.travel_deg[number]
    pulse_us = servo.pulse_us([float(low), float(high)])
    return float(servo.neutral_us), float((pulse_us[1] - pulse_us[0]) / (high - low))
