"""The flight files agree on where each word stands, and import nothing but what a board has."""

import ast
import inspect
from importlib import import_module

import pytest

import mixer.flight
from mixer.flight import KERNELS, layout

FLIGHT_FILES = [*KERNELS, "layout", "steering", "tables", "words"]
ALLOWED = {"array", "struct", "binascii"}


@pytest.mark.parametrize("name", KERNELS)
def test_a_kernel_repeats_the_layout_truly(name):
    module = import_module(f"mixer.flight.{name}")
    places = {
        key[1:]: value
        for key, value in vars(module).items()
        if key.startswith("_") and key[1:].isupper() and isinstance(value, int)
    }
    shared = {key: value for key, value in places.items() if hasattr(layout, key)}
    assert len(shared) >= 3
    assert shared == {key: getattr(layout, key) for key in shared}


@pytest.mark.parametrize("name", FLIGHT_FILES)
def test_a_flight_file_imports_only_what_a_board_has(name):
    tree = ast.parse(inspect.getsource(import_module(f"mixer.flight.{name}")))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            assert {alias.name for alias in node.names} <= ALLOWED
        if isinstance(node, ast.ImportFrom):
            assert node.module in ALLOWED or str(node.module).startswith("mixer.flight")


@pytest.mark.parametrize("name", KERNELS)
def test_a_kernel_is_functions_on_integers_alone(name):
    """No floats, no default values, no calls but `range` and `const`: it must compile to words."""
    tree = ast.parse(inspect.getsource(import_module(f"mixer.flight.{name}")))
    for node in ast.walk(tree):
        assert not (isinstance(node, ast.Constant) and isinstance(node.value, float))
        assert not isinstance(node, ast.Div | ast.Pow | ast.Try | ast.Raise)
        if isinstance(node, ast.Call):
            assert isinstance(node.func, ast.Name) and node.func.id in ("range", "const")
        if isinstance(node, ast.FunctionDef):
            assert not node.args.defaults


def test_no_word_of_the_layout_is_used_twice():
    blocks = {
        "tables": [
            ("ROW_X", 4), ("ROW_Y", 4), ("ROW_ROLL", 4), ("WIDTH", 4), ("NULL", 4),
            ("NULL_EFFORT", 4), ("ROW_Q", 4), ("COS_LOW", 4), ("SIN_LOW", 4),
            ("PAIRS", 6 * layout.PAIR_STRIDE), ("EDGES", 4 * layout.EDGE_STRIDE),
            ("CURVE_OFF", 4), ("CURVE_N", 4), ("SERVO_OFF", 4), ("SERVO_N", 4), ("COS", 4),
            ("SIN", 4), ("SLEW_MDEG_S", 4), ("TRAVEL_LO", 4), ("TRAVEL_HI", 4),
            ("CURVE_CELLS", 4), ("FORCE_CELLS", 4), ("SERVO_CELLS", 4),
        ],
        "state": [
            ("DEFLECTION", 4), ("PULSE", 4), ("FORCE", 4), ("MOMENT", 3), ("DEMAND", 3),
            ("STEP", 4), ("LIMIT_LO", 4), ("LIMIT_HI", 4), ("KAPPA", 4), ("WANT", 3),
            ("WEAR_HINT", 1), ("LEVER_HINT", 1), ("WINDOW_LO", 4), ("WINDOW_HI", 4), ("LO", 4),
            ("HI", 4), ("POINT", 2),
            ("ETA", 4), ("OMEGA", 4),
        ],
    }  # fmt: skip
    for first, limit, block in (
        (layout.STATE_WORDS, layout.BODY, "tables"), (0, layout.STATE_WORDS, "state"),
    ):  # fmt: skip
        taken = [
            word
            for name, size in blocks[block]
            for word in range(getattr(layout, name), getattr(layout, name) + size)
        ]
        assert len(taken) == len(set(taken))
        assert first <= min(taken) and max(taken) < limit


def test_every_kernel_file_is_named():
    assert set(KERNELS) < set(FLIGHT_FILES)
    assert mixer.flight.KERNELS[0] == "schedule"
