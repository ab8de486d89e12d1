"""The bench itself: goes through the items, keeps every record, leaves the servo at neutral."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from hil.bench.dynamic_runs import frequency_items, step_items
from hil.bench.endurance_run import endurance_items
from hil.bench.item import Item
from hil.bench.journal import Journal
from hil.bench.plan import BenchPlan
from hil.bench.port import BenchPort
from hil.bench.static_runs import dead_band_items, hold_items, ready_items, sweep_items
from mixer.ground.servo_bench.data import look
from mixer.ground.servo_bench.diagnosis import reader_findings

RUNS: dict[str, Callable[[BenchPlan], Iterator[Item]]] = {
    "ready": ready_items,
    "sweep": sweep_items,
    "deadband": dead_band_items,
    "step": step_items,
    "frequency": frequency_items,
    "hold": hold_items,
    "endurance": endurance_items,
}
READER_DEAD = 3  # looks in a row without an angle: nothing more can be measured


def items_of(plan: BenchPlan, runs: Iterable[str], can_record: bool) -> list[Item]:
    """All items of some runs in the bench's order; those that need an encoder only with one."""
    wanted = set(runs)
    items = [item for name in RUNS if name in wanted for item in RUNS[name](plan)]
    return [item for item in items if can_record or not item.needs_encoder]


def run_bench(
    port: BenchPort,
    items: Sequence[Item],
    journal: Journal,
    show: Callable[[int, Item, dict[str, Any]], None] = lambda done, item, record: None,
) -> bool:
    """Measure what the journal lacks. False where it was given up, since no angle follows.

    Whatever ends it (the last item, Ctrl-C, a fault, a full disk): the servo goes to neutral and
    what was measured is in the journal.
    """
    silent, fresh = 0, True
    try:
        for done, item in enumerate(items, 1):
            if item.key in journal:
                fresh = True
                record = journal.records[item.key]
            else:
                record = item.measure(port, fresh)
                journal.append(item.key, record)
                fresh = False
            show(done, item, record)
            silent = silent + 1 if record.get("angle_deg", 0) is None else 0
            last_look = item.run == "ready" and (done == len(items) or items[done].run != item.run)
            if silent >= READER_DEAD or (last_look and blind(journal)):
                return False
        return True
    finally:
        port.neutral()


def blind(journal: Journal) -> bool:
    """Whether the first look found that the angle does not follow the pulse."""
    looks = [look(record) for key, record in journal.records.items() if key.startswith("ready")]
    return bool(reader_findings(looks))
