"""Intervals of a kernel function's expressions, and what a condition leaves of them.

Each expression is made into a Python function once, for all tables, and a condition is worked out
once for both ways that it can come out: that halves the proof's time.
"""

import ast
from collections.abc import Callable, Sequence
from typing import Protocol

from mixer.flight import layout as at
from mixer.ground.kernel_code.language import Function
from mixer.ground.kernel_code.spans import (
    COMPARISONS,
    OPERATIONS,
    WORD,
    Comparison,
    Operation,
    Pair,
    Span,
    State,
    WordOverflowError,
    join,
)


class Runner(Protocol):
    """What runs the functions that a function calls."""

    tables: Sequence[int]

    def run(self, name: str, given: list[Span], state: State) -> tuple[Span, bool]: ...

    def ends(
        self, name: str, given: tuple[Span, ...], words: list[Span]
    ) -> tuple[list[State], bool]: ...


class Call:
    """One function, run over intervals."""

    def __init__(self, bounds: Runner, name: str) -> None:
        self.bounds, self.name = bounds, name
        self.on_tables_alone = True  # until a steering word is read or set
        self.results: list[State] = []

    def run(self, name: str, given: list[Span], state: State) -> Span:
        span, on_tables_alone = self.bounds.run(name, given, state)
        self.on_tables_alone = self.on_tables_alone and on_tables_alone
        return span

    def ends(self, name: str, given: list[Span], state: State) -> list[State]:
        ends, on_tables_alone = self.bounds.ends(name, tuple(given), state.words)
        self.on_tables_alone = self.on_tables_alone and on_tables_alone
        return ends

    def fault(self, text: str, node: ast.AST | None = None) -> WordOverflowError:
        line = f", line {getattr(node, 'lineno', 0)}" if node is not None else ""
        return WordOverflowError(f"{self.name}{line}: {text}")

    def past_word(self, node: ast.expr, span: Span) -> WordOverflowError:
        return self.fault(f"`{ast.unparse(node)}` could reach {max(span, key=abs)}", node)

    def state_words(self, state: State, lo: int, hi: int) -> list[Span]:
        """The steering words numbered lo to hi, of which one is read or written."""
        self.on_tables_alone = False
        if not 0 <= lo <= hi < at.STATE_WORDS:
            raise self.fault(f"words {lo} to {hi} are not all steering words")
        return state.words[lo : hi + 1]

    def word(self, lo: int, hi: int, state: State) -> Span:
        """What one of the words numbered lo to hi can be."""
        if lo < at.STATE_WORDS:
            spans = self.state_words(state, lo, hi)
            return spans[0] if lo == hi else (min(a for a, _ in spans), max(b for _, b in spans))
        if hi >= len(self.bounds.tables):
            raise self.fault(f"word {hi} is past the tables")
        words = self.bounds.tables[lo : hi + 1]
        return min(words), max(words)


Value = Callable[[Call, State], Span]
# The states in which a condition holds and in which it does not, None for what cannot be. The state
# that is given stays as it is, and is handed on where the condition tells nothing new.
Ways = tuple[State | None, State | None]
Test = Callable[[Call, State], Ways]

BUILT_IN: dict[str, Callable[..., Span]] = {
    "min": lambda a, b: (min(a[0], b[0]), min(a[1], b[1])),
    "max": lambda a, b: (max(a[0], b[0]), max(a[1], b[1])),
    "abs": lambda a: (max(a[0], -a[1], 0), max(-a[0], a[1])),
    "scaled": lambda a, b, bits: OPERATIONS[ast.RShift](OPERATIONS[ast.Mult](a, b), bits),
}


class Expressions:
    """Makes Python functions of a call and a state from one kernel function's expressions."""

    def __init__(self, function: Function, constants: dict[str, int]) -> None:
        self.function = function
        parts = [part for line in function.body for part in ast.walk(line)]
        own = {p.id for p in parts if isinstance(p, ast.Name) and isinstance(p.ctx, ast.Store)}
        own |= set(function.parameters)
        self.constants = {name: value for name, value in constants.items() if name not in own}

    def unknown(self, node: ast.AST) -> NotImplementedError:
        return NotImplementedError(f"{self.function.name}: {ast.unparse(node)}")

    def value(self, node: ast.expr) -> Value:
        match node:
            case ast.Name(id=name):
                return self.name(node, name)
            case ast.Constant(value=int(number)):
                return checked(node, fixed(number))
            case ast.BinOp(left=left, op=op, right=right):
                return operation(node, OPERATIONS[type(op)], self.value(left), self.value(right))
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return operation(node, OPERATIONS[ast.Sub], fixed(0), self.value(operand))
            case ast.UnaryOp(op=ast.Invert(), operand=operand):
                return operation(node, OPERATIONS[ast.Sub], fixed(-1), self.value(operand))
            case ast.Subscript(slice=index):
                return word(node, self.value(index))
            case ast.Call(func=ast.Name(id=name), args=given):
                return checked(node, self.called(name, given))
            case ast.IfExp(test=test, body=body, orelse=orelse):
                return checked(node, either(self.test(test), self.value(body), self.value(orelse)))
        raise self.unknown(node)

    def name(self, node: ast.Name, name: str) -> Value:
        if name in self.constants:
            return fixed(self.constants[name])

        def value(call: Call, state: State) -> Span:
            try:
                return state.names[name]
            except KeyError:
                raise call.fault(f"{name} may have no value", node) from None

        return value

    def values(self, given: list[ast.expr]) -> Callable[[Call, State], list[Span]]:
        """Of the arguments of a function, but for the words, which every one is given."""
        of = [self.value(one) for one in given if not (isinstance(one, ast.Name) and one.id == "w")]
        return lambda call, state: [value(call, state) for value in of]

    def called(self, name: str, given: list[ast.expr]) -> Value:
        values = self.values(given)
        if of := BUILT_IN.get(name):
            return lambda call, state: of(*values(call, state))
        return lambda call, state: call.run(name, values(call, state), state)

    # ---- conditions ----

    def test(self, node: ast.expr) -> Test:
        match node:
            case ast.BoolOp(op=op, values=[first, *rest]):
                other = self.test(ast.BoolOp(op, rest) if len(rest) > 1 else rest[0])
                if isinstance(op, ast.And):
                    return both(self.test(first), other)
                return opposite(both(opposite(self.test(first)), opposite(other)))
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return opposite(self.test(operand))
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                return self.comparison(left, right, *COMPARISONS[type(op)])
        raise self.unknown(node)

    def comparison(
        self, left: ast.expr, right: ast.expr, holds: Comparison, fails: Comparison
    ) -> Test:
        left_value, right_value = self.value(left), self.value(right)
        learn_left, learn_right = self.learn(left), self.learn(right)

        def learnt(call: Call, state: State, was: Pair, now: Pair) -> State:
            one = state.copy()
            if now[0] != was[0]:
                learn_left(call, one, now[0])
            if now[1] != was[1]:
                learn_right(call, one, now[1])
            return one

        def test(call: Call, state: State) -> Ways:
            was = left_value(call, state), right_value(call, state)
            yes, no = holds(*was), fails(*was)
            if yes is None or no is None:  # it tells nothing new
                return yes and state, no and state
            return learnt(call, state, was, yes), learnt(call, state, was, no)

        return test

    def learn(self, node: ast.expr) -> Callable[[Call, State, Span], None]:
        """Notes in a state what is left of a name or a steering word."""

        def of_name(_call: Call, state: State, span: Span) -> None:
            state.names[name] = span

        def of_word(call: Call, state: State, span: Span) -> None:
            lo, hi = place(call, state)
            if lo == hi < at.STATE_WORDS:
                state.put(lo, span)

        match node:
            case ast.Name(id=name) if name not in self.constants:
                return of_name
            case ast.Subscript(slice=index):
                place = self.value(index)
                return of_word
        return lambda call, state, span: None


def fixed(number: int) -> Value:
    span = number, number
    return lambda call, state: span


def operation(node: ast.expr, of: Operation, left: Value, right: Value) -> Value:
    def value(call: Call, state: State) -> Span:
        span = of(left(call, state), right(call, state))
        if span[0] < -WORD or span[1] >= WORD:
            raise call.past_word(node, span)
        return span

    return value


def word(node: ast.expr, index: Value) -> Value:
    def value(call: Call, state: State) -> Span:
        lo, hi = index(call, state)
        span = call.word(lo, hi, state)
        if span[0] < -WORD or span[1] >= WORD:
            raise call.past_word(node, span)
        return span

    return value


def either(test: Test, body: Value, orelse: Value) -> Value:
    def value(call: Call, state: State) -> Span:
        yes, no = test(call, state)
        found = [of(call, one) for of, one in ((body, yes), (orelse, no)) if one]
        return min(lo for lo, _ in found), max(hi for _, hi in found)

    return value


def checked(node: ast.expr, of: Value) -> Value:
    """The same, where it stays within a word."""

    def value(call: Call, state: State) -> Span:
        span = of(call, state)
        if span[0] < -WORD or span[1] >= WORD:
            raise call.past_word(node, span)
        return span

    return value


def both(first: Test, second: Test) -> Test:
    def test(call: Call, state: State) -> Ways:
        yes, no = first(call, state)
        if yes is None:
            return None, no
        yes, still_no = second(call, yes)
        return yes, join([no, still_no])

    return test


def opposite(of: Test) -> Test:
    def test(call: Call, state: State) -> Ways:
        yes, no = of(call, state)
        return no, yes

    return test
