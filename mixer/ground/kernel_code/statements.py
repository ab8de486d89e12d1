"""A kernel function run over intervals, statement by statement; searches record by record."""

import ast
from collections.abc import Sequence
from typing import Protocol, TypeGuard

from mixer.flight import layout as at
from mixer.ground.kernel_code.admitted import HINTS, places, table_of
from mixer.ground.kernel_code.expressions import Expressions
from mixer.ground.kernel_code.language import Function, Program
from mixer.ground.kernel_code.spans import Span, State, hull, join, joined
from mixer.ground.kernel_code.traits import calls, gives_a_place, reads, searches, walkers

LONGEST_LOOP = 200
LONGEST_WALK = 20_000
RESULT = "return"  # where a state keeps what its function gives; no name can be this
# After this function the unit tells how large κ is: what follows is run for each.
SETS_UNIT = "burn_on"
UNITS = ((1, (1, 16384)), (2, (1, 32767)))


class Runner(Protocol):
    """What runs the functions that a function calls."""

    program: Program
    tables: Sequence[int]

    def run(self, name: str, given: list[Span], state: State) -> tuple[Span, bool]: ...


class Call(Expressions):
    """One function, run over intervals."""

    def __init__(self, bounds: Runner, function: Function) -> None:
        super().__init__(function, bounds.tables, bounds.program.constants)
        self.bounds = bounds
        self.walkers = walkers(function.name)
        self.results: list[State] = []

    def run(self, name: str, given: list[Span], state: State) -> Span:
        span, on_tables_alone = self.bounds.run(name, given, state)
        self.on_tables_alone = self.on_tables_alone and on_tables_alone
        return span

    def of(self, names: dict[str, Span], words: list[Span]) -> list[State]:
        """How it can end, for arguments and steering words within these."""
        self.results = []
        end = self.block(self.function.body, State(names, words))
        return self.results + ([end] if end else [])

    def block(self, body: list[ast.stmt], state: State | None) -> State | None:
        for position, statement in enumerate(body):
            if state is None:
                return None
            if self.finds_a_place(statement):
                return self.follow(statement, body[position + 1 :], state)
            if self.asks_for_a_place(statement):
                return self.follow_found(statement, body[position + 1 :], state)
            if variable := self.walks_on(statement):
                place, _ = state.names[variable]
                allowed = table_of(self.tables, place)
                return self.along(body[position:], variable, {place: state}, allowed)
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

    def walks_on(self, node: ast.stmt) -> str:
        """The parameter by which a loop walks on along the tables, if it is such a loop."""
        if isinstance(node, ast.While):
            for name in self.function.parameters:
                if name in self.walkers and reads(node.test, name):
                    return name
        return ""

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
        return self.along(body, variable, records, allowed)

    def along(
        self, body: list[ast.stmt], variable: str, records: dict[int, State], allowed: range
    ) -> State | None:
        """Run statements for each record that a search may stand at, and join how they end."""
        return join(list(self.each(body, variable, records, allowed).values()))

    def each(
        self, body: list[ast.stmt], variable: str, records: dict[int, State], allowed: range
    ) -> dict[int, State]:
        """Run statements for each record; the same for each record that they can end at."""
        for line in body:
            if isinstance(line, ast.While) and reads(line.test, variable):
                records = self.walk(line, variable, records, allowed)
            elif isinstance(line, ast.If) and searches(line, variable):
                ends: dict[int, State] = {}
                for wanted, branch in ((True, line.body), (False, line.orelse)):
                    taken = {p: self.decide(line.test, one, wanted) for p, one in records.items()}
                    entered = {place: one for place, one in taken.items() if one}
                    for place, end in self.each(branch, variable, entered, allowed).items():
                        ends[place] = joined(ends.get(place), end)
                records = ends
            else:
                left = {place: self.statement(line, one) for place, one in records.items()}
                records = {place: end for place, end in left.items() if end}
        return records

    def asks_for_a_place(self, node: ast.stmt) -> TypeGuard[ast.Assign]:
        """Whether a statement calls a function that searches and gives the place it has found."""
        match node:
            case ast.Assign(value=ast.Call(func=ast.Name(id=name))):
                return name in self.bounds.program.functions and gives_a_place(name)
        return False

    def follow_found(self, found: ast.Assign, body: list[ast.stmt], state: State) -> State | None:
        """Run what comes after a search for each record that it may have found."""
        call = found.value
        assert isinstance(call, ast.Call) and isinstance(call.func, ast.Name)
        function = self.bounds.program.functions[call.func.id]
        given = dict(zip(function.parameters, call.args, strict=True))
        spans = {
            name: self.value(argument, state) for name, argument in given.items() if name != "w"
        }
        ends = []
        for record in Call(self.bounds, function).of(spans, list(state.words)):
            one = State(dict(state.names), record.words)
            for name, argument in given.items():  # what the search has found out of its arguments
                if isinstance(argument, ast.Name) and argument.id in one.names:
                    one.names[argument.id] = record.names[name]
            self.assign(found.targets[0], record.names[RESULT], one)
            ends.append(self.block(body, one))
        return join(ends)

    def begin(self, load: ast.expr, state: State) -> tuple[range, dict[int, State]]:
        """Where a search may go, and with what it begins at which record: a hint or a cell."""
        match load:
            case ast.Subscript(slice=ast.Name(id=name)):
                self.on_tables_alone = False
                hint, _ = state.names.get(name) or (self.constants[name], None)
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
