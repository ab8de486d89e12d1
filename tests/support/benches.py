"""Benches for tests: emulated servos in this process, and a journal that keeps nothing."""

from collections.abc import Iterable, Sequence
from typing import Any

from hil.bench.plan import BenchPlan
from hil.bench.port import BenchPort, ModelPort
from hil.bench.run import RUNS, items_of, run_bench
from hil.emulated_servos.servo import EmulatedServo, ServoKind
from mixer.ground.servo_bench.data import BenchData, bench_data

TRAVEL_DEG = (-15.0, 15.0)
CALM = ServoKind(  # a second-order system and nothing else
    slew_deg_s=1e6,
    acceleration_deg_s2=1e9,
    latency_s=0.0,
    frame_hz=0.0,
    dead_band_deg=0.0,
    stiction_deg=0.0,
    backlash_deg=0.0,
    supply_ohm=0.0,
)


class Notes:
    """Takes records as a journal does, in memory only."""

    def __init__(self) -> None:
        self.records: dict[str, dict[str, Any]] = {}

    def __contains__(self, key: str) -> bool:
        return key in self.records

    def append(self, key: str, record: dict[str, Any]) -> None:
        self.records[key] = dict(record)


def plan_of(**settings: Any) -> BenchPlan:
    """The plan of a servo with 10 µs per deg about 1500 µs and a travel of ±15 deg."""
    usual: dict[str, Any] = {
        "servo": 1,
        "neutral_us": 1500.0,
        "us_per_deg": 10.0,
        "low_us": 1326.0,
        "high_us": 1674.0,
        "slew_deg_s": 300.0,
    }
    return BenchPlan(**{**usual, **settings})


def port_of(servos: Sequence[EmulatedServo] | EmulatedServo) -> ModelPort:
    listed = [servos] if isinstance(servos, EmulatedServo) else list(servos)
    return ModelPort(listed, [1500.0] * len(listed))


def measured(
    port: BenchPort, plan: BenchPlan | None = None, runs: Iterable[str] = RUNS
) -> BenchData:
    """All the runs on one servo."""
    plan, notes = plan or plan_of(), Notes()
    run_bench(port, items_of(plan, runs, port.can_record), notes)  # type: ignore[arg-type]
    return bench_data(plan.servo, notes.records)
