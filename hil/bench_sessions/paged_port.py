"""The bench's port with a live page looking on: where each vane is led, and where it is seen."""

import contextlib
from collections.abc import Callable
from typing import Any

import numpy as np

from hil.bench.item import Item
from hil.bench.port import BenchPort, PortAround, Reading, Recording
from hil.bench_sessions.options import BenchOptions
from hil.live_page.serve import Shown, live_page
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.reports.console import messages
from mixer.ground.servo_bench.report import CAUTIONS
from mixer.ground.vehicle.curves import Servo
from mixer.ground.vehicle.vehicle import Vehicle

Show = Callable[[int, Item, dict[str, Any]], None]


def page_of(options: BenchOptions, vehicle: Vehicle) -> contextlib.AbstractContextManager[Shown]:
    """The live page of a bench run, where one was asked for."""
    rehearsal = "Rehearsal, emulated servos: " if options.rehearsal else "Bench: "
    return live_page(
        options.page,
        f"{rehearsal}{vehicle.vehicle.name}",
        CAUTIONS,
        vehicle.vanes.travel_deg.tolist(),
        lambda text: messages.print(text, soft_wrap=True),
    )


class PagedPort(PortAround):
    """A BenchPort that tells a page of every pulse and every reading, and else is the port's own.

    `neutral` tells nothing: it runs while a fault is on its way through.
    """

    def __init__(self, port: BenchPort, page: Shown, vehicle: Vehicle) -> None:
        super().__init__(port)
        self._page, self._servos = page, vehicle.servos
        self._commanded: list[float | None] = [None] * VANES
        self._sensed: list[float | None] = [None] * VANES
        self._done = 0
        self.reader, self.can_record = port.reader, port.can_record

    def told(self, servo: int, total: int, show: Show) -> Show:
        """A `show` that tells the page as well how far the servo is."""

        def both(done: int, item: Item, record: dict[str, Any]) -> None:
            self._done += 1
            self._page.say(f"servo {servo}, {item.run}", self._done, total)
            show(done, item, record)

        return both

    def move(self, servo: int, pulse_us: float) -> None:
        self._led(servo, pulse_us)
        self._port.move(servo, pulse_us)

    def read(self, servo: int, prompt: str = "") -> Reading:
        reading = self._port.read(servo, prompt)
        self._seen(servo, reading.angle_deg)
        return reading

    def play(self, servo: int, pulse_us: Array, interval_s: float) -> Recording:
        self._page.say(f"servo {servo}: a recording of {len(pulse_us) * interval_s:.1f} s")
        recording = self._port.play(servo, pulse_us, interval_s)
        if len(recording.angle_deg):
            self._led(servo, float(recording.pulse_us[-1]))
            self._seen(servo, float(recording.angle_deg[-1]))
        return recording

    def _led(self, servo: int, pulse_us: float) -> None:
        self._commanded[servo - 1] = deflection_deg(self._servos[servo - 1], pulse_us)
        self._page.vanes(self._commanded, self._sensed)

    def _seen(self, servo: int, angle_deg: float | None) -> None:
        self._sensed[servo - 1] = angle_deg
        self._page.vanes(self._commanded, self._sensed)


def deflection_deg(servo: Servo, pulse_us: float) -> float:
    """Where the vehicle file has the vane for a pulse; the table's end beyond its ends."""
    if servo.table is None:
        assert servo.us_per_deg is not None
        return (pulse_us - servo.neutral_us) / servo.us_per_deg
    order = np.argsort(servo.table.pulse_us)
    return float(
        np.interp(pulse_us, servo.table.pulse_us[order], servo.table.deflection_deg[order])
    )
