"""No intermediate of the flight core leaves 32 bits: shown for each vehicle, not hoped.

The flight kernels' own source is read and run over intervals: every table word is what it is, every
demand, pressure, time, deflection and wear is anything the tables admit. Where a branch depends on
an interval both ways are run and joined. A few variables are run value by value (`SPLITS`), since
what follows depends on which it is; a variable that walks along a table is followed record by
record (`WALKS`), so that what its loops have found out holds of the record that they end at. What
the state is after one cycle must lie within what it was before; so what holds for one cycle holds
for all.
"""

import ast
import inspect
from collections.abc import Mapping
from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING, TypeGuard

from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.ground.vehicle_errors import Problem, VehicleError
from mixer.ground.word_admitted import HINTS, LASTING, SMALL, admitted, places
from mixer.ground.word_spans import (
    MIRROR,
    OPPOSITE,
    ORDER,
    WORD,
    Span,
    State,
    WordOverflowError,
    hull,
    join,
    join_words,
    joined,
    narrowed,
    operate,
)

if TYPE_CHECKING:
    from mixer.ground.vehicle import Vehicle

LONGEST_LOOP = 200
LONGEST_WALK = 20_000

# Before the first name is assigned, the second is run value by value to the end of its block, or
# to where it is assigned anew.
SPLITS = {"nearest": {"o": "edge"}, "secondary": {"limited": "z"}}

# In these kernels the variable that holds the place of a table's record.
WALKS = {"schedule": "o", "box": "o", "deflect": "o"}


def check_words(tables: FlightTables, vehicle: "Vehicle") -> None:
    """Raise VehicleError where any demand could take the flight arithmetic past 32 bits."""
    try:
        bound_cycle(list(tables.words))
    except WordOverflowError as error:
        message = (
            "this vehicle does not fit the flight core's 32-bit arithmetic; nearest causes: very "
            f"uneven clocking, curves with very steep and very flat parts, extreme sizes ({error})"
        )
        raise VehicleError(str(vehicle.path), [Problem("", None, message)]) from error


def bound_cycle(words: list[int]) -> list[Span]:
    """Bounds of every steering word after any cycle; WordOverflowError where one could overflow."""
    before = admitted(words)
    given = {"pressure_pa": (-SMALL, SMALL - 1), "dt_us": (-SMALL, SMALL - 1)}
    scheduled = run("schedule", words, before, given)
    after = None
    for unit, kappa in ((1, 16384), (2, 32767)):
        state = list(scheduled)
        state[at.UNIT] = (unit, unit)
        state[at.KAPPA : at.KAPPA + 4] = [(1, kappa)] * 4
        state = run("box", words, state)
        primary = "along" if words[at.POLICY] else "nearest"
        state = run(primary, words, state)
        state = join_words(state, run("secondary", words, state))
        state = run("deflect", words, state)
        after = state if after is None else join_words(after, state)
    assert after is not None
    for where, (was, now) in enumerate(zip(before, after, strict=True)):
        if where in LASTING and not (was[0] <= now[0] and now[1] <= was[1]):
            raise WordOverflowError(f"steering word {where} could drift to {now}")
        if now[0] < -SMALL or now[1] >= SMALL:
            raise WordOverflowError(f"steering word {where} could reach {now}, past 31 bits")
    return after


@cache
def kernel_source(name: str) -> tuple[ast.FunctionDef, dict[str, int]]:
    """A kernel's syntax tree and the constants of its file."""
    module = import_module(f"mixer.flight.{name}")
    tree = ast.parse(inspect.getsource(module))
    function = next(node for node in tree.body if isinstance(node, ast.FunctionDef))
    constants = {key: value for key, value in vars(module).items() if isinstance(value, int)}
    return function, constants


def run(
    name: str, tables: list[int], words: list[Span], given: Mapping[str, Span] | None = None
) -> list[Span]:
    """The steering words after a kernel has run on anything within `words`.

    given: intervals of what the kernel takes beside the words.
    """
    return Kernel(name, tables).run(words, dict(given or {}))


class Kernel:
    """One flight kernel, run over intervals."""

    def __init__(self, name: str, tables: list[int]):
        self.name = name
        self.function, self.constants = kernel_source(name)
        self.tables = tables
        self.results: list[State] = []
        self.breaks: list[list[State]] = []

    def run(self, words: list[Span], given: dict[str, Span]) -> list[Span]:
        end = self.block(self.function.body, State(given, list(words)))
        ends = self.results + ([end] if end else [])
        result = join(ends)
        assert result is not None
        return result.words

    # ---- statements ----

    def block(self, body: list[ast.stmt], state: State | None) -> State | None:
        splits = SPLITS.get(self.name, {})
        for position, statement in enumerate(body):
            if state is None:
                return None
            variable = splits.get(assigned(statement) or "")
            if variable in state.names:
                lo, hi = state.names[variable]
                if lo < hi:
                    return self.split(variable, body[position:], state)
            walker = WALKS.get(self.name)
            if walker and loads(statement, walker):
                return self.follow(walker, statement.value, body[position + 1 :], state)
            state = self.statement(statement, state)
        return state

    def follow(
        self, variable: str, load: ast.expr, body: list[ast.stmt], state: State
    ) -> State | None:
        """Run what comes after the load of a place for each record, up to the next load."""
        found = (any(loads(part, variable) for part in ast.walk(line)) for line in body)
        stop = next((n for n, loaded in enumerate(found) if loaded), len(body))
        allowed, records = self.begin(load, state)
        for place, one in records.items():
            if place not in allowed:
                raise WordOverflowError(f"{self.name}: {ast.unparse(load)} leads to word {place}")
            one.names[variable] = (place, place)
        for line in body[:stop]:
            if isinstance(line, ast.While):
                records = self.walk(line, variable, records, allowed)
                continue
            ends = {place: self.statement(line, one) for place, one in records.items()}
            records = {place: end for place, end in ends.items() if end}
            if any(end.names[variable] != (place, place) for place, end in records.items()):
                raise NotImplementedError(f"{self.name}: {ast.unparse(line)} moves {variable}")
        return self.block(body[stop:], join(list(records.values())))

    def begin(self, load: ast.expr, state: State) -> tuple[range, dict[int, State]]:
        """Where a search may go, and with what it begins at which record: a hint or a cell."""
        match load:
            case ast.Subscript(slice=ast.Name(id=name)):
                hint = self.constants[name]
                allowed = places(self.tables, hint)
                return allowed, {place: state.copy() for place in allowed}
            case ast.Subscript(
                slice=ast.BinOp(left=cell, op=ast.Add(), right=ast.Subscript(slice=at_))
            ):
                word, _ = self.value(at_, state)
                first, last = self.value(cell, state)
                records: dict[int, State] = {}
                for number in range(first, last + 1):
                    one = self.in_cell(cell, number, state)
                    place = self.tables[self.tables[word] + number]
                    records[place] = joined(records.get(place), one)
                return places(self.tables, word), records
        raise NotImplementedError(f"{self.name}: {ast.unparse(load)} is no place of a record")

    def in_cell(self, cell: ast.expr, number: int, state: State) -> State:
        """The state where a cell has this number: a shifted name lies between the cell's ends."""
        one = state.copy()
        match cell:
            case ast.BinOp(left=ast.Name(id=name), op=ast.RShift(), right=shift):
                bits, _ = self.value(shift, state)
                lo, hi = one.names[name]
                one.names[name] = max(lo, number << bits), min(hi, ((number + 1) << bits) - 1)
        return one

    def walk(
        self, loop: ast.While, variable: str, records: dict[int, State], allowed: range
    ) -> dict[int, State]:
        """A loop that goes from record to record: for each record where it can end, how."""
        waiting = dict(records)
        ends: dict[int, State] = {}
        for _ in range(LONGEST_WALK):
            if not waiting:
                return ends
            place, state = waiting.popitem()
            for end in filter(None, [self.decide(loop.test, state, False)]):
                ends[place] = joined(ends.get(place), end)
            for on in filter(None, [self.block(loop.body, self.decide(loop.test, state, True))]):
                lo, hi = on.names[variable]
                if not lo == hi in allowed:
                    raise WordOverflowError(
                        f"{self.name}: the loop `{ast.unparse(loop.test)}` could leave its table"
                    )
                waiting[lo] = joined(waiting.get(lo), on)
        raise WordOverflowError(
            f"{self.name}: no bound found for the loop `{ast.unparse(loop.test)}`"
        )

    def split(self, variable: str, body: list[ast.stmt], state: State) -> State | None:
        stop = next((n for n, line in enumerate(body) if assigned(line) == variable), len(body))
        ends = []
        lo, hi = state.names[variable]
        for value in range(lo, hi + 1):
            one = state.copy()
            one.names[variable] = (value, value)
            end = self.block(body[:stop], one)
            if end:
                ends.append(end)
        return self.block(body[stop:], join(ends))

    def statement(self, node: ast.stmt, state: State) -> State | None:
        match node:
            case ast.Expr(value=ast.Constant()):
                return state
            case ast.Assign(targets=[target], value=value):
                self.assign(target, self.value(value, state), state)
                return state
            case ast.AugAssign(target=target, op=op, value=value):
                load = ast.copy_location(ast.BinOp(target, op, value), node)
                self.assign(target, self.value(load, state), state)
                return state
            case ast.If(test=test, body=body, orelse=orelse):
                yes, no = self.decide(test, state, True), self.decide(test, state, False)
                return join([self.block(body, yes), self.block(orelse, no)])
            case ast.For(target=ast.Name(id=name), iter=ast.Call(args=[count]), body=body):
                return self.loop(name, self.value(count, state)[1], body, state)
            case ast.While(test=test, body=body):
                return self.repeat(test, body, state)
            case ast.Break():
                self.breaks[-1].append(state)
                return None
            case ast.Return():
                self.results.append(state)
                return None
        raise NotImplementedError(f"{self.name}: {ast.unparse(node)}")

    def loop(self, name: str, count: int, body: list[ast.stmt], state: State) -> State | None:
        self.breaks.append([])
        now: State | None = state
        for n in range(count):
            if now is None:
                break
            now.names[name] = (n, n)
            now = self.block(body, now)
        return join([now, *self.breaks.pop()])

    def repeat(self, test: ast.expr, body: list[ast.stmt], state: State) -> State | None:
        self.breaks.append([])
        exits: list[State | None] = []
        now: State | None = state
        for _ in range(LONGEST_LOOP):
            exits.append(self.decide(test, now, False))
            now = self.decide(test, now, True)
            if now is None:
                return join([*exits, *self.breaks.pop()])
            now = self.block(body, now)
        raise WordOverflowError(f"{self.name}: no bound found for the loop `{ast.unparse(test)}`")

    def assign(self, target: ast.expr, value: Span, state: State) -> None:
        if isinstance(target, ast.Name):
            state.names[target.id] = value
            return
        assert isinstance(target, ast.Subscript)
        lo, hi = self.value(target.slice, state)
        self.state_words(state, lo, hi)
        for index in range(lo, hi + 1):
            if index in HINTS and not (value[0] == value[1] in places(self.tables, index)):
                raise WordOverflowError(f"{self.name}: steering word {index} could be {value}")
            state.words[index] = value if lo == hi else hull(state.words[index], value)

    def state_words(self, state: State, lo: int, hi: int) -> list[Span]:
        """The steering words numbered lo to hi, of which one is read or written."""
        if not 0 <= lo <= hi < at.STATE_WORDS:
            raise WordOverflowError(f"{self.name}: words {lo} to {hi} are not all steering words")
        return state.words[lo : hi + 1]

    # ---- expressions ----

    def value(self, node: ast.expr, state: State) -> Span:
        match node:
            case ast.Constant(value=int(value)):
                return value, value
            case ast.Name(id=name):
                if name in state.names:
                    return state.names[name]
                return self.constants[name], self.constants[name]
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                lo, hi = self.value(operand, state)
                return -hi, -lo
            case ast.Subscript(slice=index):
                lo, hi = self.value(index, state)
                if lo >= at.STATE_WORDS:
                    if hi >= len(self.tables):
                        raise WordOverflowError(f"{self.name}: word {hi} is past the tables")
                    cells = self.tables[lo : hi + 1]
                    return min(cells), max(cells)
                spans = self.state_words(state, lo, hi)
                return min(a for a, _ in spans), max(b for _, b in spans)
            case ast.BinOp(left=left, op=op, right=right):
                span = operate(op, self.value(left, state), self.value(right, state))
                if span[0] < -WORD or span[1] >= WORD:
                    raise WordOverflowError(
                        f"{self.name}, line {node.lineno}: `{ast.unparse(node)}` could reach "
                        f"{max(span, key=abs)}"
                    )
                return span
        raise NotImplementedError(f"{self.name}: {ast.unparse(node)}")

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
            case ast.Name() | ast.Subscript():  # a number stands for "is not 0"
                return self.compare(test, "!=" if wanted else "==", ast.Constant(0), state)
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                sign = ORDER[type(op)] if wanted else OPPOSITE[ORDER[type(op)]]
                return self.compare(left, sign, right, state)
        raise NotImplementedError(f"{self.name}: {ast.unparse(test)}")

    def compare(self, left: ast.expr, sign: str, right: ast.expr, state: State) -> State | None:
        a, b = self.value(left, state), self.value(right, state)
        x, y = narrowed(a, sign, b), narrowed(b, MIRROR[sign], a)
        if x is None or y is None:
            return None
        state = state.copy()
        for node, span in ((left, x), (right, y)):
            match node:
                case ast.Name(id=name) if name in state.names:
                    state.names[name] = span
                case ast.Subscript(slice=index):
                    lo, hi = self.value(index, state)
                    if lo == hi < at.STATE_WORDS:
                        state.words[lo] = span
        return state


def loads(statement: ast.AST, variable: str) -> TypeGuard[ast.Assign]:
    """Whether a statement sets the variable from the words."""
    return isinstance(statement, ast.Assign) and (
        assigned(statement) == variable and isinstance(statement.value, ast.Subscript)
    )


def assigned(statement: ast.AST) -> str | None:
    """The name that a plain assignment sets."""
    match statement:
        case ast.Assign(targets=[ast.Name(id=name)]):
            return name
    return None
