"""CSV files: every fault is named at its place, files appear whole, memory stays flat."""

import os
import stat
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mixer.ground.allocation.commands_csv import COLUMNS, CommandsWriter, flag_names
from mixer.ground.allocation.demands import DemandFile
from mixer.ground.inputs.csv_files import DataError, read_all, read_rows, write_whole
from tests.support.vehicles import vehicle

NAMES = ("time_s", "pitch_nm", "yaw_nm", "roll_nm")
PRESSURE = "chamber_pressure_bar"
HEAD = ",".join(NAMES) + "\n"
GOOD = HEAD + "0,1,2,3\n0.005,-1.5,2e1,.25\n0.01,+3,-0,7.\n"


def csv_file(folder: Path, content: str | bytes) -> Path:
    path = folder / "demands.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def the_fault(folder: Path, content: str | bytes) -> DataError:
    """The first fault that reading demands finds in a file of that content."""
    path = csv_file(folder, content)
    with pytest.raises(DataError) as caught:
        list(DemandFile(path, vehicle()))
    assert caught.value.file == str(path)
    assert str(caught.value).startswith(str(path))
    return caught.value


@pytest.mark.parametrize(
    "content",
    [
        GOOD,
        GOOD[:-1],
        "\ufeff" + GOOD,
        GOOD.replace("\n", "\r\n"),
        GOOD + "\n\n  \n",
        GOOD.replace(",", " , "),
        GOOD.replace("0.005", '"0.005"'),
        GOOD.replace("time_s", '"time_s"'),
    ],
)
def test_a_clean_file_gives_its_numbers_however_it_is_written(tmp_path: Path, content: str) -> None:
    (chunk,) = DemandFile(csv_file(tmp_path, content), vehicle())
    assert chunk.time_s.tolist() == [0.0, 0.005, 0.01]
    assert chunk.demands_nm.tolist() == [[1, 2, 3], [-1.5, 20, 0.25], [3, 0, 7]]


def test_columns_may_stand_in_any_order(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "roll_nm,time_s,yaw_nm,pitch_nm\n3,0,2,1\n")
    (chunk,) = DemandFile(path, vehicle())
    assert (chunk.time_s.tolist(), chunk.demands_nm.tolist()) == ([0.0], [[1, 2, 3]])


@pytest.mark.parametrize(("content", "line", "column", "words"), [
    ("", 1, None, "empty; the first line must be time_s,pitch_nm,yaw_nm,roll_nm and optionally"),
    ("\n\n", 1, None, "empty; the first line must be"),
    (HEAD, None, None, "there are no rows below the header line"),
    (HEAD + "\n\n", None, None, "there are no rows"),
    ("0,1,2,3\n", 1, "0", "unknown column; allowed are time_s,"),
    ("time_s,pitch_nm,yaw_nm\n0,1,2\n", 1, "roll_nm", "missing; must be time_s,"),
    ("time_s,pitch_nm\n0,1\n", 1, "yaw_nm, roll_nm", "missing"),
    (GOOD.replace("yaw_nm", "yaw_Nm"), 1, "yaw_Nm", "did you mean yaw_nm?"),
    (GOOD.replace("roll_nm", "yaw_nm"), 1, "yaw_nm", "named more than once"),
    (HEAD.replace("\n", ",note\n") + "0,1,2,3,4\n", 1, "note", "unknown column"),
    (GOOD.replace(",", ";"), 1, None, "columns are separated by commas"),
    (GOOD.replace("2e1", "up"), 3, "yaw_nm", "'up'; must be a finite number"),
    (GOOD.replace("2e1", "nan"), 3, "yaw_nm", "'nan'; must be a finite number"),
    (GOOD.replace("2e1", "-inf"), 3, "yaw_nm", "'-inf'; must be a finite number"),
    (GOOD.replace("2e1", "Infinity"), 3, "yaw_nm", "'Infinity'; must be a finite number"),
    (GOOD.replace("2e1", "1e999"), 3, "yaw_nm", "'1e999'; must be a finite number"),
    (GOOD.replace("2e1", "1_0"), 3, "yaw_nm", "'1_0'; must be a finite number"),
    (GOOD.replace("2e1", "0x10"), 3, "yaw_nm", "'0x10'; must be a finite number"),
    (GOOD.replace("2e1", "1 0"), 3, "yaw_nm", "'1 0'; must be a finite number"),
    (GOOD.replace("2e1", "\u0663"), 3, "yaw_nm", "must be a finite number"),
    (GOOD.replace("2e1", ""), 3, "yaw_nm", "''; is empty; must be a finite number"),
    (GOOD.replace("2e1", '"2'), 3, None, "not CSV"),
    (GOOD.replace("2e1", "2,5"), 3, None, "5 cells where the header line names 4 columns"),
    (GOOD.replace(",2e1", ""), 3, None, "3 cells where the header line names 4 columns"),
    (GOOD + "0.015,1,2", 5, None, "3 cells where the header line names 4 columns (is the file"),
    (GOOD + "0.015,1,2,", 5, "roll_nm", "''; is empty; must be a finite number"),
    (GOOD + "0.015,1,2,-", 5, "roll_nm", "'-'; must be a finite number"),
    (GOOD + "\n0.015,1,2,3\n", 5, None, "an empty line between rows"),
    (GOOD + "0.015,1,2,3\x00\n", 5, "roll_nm", "must be a finite number"),
    (GOOD.encode() + b"0.015,1,2,\xff\n", 5, None, "not UTF-8"),
    (GOOD.encode("utf-16"), 1, None, "not UTF-8"),
    (GOOD + "0.01,1,2,3\n", 5, "time_s", "0.01; must be later than the 0.01 before it"),
    (GOOD + "0.002,1,2,3\n", 5, "time_s", "0.002; must be later than the 0.01 before it"),
    (HEAD + "-0.1,1,2,3\n", 2, "time_s", "-0.1; burn time must be from 0 to 3600 s"),
    (HEAD + "0,1,2,3\n4000,1,2,3\n", 3, "time_s", "4000.0; burn time must be"),
])  # fmt: skip
def test_a_fault_is_named_with_line_column_and_value(
    tmp_path: Path, content: str | bytes, line: int | None, column: str | None, words: str
) -> None:
    fault = the_fault(tmp_path, content)
    assert (fault.line, fault.column) == (line, column)
    assert words in str(fault)


@pytest.mark.parametrize(
    ("pressure", "words"),
    [
        ("-0.1", "-0.1; must be from 0 to 40 bar"),
        ("40.01", "40.01; must be from 0 to 40 bar, twice the vehicle's reference"),
        ("", "is empty; must be a finite number"),
        ("full", "'full'; must be a finite number"),
    ],
)
def test_an_impossible_pressure_is_named(tmp_path: Path, pressure: str, words: str) -> None:
    head = HEAD.replace("\n", f",{PRESSURE}\n")
    fault = the_fault(tmp_path, f"{head}0,1,2,3,20\n1,1,2,3,{pressure}\n")
    assert (fault.line, fault.column) == (3, PRESSURE)
    assert words in str(fault)


def test_pressure_is_the_files_own_where_it_has_one(tmp_path: Path) -> None:
    path = csv_file(tmp_path, f"{PRESSURE},{HEAD}0,0,1,2,3\n40,30,1,2,3\n")
    (chunk,) = DemandFile(path, vehicle())
    assert chunk.chamber_pressure_bar.tolist() == [0.0, 40.0]


def test_without_a_pressure_column_the_reference_holds_until_the_burn_ends(
    tmp_path: Path,
) -> None:
    path = csv_file(tmp_path, HEAD + "0,1,2,3\n26,1,2,3\n26.001,1,2,3\n")
    (chunk,) = DemandFile(path, vehicle())
    assert chunk.chamber_pressure_bar.tolist() == [20.0, 20.0, 0.0]


@pytest.mark.parametrize("rows_at_a_time", [1, 2, 3, 4, 100])
@pytest.mark.parametrize("ending", ["", "\n\n\n\n"])
def test_reading_in_pieces_loses_nothing(tmp_path: Path, rows_at_a_time: int, ending: str) -> None:
    path = csv_file(tmp_path, GOOD + ending)
    pieces = list(read_rows(path, NAMES, rows_at_a_time=rows_at_a_time))
    assert np.concatenate([piece["pitch_nm"] for piece in pieces]).tolist() == [1, -1.5, 3]
    assert [piece.first_line for piece in pieces] == list(range(2, 5, rows_at_a_time))


@pytest.mark.parametrize("rows_at_a_time", [1, 2, 3, 100])
def test_a_gap_between_rows_is_named_wherever_the_pieces_end(
    tmp_path: Path, rows_at_a_time: int
) -> None:
    path = csv_file(tmp_path, HEAD + "0,1,2,3\n\n\n1,1,2,3\n")
    with pytest.raises(DataError, match="line 3: an empty line between rows"):
        list(read_rows(path, NAMES, rows_at_a_time=rows_at_a_time))


def test_time_is_compared_across_pieces(tmp_path: Path) -> None:
    rows = "".join(f"{n / 1000},1,2,3\n" for n in range(20_000))
    fault = the_fault(tmp_path, HEAD + rows + "19.5,1,2,3\n")
    assert (fault.line, fault.value) == (20_002, 19.5)


def test_demands_can_be_gone_through_again_and_tell_how_far_they_are(tmp_path: Path) -> None:
    demands = DemandFile(csv_file(tmp_path, GOOD), vehicle())
    for _ in range(2):
        assert [chunk.bytes_read for chunk in demands] == [demands.bytes_total]


@pytest.mark.parametrize("cell", ["up", "down"])
def test_a_column_of_words_is_read_as_words(tmp_path: Path, cell: str) -> None:
    path = csv_file(tmp_path, f"servo,direction\n1, {cell}\n2,{cell}\n")
    rows = read_all(path, ("servo", "direction"), text={"direction": ("up", "down")})
    assert rows["direction"].tolist() == [cell, cell]
    assert rows["servo"].tolist() == [1.0, 2.0]


def test_a_word_that_is_not_allowed_is_named(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "servo,direction\n1,up\n2,sideways\n")
    with pytest.raises(DataError, match="line 3, column direction: 'sideways'; must be one of up"):
        read_all(path, ("servo", "direction"), text={"direction": ("up", "down")})


finite = st.floats(allow_nan=False, allow_infinity=False)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.tuples(finite, finite), min_size=1, max_size=30), st.integers(1, 7))
def test_every_finite_number_comes_back_to_the_last_bit(
    tmp_path: Path, rows: list[tuple[float, float]], rows_at_a_time: int
) -> None:
    path = csv_file(tmp_path, "a,b\n" + "".join(f"{a!r},{b!r}\n" for a, b in rows))
    pieces = list(read_rows(path, ("a", "b"), rows_at_a_time=rows_at_a_time))
    read = [pair for piece in pieces for pair in zip(piece["a"], piece["b"], strict=True)]
    assert read == rows


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.binary(max_size=60))
def test_no_content_whatever_escapes_as_another_error(tmp_path: Path, content: bytes) -> None:
    path = csv_file(tmp_path, HEAD.encode() + content)
    try:
        chunks = list(DemandFile(path, vehicle()))
    except DataError as error:
        assert str(path) in str(error)
    else:
        assert all(np.isfinite(chunk.demands_nm).all() for chunk in chunks)


def test_memory_does_not_grow_with_the_rows(tmp_path: Path) -> None:
    """Five times the rows take no more memory at the peak."""

    def peak_bytes(rows: int) -> int:
        with open(tmp_path / "demands.csv", "w") as stream:
            stream.write(HEAD)
            stream.writelines(f"{n / 1000},1.25,-2.5,0.125\n" for n in range(rows))
        tracemalloc.start()
        count = sum(len(c.time_s) for c in DemandFile(tmp_path / "demands.csv", vehicle()))
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert count == rows
        return peak

    assert peak_bytes(250_000) < 1.1 * peak_bytes(50_000)


def test_commands_are_written_with_every_digit_the_flight_core_holds(tmp_path: Path) -> None:
    path = tmp_path / "commands.csv"
    with write_whole(path) as stream:
        writer = CommandsWriter(stream)
        writer.write(
            np.array([0.0, 0.005]),
            np.array([[0.001, -0.0, -15.0, 1.23449], [0.0, 0.0, 0.0, -0.0004]]),
            np.array([[1500.0, 1499.999, 400.0, 2600.0]] * 2),
            np.array([[123.4567, -0.001, 0.0], [-1e5, 0.0, 2.0]]),
            np.array([0, 0b1000011]),
        )
    assert path.read_text().splitlines() == [
        "time_s,vane1_deg,vane2_deg,vane3_deg,vane4_deg,pulse1_us,pulse2_us,pulse3_us,pulse4_us,"
        "pitch_nm,yaw_nm,roll_nm,flags",
        "0.000000,0.001,0.000,-15.000,1.234,1500.000,1499.999,400.000,2600.000,"
        "123.457,-0.001,0.000,",
        "0.005000,0.000,0.000,0.000,0.000,1500.000,1499.999,400.000,2600.000,"
        "-100000.000,0.000,2.000,primary-limited;roll-limited;jammed-vane",
    ]
    rows = read_all(path, COLUMNS, text={"flags": None})
    assert rows["flags"].tolist() == ["", "primary-limited;roll-limited;jammed-vane"]


def test_flags_are_named_in_their_order() -> None:
    assert flag_names(0) == ""
    assert flag_names(0b11111111) == (
        "primary-limited;roll-limited;slew-limited;no-thrust;stale-demand;bad-demand;jammed-vane;"
        "doubted-pressure"
    )
    for unnamed in (-1, 256):
        with pytest.raises(ValueError, match="without a name"):
            flag_names(unnamed)


@pytest.mark.parametrize("trouble", [ValueError, KeyboardInterrupt, SystemExit, OSError])
def test_a_file_appears_whole_or_not_at_all(tmp_path: Path, trouble: type[BaseException]) -> None:
    path = tmp_path / "out.txt"
    path.write_text("from before")
    with pytest.raises(trouble), write_whole(path) as stream:
        stream.write("half")
        raise trouble
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.txt"]
    assert path.read_text() == "from before"
    with write_whole(path) as stream:
        stream.write("all\n")
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.txt"]
    assert path.read_bytes() == b"all\n"


def test_a_written_file_has_the_permissions_of_any_other(tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("")
    with write_whole(tmp_path / "whole", "wb") as stream:
        stream.write(b"\x00")
    modes = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("plain", "whole")]
    assert modes[0] == modes[1]
    (tmp_path / "whole").chmod(0o640)
    with write_whole(tmp_path / "whole", "wb") as stream:
        stream.write(b"\x01")
    assert stat.S_IMODE((tmp_path / "whole").stat().st_mode) == 0o640


def test_a_link_stays_a_link_to_the_file_that_is_written(tmp_path: Path) -> None:
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to("real")
    with write_whole(tmp_path / "link") as stream:
        stream.write("new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


def test_a_device_is_written_to_and_not_replaced() -> None:
    with write_whole(os.devnull) as stream:
        stream.write("gone")
    assert stat.S_ISCHR(os.stat(os.devnull).st_mode)


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("absent/out.csv", "the folder .*absent does not exist"),
        (".", "is a folder; name a file to write"),
        ("file/out.csv", "the folder .*file does not exist"),
    ],
)
def test_a_place_that_cannot_be_written_is_named(tmp_path: Path, path: str, words: str) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OSError, match=words) as caught, write_whole(tmp_path / path):
        pass
    assert caught.value.filename == str(tmp_path / path)


def test_a_full_disk_is_told_of_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_space(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", no_space)
    with (
        pytest.raises(OSError, match="not written: No space left on device") as caught,
        write_whole(tmp_path / "out.csv") as stream,
    ):
        stream.write("rows")
    assert caught.value.filename == str(tmp_path / "out.csv")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_without_permission_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(**_: Any) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tempfile.mkstemp", refused)
    with pytest.raises(PermissionError, match="cannot write there: Permission denied"):  # noqa: SIM117
        with write_whole(tmp_path / "out.csv"):
            pass
