"""Searches along the tables, over intervals: for each record that they may stand at."""

import ast
from collections.abc import Callable

from mixer.ground.kernel_code.admitted import places, table_of
from mixer.ground.kernel_code.expressions import Call, Expressions, Value, fixed
from mixer.ground.kernel_code.language import Function, Program
from mixer.ground.kernel_code.spans import Span, State, join, joined
from mixer.ground.kernel_code.traits import gives_a_place, reads, searches, walkers

LONGEST_WALK = 20_000
RESULT = "return"  # where a state keeps what its function gives; no name can be this

# What a statement, or some, make of a state, which they may change; None where the function ends.
Step = Callable[[Call, State], State | None]
Assign = Callable[[Call, State, Span], None]
# The same for each record that a search may stand at, in a table with these records.
Records = dict[int, State]
Search = Callable[[Call, Records, range], Records]
Begin = Callable[[Call, State], tuple[Records, range]]


class Searches(Expressions):
    """Makes Python functions from one kernel function's searches."""

    def __init__(self, program: Program, function: Function) -> None:
        super().__init__(function, program.constants)
        self.functions = program.functions
        self.walkers = walkers(function.name)

    def block(self, body: list[ast.stmt]) -> Step:
        raise NotImplementedError

    def statement(self, node: ast.stmt) -> Step:
        raise NotImplementedError

    def assign(self, target: ast.expr) -> Assign:
        raise NotImplementedError

    def follow(self, node: ast.stmt, after: list[ast.stmt]) -> Step | None:
        """A statement and what comes after it, for each record that it may come to; None where it
        comes to none."""
        match node:
            case ast.Assign(targets=[ast.Name(id=name)], value=ast.Subscript(slice=index)):
                if name in self.walkers:
                    return self.along(after, name, loaded(node, name, self.begin(index)))
            case ast.Assign(targets=[target], value=ast.Call(func=ast.Name(id=name), args=given)):
                if name in self.functions and gives_a_place(name):
                    return self.found(name, given, self.assign(target), self.block(after))
            case ast.While(test=test):
                for name in self.function.parameters:  # by which the loop walks on
                    if name in self.walkers and reads(test, name):
                        return self.along([node, *after], name, held(name))
        return None

    def along(self, body: list[ast.stmt], name: str, begin: Begin) -> Step:
        """Run statements for each record that a name may stand at, and join how they end."""
        each = self.each(body, name)
        return lambda call, state: join(each(call, *begin(call, state)).values())

    def each(self, body: list[ast.stmt], name: str) -> Search:
        """Run statements for each record; the same for each record that they can end at."""
        lines: list[Search] = []
        for line in body:
            if isinstance(line, ast.While) and reads(line.test, name):
                lines.append(self.walk(line, name))
            elif isinstance(line, ast.If) and searches(line, name):
                lines.append(self.branch(line, name))
            else:
                lines.append(alike(self.statement(line)))

        def search(call: Call, records: Records, allowed: range) -> Records:
            for line in lines:
                records = line(call, records, allowed)
            return records

        return search

    def branch(self, node: ast.If, name: str) -> Search:
        test = self.test(node.test)
        branches = self.each(node.body, name), self.each(node.orelse, name)

        def search(call: Call, records: Records, allowed: range) -> Records:
            ways = {place: test(call, one) for place, one in records.items()}
            ends: Records = {}
            for way, branch in enumerate(branches):
                entered = {place: one for place, both in ways.items() if (one := both[way])}
                for place, end in branch(call, entered, allowed).items():
                    ends[place] = joined(ends.get(place), end)
            return ends

        return search

    def walk(self, loop: ast.While, name: str) -> Search:
        """A loop that goes from record to record: for each record where it can end, how."""
        test, body = self.test(loop.test), self.block(loop.body)
        text = f"the loop `{ast.unparse(loop.test)}`"

        def search(call: Call, records: Records, allowed: range) -> Records:
            waiting = dict(records)
            ends: Records = {}
            for _ in range(LONGEST_WALK):
                if not waiting:
                    return ends
                place, state = waiting.popitem()
                on, end = test(call, state)
                if end:
                    ends[place] = joined(ends.get(place), end)
                if on and (on := body(call, on)):
                    lo, hi = on.names[name]
                    if not lo == hi in allowed:
                        raise call.fault(f"{text} could leave its table", loop)
                    waiting[lo] = joined(waiting.get(lo), on)
            raise call.fault(f"no bound found for {text}", loop)

        return search

    def found(self, name: str, given: list[ast.expr], assign: Assign, rest: Step) -> Step:
        """Run what comes after a function that searches for each record that it may find."""
        values = self.values(given)
        own = {
            parameter: argument.id
            for parameter, argument in zip(self.functions[name].parameters, given, strict=True)
            if isinstance(argument, ast.Name)
        }

        def step(call: Call, state: State) -> State | None:
            ends = []
            for record in call.ends(name, values(call, state), state):
                one = State(state.names.copy(), record.words)
                for parameter, argument in own.items():  # what the search has found out of these
                    if argument in one.names:
                        one.names[argument] = record.names[parameter]
                assign(call, one, record.names[RESULT])
                ends.append(rest(call, one))
            return join(ends)

        return step

    def begin(self, index: ast.expr) -> Begin:
        """Where a search may go, and with what it begins at which record: a hint or a cell."""
        match index:
            case ast.Name():
                return at_hint(self.value(index))
            case ast.BinOp(left=cell, op=ast.Add(), right=ast.Subscript(slice=leads)):
                return self.in_cells(cell, self.value(leads))
        raise NotImplementedError(f"{self.function.name}: {ast.unparse(index)} leads to no record")

    def in_cells(self, cell: ast.expr, leads: Value) -> Begin:
        """A name whose shift gives the cell's number lies between the cell's ends."""
        number_of = self.value(cell)
        shifted, shift_of = "", fixed(0)
        match cell:
            case ast.BinOp(left=ast.Name(id=shifted), op=ast.RShift(), right=shift):
                shift_of = self.value(shift)

        def begin(call: Call, state: State) -> tuple[Records, range]:
            tables = call.bounds.tables
            word, _ = leads(call, state)
            first, last = number_of(call, state)
            bits, _ = shift_of(call, state)
            leading: dict[int, tuple[int, int]] = {}  # the first and the last cell to each place
            for number in range(first, last + 1):
                place = tables[tables[word] + number]
                least, _ = leading.get(place, (number, number))
                leading[place] = least, number
            records = {place: state.copy() for place in leading}
            if shifted:
                lo, hi = state.names[shifted]
                for place, (least, most) in leading.items():
                    ends = max(lo, least << bits), min(hi, ((most + 1) << bits) - 1)
                    records[place].names[shifted] = ends
            return records, places(tables, word)

        return begin


def at_hint(hint_of: Value) -> Begin:
    def begin(call: Call, state: State) -> tuple[Records, range]:
        call.on_tables_alone = False
        hint, _ = hint_of(call, state)
        allowed = places(call.bounds.tables, hint)
        return {place: state.copy() for place in allowed}, allowed

    return begin


def held(name: str) -> Begin:
    """At the record whose place a parameter holds."""

    def begin(call: Call, state: State) -> tuple[Records, range]:
        place, _ = state.names[name]
        return {place: state}, table_of(call.bounds.tables, place)

    return begin


def loaded(load: ast.Assign, name: str, of: Begin) -> Begin:
    """The same, with the place in a name."""

    def begin(call: Call, state: State) -> tuple[Records, range]:
        records, allowed = of(call, state)
        for place, one in records.items():
            if place not in allowed:
                raise call.fault(f"`{ast.unparse(load)}` leads to word {place}")
            one.names[name] = (place, place)
        return records, allowed

    return begin


def alike(step: Step) -> Search:
    """A statement for each record."""

    def search(call: Call, records: Records, _allowed: range) -> Records:
        ends = {place: step(call, one) for place, one in records.items()}
        return {place: end for place, end in ends.items() if end}

    return search
