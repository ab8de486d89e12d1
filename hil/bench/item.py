"""One thing to measure: its key in the journal and how it is measured."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from hil.bench.plan import BenchPlan
from hil.bench.port import BenchPort, Reading

Record = dict[str, Any]

LEAD_IN_STEPS = 4


@dataclass(frozen=True)
class Item:
    """`measure(port, fresh)` gives the record that the journal keeps.

    `fresh` says that the item before this one was not measured just now: whatever the item needs
    the servo to have done before, such as coming from one side, it must do itself.
    `needs_encoder`: too fast or too fine for a person with a protractor.
    """

    key: str
    measure: Callable[[BenchPort, bool], Record]
    needs_encoder: bool = False

    @property
    def run(self) -> str:
        return self.key.split(":")[0]


def lead_in(port: BenchPort, plan: BenchPlan, pulse_us: float, sense: int) -> None:
    """Come close to a pulse from below (sense 1) or above (-1), so that play is taken up.

    In steps as small as the sweep's: after a leap the motor would carry the vane too far.
    """
    for steps in range(LEAD_IN_STEPS, 0, -1):
        port.move(plan.servo, pulse_us - sense * steps * plan.sweep_step_us)
        port.wait(plan.settle_s)


def read_record(reading: Reading) -> Record:
    """A reading as the journal keeps it."""
    supply = None if reading.supply_v is None else round(reading.supply_v, 4)
    angle = None if reading.angle_deg is None else round(reading.angle_deg, 5)
    return {
        "angle_deg": angle,
        "scatter_deg": round(reading.scatter_deg, 5),
        "trouble": reading.trouble,
        "supply_v": supply,
    }
