"""Many cycles over the whole travel, with neutral looked at from both sides after every block."""

from collections.abc import Iterator

from hil.bench.item import Item, Record, lead_in, read_record
from hil.bench.plan import BenchPlan
from hil.bench.port import BenchPort

DWELL_S = 0.2  # at either end of the travel


def endurance_items(plan: BenchPlan) -> Iterator[Item]:
    """Block 0 looks only: it is what the others are compared with."""
    for block in range(plan.blocks + 1):

        def measure(port: BenchPort, fresh: bool, block: int = block) -> Record:
            cycles = plan.cycles_per_block if block else 0
            for _ in range(cycles):
                for end_us in (plan.high_us, plan.low_us):
                    port.move(plan.servo, end_us)
                    port.wait(DWELL_S)
            record: Record = {"cycles": block * plan.cycles_per_block}
            for direction, sense in (("up", 1), ("down", -1)):
                lead_in(port, plan, plan.neutral_us, sense)
                port.move(plan.servo, plan.neutral_us)
                port.wait(plan.settle_s)
                reading = port.read(plan.servo, f"endurance, block {block}, neutral {direction}")
                record[direction] = read_record(reading)
            return record

        yield Item(f"endurance:{block}", measure)
