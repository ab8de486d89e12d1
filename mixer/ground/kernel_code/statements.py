"""A kernel function run over intervals, statement by statement.

Each statement, too, is made into a Python function once, for all tables.
"""

import ast
from functools import cache

from mixer.flight import layout as at
from mixer.ground.kernel_code.admitted import HINTS, places
from mixer.ground.kernel_code.expressions import Call, Test, Value
from mixer.ground.kernel_code.language import flight_core
from mixer.ground.kernel_code.searches import RESULT, Assign, Searches, Step
from mixer.ground.kernel_code.spans import Span, State, hull, join
from mixer.ground.kernel_code.traits import calls

LONGEST_LOOP = 200
# After this function the unit tells how large κ is: what follows is run for each.
SETS_UNIT = "burn_on"
UNITS = ((1, (1, 16384)), (2, (1, 32767)))


@cache
def steps(name: str) -> Step:
    """The whole body of a kernel function."""
    function = flight_core().functions[name]
    return Statements(flight_core(), function).block(function.body)


class Statements(Searches):
    """Makes Python functions from one kernel function's statements."""

    def block(self, body: list[ast.stmt]) -> Step:
        lines: list[Step] = []
        for position, node in enumerate(body):
            after = body[position + 1 :]
            if search := self.follow(node, after):
                return one_by_one([*lines, search])
            lines.append(self.statement(node))
            if calls(node, SETS_UNIT):
                return one_by_one([*lines, by_unit(self.block(after))])
        return one_by_one(lines)

    def statement(self, node: ast.stmt) -> Step:
        match node:
            case ast.Assign(targets=[target], value=value):
                return set_to(self.assign(target), self.value(value))
            case ast.AugAssign(target=target, op=op, value=value):
                load = ast.copy_location(ast.BinOp(target, op, value), node)
                return set_to(self.assign(target), self.value(load))
            case ast.If(test=test, body=body, orelse=orelse):
                return choose(self.test(test), self.block(body), self.block(orelse))
            case ast.For(target=ast.Name(id=name), iter=ast.Call(args=ends), body=body):
                first = self.value(ends[0] if len(ends) == 2 else ast.Constant(0))
                return count(name, first, self.value(ends[-1]), self.block(body))
            case ast.While(test=test, body=body):
                return self.repeat(test, body)
            case ast.Return(value=value):
                return leave(self.value(value) if value else None)
            case ast.Expr(value=ast.Call() as call):
                return set_to(lambda call, state, span: None, self.value(call))
        raise self.unknown(node)

    def repeat(self, test: ast.expr, body: list[ast.stmt]) -> Step:
        again, once = self.test(test), self.block(body)

        def step(call: Call, state: State) -> State | None:
            exits: list[State | None] = []
            now: State | None = state
            for _ in range(LONGEST_LOOP):
                now, end = again(call, now)
                exits.append(end)
                if now is None or (now := once(call, now)) is None:
                    return join(exits)
            raise call.fault(f"no bound found for the loop `{ast.unparse(test)}`", test)

        return step

    def assign(self, target: ast.expr) -> Assign:
        if isinstance(target, ast.Name):
            return self.learn(target)
        assert isinstance(target, ast.Subscript)
        place = self.value(target.slice)

        def assign(call: Call, state: State, value: Span) -> None:
            lo, hi = place(call, state)
            call.state_words(state, lo, hi)
            words = state.words.copy()
            for index in range(lo, hi + 1):
                if index in HINTS and not value[0] == value[1] in places(call.bounds.tables, index):
                    raise call.fault(f"steering word {index} could be {value}", target)
                words[index] = value if lo == hi else hull(words[index], value)
            state.words = words

        return assign


def one_by_one(lines: list[Step]) -> Step:
    def step(call: Call, state: State) -> State | None:
        now: State | None = state
        for line in lines:
            now = line(call, now)
            if now is None:
                return None
        return now

    return step


def by_unit(rest: Step) -> Step:
    """Run what comes after for each unit, with the κ that it stands for."""

    def step(call: Call, state: State) -> State | None:
        ends = []
        for unit, kappa in UNITS:
            one = State(state.names.copy(), state.words.copy())
            one.words[at.UNIT] = (unit, unit)
            one.words[at.KAPPA : at.KAPPA + at.VANES] = [kappa] * at.VANES
            ends.append(rest(call, one))
        return join(ends)

    return step


def set_to(assign: Assign, value: Value) -> Step:
    def step(call: Call, state: State) -> State:
        assign(call, state, value(call, state))
        return state

    return step


def choose(test: Test, body: Step, orelse: Step) -> Step:
    def step(call: Call, state: State) -> State | None:
        yes, no = test(call, state)
        return join([yes and body(call, yes), no and orelse(call, no)])

    return step


def count(name: str, first: Value, end: Value, body: Step) -> Step:
    def step(call: Call, state: State) -> State | None:
        now: State | None = state
        for n in range(first(call, state)[0], end(call, state)[1]):
            if now is None:
                return None
            now.names[name] = (n, n)
            now = body(call, now)
        return now

    return step


def leave(value: Value | None) -> Step:
    def step(call: Call, state: State) -> None:
        if value is not None:
            state.names[RESULT] = value(call, state)
        call.results.append(state)

    return step
