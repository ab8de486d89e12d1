"""The order of the house: who may import whom, as DEVELOPERS.md says, and how large its rooms are.

Imports are read from the source, so that those inside functions and those for types alone count.
"""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCES = ("mixer", "firmware_port", "hil")
FILES_IN_A_FOLDER = 12
LINES, FLIGHT_LINES = 300, 150
# MicroPython reads these folders file by file, and a board's paths are short.
BOARD_FOLDERS = ("mixer/flight", "firmware_port")
VOCABULARY = "mixer/flight/layout.py"  # every word's place, one after another


def code_files() -> list[Path]:
    return [path for top in SOURCES for path in sorted((ROOT / top).rglob("*.py"))]


def name(path: Path) -> str:
    """As it is told to people: `hil/boards/link.py`."""
    return path.relative_to(ROOT).as_posix()


def imports(path: Path) -> Iterator[Path]:
    """The files of ours that a file imports, wherever it does."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            modules = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            modules = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            continue
        for module in modules:
            file = ROOT / f"{module.replace('.', '/')}.py"
            if file.is_file():
                yield file


def package(path: Path) -> str:
    """Where a file belongs: the folder that the table has, its own or one above."""
    folder = path.parent
    while name(folder) not in house() and name(folder) not in SOURCES:
        folder = folder.parent
    return name(folder)


@cache
def house() -> dict[str, set[str]]:
    """Package and what it may import, from the table in DEVELOPERS.md."""
    rows: dict[str, set[str]] = {}
    for line in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 3 and cells[0].startswith(("`mixer/", "`hil", "`firmware_port")):
            rows[cells[0].strip("`/")] = {each.strip("` /") for each in cells[2].split(",")}
    return rows


def test_every_package_stands_in_the_table() -> None:
    folders = {path.parent for path in code_files() if path.name != "__init__.py"}
    assert {package(folder / "any.py") for folder in folders} == set(house())


@pytest.mark.parametrize("path", code_files(), ids=name)
def test_a_file_imports_what_its_package_may(path: Path) -> None:
    home = package(path)
    if home == "mixer":
        return  # mixer.ground's public face, which offers what others hold
    allowed = house().get(home, set())
    for other in imports(path):
        assert package(other) == home or package(other) in allowed, f"{name(path)}: {name(other)}"


def circles(arrows: dict[str, set[str]]) -> set[str]:
    """Whatever can be come back to along the arrows."""
    left = dict(arrows)
    while ends := [each for each, to in left.items() if not to & set(left)]:
        for each in ends:
            del left[each]
    return set(left)


def test_a_circle_is_found() -> None:
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"b"}}) == {"a", "b", "c"}
    assert circles({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == set()


def test_no_packages_import_each_other() -> None:
    assert circles(house()) == set()


def test_no_files_import_each_other() -> None:
    assert (
        circles({name(path): {name(each) for each in imports(path)} for path in code_files()})
        == set()
    )


def test_a_folder_holds_no_more_than_a_dozen_code_files() -> None:
    for folder in {path.parent for path in code_files()}:
        if name(folder) not in BOARD_FOLDERS:
            assert len(list(folder.glob("*.py"))) <= FILES_IN_A_FOLDER, name(folder)


def test_a_file_is_no_longer_than_can_be_read() -> None:
    for path in code_files():
        lines = len(path.read_text(encoding="utf-8").splitlines())
        most = FLIGHT_LINES if package(path) == "mixer/flight" else LINES
        assert lines <= most or name(path) == VOCABULARY, f"{name(path)}: {lines}"
