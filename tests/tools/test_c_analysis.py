"""A static analyser finds nothing in the exported C that has no answer."""

import shutil
from pathlib import Path

import pytest

from mixer.ground.kernel_code.c99 import HELPERS, reached
from mixer.ground.kernel_code.language import flight_core
from tests.support.c_library import exported, needs
from tests.tools.c_analysis import ANSWERS, findings
from tests.tools.c_eva import REASONS, anything, played, unexplained


@pytest.mark.usefixtures("campaign")
def test_every_finding_of_the_analyser_has_an_answer(tmp_path: Path) -> None:
    needs("cppcheck")
    found = findings(exported(tmp_path))
    assert found, "the analyser found nothing at all: did it run?"
    assert set(found) <= set(ANSWERS)


def test_a_fault_put_in_is_found(tmp_path: Path) -> None:
    """A word read one behind an array."""
    needs("cppcheck")
    folder = exported(tmp_path)
    with (folder / "src/fourvane_link.c").open("a") as file:
        file.write("static int behind(void)\n{\n    int a[2] = { 0 };\n    return a[2];\n}\n")
    assert "arrayIndexOutOfBounds" in set(findings(folder, "src/fourvane_link.c")) - set(ANSWERS)


@pytest.mark.usefixtures("campaign")
def test_recorded_cycles_do_nothing_that_c_leaves_undefined(tmp_path: Path) -> None:
    """By an abstract interpreter of C, where the archive has it."""
    if shutil.which("frama-c") is None:
        pytest.skip("frama-c is not on this machine (Debian package frama-c-base)")
    assert not played(tmp_path, 4)


def test_what_it_cannot_show_after_anything_at_all_has_a_reason(tmp_path: Path, size: str) -> None:
    """Each alarm is one of those listed, each reason is that of an alarm."""
    if size != "long":
        pytest.skip("takes minutes: with --long, or python -m tests.tools.c_eva")
    if shutil.which("frama-c") is None:
        pytest.skip("frama-c is not on this machine (Debian package frama-c-base)")
    found = anything(tmp_path)
    assert not unexplained(found)
    for function, begin in REASONS:
        assert any(where == function and line.startswith(begin) for where, line in found)


def test_an_alarm_that_nobody_has_explained_is_told() -> None:
    known = ("core_deflect", "w[CORE_MOMENT] = 1;")
    fresh = ("core_deflect", "w[CORE_PULSE] = 1;")
    assert unexplained([known, fresh]) == [fresh]


def test_reasons_are_given_for_what_the_proof_runs() -> None:
    """The proof bounds every function of the cycle; the rest is the prelude's."""
    proved = {f"core_{name}" for name in reached(flight_core(), {"cycle"})}
    assert {function for function, _ in REASONS} <= {*proved, *HELPERS.values(), "divided"}
