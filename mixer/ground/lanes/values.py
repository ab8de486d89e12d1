"""Numbers of a kernel as LLVM has them: known here, the same in all rows, or one for each lane.

A value is a Python int, an `i32`, or a vector of `i32`; a test likewise a bool, an `i1` or a vector
of `i1`. A mask is a test of which lanes take part. A lane that takes none may hold anything: no
operation here stops the program for it.
"""

import ast
import operator
from collections.abc import Callable, Sequence
from typing import Any

from llvmlite import ir

from mixer.ground.lanes import LANES

WORD, LONG, REAL, BIT = ir.IntType(32), ir.IntType(64), ir.DoubleType(), ir.IntType(1)
WORDS, LONGS, REALS, BITS = (ir.VectorType(each, LANES) for each in (WORD, LONG, REAL, BIT))
PLACES = ir.VectorType(ir.PointerType(), LANES)
ANYTHING = ir.Constant(WORDS, ir.Undefined)

Written = Any  # a value, a place or a block of llvmlite's, whose types are not declared
Value = int | Written
Test = bool | Written

KNOWN: dict[type[ast.AST], Callable[[int, int], int]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul,
    ast.LShift: operator.lshift, ast.RShift: operator.rshift, ast.BitAnd: operator.and_,
    ast.BitOr: operator.or_, ast.BitXor: operator.xor, ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod, ast.Lt: operator.lt, ast.LtE: operator.le, ast.Gt: operator.gt,
    ast.GtE: operator.ge, ast.Eq: operator.eq, ast.NotEq: operator.ne,
}  # fmt: skip
MADE = {
    ast.Add: "add", ast.Sub: "sub", ast.Mult: "mul", ast.LShift: "shl", ast.RShift: "ashr",
    ast.BitAnd: "and_", ast.BitOr: "or_", ast.BitXor: "xor",
}  # fmt: skip
COMPARED = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}


def varies(value: Value | Test) -> bool:
    """Whether each lane has its own."""
    return isinstance(getattr(value, "type", None), ir.VectorType)


class LaneValues:
    """What a kernel does with numbers, written by a builder.

    gathers: whether the processor reads a vector of places quicker than one after another.
    """

    def __init__(self, builder: ir.IRBuilder, gathers: bool) -> None:
        self.builder: Any = builder
        self.gathers = gathers

    def one(self, value: Value) -> Written:
        """A value that is the same in all rows, as LLVM has it."""
        return ir.Constant(WORD, value) if isinstance(value, int) else value

    def spread(self, value: Value) -> Written:
        """A value or a test in every lane."""
        if isinstance(value, bool):
            return ir.Constant(BITS, [ir.Constant(BIT, int(value))] * LANES)
        if isinstance(value, int):
            return ir.Constant(WORDS, [ir.Constant(WORD, value)] * LANES)
        if varies(value):
            return value
        kind = ir.VectorType(value.type, LANES)
        anything = ir.Constant(kind, ir.Undefined)
        first = self.builder.insert_element(anything, value, ir.Constant(WORD, 0))
        return self.builder.shuffle_vector(first, anything, self.spread(0))

    def alike(self, *values: Value) -> list[Written]:
        """Vectors where one of them is one, else single numbers."""
        make = self.spread if any(map(varies, values)) else self.one
        return [make(value) for value in values]

    def made(self, op: ast.operator, left: Value, right: Value) -> Value:
        """left op right."""
        if isinstance(left, int) and isinstance(right, int):
            return KNOWN[type(op)](left, right)
        if isinstance(op, ast.FloorDiv):
            return self.quotient(left, right)
        if isinstance(op, ast.Mod):
            whole = self.made(ast.Mult(), self.quotient(left, right), right)
            return self.made(ast.Sub(), left, whole)
        return getattr(self.builder, MADE[type(op)])(*self.alike(left, right))

    def quotient(self, left: Value, right: Value) -> Written:
        """⌊left/right⌋ by doubles: where the quotient of two words is no whole number, it is at
        least 2^-31 of itself away from one, and doubles are good to 2^-53. Nothing stops at 0.
        """
        parts = self.alike(left, right)
        real = REALS if varies(parts[0]) else REAL
        share = self.builder.fdiv(*(self.builder.sitofp(part, real) for part in parts))
        name = f"llvm.floor.v{LANES}f64" if real == REALS else "llvm.floor.f64"
        floor = self.builder.call(self.of_llvm(name, real, [real]), [share])
        return self.builder.fptosi(floor, parts[0].type)

    def scaled(self, a: Value, b: Value, bits: Value) -> Written:
        """a·b·2^-bits by 64 bits."""
        parts = self.alike(a, b, bits)
        long = LONGS if varies(parts[0]) else LONG
        a, b, bits = (self.builder.sext(part, long) for part in parts)
        product = self.builder.ashr(self.builder.mul(a, b), bits)
        return self.builder.trunc(product, parts[0].type)

    def compared(self, op: ast.cmpop, left: Value, right: Value) -> Test:
        if isinstance(left, int) and isinstance(right, int):
            return bool(KNOWN[type(op)](left, right))
        return self.builder.icmp_signed(COMPARED[type(op)], *self.alike(left, right))

    def both(self, left: Test, right: Test) -> Test:
        return self.joined("and_", True, left, right)

    def either(self, left: Test, right: Test) -> Test:
        return self.joined("or_", False, left, right)

    def joined(self, how: str, idle: bool, left: Test, right: Test) -> Test:
        """idle: the test beside which the other stays as it is."""
        for test, other in ((left, right), (right, left)):
            if isinstance(test, bool):
                return other if test == idle else test
        return getattr(self.builder, how)(*self.alike(left, right))

    def within(self, mask: Test, test: Test) -> Test:
        """The lanes of a mask where a test holds, whatever the others make of the test."""
        if not varies(mask):
            return self.both(mask, test)
        return self.builder.select(mask, self.spread(test), self.spread(False))

    def contrary(self, test: Test) -> Test:
        return not test if isinstance(test, bool) else self.builder.not_(test)

    def chosen(self, test: Test, yes: Value, no: Value) -> Value:
        """yes where the test holds, no elsewhere."""
        if isinstance(test, bool):
            return yes if test else no
        values = [self.spread(yes), self.spread(no)] if varies(test) else self.alike(yes, no)
        return self.builder.select(test, *values)

    def any(self, mask: Test) -> Test:
        """Whether a lane takes part."""
        if not varies(mask):
            return mask
        bits = self.builder.bitcast(mask, ir.IntType(LANES))
        return self.builder.icmp_unsigned("!=", bits, ir.Constant(bits.type, 0))

    def place(self, words: Written, index: Value) -> Written:
        """Where words[index] stands; places, where each lane has its own index."""
        place = self.builder.gep(words, self.alike(index), source_etype=WORD)
        place.type = PLACES if varies(index) else ir.PointerType()  # llvmlite says: that of words
        return place

    def gathered(self, words: Written, index: Written, mask: Test) -> Written:
        """The word that each lane names. Lanes that take no part read nothing, or the first."""
        if self.gathers:
            name = f"llvm.masked.gather.v{LANES}i32.v{LANES}p0"
            gather = self.of_llvm(name, WORDS, [PLACES, WORD, BITS, WORDS])
            places, align = self.place(words, index), ir.Constant(WORD, 4)
            return self.builder.call(gather, [places, align, self.spread(mask), ANYTHING])
        index = self.chosen(mask, index, 0)
        found = ANYTHING
        for lane in (ir.Constant(WORD, number) for number in range(LANES)):
            place = self.place(words, self.builder.extract_element(index, lane))
            word = self.builder.load(place, typ=WORD)
            found = self.builder.insert_element(found, word, lane)
        return found

    def of_llvm(self, name: str, gives: Any, takes: Sequence[Any]) -> Written:
        """One of LLVM's own functions."""
        module = self.builder.module
        return module.globals.get(name) or ir.Function(module, ir.FunctionType(gives, takes), name)
