"""The compiled kernels: where they are kept, what runs without numba, and a `Steering` on them."""

import ast
import importlib.util
import subprocess
import sys

import numpy as np
import platformdirs
import pytest

from mixer.flight import Steering
from mixer.ground.batch import compiled as module
from mixer.ground.batch.allocate_batch import allocate_batch
from mixer.ground.batch.compiled import (
    ENTRIES,
    WORTH,
    Compiled,
    Plain,
    compiled,
    compiled_steering,
    joined_source,
    kept_source,
)
from mixer.ground.batch.listed_steering import ListedSteering
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

SEED = 5_061_126


@pytest.fixture
def without_numba(monkeypatch):
    """As on a computer that lacks numba; nothing said so far."""
    find_spec = importlib.util.find_spec
    monkeypatch.setattr(
        module.importlib.util,
        "find_spec",
        lambda name, *rest: None if name == "numba" else find_spec(name, *rest),
    )
    compiled.cache_clear()
    yield
    compiled.cache_clear()


def test_without_numba_plain_python_runs_and_one_line_says_what_would_be_quicker(
    without_numba, capsys
):
    car = vehicle()
    for _ in range(2):
        assert isinstance(compiled(), Plain)
        assert type(compiled_steering(flight_tables(car))) is ListedSteering
        allocate_batch(car, np.zeros((3, 3)))
    said = " ".join(capsys.readouterr().err.split())
    assert said.count('pip install "fourvane[fast]"') == 1


def test_few_rows_do_not_load_numba():
    """A short command starts no slower for it."""
    code = (
        "import sys, numpy as np\n"
        "from mixer.ground import allocate_batch, flight_tables\n"
        "from mixer.ground.batch.steerings import Steerings\n"
        "from tests.support.vehicles import vehicle\n"
        "car = vehicle()\n"
        "allocate_batch(car, np.zeros((100, 3)))\n"
        "Steerings(flight_tables(car), 2, cycles=100).step(0, 5000)\n"
        "sys.exit('numba' in sys.modules)\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
    assert WORTH > 100


def test_every_function_is_joined_once_and_every_entry_has_its_array_form():
    names = [
        node.name for node in ast.parse(joined_source()).body if isinstance(node, ast.FunctionDef)
    ]
    assert len(names) == len(set(names))
    assert {"clamp", "cycle", "reset"} < set(names)
    assert {f"{name}_entry" for name in ENTRIES} <= set(names)


def test_what_is_kept_is_one_whole_file_named_for_its_contents(tmp_path, monkeypatch):
    monkeypatch.setattr(platformdirs, "user_cache_path", lambda name: tmp_path / name)
    first = kept_source("kernels_1", "A = 1\n")
    assert first is not None and first.read_text() == "A = 1\n"
    before = first.stat().st_mtime_ns
    assert kept_source("kernels_1", "A = 1\n") == first
    assert first.stat().st_mtime_ns == before, "a rewritten file would be compiled again"
    assert [path.name for path in first.parent.iterdir()] == ["kernels_1.py"]


def test_where_nothing_can_be_written_nothing_is_kept(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setattr(platformdirs, "user_cache_path", lambda name: tmp_path / "file")
    assert kept_source("kernels_1", "A = 1\n") is None


def test_a_compiled_function_runs_from_memory_too(monkeypatch):
    """The demand alone, which compiles soonest: taken, and refused where it is too large."""
    monkeypatch.setattr(module, "kept_source", lambda name, source: None)
    machine = Compiled()
    words = machine.words(Steering(flight_tables(vehicle()))._w)
    assert machine.function("demand")(words, 1000, 2000, 3000) == 1
    assert machine.function("demand")(words, 1 << 30, 0, 0) == 0


@pytest.mark.parametrize("policy", ["nearest", "direction"])
def test_a_compiled_steering_is_a_steering(policy):
    """Through demands near and far, jams, pauses and resets: every word of the two is the same."""
    tables = flight_tables(vehicle(control={"policy": policy}))
    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    both = compiled_steering(tables), Steering(tables)
    assert type(both[0]) is not Steering, "numba must be there to compare"
    for cycle in range(400):
        demand_mnm = np.rint(rng.normal(size=3) * 10 ** rng.uniform(2, 7, 3)).astype(int).tolist()
        vane, place_mdeg = int(rng.integers(1, 5)), int(rng.integers(-20_000, 20_000))
        pressure_pa = int(rng.choice([0, 90_000, 2_000_000, 3_700_000, 1 << 40]))
        dt_us = int(rng.choice([-5, 0, 700, 5000, 5000, 80_000, 20_000_000]))
        told = []
        for steering in both:
            if cycle % 7 == 3:
                steering.jam(vane, place_mdeg)
            if cycle % 7 == 5:
                steering.free(vane)
            if cycle % 100 == 99:
                steering.reset()
            taken = steering.demand(*demand_mnm)
            flags = steering.step(pressure_pa, dt_us)
            told.append((taken, flags, type(taken), type(flags), steering._w.tobytes()))
        assert told[0] == told[1], cycle
