"""The flight core on any box and demand, for tests: its kernels without a vehicle round them."""

import functools
from collections.abc import Sequence

from mixer.flight import layout as at
from mixer.flight.allocate import allocate
from mixer.flight.boxes import set_target
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle


@functools.cache
def allocation_words(clocking_deg: tuple[float, ...], policy: str = "nearest") -> list[int]:
    """Flight-table words for a layout; the rest of the vehicle is the sane one."""
    turned = [angle - 360.0 if angle > 360.0 else angle for angle in clocking_deg]
    return words_of(vehicle(layout={"clocking_deg": turned}, control={"policy": policy}))


def allocate_eighths(
    words: Sequence[int], lo: Sequence[int], hi: Sequence[int], want: Sequence[int], policy: str
) -> list[int]:
    """The steering state after the allocation kernels; all forces in eighths of a count."""
    w = list(words)
    w[at.SLEW_BOX : at.SLEW_BOX + 8] = [*lo, *hi]
    for vane in range(4):
        set_target(w, vane, lo[vane], hi[vane])
    w[at.UNIT] = 1 if max(map(abs, (*lo, *hi))) <= 32768 else 2
    w[at.WANT : at.WANT + 3] = want
    w[at.POLICY] = int(policy == "direction")
    allocate(w, 0)
    return w


def allocate_counts(clocking_deg, lo, hi, demand, roll, policy: str) -> list[float]:
    """Four forces in counts for a box, a demand and a roll in counts."""

    def eighths(values):
        return [round(8 * float(value)) for value in values]

    w = allocate_eighths(
        allocation_words(tuple(clocking_deg)),
        eighths(lo),
        eighths(hi),
        eighths((*demand, roll)),
        policy,
    )
    return [force / 8 for force in w[at.FORCE : at.FORCE + 4]]
