"""What was heard of demands and cycles as a CSV: a row an exchange, an empty cell for no word."""

import csv
from collections.abc import Iterable
from typing import IO

from firmware_port import protocol as p
from hil.tap.exchanges import Exchange
from mixer.flight.layout import FLAG_NAMES
from mixer.ground.inputs.arrays import VANES

VANE_NUMBERS = range(1, VANES + 1)
COLUMNS = (
    "time_s",
    "pitch_nm",
    "yaw_nm",
    "roll_nm",
    "chamber_pressure_bar",
    *(f"vane{i}_deg" for i in VANE_NUMBERS),
    *(f"pulse{i}_us" for i in VANE_NUMBERS),
    "given_pitch_nm",
    "given_yaw_nm",
    "given_roll_nm",
    "flags",
    "state",
    "verdict",
)


def write_heard(stream: IO[str], exchanges: Iterable[Exchange]) -> int:
    """Write demands with what the node made of them, time from the first one; how many rows.

    The time is when the demand was heard, by the listener's clock: not the node's own.
    """
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    start_s: float | None = None
    rows = 0
    for each in sorted(exchanges, key=lambda one: one.at_s):
        if each.kind != p.DEMAND:
            continue
        start_s = each.at_s if start_s is None else start_s
        writer.writerow((f"{each.at_s - start_s:.6f}", *demand_cells(each), *cycle_cells(each)))
        rows += 1
    return rows


def demand_cells(each: Exchange) -> list[str]:
    demand = each.demand
    if demand is None:
        return [""] * 4
    return [*thousandths(demand.moment_mnm), f"{demand.pressure_pa / 1e5:.5f}"]


def cycle_cells(each: Exchange) -> list[str]:
    answer, cycle = each.answer, each.cycle
    if answer is None:
        return [""] * 14
    states = p.STATE_NAMES[answer.state] if answer.state < len(p.STATE_NAMES) else "unknown"
    verdicts = p.VERDICT_NAMES
    told = verdicts[answer.verdict] if answer.verdict < len(verdicts) else "unknown"
    if cycle is None:
        return [*[""] * 12, states, told]
    flags = ";".join(name for bit, name in enumerate(FLAG_NAMES) if cycle.flags >> bit & 1)
    numbers = (*cycle.deflection_mdeg, *cycle.pulse_ns, *cycle.moment_mnm)
    return [*thousandths(numbers), flags, states, told]


def thousandths(values: Iterable[int]) -> list[str]:
    return [f"{value / 1e3:.3f}" for value in values]
