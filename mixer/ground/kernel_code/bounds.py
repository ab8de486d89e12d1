"""No intermediate of the flight core leaves 32 bits: shown for each vehicle, not hoped.

The kernels' own source is run over intervals: every table word is what it is, every demand,
pressure, time, deflection and wear is anything the tables admit. Where a branch depends on an
interval both ways are run and joined. A function whose parameter is a shift is run value by value;
a name that walks along a table is followed record by record, so that what its loops have found out
holds of the record that they end at. What the state is after one cycle must lie within what it was
before; so what holds for one cycle holds for all.
"""

from collections.abc import Sequence
from functools import lru_cache

from mixer.flight import layout as at
from mixer.ground.kernel_code.admitted import SMALL, admitted
from mixer.ground.kernel_code.expressions import Call
from mixer.ground.kernel_code.searches import RESULT
from mixer.ground.kernel_code.spans import Span, State, WordOverflowError, join
from mixer.ground.kernel_code.statements import steps
from mixer.ground.kernel_code.traits import numbers, shifts


@lru_cache(maxsize=64)  # 0.04 s; a command, and a process of tests, meets few tables many times
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
        self.tables = words
        # Of functions on tables alone: what they give, and the names where they end.
        self.known: dict[tuple[str, tuple[Span, ...]], Span] = {}
        self.ended: dict[tuple[str, tuple[Span, ...]], list[dict[str, Span]]] = {}

    def run(self, name: str, given: list[Span], state: State) -> tuple[Span, bool]:
        """Call a function on intervals: its result, and whether that stands on tables alone.

        `state.words` become what the function leaves.
        """
        key = name, tuple(given)
        if key in self.known:
            return self.known[key], True
        ends: list[State] = []
        on_tables_alone = True
        for values in by_value(name, given):
            some, alone = self.ends(name, values, state.words)
            ends += some
            on_tables_alone = on_tables_alone and alone
        end = join(ends)
        assert end is not None
        state.words = end.words
        result = end.names.get(RESULT, (0, 0))
        if on_tables_alone:
            self.known[key] = result
        return result, on_tables_alone

    def ends(
        self, name: str, given: tuple[Span, ...], words: list[Span]
    ) -> tuple[list[State], bool]:
        """How a function can end, and whether that stands on tables alone."""
        key = name, given
        if key in self.ended:
            return [State(names, words) for names in self.ended[key]], True
        call = Call(self, name)
        state = State(dict(zip(numbers(name), given, strict=True)), words)
        end = steps(name)(call, state)
        ends = call.results + ([end] if end else [])
        if call.on_tables_alone:
            self.ended[key] = [end.names for end in ends]
        return ends, call.on_tables_alone


def by_value(name: str, given: list[Span]) -> list[tuple[Span, ...]]:
    """The parameters' intervals; where one is a shift, once for each of its values."""
    lists: list[tuple[Span, ...]] = [()]
    for parameter, (lo, hi) in zip(numbers(name), given, strict=True):
        each = [(lo, hi)]
        if lo < hi and parameter in shifts(name):
            each = [(value, value) for value in range(lo, hi + 1)]
        lists = [(*one, span) for one in lists for span in each]
    return lists
