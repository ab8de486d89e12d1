"""`fourvane allocate`: what the flight core does, row by row; bad input leaves nothing behind."""

import json
import math
import re
import subprocess
import sys
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from mixer.flight import FlightTables, Steering
from mixer.ground.allocation.commands_csv import COLUMNS, CommandsWriter
from mixer.ground.allocation.demands import DemandFile
from mixer.ground.allocation.run import Jam, allocate
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.inputs.csv_files import Rows, read_all
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import parse_vehicle
from tests.support.vehicles import SANE, vehicle_file, vehicle_text

HEAD = "time_s,pitch_nm,yaw_nm,roll_nm"
PRESSURE = "chamber_pressure_bar"
NAN = float("nan")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(fourvane, ["allocate", *map(str, arguments)])


def demands_file(folder: Path, rows: list[tuple[float, ...]], head: str = HEAD) -> Path:
    path = folder / "demands.csv"
    path.write_text("\n".join([head, *(",".join(map(repr, row)) for row in rows)]) + "\n")
    return path


@cache
def tables_of(text: str) -> FlightTables:
    return flight_tables(parse_vehicle(text))


def commands(
    folder: Path,
    rows: list[tuple[float, ...]],
    head: str = HEAD,
    jams: Sequence[Jam] = (),
    load_s: float | None = None,
    **changes: Any,
) -> Rows:
    """The commands file that comes of some demands and a changed vehicle."""
    text, out = vehicle_text(**changes), folder / "commands.csv"
    given = parse_vehicle(text)
    demands = DemandFile(demands_file(folder, rows, head), given)
    with out.open("w") as stream:
        allocate(given, tables_of(text), demands, CommandsWriter(stream), jams, load_s)
    return read_all(out, COLUMNS, text={"flags": None})


def column(rows: Rows, *names: str) -> np.ndarray:
    return np.column_stack([rows[name] for name in names])


VANES = [f"vane{vane}_deg" for vane in range(1, 5)]
PULSES = [f"pulse{vane}_us" for vane in range(1, 5)]
MOMENTS = ["pitch_nm", "yaw_nm", "roll_nm"]


def steady(count: int, *demand: float) -> list[tuple[float, ...]]:
    """Rows one control period apart."""
    return [(n / 200, *demand) for n in range(count)]


def wandering(count: int, seed: int) -> list[tuple[float, ...]]:
    """Rows at uneven times with demands in and out of reach, and pressure."""
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.uniform(0.001, 0.03, count)) + 0.7
    demand = np.cumsum(rng.normal(0, [250, 250, 8], (count, 3)), axis=0)
    rows = np.column_stack([time_s, demand, rng.uniform(0, 25, count)])
    return [tuple(row) for row in np.round(rows, 6).tolist()]


def test_every_row_is_one_cycle_of_the_flight_core_to_the_last_digit(tmp_path: Path) -> None:
    rows = wandering(400, seed=5)
    found = commands(tmp_path, rows, head=f"{HEAD},{PRESSURE}")
    steering = Steering(tables_of(vehicle_text()))
    before_us = round(rows[0][0] * 1e6) - 5000
    steering.start(before_us, before_us)
    expected = []
    for time_s, pitch, yaw, roll, pressure_bar in rows:
        steering.demand(round(pitch * 1000), round(yaw * 1000), round(roll * 1000))
        steering.step(round(pressure_bar * 1e5), round(time_s * 1e6) - before_us)
        before_us = round(time_s * 1e6)
        expected.append([*steering.deflection_mdeg, *steering.pulse_ns, *steering.moment_mnm])
    got = np.rint(column(found, *VANES, *PULSES, *MOMENTS) * 1000).astype(int)
    np.testing.assert_array_equal(got, expected)


def test_small_demands_are_given_and_roll_gives_way_first(tmp_path: Path) -> None:
    found = commands(
        tmp_path,
        [*steady(40, 300.0, -200.0, 5.0), (0.2, 1200.0, 0.0, 30.0), (0.4, 1200.0, 0.0, 30.0)],
    )
    given = column(found, *MOMENTS)
    np.testing.assert_allclose(given[39], [300, -200, 5], atol=0.6)
    np.testing.assert_allclose(given[-1, :2], [1200, 0], atol=0.6)
    assert 0 < given[-1, 2] < 10
    assert found["flags"][39] == "" and found["flags"][-1] == "roll-limited"


def test_slew_is_counted_from_row_to_row_and_for_the_first_one_from_neutral(tmp_path: Path) -> None:
    """250 deg/s: 1.25 deg in the first cycle of 5 ms, 2.5 deg in the 10 ms after it, of which pitch
    and yaw take 31/32."""
    found = commands(tmp_path, [(3.0, 1e4, 0, 0), (3.01, 1e4, 0, 0)])
    moved = np.diff(np.abs(column(found, *VANES)), axis=0, prepend=0)
    assert moved[0].max() == pytest.approx(1.25 * 31 / 32, abs=0.002)
    assert moved[1].max() == pytest.approx(2.5 * 31 / 32, abs=0.002)


def test_time_and_load_start_at_the_first_row(tmp_path: Path) -> None:
    """From a row at 26 s on, wear and lever arm are those of 26 s: the same moment takes more
    force from a worn vane, over a longer arm.
    """
    early = column(commands(tmp_path, steady(20, 500.0, 0.0, 0.0)), *VANES)[-1]
    late_rows = [(26 + t, *rest) for t, *rest in steady(20, 500.0, 0.0, 0.0)]
    late = commands(tmp_path, late_rows, engine={"burn_time_s": 40.0})
    ratio = 2.3 / (0.93 * 2.7)
    np.testing.assert_allclose(column(late, *VANES)[-1], early * ratio, atol=0.01)


def test_a_file_that_begins_after_the_flight_cores_clocks_end_is_taken(tmp_path: Path) -> None:
    """Burn time stops counting at 1000 s; a demand file may go on to an hour."""
    found = commands(tmp_path, [(3500.0, 100.0, 0, 0), (3500.005, 100.0, 0, 0)])
    assert all("no-thrust" in row for row in found["flags"])


def test_burn_load_can_be_told_apart_from_time(tmp_path: Path) -> None:
    rows = steady(20, 500.0, 0.0, 0.0)
    new = column(commands(tmp_path, rows), *VANES)[-1]
    worn = column(commands(tmp_path, rows, load_s=26.0), *VANES)[-1]
    np.testing.assert_allclose(worn, new / 0.93, atol=0.01)


def test_burn_load_follows_the_pressure_column(tmp_path: Path) -> None:
    """At half the pressure a second wears as 2^-0.8 s do (Bartz 1957)."""
    rows = [(n / 10, 0.0, 0.0, 0.0, 10.0) for n in range(101)]
    out, file = tmp_path / "c.csv", vehicle_file(tmp_path)
    result = run(file, demands_file(tmp_path, rows, f"{HEAD},{PRESSURE}"), "--out", out, "--json")
    assert json.loads(result.stdout)["burn_load_s"] == pytest.approx(10 * 0.574349, abs=0.002)


def test_without_a_pressure_column_the_jet_ends_with_the_burn_time(tmp_path: Path) -> None:
    rows = [(25.9 + n / 100, 100.0, 0.0, 0.0) for n in range(21)]
    found = commands(tmp_path, rows)
    assert found["flags"][10] == "" and "no-thrust" in found["flags"][11]
    assert (column(found, *VANES)[-1] == 0).all() and (column(found, *MOMENTS)[-1] == 0).all()


@pytest.mark.parametrize("bad", [1e7, -1e12, 1e300, 5e5])
def test_a_demand_out_of_range_is_held_off_then_the_vanes_go_to_neutral(
    tmp_path: Path, bad: float
) -> None:
    """The last good demand for 100 ms of timeout, then neutral; nothing follows the bad one."""
    found = commands(
        tmp_path,
        [*steady(10, 300.0, 0.0, 0.0), *((0.05 + n / 200, bad, 0.0, 0.0) for n in range(40))],
    )
    flags, pitch = found["flags"], found["pitch_nm"]
    assert set(flags[10:29]) == {"bad-demand"}
    np.testing.assert_allclose(pitch[5:29], 300, atol=0.6)
    assert all("stale-demand" in row and "bad-demand" in row for row in flags[30:])
    assert pitch[-1] == 0 and (column(found, *VANES)[-1] == 0).all()


def test_a_jammed_vane_stands_still_and_the_others_take_over(tmp_path: Path) -> None:
    rows = [(n / 200, 400 * math.sin(n / 20), 300.0, 0.0) for n in range(200)]
    found = commands(tmp_path, rows, jams=[Jam(2, 0.5)])
    stands = found["vane2_deg"][99]
    assert set(found["vane2_deg"][100:]) == {stands} and abs(stands) > 1
    assert all("jammed-vane" in row for row in found["flags"][100:])
    assert not any("jammed-vane" in row for row in found["flags"][:100])
    np.testing.assert_allclose(found["pitch_nm"][110:], [row[1] for row in rows[110:]], atol=0.8)


def test_the_policy_of_the_vehicle_file_is_followed(tmp_path: Path) -> None:
    """Out of reach, "direction" keeps the ratio of pitch to yaw and "nearest" does not. The rows
    are so far apart that slew does not matter.
    """
    rows = [(n / 5, 2000.0, 400.0, 0.0) for n in range(3)]
    ratio = {}
    for policy in ("nearest", "direction"):
        given = column(commands(tmp_path, rows, control={"policy": policy}), *MOMENTS)[-1]
        ratio[policy] = given[1] / given[0]
    assert ratio["direction"] == pytest.approx(0.2, abs=0.002)
    assert ratio["nearest"] < 0.05


def test_long_gaps_are_told_once_with_their_count(tmp_path: Path) -> None:
    rows = [(0.0, 0, 0, 0), (0.1, 0, 0, 0), (0.3, 0, 0, 0), (0.305, 0, 0, 0), (9.0, 0, 0, 0)]
    result = run(vehicle_file(tmp_path), demands_file(tmp_path, rows), "--out", tmp_path / "c.csv")
    assert result.exit_code == 0
    told = " ".join(without_progress(result.stderr).split())
    assert told.startswith("Warning: 2 rows came more than the demand timeout of 100 ms after")
    assert "the longest gap 8.695 s" in told and told.count("Warning") == 1
    assert "Warning: 2 rows" in (tmp_path / "c.html").read_text(encoding="utf-8")


def test_the_longest_gap_taken_still_counts_in_full(tmp_path: Path) -> None:
    """16 s in one cycle: burn time, and with it the lever arm, goes all the way."""
    found = commands(tmp_path, [(0.0, 500.0, 0, 0), (16.0, 500.0, 0, 0), (16.005, 500.0, 0, 0)])
    step_by_step = commands(tmp_path, [(n / 10, 500.0, 0, 0) for n in range(161)])
    np.testing.assert_allclose(
        column(found, *VANES)[-2], column(step_by_step, *VANES)[-1], atol=0.002
    )


def test_json_is_the_whole_result_and_all_of_standard_output(tmp_path: Path) -> None:
    rows = [*steady(20, 100.0, 0.0, 0.0), *((0.1 + n / 200, 9000.0, 0, 0) for n in range(20))]
    out = tmp_path / "c.csv"
    result = run(vehicle_file(tmp_path), demands_file(tmp_path, rows), "--out", out, "--json")
    told = json.loads(result.stdout)
    assert told["rows"] == 40 and told["commands"] == str(out)
    assert told["report"] == str(tmp_path / "c.html")
    found = read_all(out, COLUMNS, text={"flags": None})
    for flag, count in told["rows_flagged"].items():
        assert count == sum(flag in row.split(";") for row in found["flags"])
    wanted = np.array([row[1:] for row in rows])
    short = np.abs(wanted - column(found, *MOMENTS)).max(0)
    assert list(told["worst_shortfall_nm"].values()) == pytest.approx(short.tolist())
    (last,) = told["gave_way"]
    assert (last["from_s"], last["to_s"], last["what"]) == (0.1, 0.195, "pitch, yaw")
    assert last["vanes_at_travel"] == [1, 2, 3, 4]
    assert last["worst_shortfall_nm"]["pitch"] == pytest.approx(short[0])


def test_the_same_input_gives_the_same_files_but_for_the_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("mixer.ground.evidence.evidence.now", lambda: "2026-11-28T12:00:00Z")
    rows = wandering(300, seed=8)
    files = []
    for name in ("a", "b"):
        folder = tmp_path / name
        folder.mkdir()
        monkeypatch.chdir(folder)
        vehicle_file(folder)
        demands_file(folder, rows, f"{HEAD},{PRESSURE}")
        assert run("vehicle.toml", "demands.csv", "--out", "c.csv").exit_code == 0
        files.append([(folder / file).read_bytes() for file in ("c.csv", "c.html")])
    assert files[0] == files[1]


# ---- bad input ---------------------------------------------------------------------------------


def without_progress(text: str) -> str:
    """What stands on standard error beside a progress bar, which a slow machine shows."""
    return "\n".join(line for line in text.splitlines() if not line.startswith("Steering "))


def refused(folder: Path, *arguments: object, keep: int) -> str:
    """The message of a call that must end with status 2 and leave only `keep` files behind."""
    result = run(*arguments)
    assert result.exit_code == 2, (result.stdout, result.stderr, result.exception)
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    assert len(list(folder.iterdir())) == keep, sorted(folder.iterdir())
    return without_progress(result.stderr)


def refused_demands(folder: Path, content: str | bytes) -> str:
    path = folder / "demands.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    message = refused(folder, vehicle_file(folder), path, "--out", folder / "c.csv", keep=2)
    assert message.startswith(str(path)) and len(message.splitlines()) == 1
    return message.removeprefix(str(path))


GOOD = f"{HEAD}\n0,1,2,3\n0.005,1,2,3\n"


@pytest.mark.parametrize(("content", "told"), [
    ("", "line 1: empty"),
    (HEAD + "\n", "no rows below the header line"),
    ("time_s,pitch_nm,yaw_nm\n0,1,2\n", "column roll_nm: missing"),
    (GOOD.replace("roll_nm", "rol_nm"), "column rol_nm: unknown column; did you mean roll_nm?"),
    (GOOD + "0.01,1,fast,3\n", "line 4, column yaw_nm: 'fast'; must be a finite number"),
    (GOOD + "0.01,nan,2,3\n", "line 4, column pitch_nm: 'nan'; must be a finite number"),
    (GOOD + "0.01,1,2,inf\n", "line 4, column roll_nm: 'inf'; must be a finite number"),
    (GOOD + "0.01,1,,3\n", "line 4, column yaw_nm: ''; is empty"),
    (GOOD + "0.004,1,2,3\n", "line 4, column time_s: 0.004; must be later than the 0.005"),
    (GOOD + "0.005,1,2,3\n", "line 4, column time_s: 0.005; must be later than the 0.005"),
    (GOOD + "-1,1,2,3\n", "line 4, column time_s: -1.0; burn time must be from 0"),
    (GOOD + "16.1,1,2,3\n", "line 4, column time_s: 16.1; is 16.095 s after the row before it"),
    (GOOD + "0.01,1,2", "line 4: '0.01,1,2'; 3 cells where the header line names 4 columns (is"),
    (GOOD.replace(",", ";"), "columns are separated by commas"),
    (GOOD.encode("utf-16"), "line 1: "),
    (GOOD.replace("roll_nm\n", f"roll_nm,{PRESSURE}\n").replace("3\n", "3,-2\n"),
     f"line 2, column {PRESSURE}: -2.0; must be from 0 to 40 bar"),
])  # fmt: skip
def test_a_bad_demand_file_is_one_message_and_leaves_no_file(
    tmp_path: Path, content: str | bytes, told: str
) -> None:
    assert told in refused_demands(tmp_path, content)


def test_a_fault_a_long_way_into_the_file_leaves_no_file_either(tmp_path: Path) -> None:
    rows = "".join(f"{n / 200},1,2,3\n" for n in range(20_500))
    assert "line 20502, column roll_nm: 'x'" in refused_demands(
        tmp_path, f"{HEAD}\n{rows}200,1,2,x\n"
    )


def changed(value: Any, change: Any) -> Any:
    """A value of the vehicle file with `change` done to each number in it."""
    if isinstance(value, dict):
        return {key: changed(item, change) for key, item in value.items()}
    if isinstance(value, list):
        return [changed(item, change) for item in value]
    return change(value)


def broken_vehicles() -> list[Any]:
    """(id, table, key, keys to change) for every key of a vehicle file and every kind of fault."""
    cases = []
    for table, keys in SANE.items():
        for key, value in keys.items():
            kinds: dict[str, dict[str, Any]] = {"misspelt": {key: None, key + "x": value}}
            if key not in ("drag_n", "believed_pressure"):
                kinds["missing"] = {key: None}
            if not isinstance(value, str):
                kinds["nan"] = {key: changed(value, lambda _: NAN)}
                kinds["text"] = {key: "12"}
            if not isinstance(value, str) and key not in ("clocking_deg", "us_per_deg"):
                kinds["negative"] = {key: changed(value, lambda number: -abs(number) - 1)}
            if isinstance(value, list):
                kinds["too long"] = {key: [*value, value[-1] + 1]}
                kinds["nested"] = {key: [value, value]}
            if isinstance(value, list) and key not in ("clocking_deg", "drag_n", "effectiveness"):
                kinds["not rising"] = {key: value[::-1]}
            cases += [
                pytest.param(table, key, change, id=f"{table}.{key} {kind}")
                for kind, change in kinds.items()
            ]
    return cases


@pytest.mark.parametrize(("table", "key", "change"), broken_vehicles())
def test_a_bad_vehicle_file_is_told_of_by_key_and_leaves_no_file(
    tmp_path: Path, table: str, key: str, change: dict[str, Any]
) -> None:
    file = vehicle_file(tmp_path, **{table: change})
    demands = demands_file(tmp_path, steady(3, 1.0, 2.0, 3.0))
    message = refused(tmp_path, file, demands, "--out", tmp_path / "c.csv", keep=2)
    assert all(line.startswith(f"{file}: ") for line in message.splitlines())
    # of two lists that do not fit together the later one is named, with the other's name
    named = {"deflection_deg": "force_n", "load_s": "effectiveness"} if long(change) else {}
    assert (table if table == "servos" else f"{table}.{named.get(key, key)[:4]}") in message
    assert named.get(key) is None or key in message
    assert re.search(r"must|unknown key|missing|needs|twice|deg apart|not above", message)


def long(change: dict[str, Any]) -> bool:
    """Whether a change makes a list longer than it was."""
    return any(
        isinstance(value, list) and not isinstance(value[0], list) and len(value) > 3
        for value in change.values()
    )


def test_everything_wrong_with_a_vehicle_file_is_told_in_one_go(tmp_path: Path) -> None:
    file = vehicle_file(tmp_path, engine={"thrust_n": -1.0}, control={"rate_hz": "fast"})
    demands = demands_file(tmp_path, steady(3, 1.0, 2.0, 3.0))
    message = refused(tmp_path, file, demands, "--out", tmp_path / "c.csv", keep=2)
    assert "engine.thrust_n = -1.0" in message and 'control.rate_hz = "fast"' in message


@pytest.mark.parametrize("text", ["", "[vehicle", "vehicle = 3\n", "\x00"])
def test_what_is_no_vehicle_file_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "vehicle.toml").write_text(text)
    demands = demands_file(tmp_path, steady(3, 1.0, 2.0, 3.0))
    refused(tmp_path, tmp_path / "vehicle.toml", demands, "--out", tmp_path / "c.csv", keep=2)


def test_files_that_are_not_there_are_named(tmp_path: Path) -> None:
    file, demands = vehicle_file(tmp_path), demands_file(tmp_path, steady(3, 1.0, 2.0, 3.0))
    absent, out = tmp_path / "absent", tmp_path / "c.csv"
    assert str(absent) in refused(tmp_path, absent, demands, "--out", out, keep=2)
    assert str(absent) in refused(tmp_path, file, absent, "--out", out, keep=2)
    assert str(absent) in refused(tmp_path, file, demands, "--out", absent / "c.csv", keep=2)
    report = absent / "c.html"
    assert str(absent) in refused(tmp_path, file, demands, "--out", out, "--report", report, keep=2)


@pytest.mark.parametrize(("out", "report"), [
    ("demands.csv", "r.html"), ("vehicle.toml", "r.html"), ("c.csv", "demands.csv"),
    ("c.csv", "c.csv"), ("c.html", None), ("./sub/../demands.csv", "r.html"),
])  # fmt: skip
def test_a_source_is_never_written_over(tmp_path: Path, out: str, report: str | None) -> None:
    file, demands = vehicle_file(tmp_path), demands_file(tmp_path, steady(3, 1.0, 2.0, 3.0))
    (tmp_path / "sub").mkdir()
    before = [file.read_bytes(), demands.read_bytes()]
    options = [] if report is None else ["--report", tmp_path / report]
    message = refused(tmp_path, file, demands, "--out", tmp_path / out, *options, keep=3)
    assert "a result needs a file of its own" in message
    assert [file.read_bytes(), demands.read_bytes()] == before


def test_files_from_before_stay_as_they_were_when_the_input_is_bad(tmp_path: Path) -> None:
    out, report = tmp_path / "c.csv", tmp_path / "c.html"
    out.write_text("old commands")
    report.write_text("old report")
    demands = tmp_path / "demands.csv"
    demands.write_text(GOOD + "0.01,1,2,x\n")
    refused(tmp_path, vehicle_file(tmp_path), demands, "--out", out, keep=4)
    assert (out.read_text(), report.read_text()) == ("old commands", "old report")


@pytest.mark.parametrize("option", [
    ["--jam", "5", "1"], ["--jam", "1"], ["--jam", "1", "-2"], ["--jam", "3", "200"],
    ["--load", "-1"], ["--load", "x"],
])  # fmt: skip
def test_a_wrong_option_ends_with_2_and_leaves_no_file(tmp_path: Path, option: list[str]) -> None:
    file, demands = vehicle_file(tmp_path), demands_file(tmp_path, steady(3, 1.0, 2.0, 3.0))
    message = refused(tmp_path, file, demands, "--out", tmp_path / "c.csv", *option, keep=2)
    assert option[0] in message


# ---- many rows ---------------------------------------------------------------------------------

# The kernel's own figure for this program: getrusage also counts the one that started it.
STATUS = Path("/proc/self/status")
MEASURED = f"""
import re, sys
from mixer.ground.command_line.fourvane import fourvane
try:
    fourvane(sys.argv[1:])
finally:
    print(re.search(r"VmHWM:\\s*(\\d+) kB", open("{STATUS}").read())[1], file=sys.stderr)
"""


def memory_mb(folder: Path, rows: int) -> float:
    """The most memory a run of so many rows holds, from a process of its own."""
    demands, out = folder / "demands.csv", folder / "c.csv"
    time_s = np.arange(rows) * (26.0 / rows)
    wave = np.sin(time_s[:, None] * [2.0, 1.3, 5.0]) * [900, 700, 20]
    np.savetxt(demands, np.column_stack([time_s, wave]), "%.7f", ",", header=HEAD, comments="")
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, "allocate", vehicle_file(folder), demands, "--out", out,
         "--json"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert json.loads(done.stdout)["rows"] == rows
    with out.open() as stream:
        assert sum(1 for _ in stream) == rows + 1
    assert (folder / "c.html").stat().st_size < 6e6
    if rows > 40_000:
        assert "Steering" in done.stderr
    return int(done.stderr.split()[-1]) / 1024


@pytest.mark.usefixtures("campaign")
@pytest.mark.skipif(not STATUS.exists(), reason=f"memory is read from {STATUS}, Linux only")
def test_memory_does_not_grow_with_the_rows_and_progress_is_shown(
    tmp_path: Path,
) -> None:
    """Of 10 000 rows and of many more."""
    short = memory_mb(tmp_path, 10_000)
    long = memory_mb(tmp_path, 200_000)
    print(f"{short:.1f} MB for 10 000 rows, {long:.1f} MB for 200 000")
    assert long < short + 12
