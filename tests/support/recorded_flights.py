"""A node driven as an armed flight drives it, so that its record has something to tell."""

from random import Random

from hil.node.node_link import NodeLink
from mixer.flight import FlightTables
from mixer.flight import layout as at
from tests.support.recorded_cycles import random_demand

TRUSTED = 15


def fly(
    link: NodeLink, tables: FlightTables, seed: int, cycles: int, *, burn_at: int = 40
) -> dict[str, int]:
    """Arm, demand so many times with silences, jams, angles and odd time steps, disarm.

    Returns the node's counters, as they stand before the end.
    """
    draw = Random(seed)
    reference_pa = tables.words[at.PA_MAX] // 2
    link.arm()
    for n in range(cycles):
        if n == burn_at:
            link.start()
        if n % 40 == 0:
            link.pace(draw.choice([5000, 5013, 4900, 9000, 40_000]))
        if n % 97 == 50:
            link.jam(draw.randint(1, 4), draw.randint(-15_000, 15_000))
        if n % 97 == 80:
            for vane in range(1, 5):
                link.free(vane)
        if n % 37 < 20:
            link.see([draw.randint(-15_000, 15_000) for _ in range(4)], TRUSTED * (n % 37 == 0))
        if n % 83 in (30, 31, 45):  # off, and on again in the same cycle or a while later
            link.watch(False)
            if n % 83 != 31:
                link.watch(True)
        if n % 83 == 40:
            link.watch(True)
        if n % 61 == 60:
            link.let_pass(draw.choice([5000, 60_000, 300_000]))
        demand = random_demand(tables, draw)
        if n % 53 == 52:
            demand = (at.END, 0, 0)
        pressure_pa = round(reference_pa * draw.choice([1.0, 0.97, draw.uniform(0.0, 2.5)]))
        link.demand(*demand, pressure_pa if n >= burn_at else 0)
    counters = link.counters()
    link.disarm()
    return counters
