"""Intervals of 32-bit words: what an operation makes of them, what a comparison leaves of them."""

import ast
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from operator import floordiv, lshift, mul, rshift

WORD = 1 << 31
Span = tuple[int, int]
Operation = Callable[[Span, Span], Span]
Pair = tuple[Span, Span]
# What is left of two intervals where a comparison of them holds; None where it cannot.
Comparison = Callable[[Span, Span], Pair | None]


class WordOverflowError(ArithmeticError):
    """An intermediate of a flight kernel could leave its word, or a search its table."""


@dataclass(slots=True)
class State:
    """Intervals of a kernel's local names and of the words of the steering state.

    States share their lists of words, most of which nothing changes: see `put`.
    """

    names: dict[str, Span]
    words: list[Span]

    def copy(self) -> "State":
        return State(self.names.copy(), self.words)

    def put(self, word: int, span: Span) -> None:
        self.words = self.words.copy()
        self.words[word] = span


def unsafe(kind: type[ast.operator], a: Span, b: Span) -> WordOverflowError:
    return WordOverflowError(f"{kind.__name__} of {a} and {b} is not safe")


def added(a: Span, b: Span) -> Span:
    return a[0] + b[0], a[1] + b[1]


def subtracted(a: Span, b: Span) -> Span:
    return a[0] - b[1], a[1] - b[0]


def by_ends(
    kind: type[ast.operator], of: Callable[[int, int], int], least: int, a: Span, b: Span
) -> Span:
    """Of an operation whose interval lies between what it makes of its operands' ends, and that is
    safe with a right operand from `least` on."""
    if b[0] < least:
        raise unsafe(kind, a, b)
    ends = of(a[0], b[0]), of(a[1], b[0])
    if b[0] != b[1]:
        ends += of(a[0], b[1]), of(a[1], b[1])
    return min(ends), max(ends)


def shifted_right(a: Span, b: Span) -> Span:
    if b[0] == b[1] >= 0:  # rises with a: most often
        return a[0] >> b[0], a[1] >> b[0]
    return by_ends(ast.RShift, rshift, 0, a, b)


def bits_of_both(a: Span, b: Span) -> Span:
    if b[0] < 0 and a[0] < 0:
        raise unsafe(ast.BitAnd, a, b)
    return 0, b[1] if b[0] >= 0 else a[1]


def bits_of_either(a: Span, b: Span) -> Span:
    if a[0] < 0 or b[0] < 0:
        raise unsafe(ast.BitOr, a, b)
    if a[0] == a[1] and b[0] == b[1]:
        return a[0] | b[0], a[0] | b[0]
    return max(a[0], b[0]), (1 << max(a[1], b[1]).bit_length()) - 1


def remainder(a: Span, b: Span) -> Span:
    if b[0] <= 0:
        raise unsafe(ast.Mod, a, b)
    return 0, b[1] - 1


OPERATIONS: dict[type[ast.operator], Operation] = {
    ast.Add: added,
    ast.Sub: subtracted,
    ast.Mult: partial(by_ends, ast.Mult, mul, -WORD),
    ast.LShift: partial(by_ends, ast.LShift, lshift, 0),
    ast.RShift: shifted_right,
    ast.FloorDiv: partial(by_ends, ast.FloorDiv, floordiv, 1),
    ast.BitAnd: bits_of_both,
    ast.BitOr: bits_of_either,
    ast.Mod: remainder,
}


def below(a: Span, b: Span, apart: int = 1) -> Pair | None:
    """Where a is less than b, by `apart` or more."""
    x, y = (a[0], min(a[1], b[1] - apart)), (max(b[0], a[0] + apart), b[1])
    return (x, y) if x[0] <= x[1] and y[0] <= y[1] else None


def above(a: Span, b: Span, apart: int = 1) -> Pair | None:
    """Where a is greater than b, by `apart` or more."""
    x, y = (max(a[0], b[0] + apart), a[1]), (b[0], min(b[1], a[1] - apart))
    return (x, y) if x[0] <= x[1] and y[0] <= y[1] else None


def equal(a: Span, b: Span) -> Pair | None:
    both = max(a[0], b[0]), min(a[1], b[1])
    return (both, both) if both[0] <= both[1] else None


def unequal(a: Span, b: Span) -> Pair | None:
    x, y = without(a, b), without(b, a)
    return (x, y) if x[0] <= x[1] and y[0] <= y[1] else None


def without(a: Span, b: Span) -> Span:
    """What is left of a where b, if it is one number, is an end of it."""
    return (a[0] + (a[0] == b[0]), a[1] - (a[1] == b[0])) if b[0] == b[1] else a


not_above, not_below = partial(below, apart=0), partial(above, apart=0)
# Each comparison, and the one that holds where it does not.
COMPARISONS: dict[type[ast.cmpop], tuple[Comparison, Comparison]] = {
    ast.Lt: (below, not_below),
    ast.LtE: (not_above, above),
    ast.Gt: (above, not_above),
    ast.GtE: (not_below, below),
    ast.Eq: (equal, unequal),
    ast.NotEq: (unequal, equal),
}


def hull(a: Span, b: Span) -> Span:
    return min(a[0], b[0]), max(a[1], b[1])


def join_words(a: list[Span], b: list[Span]) -> list[Span]:
    if a is b or a == b:  # quickly told: mostly these are the same spans
        return a
    return [x if x is y else hull(x, y) for x, y in zip(a, b, strict=True)]


def joined(a: State | None, b: State) -> State:
    """The least state that holds both; a name that one of them lacks is dropped."""
    if a is None:
        return b
    names = {
        name: x if x == y else hull(x, y) for name, x in a.names.items() if (y := b.names.get(name))
    }
    return State(names, join_words(a.words, b.words))


def join(states: Iterable[State | None]) -> State | None:
    """The least state that holds all of these."""
    result = None
    for state in states:
        if state is not None:
            result = joined(result, state)
    return result
