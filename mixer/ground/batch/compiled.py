"""The kernels as machine code: the very functions of `mixer.flight`, compiled by numba.

Their sources, and those of the loops over rows, are joined into one module in the user's cache
folder, where numba keeps what it makes of them. Without numba all runs as plain Python, with the
same integers.
"""

import ast
import hashlib
import importlib.util
import multiprocessing
import os
import sys
from array import array
from collections.abc import Callable, MutableSequence
from functools import cache
from importlib import import_module
from importlib.metadata import version
from pathlib import Path
from threading import Lock
from types import ModuleType
from typing import Any, Protocol

import numpy as np

from mixer.flight import KERNELS, FlightTables, Steering, commands
from mixer.ground.batch.listed_steering import ListedSteering
from mixer.ground.inputs.csv_files import write_whole
from mixer.ground.reports import console

SOURCES = (
    "mixer.flight.layout",
    *(f"mixer.flight.{name}" for name in KERNELS),
    "mixer.ground.batch.open_cycle",
    "mixer.ground.batch.demand_rows",
    "mixer.ground.batch.block_rows",
)
ENTRIES = {
    "cycle": "mixer.flight.cycle",
    "demand": "mixer.flight.commands",
    "allocate_rows": "mixer.ground.batch.demand_rows",
    "cycle_rows": "mixer.ground.batch.block_rows",
    "demand_rows": "mixer.ground.batch.block_rows",
    "look_rows": "mixer.ground.batch.block_rows",
    "sensed_rows": "mixer.ground.batch.block_rows",
}
WORDS = ("w", "lanes")  # arguments that machine code takes as addresses
IN_LANES = "answer_side_by_side"  # its rows are worked out at once where that is quicker
# What else the machine code hangs on: the files by which it is made.
HOW = ("batch.machine_words", "lanes", "lanes.writer", "lanes.places", "lanes.values")
WORTH = 10_000  # cycles or rows: fewer take plain Python less time than loading numba


class Machine(Protocol):
    """What runs the functions of `ENTRIES`, and the words that it runs them on."""

    threads: bool  # whether several of its functions can run at once

    def words(self, words: array) -> MutableSequence[int] | np.ndarray:
        """A copy of some words."""
        ...

    def function(self, name: str) -> Callable[..., Any]: ...


class Plain:
    """Python."""

    threads = False

    def words(self, words: array) -> array:
        return array("i", words)

    def function(self, name: str) -> Callable[..., Any]:
        return getattr(import_module(ENTRIES[name]), name)


class Compiled:
    """Machine code, for arrays of int32. Each function is compiled when it is first asked for."""

    threads = True

    def __init__(self) -> None:
        self._module = joined_module()
        self._functions: dict[str, Callable[..., Any]] = {}
        self._one_at_a_time = Lock()

    def words(self, words: array) -> np.ndarray:
        return np.array(words, np.int32)

    def function(self, name: str) -> Callable[..., Any]:
        with self._one_at_a_time:
            if name not in self._functions:
                self._functions[name] = self._compile(getattr(self._module, f"{name}_entry"), name)
        return self._functions[name]

    def _compile(self, function: Any, name: str) -> Callable[..., Any]:
        from mixer.ground.batch.machine_words import compile_entry

        with console.progress("Compiling the flight core for this computer, once", None) as done:
            compile_entry(function, name, done)
        return function


def machine(cycles: int = WORTH) -> Machine:
    """What runs some cycles or rows soonest: compiled where there are many, else plain Python."""
    if cycles < WORTH and not compiled.cache_info().currsize:
        return Plain()
    return compiled()


@cache
def compiled() -> Machine:
    """Machine code, or plain Python where there is no numba: then a line says what is missing."""
    if all(importlib.util.find_spec(name) for name in ("numba", "platformdirs")):
        return Compiled()
    if multiprocessing.parent_process() is None:  # a worker need not say it again
        console.messages.print(
            "This runs as plain Python; with numba it would be many times as quick: "
            'pip install "fourvane[fast]"'
        )
    return Plain()


def new_words(tables: FlightTables) -> array:
    """The words of a steering before ignition."""
    words = array("i", tables.words)
    commands.reset(words)
    return words


class CompiledSteering(Steering):
    """A `Steering` whose cycles and demands are machine code: the same integers."""

    def __init__(self, tables: FlightTables):
        super().__init__(tables)
        machine_code = compiled()
        self._words = np.frombuffer(self._w, np.int32)
        self._demand = machine_code.function("demand")
        self._step = machine_code.function("cycle")

    def demand(self, pitch_mnm: int, yaw_mnm: int, roll_mnm: int) -> bool:
        return self._demand(self._words, pitch_mnm, yaw_mnm, roll_mnm) != 0

    def step(self, pressure_pa: int, dt_us: int) -> int:
        return self._step(self._words, pressure_pa, dt_us)


def compiled_steering(tables: FlightTables) -> Steering:
    """A `Steering` as quick as this computer can run it."""
    return CompiledSteering(tables) if isinstance(compiled(), Compiled) else ListedSteering(tables)


def joined_source() -> str:
    """All functions in one module, each decorated; those of `ENTRIES` once more, on an array."""
    parts = [
        "from mixer.ground.batch.machine_words import address, entry, in_lanes, kernel, quotient",
        "from mixer.ground.lanes import LANES",
    ]
    for name in SOURCES:
        tree = Quotients().visit(ast.parse(source_of(name)))
        for node in tree.body:
            if isinstance(node, ast.Import | ast.ImportFrom):
                continue
            if isinstance(node, ast.FunctionDef):
                parts.append("@in_lanes" if node.name == IN_LANES else "@kernel")
            parts.append(ast.unparse(node))
            if isinstance(node, ast.FunctionDef) and ENTRIES.get(node.name) == name:
                names = [argument.arg for argument in node.args.args]
                given = [f"address({name})" if name in WORDS else name for name in names]
                parts.append(
                    f"@entry\ndef {node.name}_entry({', '.join(names)}):\n"
                    f"    return {node.name}({', '.join(given)})"
                )
    return "\n".join(parts) + "\n"


class Quotients(ast.NodeTransformer):
    """`a // b` becomes `quotient(a, b)`, without a guess at signs; a constant b is quicker."""

    def visit_BinOp(self, node: ast.BinOp) -> ast.expr:
        self.generic_visit(node)
        if isinstance(node.op, ast.FloorDiv) and not isinstance(node.right, ast.Constant):
            return ast.Call(ast.Name("quotient", ast.Load()), [node.left, node.right], [])
        return node


def source_of(module: str) -> str:
    spec = importlib.util.find_spec(module)
    assert spec is not None and spec.origin is not None
    return Path(spec.origin).read_text(encoding="utf-8")


def joined_module() -> ModuleType:
    """The joined module, from the cache folder; from memory where that cannot be written."""
    source = joined_source()
    stamp = "\n".join(
        [
            source,
            *(source_of(f"mixer.ground.{name}") for name in HOW),
            version("numba"),
            version("numpy"),
            sys.version,
        ]
    )
    name = f"fourvane_kernels_{hashlib.sha256(stamp.encode()).hexdigest()[:16]}"
    module = ModuleType(name)
    sys.modules[name] = module  # where numba looks for the globals of what it kept
    exec(compile(source, str(kept_source(name, source) or name), "exec"), module.__dict__)
    return module


def kept_source(name: str, source: str) -> Path | None:
    """The file that holds the source; None where the cache folder cannot be written."""
    from platformdirs import user_cache_path

    path = user_cache_path("fourvane") / "kernels" / f"{name}.py"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            with write_whole(path) as stream:
                stream.write(source)
    except OSError:
        return None
    return path if os.access(path.parent, os.W_OK) else None
