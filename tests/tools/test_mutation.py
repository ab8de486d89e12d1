"""The hunt for mutants that no test notices, at reduced size, and that it can fail."""

import importlib
import os
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support.mutants import mutants, put_in

ROOT = Path(__file__).parents[2]
SHARE = "0.06"  # of each target
SOURCE = '''
"""Not changed."""
MOST = 3
def held(x: int) -> int:
    """Neither is this."""
    if x > MOST and x != 7:
        x = MOST
    return x * 2 + 1
class Holder:
    def __init__(self):
        self.value = 4
    @property
    def twice(self):
        return self.value * 2
'''


def hunt(*arguments: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "tests.tools.mutation", *arguments],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=900,
    )


@pytest.fixture
def module(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "invented_code.py").write_text(SOURCE)
    monkeypatch.syspath_prepend(tmp_path)
    yield importlib.import_module("invented_code")
    del sys.modules["invented_code"]


def test_every_operator_constant_and_condition_gives_mutants(module) -> None:
    found = [mutant.name for mutant in mutants(module)]
    assert ": MOST = 3 → MOST = 4" in found
    assert "held: if x > MOST and x != 7: → if x >= MOST and x != 7:" in found
    assert "held: if x > MOST and x != 7: → if x > MOST or x != 7:" in found
    assert "held: if x > MOST and x != 7: → if not (x > MOST and x != 7):" in found
    assert "held: x = MOST → pass" in found
    assert "held: return x * 2 + 1 → return x * 2 - 1" in found
    assert "Holder.__init__: self.value = 4 → self.value = 5" in found
    assert len(found) == len(set(found))
    assert not [name for name in found if "changed" in name]


def test_a_mutant_lives_in_functions_that_others_have_imported(module) -> None:
    held, holder = module.held, module.Holder()
    before = held(9), holder.twice
    changed = set()
    for mutant in mutants(module):
        put_in(mutant, module)
        changed.add((held(9) != before[0], holder.twice != before[1]))
    assert {True} == {any(each) for each in changed if any(each)}
    assert any(first for first, _ in changed) and any(second for _, second in changed)


def test_a_changed_constant_reaches_the_code_that_has_imported_it_and_no_test(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "invented_package"
    package.mkdir()
    (package / "__init__.py").touch()
    (package / "limits.py").write_text("MOST = 3\n")
    importing = "from invented_package.limits import MOST\n"
    (package / "code.py").write_text(importing)
    (tmp_path / "invented_test.py").write_text(importing)
    monkeypatch.syspath_prepend(tmp_path)
    names = ("invented_package.limits", "invented_package.code", "invented_test")
    limits, code, test = map(importlib.import_module, names)
    try:
        put_in(mutants(limits)[0], limits)
        assert (limits.MOST, code.MOST, test.MOST) == (4, 4, 3)
    finally:
        for name in (*names, "invented_package"):
            del sys.modules[name]


def test_the_hunt_finds_a_hole_in_tests_that_look_at_nothing(tmp_path: Path) -> None:
    lax = tmp_path / "test_lax.py"
    lax.write_text(textwrap.dedent("def test_nothing():\n    assert True\n"))
    done = hunt("firmware_port.receiver", "--tests", str(lax), "--share", "0.1")
    assert done.returncode == 1, done.stderr
    assert "7 mutants, 7 unnoticed" in done.stdout


def test_the_hunt_says_so_where_its_tests_fail_by_themselves(tmp_path: Path) -> None:
    broken = tmp_path / "test_broken.py"
    broken.write_text("def test_wrong():\n    assert False\n")
    done = hunt("firmware_port.receiver", "--tests", str(broken))
    assert done.returncode == 1
    assert "fail without any mutant" in done.stderr


@pytest.mark.usefixtures("campaign")
def test_changes_of_receiver_frames_and_kernels_are_noticed(
    record_property: Callable[[str, object], None],
) -> None:
    """All of it, and more targets: `python -m tests.tools.mutation`."""
    targets = ("receiver", "frames", "wanted", "allocate")
    done = hunt(*targets, "--share", SHARE, "--seed", "4")
    record_property("shown", done.stdout.strip())
    assert done.returncode == 0, done.stdout + done.stderr[-2000:]
