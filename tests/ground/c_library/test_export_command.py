"""`fourvane export`: a folder that builds anywhere, and a program that gives the same file."""

import json
import random
import subprocess
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from mixer.ground.c_library.folder import SUMS
from mixer.ground.c_library.render import in_comment, library
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.tables.build import flight_tables
from tests.support.c_library import C99, SANITIZED, exported, needs, run, sources
from tests.support.vehicles import vehicle, vehicle_file

ROOT = Path(__file__).parents[3]
STRAY = {
    "layout": {"clocking_deg": [0.0, 93.0, 181.5, 265.0]},
    "control": {"policy": "direction"},
    "servos": {"us_per_deg": [-9.7, 11.0, 10.0, 10.3], "slew_deg_s": 77.7},
    "engine": {"chamber_pressure_bar": 17.3, "burn_time_s": 8.15},
}


def export(*arguments: object) -> Result:
    return CliRunner().invoke(fourvane, ["export", *map(str, arguments)])


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


# ---- the folder ----------------------------------------------------------------------------------


def test_the_folder_holds_the_library_and_sums_that_agree(tmp_path: Path) -> None:
    out = tmp_path / "c"
    done = export(vehicle_file(tmp_path), "--out", out, "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert sorted(contents(out)) == sorted([*told["files"], SUMS])
    assert told["crc32"] in (out / "src/fourvane_vehicle.h").read_text()
    needs("sha256sum")
    run("sha256sum", "--check", "--strict", SUMS, cwd=out)


def test_the_licence_is_that_of_the_project(tmp_path: Path) -> None:
    assert exported(tmp_path).joinpath("LICENSE").read_bytes() == (ROOT / "LICENSE").read_bytes()


def test_the_same_vehicle_gives_the_same_folder() -> None:
    first, second = vehicle(**STRAY), vehicle(**STRAY)
    assert library(first, flight_tables(first)) == library(second, flight_tables(second))


def test_an_earlier_export_is_renewed_whole(tmp_path: Path) -> None:
    out = tmp_path / "c"
    export(vehicle_file(tmp_path), "--out", out)
    before = contents(out)
    done = export(vehicle_file(tmp_path, **STRAY), "--out", out)
    assert done.exit_code == 0, done.output
    after = contents(out)
    assert sorted(after) == sorted(before)
    assert after["src/fourvane_vehicle.c"] != before["src/fourvane_vehicle.c"]
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "c").mkdir()
    assert export(vehicle_file(tmp_path), "--out", tmp_path / "c").exit_code == 0


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_an_export_broken_off_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    out, write = tmp_path / "c", Path.write_bytes
    export(vehicle_file(tmp_path), "--out", out)
    before = contents(out)
    file = vehicle_file(tmp_path, **STRAY)

    def broken(path: Path, data: bytes) -> int:
        if path.name == "fourvane_link.c":
            raise error
        return write(path, data)

    monkeypatch.setattr(Path, "write_bytes", broken)
    assert export(file, "--out", out).exit_code in (2, 130)
    assert export(file, "--out", tmp_path / "new").exit_code in (2, 130)
    assert contents(out) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(["c", file.name])


def spoil(out: Path, how: str) -> str:
    if how == "a foreign file":
        (out / "notes.txt").write_text("mine")
        return "notes.txt"
    if how == "a changed file":
        with (out / "src/fourvane.c").open("a") as stream:
            stream.write("/* mine */\n")
        return "src/fourvane.c has been changed"
    (out / SUMS).unlink()
    return "no export has put there"


@pytest.mark.parametrize("how", ["a foreign file", "a changed file", "no sums"])
def test_a_folder_with_anything_else_in_it_is_left_as_it_is(tmp_path: Path, how: str) -> None:
    out = tmp_path / "c"
    export(vehicle_file(tmp_path), "--out", out)
    named = spoil(out, how)
    before = contents(out)
    done = export(vehicle_file(tmp_path, **STRAY), "--out", out)
    assert done.exit_code == 2
    assert named in done.output
    assert contents(out) == before


def test_the_vehicle_files_own_folder_and_a_file_are_refused(tmp_path: Path) -> None:
    file = vehicle_file(tmp_path)
    for out in (tmp_path, file, tmp_path / "missing" / "c"):
        done = export(file, "--out", out)
        assert done.exit_code == 2
        assert str(out) in done.output
    assert [path.name for path in tmp_path.iterdir()] == [file.name]


def test_a_vehicle_that_cannot_be_built_is_refused_as_by_tables(tmp_path: Path) -> None:
    file = vehicle_file(tmp_path, vanes={"force_n": [-200.0, 1.0, 0.5]})
    out = tmp_path / "out"
    refused = CliRunner().invoke(fourvane, ["tables", str(file), "--out", str(out)])
    done = export(file, "--out", out)
    assert done.exit_code == refused.exit_code == 2
    assert done.output == refused.output
    assert not out.exists()


@pytest.mark.parametrize(
    "name", ["ends */ here", "/* opens", "trigraph ??/", "a\\", "/*/*/", "Ünïcødé"]
)
def test_no_name_breaks_out_of_its_comment(tmp_path: Path, name: str) -> None:
    assert "\n" not in in_comment(name)
    needs("gcc")
    folder = exported(tmp_path, vehicle(vehicle={"name": name}))
    for source in sources(folder):
        run("gcc", *C99, "-fsyntax-only", "-I", folder / "src", source)


def test_tables_of_another_format_do_not_compile(tmp_path: Path) -> None:
    needs("gcc")
    folder = exported(tmp_path)
    header = folder / "src/fourvane.h"
    for old, new, said in (
        ("#define FV_TABLES_VERSION ", "#define FV_TABLES_VERSION 1", "have format"),
        ("#define FV_WORDS ", "#define FV_WORDS 400 //", "need FV_WORDS"),
    ):
        text = header.read_text()
        header.write_text(text.replace(old, new, 1))
        done = subprocess.run(
            ["gcc", "-c", folder / "src/fourvane_vehicle.c", "-o", tmp_path / "x.o"],
            capture_output=True,
        )
        header.write_text(text)
        assert done.returncode != 0
        assert said in done.stderr.decode()


# ---- the program ---------------------------------------------------------------------------------


def demands(source: random.Random, rows: int, pressure: bool, start_s: float = 0.0) -> str:
    """A demands file with easy and hard demands, uneven steps, columns in another order."""
    names = ["time_s", "pitch_nm", "yaw_nm", "roll_nm"] + ["chamber_pressure_bar"] * pressure
    order = source.sample(names, len(names))
    lines, time_s = [",".join(order)], start_s
    for _ in range(rows):
        size = source.choice((1.0, 100.0, 900.0, 1e5, 1e9))
        row: dict[str, Any] = {
            "time_s": f"{time_s:.{source.choice((3, 6, 9))}f}",
            "pitch_nm": source.uniform(-size, size),
            "yaw_nm": source.choice((0, round(source.uniform(-size, size), 1), "+.5", "-7.E-1")),
            "roll_nm": source.uniform(-size / 20, size / 20),
            "chamber_pressure_bar": source.choice((17.3, 0, 12.345678, 30)),
        }
        lines.append(",".join(str(row[name]) for name in order))
        time_s += source.choice((0.005, 0.005, 0.005, 0.00123, 0.15, 1.7))
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The exported program, built by the folder's own Makefile under sanitizers."""
    needs("gcc", "make")
    folder = exported(tmp_path_factory.mktemp("c"), vehicle(**STRAY))
    flags = " ".join(
        ["-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Werror", *SANITIZED]
    )
    run("make", "-C", folder, "CC=gcc", f"CFLAGS={flags}")
    return folder / "build/allocate"


@pytest.mark.parametrize("kind", ["plain", "pressure", "late", "windows", "quoted", "mark"])
def test_the_program_gives_the_same_file_as_allocate(
    program: Path, tmp_path: Path, kind: str, full_size: bool
) -> None:
    if kind not in ("pressure", "quoted") and not full_size:
        pytest.skip("the other kinds with --campaigns")
    source = random.Random(kind)
    text = demands(source, 700, kind == "pressure", 3580.0 if kind == "late" else 0.0)
    if kind == "late":
        text = "\n".join(line for line in text.split("\n")[:40]) + "\n\n\n"
    elif kind == "windows":
        text = text.replace("\n", "\r\n").removesuffix("\r\n")
    elif kind == "quoted":
        head, *rows = text.splitlines()
        rows = [",".join(f'"{cell}"' for cell in row.split(",")) for row in rows]
        text = "\n".join([head.replace(",", " , "), *rows]) + "\n"
    elif kind == "mark":
        text = "\ufeff" + text
    file = tmp_path / "demands.csv"
    file.write_bytes(text.encode())
    python, c = tmp_path / "python.csv", tmp_path / "c.csv"
    told = CliRunner().invoke(
        fourvane,
        ["allocate", str(vehicle_file(tmp_path, **STRAY)), str(file), "--out", str(python)],
    )
    assert told.exit_code == 0, told.output
    run(program, file, c)
    assert c.read_bytes() == python.read_bytes()


HEAD = "time_s,pitch_nm,yaw_nm,roll_nm\n"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        (HEAD, "no rows"),
        ("time_s,pitch_nm,yaw_nm\n0,1,2\n", "column roll_nm: missing"),
        ("time_s,pitch_nm,yaw_nm,rol_nm\n0,1,2,3\n", "column rol_nm: unknown"),
        ("time_s,time_s,yaw_nm,roll_nm\n0,1,2,3\n", "more than once"),
        (HEAD + "0,1,2\n", "line 2: not as many cells"),
        (HEAD + "0,1,2,3,4,5,6\n", "line 2: not as many cells"),
        (HEAD + "0,1,2,3\n\n1,1,2,3\n", "line 4: an empty line"),
        (HEAD + "0,1,nan,3\n", "line 2, column yaw_nm: 'nan': must be a finite number"),
        (HEAD + "0,1,0x10,3\n", "column yaw_nm: '0x10'"),
        (HEAD + "0,1,1e999,3\n", "column yaw_nm: '1e999'"),
        (HEAD + "0,1,,3\n", "column yaw_nm"),
        (HEAD + "1,1,1,3\n1,1,1,1\n", "line 3, column time_s: must be later"),
        (HEAD + "-1,1,1,3\n", "from 0 to 3600"),
        (HEAD + "0,1,1,3\n17,1,1,1\n", "too long after"),
        (HEAD[:-1] + ",chamber_pressure_bar\n0,1,1,3,40\n", "twice the vehicle's reference"),
        (HEAD + "0," + "1" * 5000 + ",1,3\n", "this long"),
    ],
)
def test_the_program_refuses_what_allocate_refuses_and_leaves_nothing(
    program: Path, tmp_path: Path, text: str, said: str
) -> None:
    file, out = tmp_path / "demands.csv", tmp_path / "commands.csv"
    file.write_text(text)
    done = subprocess.run([program, file, out], capture_output=True)
    assert done.returncode == 2, done.stderr
    assert said in done.stderr.decode()
    assert list(tmp_path.iterdir()) == [file]
    told = CliRunner().invoke(
        fourvane, ["allocate", str(vehicle_file(tmp_path, **STRAY)), str(file), "--out", str(out)]
    )
    assert told.exit_code == 2


def test_the_self_test_program_says_that_nothing_differs(program: Path) -> None:
    assert run(program.with_name("self_test")).stdout == b"512 cycles: 0 integers differ\n"


def test_make_clean_leaves_a_folder_that_can_be_renewed(tmp_path: Path) -> None:
    needs("make", "cc")
    out = tmp_path / "c"
    export(vehicle_file(tmp_path), "--out", out)
    run("make", "-C", out, "CFLAGS=-O0")
    assert export(vehicle_file(tmp_path), "--out", out).exit_code == 2
    run("make", "-C", out, "clean")
    assert export(vehicle_file(tmp_path), "--out", out).exit_code == 0


def test_cmake_builds_the_folder(tmp_path: Path) -> None:
    needs("cmake", "cc")
    folder = exported(tmp_path / "c")
    run("cmake", "-S", folder, "-B", tmp_path / "build")
    run("cmake", "--build", tmp_path / "build")
    assert b" 0 integers" in run(tmp_path / "build/self_test").stdout


def test_another_project_takes_the_folder_as_a_library_of_its_own(tmp_path: Path) -> None:
    needs("cmake", "c++")
    exported(tmp_path / "fourvane")
    (tmp_path / "CMakeLists.txt").write_text(
        "cmake_minimum_required(VERSION 3.13)\nproject(rocket LANGUAGES C CXX)\n"
        "add_subdirectory(fourvane)\nadd_executable(rocket rocket.cpp)\n"
        "target_link_libraries(rocket fourvane)\n"
    )
    (tmp_path / "rocket.cpp").write_text(
        '#include "fourvane_link.h"\n#include "fourvane_self_test.h"\n'
        '#include "fourvane_vehicle.h"\nstatic fv_steering steering;\n'
        "int main() { fv_difference first; return fv_self_test(&steering, &first) != 0 ||"
        " fv_init(&steering, &fv_vehicle) != FV_OK; }\n"
    )
    run("cmake", "-S", tmp_path, "-B", tmp_path / "build")
    run("cmake", "--build", tmp_path / "build")
    run(tmp_path / "build/rocket")
