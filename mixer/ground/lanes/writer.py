"""Rows side by side in vector registers: a kernel as LLVM vectors of words, a row in each lane.

What is the same in all rows stays one number, and a branch on it stays a branch. Where lanes differ
both ways of a branch are worked out, and each lane keeps what its own way gives; a loop turns until
no lane wants another turn. Tables are shared. `range` of known ends is unrolled, so that nearly
every place in the state is known here.
"""

import ast
from collections.abc import Iterable

from llvmlite import ir

from mixer.ground.kernel_code.language import ARRAYS, Function, Program
from mixer.ground.lanes.places import LanePlaces, Path, Scope
from mixer.ground.lanes.values import WORD, WORDS, Test, Value, Written, varies

RESULT = "return"  # no name in Python


def write_lanes(
    program: Program,
    kernel: str,
    builder: ir.IRBuilder,
    given: list[Written],
    takes: Iterable[int],
    gives: Iterable[int],
    gathers: bool,
) -> None:
    """Write a kernel where a builder stands.

    given: words and lanes, see `LanePlaces`, and the kernel's own arguments after its words, the
    same in all rows. takes, gives: the words that are read from the lanes before, and put there
    after. gathers: see `LaneValues`.

    What differs between lanes shows only when it is set, and then what was written before may have
    been wrong: so the kernel is written, and thrown away, until nothing new is found to differ.
    """
    differing: set[object] = set()
    known = -1
    while known != len(differing):
        known = len(differing)
        kind = ir.FunctionType(ir.VoidType(), [each.type for each in given])
        trial = ir.Function(ir.Module(), kind, "trial")
        on_trial = ir.IRBuilder(trial.append_basic_block())
        Writer(program, on_trial, gathers, trial.args, differing).write(kernel, takes, gives)
    Writer(program, builder, gathers, given, differing).write(kernel, takes, gives)


class Writer(LanePlaces):
    """Writes a kernel once."""

    def write(self, kernel: str, takes: Iterable[int], gives: Iterable[int]) -> None:
        for number in takes:
            self.set_word(number, self.builder.load(self.side_by_side(number), typ=WORDS, align=4))
        self.called(self.program.functions[kernel], (), self.arguments)
        for number in gives:
            value = self.spread(self.word_at(number))
            self.builder.store(value, self.side_by_side(number), align=4)

    # ---- statements ------------------------------------------------------------------------------

    def block(self, body: list[ast.stmt]) -> None:
        """What stands behind an `if` that may return belongs to those of its ways that do not."""
        for n, node in enumerate(body):
            if isinstance(node, ast.If) and returns(node):
                yes, no = (
                    way if ends(way) else [*way, *body[n + 1 :]] for way in (node.body, node.orelse)
                )
                self.branch(node.test, yes, no)
                return
            self.statement(node)

    def statement(self, node: ast.stmt) -> None:
        match node:
            case ast.While() | ast.For() if returns(node):
                raise NotImplementedError(f"a return in a loop, in lanes: {ast.unparse(node)}")
            case ast.Assign(targets=[target], value=value):
                self.set(target, self.value(value))
            case ast.AugAssign(target=target, op=op, value=value):
                self.set(target, self.made(op, self.value(target), self.value(value)))
            case ast.Return(value=value):
                if value is not None:
                    self.set_name(RESULT, self.value(value))
            case ast.Expr(value=value):
                self.value(value)
            case ast.If(test=test, body=body, orelse=orelse):
                self.branch(test, body, orelse)
            case ast.While():
                self.turns(node)
            case ast.For(target=ast.Name(id=name), iter=ast.Call(args=ends), body=body):
                self.count(name, [self.value(end) for end in ends], body)
            case _:
                raise NotImplementedError(ast.unparse(node))

    def set(self, target: ast.expr, value: Value) -> None:
        match target:
            case ast.Name(id=name):
                self.set_name(name, value)
            case ast.Subscript(slice=index):
                self.set_word(self.value(index), value)

    def branch(self, test: ast.expr, body: list[ast.stmt], orelse: list[ast.stmt]) -> None:
        holds = self.test(test)
        if isinstance(holds, bool):
            self.block(body if holds else orelse)
        elif varies(holds):
            outside = self.mask
            for way, lanes in ((body, holds), (orelse, self.contrary(holds))):
                if way:
                    self.mask = self.within(outside, lanes)
                    self.where_any(way)
            self.mask = outside
        else:
            with self.builder.if_else(holds) as (then, otherwise):
                with then:
                    self.block(body)
                with otherwise:
                    self.block(orelse)

    def where_any(self, body: list[ast.stmt]) -> None:
        """A body that takes long is left out where no lane wants it."""
        parts = (part for line in body for part in ast.walk(line))
        if any(isinstance(part, ast.Call | ast.While) for part in parts):
            with self.builder.if_then(self.any(self.mask)):
                self.block(body)
        else:
            self.block(body)

    def turns(self, node: ast.While) -> None:
        """A loop for as long as a lane wants another turn; one that wants none stands still."""
        outside = self.mask
        head, turn, after = self.loop()
        holds = self.test(node.test)
        if varies(holds):
            self.mask = holds = self.within(outside, holds)
        self.builder.cbranch(self.any(holds), turn, after)
        self.builder.position_at_end(turn)
        self.block(node.body)
        self.builder.branch(head)
        self.builder.position_at_end(after)
        self.mask = outside

    def loop(self) -> list[Written]:
        """Head, turn and end of a loop; goes to its head."""
        blocks = [self.builder.append_basic_block(each) for each in ("head", "turn", "after")]
        self.builder.branch(blocks[0])
        self.builder.position_at_end(blocks[0])
        return blocks

    def count(self, name: str, ends: list[Value], body: list[ast.stmt]) -> None:
        first, end = ends if len(ends) == 2 else (0, ends[0])
        values = self.scope.values
        if isinstance(first, int) and isinstance(end, int):
            for values[name] in range(first, end):
                self.block(body)
            values.pop(name, None)
            return
        place = self.room(WORD)
        self.builder.store(self.one(first), place)
        head, turn, after = self.loop()
        values[name] = self.load(place)
        self.builder.cbranch(self.compared(ast.Lt(), values[name], end), turn, after)
        self.builder.position_at_end(turn)
        self.block(body)
        self.builder.store(self.made(ast.Add(), values.pop(name), 1), place)
        self.builder.branch(head)
        self.builder.position_at_end(after)

    # ---- values ----------------------------------------------------------------------------------

    def test(self, node: ast.expr) -> Test:
        match node:
            case ast.BoolOp(op=op, values=values):
                join = self.both if isinstance(op, ast.And) else self.either
                result = self.test(values[0])
                for value in values[1:]:
                    result = join(result, self.test(value))
                return result
            case ast.UnaryOp(operand=operand):
                return self.contrary(self.test(operand))
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                return self.compared(op, self.value(left), self.value(right))
        raise NotImplementedError(ast.unparse(node))

    def value(self, node: ast.expr) -> Value:
        match node:
            case ast.Constant(value=int(value)):
                return value
            case ast.Name(id=name):
                return self.name(name)
            case ast.Subscript(slice=ast.BinOp(left=left, op=ast.Add(), right=right)):
                return self.word(self.value(left), self.value(right))
            case ast.Subscript(slice=index):
                return self.word(self.value(index))
            case ast.BinOp(left=left, op=op, right=right):
                return self.made(op, self.value(left), self.value(right))
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return self.made(ast.Sub(), 0, self.value(operand))
            case ast.UnaryOp(op=ast.Invert(), operand=operand):
                return self.made(ast.BitXor(), -1, self.value(operand))
            case ast.IfExp(test=test, body=body, orelse=orelse):
                return self.chosen(self.test(test), self.value(body), self.value(orelse))
            case ast.Call(func=ast.Name(id=name), args=arguments):
                given = [self.value(each) for each in arguments if not of_words(each)]
                return self.call(name, given, (*self.scope.path, id(node)))
        raise NotImplementedError(ast.unparse(node))

    def call(self, name: str, given: list[Value], path: Path) -> Value:
        match name:
            case "min":
                return self.chosen(self.compared(ast.Lt(), *given), *given)
            case "max":
                return self.chosen(self.compared(ast.Gt(), *given), *given)
            case "abs":
                negative = self.compared(ast.Lt(), given[0], 0)
                return self.chosen(negative, self.made(ast.Sub(), 0, given[0]), given[0])
            case "scaled":
                return self.scaled(*given)
        outside = self.scope
        result = self.called(self.program.functions[name], path, given)
        self.scope = outside
        return result

    def called(self, function: Function, path: Path, given: list[Value]) -> Value:
        """What a function gives; 0 where it gives nothing."""
        self.scope = Scope(path, self.mask)
        changed = {
            part.id
            for line in function.body
            for part in ast.walk(line)
            if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Store)
        }
        names = [each for each in function.parameters if each not in ARRAYS]
        for name, value in zip(names, given, strict=True):
            if name in changed:
                self.set_name(name, value)
            else:
                self.scope.values[name] = value
        self.block(function.body)
        return self.name(RESULT) if function.returns else 0


def returns(node: ast.stmt) -> bool:
    return any(isinstance(part, ast.Return) for part in ast.walk(node))


def ends(body: list[ast.stmt]) -> bool:
    """Whether a body returns, whichever way it takes."""
    match body[-1:]:
        case [ast.Return()]:
            return True
        case [ast.If(body=yes, orelse=no)]:
            return ends(yes) and ends(no)
    return False


def of_words(node: ast.expr) -> bool:
    return isinstance(node, ast.Name) and node.id in ARRAYS
