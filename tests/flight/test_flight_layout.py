"""The flight files: what they import, where each word stands, what their kernels are written in."""

import ast
import inspect
from importlib import import_module
from pathlib import Path

import pytest

import mixer.flight
from mixer.flight import KERNELS, layout
from mixer.ground.kernel_code.language import flight_core

FLIGHT_FILES = [*KERNELS, "layout", "servo_pulses", "steering", "tables"]
ALLOWED = {"array", "struct", "binascii"}


@pytest.mark.parametrize("name", FLIGHT_FILES)
def test_a_flight_file_imports_only_what_a_board_has(name):
    tree = ast.parse(inspect.getsource(import_module(f"mixer.flight.{name}")))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            assert {alias.name for alias in node.names} <= ALLOWED
        if isinstance(node, ast.ImportFrom):
            assert node.module in ALLOWED or str(node.module).startswith("mixer.flight")


def test_every_flight_file_is_named():
    folder = Path(mixer.flight.__file__).parent
    assert {path.stem for path in folder.glob("*.py")} == {"__init__", *FLIGHT_FILES}


def test_the_kernels_keep_to_their_language():
    """All of them are read; the whole cycle and all that a steering is told is among them."""
    functions = flight_core().functions
    told = {"demand", "release", "jam", "free", "start", "reset", "sensed", "watch"}
    assert {"cycle", *told} <= set(functions)
    assert {function.file for function in functions.values()} == {
        f"mixer.flight.{name}" for name in KERNELS
    }


@pytest.mark.parametrize("name", KERNELS)
def test_a_kernel_names_no_number_that_the_layout_has(name):
    """Names of words come from `layout` and are not repeated."""
    tree = ast.parse(inspect.getsource(import_module(f"mixer.flight.{name}")))
    own = {
        target.id
        for node in tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    assert not own & set(vars(layout))


# How many words each name stands for; FROM_REST shares its words with BASE and ETA on purpose.
STATE = {
    "DEFLECTION": 4, "PULSE": 4, "FORCE": 4, "MOMENT": 3, "FLAGS": 1, "DEMAND": 3, "AGE": 1,
    "BAD": 1, "JAMMED": 1, "LIMIT_LO": 4, "LIMIT_HI": 4, "REACH_LO": 4, "REACH_HI": 4, "TIME": 1,
    "LOAD": 1, "LOAD_FRACTION": 1, "RATE": 1, "WEAR_HINT": 1, "LEVER_HINT": 1,
    "BURN": 1, "SINCE_US": 1, "BELIEVED_RATIO": 1, "BELIEVED_EXPECTED": 1, "EXPECTED_HINT": 1,
    "RATIO": 1,
    "WATCH_READING": 4, "WATCH_SEEN": 4, "WATCH_SILENT_US": 4, "WATCH_FROM": 4, "WATCH_ANCHOR": 4,
    "WATCH_STILL_US": 4, "WATCH_GAP_US": 4, "WATCH_BELIEVED": 1, "SENSORS_OUT": 1,
    "WATCH_SENSORS": 1, "WATCH_DECLARED": 1, "WATCH_STATE": 1, "WATCH_FOUND": 1, "KAPPA": 4,
    "STEP": 4, "WINDOW_LO": 4, "WINDOW_HI": 4, "TARGET_BOX": 8, "SLEW_BOX": 8, "FIRST_BOX": 8,
    "WANT": 3, "POINT": 2, "UNIT": 1, "CENTRE": 2, "HALF": 4, "BASE": 4, "ETA": 4, "OMEGA": 4,
    "STRIPS_BEGIN": 1, "STRIPS_END": 1, "MOMENT_GAIN": 1,
}  # fmt: skip
TABLES = {
    "COS": 4, "SIN": 4, "COS_LOW": 4, "SIN_LOW": 4, "ROW_X": 4, "ROW_Y": 4, "ROW_ROLL": 4,
    "ROW_Q": 4, "WIDTH": 4, "NULL": 4, "NULL_EFFORT": 4, "SLEW_HIGH": 4, "SLEW_LOW": 4,
    "TRAVEL_LO": 4, "TRAVEL_HI": 4, "POLICY": 1, "PERIOD_US": 1, "TIMEOUT_US": 1, "PA_SHIFT": 1,
    "PA_MANT": 1, "PA_MAX": 1, "PA_MIN": 1, "MNM_MAX": 1, "ROLL_MNM_MAX": 1, "GAIN_EXP": 1,
    "MOMENT_EXP": 1, "ROLL_GAIN": 1, "ROLL_GAIN_EXP": 1, "ROLL_MOMENT": 1, "ROLL_MOMENT_EXP": 1,
    "PULSE_Q": 1, "RATE_OFF": 1, "N_PAIRS": 1, "PAIRS": 6 * layout.PAIR_STRIDE, "N_EDGES": 1,
    "EDGES": 4 * layout.EDGE_STRIDE, "CURVE_OFF": 4, "CURVE_N": 4, "SERVO_OFF": 4, "SERVO_N": 4,
    "WEAR_OFF": 1, "WEAR_N": 1, "LEVER_OFF": 1, "LEVER_N": 1, "EXPECTED_OFF": 1,
    "EXPECTED_N": 1, "BELIEVED_LOW": 1, "BELIEVED_HIGH": 1, "TRUST_US": 1,
    "CURVE_CELLS": 4, "FORCE_CELLS": 4, "SERVO_CELLS": 4, "WATCH_BAND": 4, "WATCH_WAIT_US": 4,
}  # fmt: skip


@pytest.mark.parametrize(
    ("first", "limit", "block"),
    [(0, layout.STATE_WORDS, STATE), (layout.STATE_WORDS, layout.BODY, TABLES)],
)
def test_no_word_of_the_layout_is_used_twice(first, limit, block):
    taken = [
        word
        for name, size in block.items()
        for word in range(getattr(layout, name), getattr(layout, name) + size)
    ]
    assert len(taken) == len(set(taken))
    assert first <= min(taken) and max(taken) < limit


def test_what_a_cycle_works_out_stands_after_what_lasts():
    names = list(STATE)
    first = names.index("KAPPA")
    assert all(getattr(layout, name) < layout.LASTING_WORDS for name in names[:first])
    assert all(getattr(layout, name) >= layout.LASTING_WORDS for name in names[first:])
