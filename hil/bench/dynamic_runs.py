"""Runs with the vane in motion: steps of several sizes, stepped sines. They need a recording."""

from collections.abc import Iterator

import numpy as np

from hil.bench.item import Item, Record
from hil.bench.plan import BenchPlan
from hil.bench.port import BenchPort, Recording
from mixer.ground.servo_bench.response import frequency_point

INTERVAL_S = 0.001
BEFORE_S, AFTER_S = 0.06, 0.5  # of a step record, before and after the step
READINGS_PER_PERIOD = 80
SETTLING_PERIODS, MEASURED_PERIODS = 1, 3
LEAST_S = 0.3  # of settling and of measuring, however short the period
SLOWEST_INTERVAL_S = 0.01


def step_items(plan: BenchPlan) -> Iterator[Item]:
    """Each size, both ways, some times over; smallest first, so that trouble starts small."""
    for size_deg in sorted(plan.step_sizes_deg):
        if size_deg > plan.span_deg:
            continue
        for repeat in range(1, plan.step_repeats + 1):
            for direction, sense in (("up", 1), ("down", -1)):
                step = Step(plan, size_deg, sense)
                key = f"step:{size_deg:g}:{repeat}:{direction}"
                yield Item(key, step.measure, needs_encoder=True)


class Step:
    """A jump of the pulse about neutral, play taken up beforehand from the side it comes from."""

    def __init__(self, plan: BenchPlan, size_deg: float, sense: int) -> None:
        self.plan, self.size_deg, self.sense = plan, size_deg, sense

    def measure(self, port: BenchPort, fresh: bool) -> Record:
        plan = self.plan
        half_us = self.sense * abs(self.size_deg * plan.us_per_deg) / 2
        start_us, end_us = plan.neutral_us - half_us, plan.neutral_us + half_us
        port.move(plan.servo, start_us - self.sense * plan.overrun_us / 2)
        port.wait(plan.settle_s)
        port.move(plan.servo, start_us)
        port.wait(plan.settle_s)
        before = round(BEFORE_S / INTERVAL_S)
        pulses = np.full(before + round(AFTER_S / INTERVAL_S), end_us)
        pulses[:before] = start_us
        recording = port.play(plan.servo, pulses, INTERVAL_S)
        return {
            "size_deg": self.size_deg,
            "from_us": start_us,
            "to_us": end_us,
            "interval_s": recording.interval_s,
            "before": before,
            **recorded(recording),
        }


def recorded(recording: Recording) -> Record:
    """Angles and supply as the journal keeps them."""
    angles = [None if np.isnan(a) else round(float(a), 3) for a in recording.angle_deg]
    lowest = None if recording.supply_v is None else round(float(np.min(recording.supply_v)), 4)
    first = None if recording.supply_v is None else round(float(recording.supply_v[0]), 4)
    return {"angle_deg": angles, "lowest_supply_v": lowest, "first_supply_v": first}


def frequency_items(plan: BenchPlan) -> Iterator[Item]:
    """Sines about neutral, slowest first; of each the last whole periods are measured."""
    for frequency_hz in plan.frequencies_hz:
        sine = Sine(plan, frequency_hz)
        yield Item(f"frequency:{frequency_hz:g}", sine.measure, needs_encoder=True)


class Sine:
    """One frequency; the recording's interval divides the period, so whole periods are whole."""

    def __init__(self, plan: BenchPlan, frequency_hz: float) -> None:
        self.plan, self.frequency_hz = plan, frequency_hz
        wanted_s = 1 / (frequency_hz * READINGS_PER_PERIOD)
        ticks = min(max(1, int(wanted_s / INTERVAL_S)), round(SLOWEST_INTERVAL_S / INTERVAL_S))
        self.interval_s = ticks * INTERVAL_S

    def measure(self, port: BenchPort, fresh: bool) -> Record:
        plan, hz = self.plan, self.frequency_hz
        amplitude_deg = plan.sine_amplitude_deg(hz)
        port.move(plan.servo, plan.neutral_us)
        port.wait(plan.settle_s)
        settling_s = max(SETTLING_PERIODS / hz, LEAST_S)
        periods = max(MEASURED_PERIODS, int(np.ceil(LEAST_S * hz)))
        measured = round(periods / hz / self.interval_s)
        count = round(settling_s / self.interval_s) + measured
        time_s = np.linspace(0, (count - 1) * self.interval_s, count)
        wave_deg = amplitude_deg * np.sin(2 * np.pi * hz * time_s)
        pulses = plan.neutral_us + plan.us_per_deg * wave_deg
        recording = port.play(plan.servo, pulses, self.interval_s)
        last = slice(count - measured, count)
        commanded_deg = (recording.pulse_us[last] - plan.neutral_us) / plan.us_per_deg
        angle_deg = recording.angle_deg[last]
        if np.isnan(angle_deg).any():
            return {"frequency_hz": hz, "amplitude_deg": amplitude_deg, "gain": None}
        point = frequency_point(time_s[last], commanded_deg, angle_deg, hz)
        return {
            "frequency_hz": hz,
            "amplitude_deg": round(point.amplitude_deg, 5),
            "gain": round(point.gain, 6),
            "phase_deg": round(point.phase_deg, 4),
            "residual_deg": round(point.residual_deg, 5),
        }
