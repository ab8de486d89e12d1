"""Intervals of a kernel function's expressions, and what a condition leaves of them."""

import ast
from collections.abc import Callable, Sequence
from typing import ClassVar

from mixer.flight import layout as at
from mixer.ground.kernel_code.language import Function
from mixer.ground.kernel_code.spans import (
    MIRROR,
    OPPOSITE,
    ORDER,
    WORD,
    Span,
    State,
    WordOverflowError,
    join,
    narrowed,
    operate,
)


class Expressions:
    """The expressions of one function, over intervals. `run` calls another function."""

    def __init__(
        self, function: Function, tables: Sequence[int], constants: dict[str, int]
    ) -> None:
        self.function, self.tables, self.constants = function, tables, constants
        self.on_tables_alone = True  # until a steering word is read or set

    def run(self, name: str, given: list[Span], state: State) -> Span:
        raise NotImplementedError

    def fault(self, text: str, node: ast.AST | None = None) -> WordOverflowError:
        line = f", line {getattr(node, 'lineno', 0)}" if node is not None else ""
        return WordOverflowError(f"{self.function.name}{line}: {text}")

    def state_words(self, state: State, lo: int, hi: int) -> list[Span]:
        """The steering words numbered lo to hi, of which one is read or written."""
        self.on_tables_alone = False
        if not 0 <= lo <= hi < at.STATE_WORDS:
            raise self.fault(f"words {lo} to {hi} are not all steering words")
        return state.words[lo : hi + 1]

    def value(self, node: ast.expr, state: State) -> Span:
        kind = type(node)
        if kind is ast.Name:
            return self.name(node, state)  # type: ignore[arg-type]
        # By class, not by `match`, which tries pattern after pattern: a fifth of the proof's time.
        of = self.BY_CLASS.get(kind)
        if of is None:
            raise NotImplementedError(f"{self.function.name}: {ast.unparse(node)}")
        span = of(self, node, state)
        if span[0] < -WORD or span[1] >= WORD:
            raise self.fault(f"`{ast.unparse(node)}` could reach {max(span, key=abs)}", node)
        return span

    def name(self, node: ast.Name, state: State) -> Span:
        span = state.names.get(node.id)
        if span is not None:
            return span
        if node.id in self.constants:
            return self.constants[node.id], self.constants[node.id]
        raise self.fault(f"{node.id} may have no value", node)

    def constant(self, node: ast.Constant, _state: State) -> Span:
        assert isinstance(node.value, int)
        return node.value, node.value

    def operation(self, node: ast.BinOp, state: State) -> Span:
        return operate(node.op, self.value(node.left, state), self.value(node.right, state))

    def subscript(self, node: ast.Subscript, state: State) -> Span:
        return self.word(*self.value(node.slice, state), state)

    def called(self, node: ast.Call, state: State) -> Span:
        assert isinstance(node.func, ast.Name)
        spans = [
            self.value(argument, state)
            for argument in node.args
            if not (isinstance(argument, ast.Name) and argument.id == "w")
        ]
        return self.call(node.func.id, spans, state)

    def signed(self, node: ast.UnaryOp, state: State) -> Span:
        lo, hi = self.value(node.operand, state)
        if isinstance(node.op, ast.USub):
            return -hi, -lo
        if isinstance(node.op, ast.Invert):
            return ~hi, ~lo
        raise NotImplementedError(f"{self.function.name}: {ast.unparse(node)}")

    def either(self, node: ast.IfExp, state: State) -> Span:
        ways = ((node.body, True), (node.orelse, False))
        found = [
            self.value(way, one)
            for way, wanted in ways
            if (one := self.decide(node.test, state, wanted))
        ]
        return min(lo for lo, _ in found), max(hi for _, hi in found)

    BY_CLASS: ClassVar[dict[type[ast.expr], Callable[..., Span]]] = {
        ast.Constant: constant,
        ast.BinOp: operation,
        ast.Subscript: subscript,
        ast.Call: called,
        ast.UnaryOp: signed,
        ast.IfExp: either,
    }

    def word(self, lo: int, hi: int, state: State) -> Span:
        """What one of the words numbered lo to hi can be."""
        if lo < at.STATE_WORDS:
            spans = self.state_words(state, lo, hi)
            return min(a for a, _ in spans), max(b for _, b in spans)
        if hi >= len(self.tables):
            raise self.fault(f"word {hi} is past the tables")
        cells = self.tables[lo : hi + 1]
        return min(cells), max(cells)

    def call(self, name: str, spans: list[Span], state: State) -> Span:
        match name, spans:
            case "min", [a, b]:
                return min(a[0], b[0]), min(a[1], b[1])
            case "max", [a, b]:
                return max(a[0], b[0]), max(a[1], b[1])
            case "abs", [(lo, hi)]:
                return (0 if lo <= 0 <= hi else min(abs(lo), abs(hi))), max(abs(lo), abs(hi))
            case "scaled", [a, b, bits]:
                return operate(ast.RShift(), operate(ast.Mult(), a, b), bits)
        return self.run(name, spans, state)

    # ---- conditions: the state in which a test comes out as `wanted`, or None ----

    def decide(self, test: ast.expr, state: State | None, wanted: bool) -> State | None:
        if state is None:
            return None
        match test:
            case ast.BoolOp(op=op, values=[first, *rest]):
                other = ast.BoolOp(op, rest) if len(rest) > 1 else rest[0]
                if isinstance(op, ast.And) == wanted:
                    return self.decide(other, self.decide(first, state, wanted), wanted)
                left = self.decide(first, state, wanted)
                right = self.decide(other, self.decide(first, state, not wanted), wanted)
                return join([left, right])
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return self.decide(operand, state, not wanted)
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                sign = ORDER[type(op)] if wanted else OPPOSITE[ORDER[type(op)]]
                return self.compare(left, sign, right, state.copy())
        raise NotImplementedError(f"{self.function.name}: {ast.unparse(test)}")

    def compare(self, left: ast.expr, sign: str, right: ast.expr, state: State) -> State | None:
        a, b = self.value(left, state), self.value(right, state)
        x, y = narrowed(a, sign, b), narrowed(b, MIRROR[sign], a)
        if x is None or y is None:
            return None
        for node, span in ((left, x), (right, y)):
            match node:
                case ast.Name(id=name) if name in state.names:
                    state.names[name] = span
                case ast.Subscript(slice=index):
                    lo, hi = self.value(index, state)
                    if lo == hi < at.STATE_WORDS:
                        state.words[lo] = span
        return state
