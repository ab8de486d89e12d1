"""No intermediate of the flight core leaves 32 bits: shown for each vehicle, not hoped.

The kernels' own source is run over intervals: every table word is what it is, every demand,
pressure, time, deflection and wear is anything the tables admit. Where a branch depends on an
interval both ways are run and joined. A function whose parameter is a shift is run value by value;
a name that walks along a table is followed record by record, so that what its loops have found out
holds of the record that they end at. What the state is after one cycle must lie within what it was
before; so what holds for one cycle holds for all.
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache

from mixer.flight import layout as at
from mixer.ground.kernel_code.admitted import SMALL, admitted
from mixer.ground.kernel_code.language import Function, flight_core
from mixer.ground.kernel_code.spans import Span, State, WordOverflowError, join
from mixer.ground.kernel_code.statements import RESULT, Call
from mixer.ground.kernel_code.traits import shifts


@lru_cache(maxsize=64)  # 0.06 s; a command, and a process of tests, meets few tables many times
def bound_cycle(words: tuple[int, ...]) -> tuple[Span, ...]:
    """Bounds of every steering word after any cycle; WordOverflowError where one could overflow."""
    before = admitted(words)
    anything = (-SMALL, SMALL - 1)
    state = State({}, list(before))
    Bounds(words).run("cycle", [anything, anything], state)
    for where, (was, now) in enumerate(zip(before, state.words, strict=True)):
        if now[0] < -SMALL or now[1] >= SMALL:
            raise WordOverflowError(f"steering word {where} could reach {now}, past 31 bits")
        lasts = at.DEFLECTION <= where < at.DEFLECTION + at.VANES or where >= at.DEMAND
        if lasts and where < at.LASTING_WORDS and not (was[0] <= now[0] and now[1] <= was[1]):
            raise WordOverflowError(f"steering word {where} could drift to {now}")
    return tuple(state.words)


class Bounds:
    """The flight core over intervals, for one set of tables."""

    def __init__(self, words: Sequence[int]) -> None:
        self.program = flight_core()
        self.tables = words
        self.known: dict[tuple[str, tuple[Span, ...]], Span] = {}  # of functions on tables alone

    def run(self, name: str, given: list[Span], state: State) -> tuple[Span, bool]:
        """Call a function on intervals: its result, and whether that stands on tables alone.

        `state.words` become what the function leaves.
        """
        function = self.program.functions[name]
        key = name, tuple(given)
        if key in self.known:
            return self.known[key], True
        one = Call(self, function)
        names = [parameter for parameter in function.parameters if parameter != "w"]
        ends: list[State] = []
        for values in by_value(function, names, given):
            ends += one.of(dict(zip(names, values, strict=True)), list(state.words))
        end = join(ends)
        assert end is not None
        state.words = end.words
        result = end.names.get(RESULT, (0, 0))
        if one.on_tables_alone:
            self.known[key] = result
        return result, one.on_tables_alone


def by_value(function: Function, names: list[str], given: list[Span]) -> Iterator[list[Span]]:
    """The parameters' intervals; where one is a shift, once for each of its values."""
    lists: list[list[Span]] = [[]]
    for name, (lo, hi) in zip(names, given, strict=True):
        each = [(lo, hi)]
        if lo < hi and name in shifts(function.name):
            each = [(value, value) for value in range(lo, hi + 1)]
        lists = [[*one, span] for one in lists for span in each]
    yield from lists
