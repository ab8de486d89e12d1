"""Runs with the vane at rest: first look, sweep, fine steps and reversal, holding under load."""

from collections.abc import Iterator

from hil.bench.item import Item, Record, lead_in, read_record
from hil.bench.plan import BenchPlan
from hil.bench.port import BenchPort
from mixer.ground.servo_bench.data import REVERSAL

LOOK_DEG = (0.0, 4.0, -4.0, 0.0)
DEAD_BAND_STEPS = 40
TURNING_STEPS = 10  # fine ones before the turning point: after a large one the vane runs on
REVERSAL_STEPS = 80
REVERSED_DEG = 0.4  # the vane has come back by so much: the dead band is behind
HOLD_S = (0.5, 10.0)


def ready_items(plan: BenchPlan) -> Iterator[Item]:
    """A first look: does the angle follow at all, and does the reader answer?"""
    for number, deflection_deg in enumerate(LOOK_DEG):
        pulse_us = float(plan.pulse_us(deflection_deg))

        def measure(port: BenchPort, fresh: bool, pulse_us: float = pulse_us) -> Record:
            port.move(plan.servo, pulse_us)
            port.wait(plan.settle_s)
            reading = port.read(plan.servo, f"first look, pulse {pulse_us:g} µs")
            return {"pulse_us": pulse_us, **read_record(reading)}

        yield Item(f"ready:{number}", measure)


def sweep_items(plan: BenchPlan) -> Iterator[Item]:
    """Up and down through all pulses, pass by pass, each from its own side with play taken up."""
    pulses = plan.sweep_us
    for number in range(1, plan.passes + 1):
        for direction, sense in (("up", 1), ("down", -1)):
            for place, pulse_us in enumerate(pulses[::sense]):
                item = SweepPoint(plan, number, direction, sense, float(pulse_us), place == 0)
                yield Item(f"sweep:{number}:{direction}:{pulse_us:g}", item.measure)


class SweepPoint:
    """One reading of a sweep."""

    def __init__(
        self,
        plan: BenchPlan,
        number: int,
        direction: str,
        sense: int,
        pulse_us: float,
        first: bool,
    ) -> None:
        self.plan, self.number, self.direction, self.sense = plan, number, direction, sense
        self.pulse_us, self.first = pulse_us, first

    def measure(self, port: BenchPort, fresh: bool) -> Record:
        plan = self.plan
        if fresh or self.first:
            lead_in(port, plan, self.pulse_us, self.sense)
        port.move(plan.servo, self.pulse_us)
        port.wait(plan.settle_s)
        prompt = f"sweep, pass {self.number} {self.direction}, pulse {self.pulse_us:g} µs"
        return {
            "pulse_us": self.pulse_us,
            "direction": self.direction,
            "pass": self.number,
            **read_record(port.read(plan.servo, prompt)),
        }


def dead_band_items(plan: BenchPlan) -> Iterator[Item]:
    """Fine steps through neutral in either direction, play taken up before; and from neutral back
    after coming to it in either direction.
    """
    for direction, sense in (("up", 1), ("down", -1)):

        def measure(port: BenchPort, fresh: bool, sense: int = sense) -> Record:
            step_us = sense * plan.dead_band_step_us
            start_us = plan.neutral_us - step_us * DEAD_BAND_STEPS / 2
            port.move(plan.servo, start_us - sense * plan.overrun_us)
            port.wait(plan.settle_s)
            pulses, angles = [], []
            for number in range(DEAD_BAND_STEPS + 1):
                pulse_us = start_us + number * step_us
                port.move(plan.servo, pulse_us)
                port.wait(plan.settle_s)
                reading = port.read(plan.servo, f"dead band, pulse {pulse_us:g} µs")
                pulses.append(pulse_us)
                angles.append(None if reading.angle_deg is None else round(reading.angle_deg, 5))
            return {"pulse_us": pulses, "angle_deg": angles}

        yield Item(f"deadband:{direction}", measure, needs_encoder=True)

    for direction, sense in (("up", 1), ("down", -1)):

        def turn(port: BenchPort, fresh: bool, sense: int = sense) -> Record:
            step_us = sense * plan.dead_band_step_us
            start_us = plan.neutral_us - TURNING_STEPS * step_us
            lead_in(port, plan, start_us, sense)
            for number in range(TURNING_STEPS):
                port.move(plan.servo, start_us + number * step_us)
                port.wait(plan.settle_s)
            pulses: list[float] = []
            angles: list[float | None] = []
            for number in range(REVERSAL_STEPS + 1):
                pulse_us = plan.neutral_us - number * step_us
                port.move(plan.servo, pulse_us)
                port.wait(plan.settle_s)
                reading = port.read(plan.servo, f"reversal, pulse {pulse_us:g} µs")
                pulses.append(pulse_us)
                angles.append(None if reading.angle_deg is None else round(reading.angle_deg, 5))
                first, last = angles[0], angles[-1]
                if first is not None and last is not None and abs(last - first) > REVERSED_DEG:
                    break
            return {"pulse_us": pulses, "angle_deg": angles}

        yield Item(f"deadband:{REVERSAL}{direction}", turn, needs_encoder=True)


def hold_items(plan: BenchPlan) -> Iterator[Item]:
    """What a load on the shaft takes the vane from neutral by, at once and after a while."""
    if plan.load_nm == 0:
        return

    def measure(port: BenchPort, fresh: bool) -> Record:
        port.move(plan.servo, plan.neutral_us)
        port.wait(plan.settle_s)
        record: Record = {"load_nm": plan.load_nm}
        record["before"] = read_record(port.read(plan.servo, "hold, no load yet"))
        port.hang(plan.servo, plan.load_nm)
        waited_s = 0.0
        for name, at_s in zip(("loaded", "later"), HOLD_S, strict=True):
            port.wait(at_s - waited_s)
            waited_s = at_s
            record[name] = read_record(port.read(plan.servo, f"hold, {at_s:g} s under load"))
        port.hang(plan.servo, 0.0)
        port.wait(plan.settle_s)
        record["after"] = read_record(port.read(plan.servo, "hold, load taken off"))
        return record

    yield Item("hold:0", measure)
