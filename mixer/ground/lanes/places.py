"""Where a kernel in lanes keeps its words and names: once for all rows, or once for each lane.

A word of the state, and a name of a function, is shared for as long as every row would set it to
the same. Which are not is found out by setting them: see `writer`.
"""

import ast
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from llvmlite import ir

from mixer.flight import layout as at
from mixer.ground.kernel_code.language import Program
from mixer.ground.lanes import LANES
from mixer.ground.lanes.values import (
    WORD,
    WORDS,
    LaneValues,
    Test,
    Value,
    Written,
    varies,
)

Path = tuple[int, ...]  # the calls that led to a function


@dataclass
class Scope:
    """One call of a function. values: of names that are never set; places: of the others."""

    path: Path
    mask: Test  # which lanes called it
    values: dict[str, Value] = field(default_factory=dict)
    places: dict[str, Written] = field(default_factory=dict)


class LanePlaces(LaneValues):
    """Words and names of a kernel, written by a builder.

    words, lanes: where the words of the state and the tables begin, and where, for each word of
    the state, those of all rows stand side by side. differing: what is known to differ between
    lanes: words by their number, names by the path of their call. More is added.
    """

    def __init__(
        self,
        program: Program,
        builder: ir.IRBuilder,
        gathers: bool,
        given: Sequence[Written],
        differing: set[object],
    ) -> None:
        super().__init__(builder, gathers)
        self.program, self.differing = program, differing
        self.words, self.lanes, *self.arguments = given
        self.mask: Test = True
        self.scope = Scope((), True)
        self.kept = {number: self.room(WORDS) for number in differing if isinstance(number, int)}
        for number, place in self.kept.items():
            self.keep(place, self.builder.load(self.place(self.words, number), typ=WORD), True)

    def side_by_side(self, number: int) -> Written:
        """Where this word of all rows stands."""
        return self.place(self.lanes, number * LANES)

    def room(self, kind: Any) -> Written:
        with self.builder.goto_entry_block():
            return self.builder.alloca(kind)

    def load(self, place: Written) -> Written:
        return self.builder.load(place, typ=place.allocated_type)

    def keep(self, place: Written, value: Value, mask: Test) -> None:
        """Put a value there, for the lanes that take part."""
        if place.allocated_type == WORD:
            self.builder.store(self.one(value), place)
            return
        self.builder.store(self.spread(self.chosen(mask, value, self.load(place))), place)

    def name(self, name: str) -> Value:
        if name in self.program.constants:
            return self.program.constants[name]
        if name in self.scope.values:
            return self.scope.values[name]
        return self.load(self.scope.places[name])

    def set_name(self, name: str, value: Value) -> None:
        scope = self.scope
        mask = True if self.mask is scope.mask else self.mask  # other lanes have no such name
        if varies(value) or varies(mask):
            self.differing.add((scope.path, name))
        kind = WORDS if (scope.path, name) in self.differing else WORD
        if name not in scope.places or scope.places[name].allocated_type != kind:
            scope.places[name] = self.room(kind)
        self.keep(scope.places[name], value, mask)

    def word_at(self, number: int) -> Value:
        if number in self.kept:
            return self.load(self.kept[number])
        return self.builder.load(self.place(self.words, number), typ=WORD)

    def set_word(self, number: Value, value: Value) -> None:
        if not isinstance(number, int):
            raise NotImplementedError("lanes set words whose places are known before")
        if varies(value) or varies(self.mask):
            self.differing.add(number)
            if number not in self.kept:
                self.kept[number] = self.room(WORDS)
        if number in self.kept:
            self.keep(self.kept[number], value, self.mask)
        else:
            self.builder.store(self.one(value), self.place(self.words, number))

    def word(self, first: Value, further: Value = 0) -> Value:
        """w[first + further]. A known place in the state plus what is not known: of a vane."""
        if isinstance(first, int) and first < at.STATE_WORDS and not isinstance(further, int):
            found = self.word_at(first)
            for vane in range(1, at.VANES):
                here = self.compared(ast.Eq(), further, vane)
                found = self.chosen(here, self.word_at(first + vane), found)
            return found
        index = self.made(ast.Add(), first, further) if further != 0 else first
        if isinstance(index, int):
            return self.word_at(index)
        if varies(index):
            return self.gathered(self.words, index, self.mask)
        return self.builder.load(self.place(self.words, index), typ=WORD)
