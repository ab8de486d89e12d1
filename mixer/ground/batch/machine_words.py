"""How numba compiles the kernels: as functions on the address of the words. Needs numba.

Imported by the module that `compiled` joins from the kernels' sources, and by nothing else.

Measured on batches: an address instead of an array, whose every index numba turns from negative to
positive first, and calls that vanish in their callers take a third off a whole cycle.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
from llvmlite import ir
from numba import types
from numba.core import event
from numba.core.registry import cpu_target
from numba.extending import intrinsic
from numba.np.arrayobj import make_array

from mixer.flight.layout import DEMAND
from mixer.ground.batch import open_cycle
from mixer.ground.batch.demand_rows import LANE_WORDS
from mixer.ground.kernel_code.language import flight_core
from mixer.ground.lanes.writer import write_lanes

HOW = {"nogil": True, "boundscheck": False, "error_model": "numpy"}

WORD, WHOLE, REAL = types.int32, types.int64, types.float64
LINE = types.Array(WORD, 1, "C")


def given(dtype: types.Type, dimensions: int) -> types.Type:
    """An array that is only read, however it lies in memory."""
    return types.Array(dtype, dimensions, "A", readonly=True)


def room(dtype: types.Type, dimensions: int) -> types.Type:
    """An array to be filled, however it lies in memory."""
    return types.Array(dtype, dimensions, "A")


# What can be called from Python: arguments after the words.
ENTRIES: dict[str, tuple[types.Type, ...]] = {
    "cycle": (WHOLE, WHOLE),
    "demand": (WHOLE, WHOLE, WHOLE),
    "allocate_rows": (
        LINE,  # words of rows side by side
        given(REAL, 2),  # demands
        *[given(REAL, 1)] * 3,  # times, loads, pressures
        given(REAL, 2),  # jams
        WHOLE,
        REAL,
        REAL,
        given(REAL, 2),  # directions
        given(REAL, 1),
        REAL,
        *[room(REAL, 2)] * 3,  # moments, deflections, pulses
        room(WORD, 2),  # forces
        room(types.uint8, 1),  # flags
    ),
    "cycle_rows": (room(WORD, 2), given(WHOLE, 1), given(WHOLE, 1), given(types.boolean, 1)),
    "sensed_rows": (room(WORD, 2), given(WHOLE, 2), given(types.boolean, 1)),
    "look_rows": (room(WORD, 2), given(WHOLE, 1), given(types.boolean, 1)),
    "demand_rows": (
        room(WORD, 2),
        given(WHOLE, 2),
        given(types.boolean, 1),
        room(types.boolean, 1),
    ),
}


@intrinsic
def address(typing_context: Any, words: types.Array) -> Any:
    """Where the words of an array begin."""

    def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return make_array(signature.args[0])(context, builder, arguments[0]).data

    return types.CPointer(words.dtype)(words), code


@intrinsic
def quotient(typing_context: Any, a: Any, b: Any) -> Any:
    """⌊a/b⌋ of words, b > 0."""

    def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        word = ir.IntType(32)
        a, b = (builder.trunc(each, word) for each in arguments)
        towards_zero = builder.sdiv(a, b)
        rest = builder.sub(a, builder.mul(towards_zero, b))
        down = builder.add(towards_zero, builder.ashr(rest, word(31)))
        return builder.sext(down, ir.IntType(64))

    return WHOLE(WHOLE, WHOLE), code


def kernel(function: Callable[..., Any]) -> Any:
    """A kernel, which becomes part of whatever calls it."""
    return numba.njit(forceinline=True, **HOW)(function)


def in_lanes(function: Callable[..., Any]) -> Any:
    """Rows at once where registers are wide; elsewhere that would be slower: one after another.

    Measured, ns a row: by AVX-512 60 for 140, by AVX2 90 for 150, by SSE4 165 for 150.
    """
    return answer_in_lanes if "+avx2" in features() else kernel(function)


def features() -> list[str]:
    """Of the processor that is compiled for, each with + or -."""
    context: Any = cpu_target.target_context  # a property that pyright does not see through
    return context.codegen().magic_tuple()[2].split(",")


@intrinsic
def answer_in_lanes(typing_context: Any, w: Any, lanes: Any, gain: Any, pressure_pa: Any) -> Any:
    """`demand_rows.answer_side_by_side`, whose doc says what is taken and given."""

    def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        words, rows, *others = arguments
        given = [words, rows, *(builder.trunc(each, ir.IntType(32)) for each in others)]
        takes, gives = range(DEMAND, LANE_WORDS), range(DEMAND)
        gathers = "+avx512f" in features()
        program = flight_core(open_cycle.__name__)
        write_lanes(program, "answer", builder, given, takes, gives, gathers)
        return context.get_dummy_value()

    return types.void(w, lanes, WHOLE, WHOLE), code


def entry(function: Callable[..., Any]) -> Any:
    """What can be called from Python, kept beside the file that it stands in, if there is one."""
    kept = Path(function.__code__.co_filename).is_file()
    return numba.njit(cache=kept, **HOW)(function)


class Count(event.Listener):
    """Tells how many functions have been compiled."""

    def __init__(self, done: Callable[[float], object]):
        self.done, self.compiled = done, 0

    def on_start(self, event: event.Event) -> None:
        self.done(self.compiled)

    def on_end(self, event: event.Event) -> None:
        self.compiled += 1
        self.done(self.compiled)


def compile_entry(function: Any, name: str, done: Callable[[float], object]) -> None:
    """Compile an entry for its arguments, or fetch what was kept; it takes no others from then on.

    done: is told how many functions have been compiled.
    """
    with event.install_listener("numba:compile", Count(done)):
        function.compile((LINE, *ENTRIES[name]))
    function.disable_compile()
