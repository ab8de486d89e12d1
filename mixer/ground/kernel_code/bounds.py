"""No intermediate of the flight core leaves 32 bits: shown for each vehicle, not hoped.

The kernels' own source is run over intervals: every table word is what it is, every demand,
pressure, time, deflection and wear is anything the tables admit. Where a branch depends on an
interval both ways are run and joined. A function whose parameter is a shift is run value by value;
a name that walks along a table is followed record by record, so that what its loops have found out
holds of the record that they end at. What the state is after one cycle must lie within what it was
before; so what holds for one cycle holds for all.
"""

import ast
from collections.abc import Iterator
from functools import cache
from typing import TypeGuard

from mixer.flight import layout as at
from mixer.ground.kernel_code.admitted import HINTS, SMALL, admitted, places
from mixer.ground.kernel_code.language import Function, flight_core
from mixer.ground.kernel_code.spans import (
    MIRROR,
    OPPOSITE,
    ORDER,
    WORD,
    Span,
    State,
    WordOverflowError,
    hull,
    join,
    joined,
    narrowed,
    operate,
)

LONGEST_LOOP = 200
LONGEST_WALK = 20_000
# After this function the unit tells how large κ is: what follows is run for each.
SETS_UNIT = "burn_on"
UNITS = ((1, (1, 16384)), (2, (1, 32767)))


def bound_cycle(words: list[int]) -> list[Span]:
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
    return state.words


class Bounds:
    """The flight core over intervals, for one set of tables."""

    def __init__(self, words: list[int]) -> None:
        self.program = flight_core()
        self.tables = words
        self.known: dict[tuple[str, tuple[Span, ...]], Span] = {}  # of functions on tables alone
        self.on_tables_alone = True

    def run(self, name: str, given: list[Span], state: State) -> Span:
        """Call a function on intervals: its result, and `state.words` as it leaves them."""
        function = self.program.functions[name]
        key = name, tuple(given)
        if key in self.known:
            return self.known[key]
        outer, self.on_tables_alone = self.on_tables_alone, True
        one = Call(self, function)
        names = [parameter for parameter in function.parameters if parameter != "w"]
        ends: list[State] = []
        for values in by_value(function, names, given):
            ends += one.of(dict(zip(names, values, strict=True)), list(state.words))
        end = join(ends)
        assert end is not None
        state.words = end.words
        result = end.names.get(RESULT, (0, 0))
        if self.on_tables_alone:
            self.known[key] = result
        self.on_tables_alone = outer and self.on_tables_alone
        return result


RESULT = "return"  # where a state keeps what its function gives; no name can be this


def by_value(function: Function, names: list[str], given: list[Span]) -> Iterator[list[Span]]:
    """The parameters' intervals; where one is a shift, once for each of its values."""
    lists: list[list[Span]] = [[]]
    for name, (lo, hi) in zip(names, given, strict=True):
        each = [(lo, hi)]
        if lo < hi and name in shifts(function.name):
            each = [(value, value) for value in range(lo, hi + 1)]
        lists = [[*one, span] for one in lists for span in each]
    yield from lists


@cache
def shifts(name: str) -> set[str]:
    """The parameters of a kernel function by which it shifts."""
    function = flight_core().functions[name]
    counts = [
        part.right
        for line in function.body
        for part in ast.walk(line)
        if isinstance(part, ast.BinOp) and isinstance(part.op, ast.LShift | ast.RShift)
    ]
    used = {part.id for count in counts for part in ast.walk(count) if isinstance(part, ast.Name)}
    return used & set(function.parameters)


class Call:
    """One function, run over intervals."""

    def __init__(self, bounds: Bounds, function: Function) -> None:
        self.bounds, self.function = bounds, function
        self.tables, self.constants = bounds.tables, bounds.program.constants
        self.walkers = walkers(function.name)
        self.results: list[State] = []

    def of(self, names: dict[str, Span], words: list[Span]) -> list[State]:
        """How it can end, for arguments and steering words within these."""
        self.results = []
        end = self.block(self.function.body, State(names, words))
        return self.results + ([end] if end else [])

    def fault(self, text: str, node: ast.AST | None = None) -> WordOverflowError:
        line = f", line {getattr(node, 'lineno', 0)}" if node is not None else ""
        return WordOverflowError(f"{self.function.name}{line}: {text}")

    # ---- statements ----

    def block(self, body: list[ast.stmt], state: State | None) -> State | None:
        for position, statement in enumerate(body):
            if state is None:
                return None
            if self.finds_a_place(statement):
                return self.follow(statement, body[position + 1 :], state)
            state = self.statement(statement, state)
            if state and calls(statement, SETS_UNIT):
                return self.by_unit(body[position + 1 :], state)
        return state

    def by_unit(self, body: list[ast.stmt], state: State) -> State | None:
        """Run what comes after for each unit, with the κ that it stands for."""
        ends = []
        for unit, kappa in UNITS:
            one = state.copy()
            one.words[at.UNIT] = (unit, unit)
            one.words[at.KAPPA : at.KAPPA + at.VANES] = [kappa] * at.VANES
            ends.append(self.block(body, one))
        return join(ends)

    def finds_a_place(self, node: ast.stmt) -> TypeGuard[ast.Assign]:
        """Whether a statement loads the place of a record that a search begins at."""
        match node:
            case ast.Assign(targets=[ast.Name(id=name)], value=ast.Subscript()):
                return name in self.walkers
        return False

    def follow(self, load: ast.Assign, body: list[ast.stmt], state: State) -> State | None:
        """Run what comes after the load of a place for each record."""
        (target,) = load.targets
        assert isinstance(target, ast.Name)
        variable = target.id
        allowed, records = self.begin(load.value, state)
        for place, one in records.items():
            if place not in allowed:
                raise self.fault(f"`{ast.unparse(load)}` leads to word {place}")
            one.names[variable] = (place, place)
        for line in body:
            if isinstance(line, ast.While):
                records = self.walk(line, variable, records, allowed)
                continue
            ends = {place: self.statement(line, one) for place, one in records.items()}
            records = {place: end for place, end in ends.items() if end}
        return join(list(records.values()))

    def begin(self, load: ast.expr, state: State) -> tuple[range, dict[int, State]]:
        """Where a search may go, and with what it begins at which record: a hint or a cell."""
        match load:
            case ast.Subscript(slice=ast.Name(id=name)):
                self.bounds.on_tables_alone = False
                allowed = places(self.tables, self.constants[name])
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
        raise NotImplementedError(f"{self.function.name}: {ast.unparse(load)} is no record's place")

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
            end = self.decide(loop.test, state, False)
            if end:
                ends[place] = joined(ends.get(place), end)
            on = self.block(loop.body, self.decide(loop.test, state, True))
            if on:
                lo, hi = on.names[variable]
                if not lo == hi in allowed:
                    raise self.fault(
                        f"the loop `{ast.unparse(loop.test)}` could leave its table", loop
                    )
                waiting[lo] = joined(waiting.get(lo), on)
        raise self.fault(f"no bound found for the loop `{ast.unparse(loop.test)}`", loop)

    def statement(self, node: ast.stmt, state: State) -> State | None:
        match node:
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
            case ast.For(target=ast.Name(id=name), iter=ast.Call(args=ends), body=body):
                first = self.value(ends[0], state)[0] if len(ends) == 2 else 0
                return self.loop(name, range(first, self.value(ends[-1], state)[1]), body, state)
            case ast.While(test=test, body=body):
                return self.repeat(test, body, state)
            case ast.Return(value=value):
                if value is not None:
                    state.names[RESULT] = self.value(value, state)
                self.results.append(state)
                return None
            case ast.Expr(value=ast.Call() as call):
                self.value(call, state)
                return state
        raise NotImplementedError(f"{self.function.name}: {ast.unparse(node)}")

    def loop(self, name: str, turns: range, body: list[ast.stmt], state: State) -> State | None:
        now: State | None = state
        for n in turns:
            if now is None:
                return None
            now.names[name] = (n, n)
            now = self.block(body, now)
        return now

    def repeat(self, test: ast.expr, body: list[ast.stmt], state: State) -> State | None:
        exits: list[State | None] = []
        now: State | None = state
        for _ in range(LONGEST_LOOP):
            exits.append(self.decide(test, now, False))
            now = self.block(body, self.decide(test, now, True))
            if now is None:
                return join(exits)
        raise self.fault(f"no bound found for the loop `{ast.unparse(test)}`", test)

    def assign(self, target: ast.expr, value: Span, state: State) -> None:
        if isinstance(target, ast.Name):
            state.names[target.id] = value
            return
        assert isinstance(target, ast.Subscript)
        lo, hi = self.value(target.slice, state)
        self.state_words(state, lo, hi)
        for index in range(lo, hi + 1):
            if index in HINTS and not (value[0] == value[1] in places(self.tables, index)):
                raise self.fault(f"steering word {index} could be {value}", target)
            state.words[index] = value if lo == hi else hull(state.words[index], value)

    def state_words(self, state: State, lo: int, hi: int) -> list[Span]:
        """The steering words numbered lo to hi, of which one is read or written."""
        self.bounds.on_tables_alone = False
        if not 0 <= lo <= hi < at.STATE_WORDS:
            raise self.fault(f"words {lo} to {hi} are not all steering words")
        return state.words[lo : hi + 1]

    # ---- expressions ----

    def value(self, node: ast.expr, state: State) -> Span:
        span = self.unchecked(node, state)
        if span[0] < -WORD or span[1] >= WORD:
            raise self.fault(f"`{ast.unparse(node)}` could reach {max(span, key=abs)}", node)
        return span

    def unchecked(self, node: ast.expr, state: State) -> Span:
        match node:
            case ast.Constant(value=int(value)):
                return value, value
            case ast.Name(id=name):
                if name in state.names:
                    return state.names[name]
                if name in self.constants:
                    return self.constants[name], self.constants[name]
                raise self.fault(f"{name} may have no value", node)
            case ast.BinOp(left=left, op=op, right=right):
                return operate(op, self.value(left, state), self.value(right, state))
            case ast.Subscript(slice=index):
                return self.word(*self.value(index, state), state)
            case ast.Call(func=ast.Name(id=name), args=arguments):
                spans = [
                    self.value(argument, state)
                    for argument in arguments
                    if not (isinstance(argument, ast.Name) and argument.id == "w")
                ]
                return self.call(name, spans, state)
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                lo, hi = self.value(operand, state)
                return -hi, -lo
            case ast.UnaryOp(op=ast.Invert(), operand=operand):
                lo, hi = self.value(operand, state)
                return ~hi, ~lo
            case ast.IfExp(test=test, body=body, orelse=orelse):
                ways = ((body, True), (orelse, False))
                found = [
                    self.value(way, one)
                    for way, wanted in ways
                    if (one := self.decide(test, state, wanted))
                ]
                return min(lo for lo, _ in found), max(hi for _, hi in found)
        raise NotImplementedError(f"{self.function.name}: {ast.unparse(node)}")

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
        return self.bounds.run(name, spans, state)

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


def calls(node: ast.stmt, name: str) -> bool:
    """Whether a statement is the call of this function and nothing else."""
    match node:
        case ast.Expr(value=ast.Call(func=ast.Name(id=called))):
            return called == name
    return False


@cache
def walkers(name: str) -> set[str]:
    """The names by whose value a function's loops read the tables: `while x < w[o]`."""
    loops = [
        part
        for line in flight_core().functions[name].body
        for part in ast.walk(line)
        if isinstance(part, ast.While)
    ]
    places = [
        part.slice
        for loop in loops
        for part in ast.walk(loop.test)
        if isinstance(part, ast.Subscript)
    ]
    used = {part.id for place in places for part in ast.walk(place) if isinstance(part, ast.Name)}
    return used - {"w"} - set(flight_core().constants)
