"""Intervals of 32-bit words: what an operation makes of them, what a comparison leaves of them."""

import ast
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import floordiv, lshift, mul, rshift

WORD = 1 << 31
Span = tuple[int, int]


class WordOverflowError(ArithmeticError):
    """An intermediate of a flight kernel could leave its word, or a search its table."""


@dataclass
class State:
    """Intervals of a kernel's local names and of the words of the steering state."""

    names: dict[str, Span]
    words: list[Span]

    def copy(self) -> "State":
        return State(dict(self.names), list(self.words))


ORDER = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}
OPPOSITE = {"<": ">=", "<=": ">", ">": "<=", ">=": "<", "==": "!=", "!=": "=="}
# Operations whose interval lies between what they make of their operands' ends, each with the least
# right operand that it is safe with.
BY_ENDS: dict[type[ast.operator], tuple[Callable[[int, int], int], int]] = {
    ast.Mult: (mul, -WORD),
    ast.LShift: (lshift, 0),
    ast.RShift: (rshift, 0),
    ast.FloorDiv: (floordiv, 1),
}
MIRROR = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}


def narrowed(a: Span, sign: str, b: Span) -> Span | None:
    """What is left of a where `a sign b` holds for some value of b."""
    lo, hi = a
    if sign in ("<", "<="):
        hi = min(hi, b[1] - (sign == "<"))
    elif sign in (">", ">="):
        lo = max(lo, b[0] + (sign == ">"))
    elif sign == "==":
        lo, hi = max(lo, b[0]), min(hi, b[1])
    elif b[0] == b[1]:
        lo += lo == b[0]
        hi -= hi == b[0]
    return (lo, hi) if lo <= hi else None


def operate(op: ast.operator, a: Span, b: Span) -> Span:
    """The interval of `a op b`."""
    kind = type(op)
    if kind is ast.Add:
        return a[0] + b[0], a[1] + b[1]
    if kind is ast.Sub:
        return a[0] - b[1], a[1] - b[0]
    if kind is ast.RShift and b[0] == b[1] >= 0:  # rises with a: most often
        return a[0] >> b[0], a[1] >> b[0]
    if kind in BY_ENDS and b[0] >= BY_ENDS[kind][1]:
        of, _ = BY_ENDS[kind]
        ends = of(a[0], b[0]), of(a[0], b[1]), of(a[1], b[0]), of(a[1], b[1])
        return min(ends), max(ends)
    if kind is ast.BitAnd and (b[0] >= 0 or a[0] >= 0):
        return 0, b[1] if b[0] >= 0 else a[1]
    if kind is ast.BitOr and a[0] >= 0 and b[0] >= 0:
        exact = a[0] | b[0] if a[0] == a[1] and b[0] == b[1] else None
        most = (1 << max(a[1], b[1]).bit_length()) - 1
        return (max(a[0], b[0]), most) if exact is None else (exact, exact)
    if kind is ast.Mod and b[0] > 0:
        return 0, b[1] - 1
    raise WordOverflowError(f"{kind.__name__} of {a} and {b} is not safe")


def hull(a: Span, b: Span) -> Span:
    return min(a[0], b[0]), max(a[1], b[1])


def join_words(a: list[Span], b: list[Span]) -> list[Span]:
    if a == b:  # quickly told: mostly these are the same spans
        return list(a)
    return [x if x is y else hull(x, y) for x, y in zip(a, b, strict=True)]


def joined(a: State | None, b: State) -> State:
    result = join([a, b])
    assert result is not None
    return result


def join(states: Sequence[State | None]) -> State | None:
    """The least state that holds all of these; a name that one of them lacks is dropped."""
    live = [state for state in states if state is not None]
    if not live:
        return None
    result = live[0]
    for state in live[1:]:
        names = {
            name: hull(span, state.names[name])
            for name, span in result.names.items()
            if name in state.names
        }
        result = State(names, join_words(result.words, state.words))
    return result
