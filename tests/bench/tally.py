"""Counts the arithmetic of the flight kernels by running them on integers that keep a tally.

What hangs on the demand is told from what hangs on the box alone, which a batch need not repeat.
Only data is counted: a choice made by comparing demand-born numbers does not pass that on.
"""

from collections import Counter
from collections.abc import Callable
from typing import Any, ClassVar

from mixer.flight import layout as at
from mixer.flight.allocate import allocate
from mixer.flight.cycle import cycle
from tests.bench.flight_core import STEP_US, FlightCore

KINDS = {
    "__mul__": "multiplications",
    "__rmul__": "multiplications",
    "__floordiv__": "divisions",
    "__add__": "additions",
    "__radd__": "additions",
    "__sub__": "additions",
    "__rsub__": "additions",
    "__neg__": "additions",
    "__abs__": "additions",
    "__rshift__": "shifts",
    "__lshift__": "shifts",
    "__rlshift__": "shifts",
    "__and__": "shifts",
    "__or__": "shifts",
    "__ror__": "shifts",
    "__invert__": "shifts",
    "__lt__": "comparisons",
    "__le__": "comparisons",
    "__gt__": "comparisons",
    "__ge__": "comparisons",
    "__eq__": "comparisons",
    "__ne__": "comparisons",
}
ARITHMETIC = ("multiplications", "additions", "shifts", "comparisons", "divisions")


class Counted(int):
    """An integer of the data; `of_demand` where it hangs on the demand."""

    tally: ClassVar[Counter[tuple[str, bool]]] = Counter()
    of_demand = False
    __hash__ = int.__hash__


def counting(name: str, kind: str) -> Callable[..., Any]:
    plain = getattr(int, name)

    def operate(self: Counted, *other: int) -> Any:
        result = plain(self, *other)
        of_demand = self.of_demand or any(getattr(each, "of_demand", False) for each in other)
        Counted.tally[kind, of_demand] += 1
        return result if kind == "comparisons" else counted(result, of_demand)

    return operate


for _name, _kind in KINDS.items():
    setattr(Counted, _name, counting(_name, _kind))


def counted(value: int, of_demand: bool) -> Counted:
    number = Counted(value)
    number.of_demand = of_demand
    return number


class Memory(list[Any]):
    """Words that count how often they are read and written."""

    def __getitem__(self, index: Any) -> Any:
        Counted.tally["reads", False] += 1
        return super().__getitem__(index)

    def __setitem__(self, index: Any, value: Any) -> None:
        Counted.tally["writes", False] += 1
        super().__setitem__(index, value)


def tally_of(core: FlightCore, row: int, whole_cycle: bool) -> Counter[tuple[str, bool]]:
    """Operations of one problem: of the allocation, or of a whole control cycle."""
    core.wanted(row)
    words = Memory(counted(word, False) for word in core.words)
    begins = (at.DEMAND,) if whole_cycle else (at.WANT,)
    for where in begins:
        for axis in range(3):
            list.__setitem__(words, where + axis, counted(core.words[where + axis], True))
    Counted.tally = Counter()
    if whole_cycle:
        cycle(words, counted(core.pressure_pa, False), STEP_US)
    else:
        allocate(words, 0)
    tally = Counted.tally
    forces = [int(force) for force in list.__getitem__(words, slice(at.FORCE, at.FORCE + 4))]
    assert forces == list(core.steering.force), "counting must not change the answer"
    return tally
