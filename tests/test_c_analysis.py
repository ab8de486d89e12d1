"""A static analyser finds nothing in the exported C that has no answer."""

import shutil
from pathlib import Path

import pytest

from tests.c_analysis import ANSWERS, findings
from tests.c_eva import played
from tests.c_library import exported, needs


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


def test_recorded_cycles_do_nothing_that_c_leaves_undefined(tmp_path: Path) -> None:
    """By an abstract interpreter of C, where the archive has it."""
    if shutil.which("frama-c") is None:
        pytest.skip("frama-c is not on this machine (Debian package frama-c-base)")
    assert not played(tmp_path, 4)
