"""A test day without hardware: plan, play cold and hot, merge, identify; what may not begin."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from hil.stand.programme_file import LEAD_S, TICKS_S, knots_of, read_programme
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.two_clocks.play_record import read_play_record
from mixer.ground.vehicle.vehicle import load_vehicle
from tests.support.static_tests import CURVE
from tests.support.vehicles import vehicle_text

QUICK: dict[str, Any] = {
    "engine": {"burn_time_s": 6.5},
    "vanes": CURVE,
    "control": {"rate_hz": 100},
    "erosion": {"load_s": [0.0, 13.0], "effectiveness": [1.0, 0.98]},
}
SLOW = {**QUICK, "control": {"rate_hz": 25}}
UNLIKE: dict[str, Any] = {
    **QUICK,
    "vehicle": {"name": "Another invented vehicle"},
    "layout": {"clocking_deg": [0.0, 91.0, 180.0, 266.0]},
    "servos": {"slew_deg_s": [300.0, 260.0, 280.0, 250.0], "us_per_deg": [10, -9, 8.5, -11]},
}
SHORT_CSV = "time_s,vane1_deg,vane2_deg,vane3_deg,vane4_deg\n0,0,0,0,0\n0.2,5,-5,0,5\n0.6,0,0,0,0\n"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(fourvane, [str(each) for each in arguments])


def told(*arguments: object) -> dict[str, Any]:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a vehicle file and a short programme."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "vehicle.toml").write_text(vehicle_text(**SLOW))
    (tmp_path / "short.csv").write_text(SHORT_CSV)
    return tmp_path


def play(*options: object) -> Result:
    return run("stand", "play", "short.csv", "--vehicle", "vehicle.toml", *options)


def chain(board: str, *options: object) -> None:
    """Plan → play cold → play hot → merge → identify → vehicle file, on a board."""
    told("identify", "--plan", "--vehicle", "vehicle.toml", "--out", "programme.csv")
    common = ("stand", "play", "programme.csv", "--vehicle", "vehicle.toml", "--board", board)
    cold = told(*common)
    assert cold["outcome"] == "played to its end" and cold["lost"] == 0
    hot = told(*common, "--hot", "--emulated-log", "log.csv", *options)
    assert hot["cold_run"] == Path(cold["record"]).name
    merged = told(
        "stand", "merge", "log.csv", hot["record"], "--vehicle", "vehicle.toml",
        "--out", "test.csv",
    )  # fmt: skip
    assert merged["by"] == "sync"
    assert abs(merged["offset_s"] - 2.7) < 0.0005 + 0.5 / 200
    assert abs(merged["drift_ppm"] - 50) < max(15.0, 3 * merged["drift_error_ppm"])
    found = told("identify", "test.csv", "--vehicle", "vehicle.toml", "--out", "tested.toml")
    errors = [
        (each["found"] - each["was"]) / each["error"]
        for each in found["findings"]
        if each["quantity"].startswith("effectiveness") and each["told"]
    ]
    assert len(errors) >= 8
    assert np.mean(np.abs(errors) < 2) >= 0.75 and np.max(np.abs(errors)) < 4
    load_vehicle("tested.toml")
    says_rehearsal(board, hot, merged, found)


def says_rehearsal(board: str, hot: Any, merged: Any, found: Any) -> None:
    """From the play to the vehicle file every result carries that nothing burnt."""
    kinds = [each["evidence"]["kind"] for each in (hot, merged, found)]
    assert kinds == ["stand play --hot", "stand merge", "identify"]
    assert all(each["evidence"]["rehearsal"] is True for each in (hot, merged, found))
    assert (hot["evidence"]["board"], hot["evidence"]["verdict"]) == (board, "pass")
    assert set(hot["evidence"]["files"]) == {"programme.csv", "hot-1.record"}
    assert set(merged["evidence"]["files"]) == {"log.csv", "hot-1.record", "test.csv"}
    kept = json.loads(Path("fourvane-stand/hot-1.evidence.json").read_text(encoding="utf-8"))
    assert kept["evidence"] == hot["evidence"]
    assert hot["next"].startswith("fourvane stand merge log.csv fourvane-stand/hot-1.record")
    assert "test.csv, a rehearsal" in Path("tested.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("changes", [SLOW, QUICK, UNLIKE], ids=["25 Hz", "100 Hz", "askew"])
def test_plan_play_merge_identify_lead_to_a_vehicle_file(place, changes, size):
    if size == "laptop" and changes is not SLOW:
        pytest.skip("at 100 Hz, and the second vehicle: with --campaigns")
    (place / "vehicle.toml").write_text(vehicle_text(**changes))
    chain("none")


@pytest.mark.usefixtures("campaign")
def test_the_chain_holds_on_the_unix_board(place):
    chain("unix")


def test_hot_waits_for_a_cold_run_of_the_same_programme_by_the_same_tables(place):
    refused = play("--hot")
    assert refused.exit_code == 2 and "no whole cold run" in refused.stderr
    assert play().exit_code == 0
    (place / "short.csv").write_text(SHORT_CSV.replace("0.2,5", "0.2,4"))
    assert play("--hot").exit_code == 2
    (place / "short.csv").write_text(SHORT_CSV)
    (place / "vehicle.toml").write_text(vehicle_text(**{**SLOW, "control": {"rate_hz": 40}}))
    assert play("--hot").exit_code == 2
    (place / "vehicle.toml").write_text(vehicle_text(**SLOW))
    assert play("--hot").exit_code == 0
    again = play("--hot")
    assert again.exit_code == 2 and "played hot already" in again.stderr
    assert sorted(path.name for path in (place / "fourvane-stand").glob("*.record")) == [
        "cold-1.record",
        "hot-1.record",
    ]


def test_why_there_was_no_cold_run_is_kept_in_the_record(place):
    assert play("--hot", "--no-cold-run", "played cold on the other bench").exit_code == 0
    header = read_play_record(place / "fourvane-stand" / "hot-1.record").header
    assert header["no_cold_run_because"] == "played cold on the other bench"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("0.2,5", "0.2,15.5"), "within the travel of -15 to 15"),
        (("0.2,5", "0.01,5"), "the slew is 250"),
        (("0,0,0,0,0", "0,3,0,0,0"), "must begin and end within 0.5 deg"),
        (("0.6,0", "0.2,0"), "must be later than the 0.2"),
        (("0.6,0", "900,0"), "must be from 0 to 344"),
        (("0.2,5", "0.2,x"), "column vane1_deg"),
    ],
)
def test_a_programme_that_the_vanes_cannot_play_is_refused_by_its_cell(place, change, says):
    (place / "short.csv").write_text(SHORT_CSV.replace(*change, 1))
    refused = play()
    assert refused.exit_code == 2 and says in refused.stderr
    assert "short.csv" in refused.stderr and "line" in refused.stderr
    assert not list((place / "fourvane-stand").glob("*.record"))


def test_another_vehicle_s_record_a_bench_journal_and_no_record_are_refused(place):
    assert play("--emulated-log", "log.csv").exit_code == 0
    (place / "other.toml").write_text(vehicle_text(**UNLIKE))
    for record, says in (
        ("fourvane-stand/cold-1.record", "played with the vehicle"),
        ("short.csv", "not a journal"),
    ):
        refused = run("stand", "merge", "log.csv", record, "--vehicle", "other.toml", "--out", "x")
        assert refused.exit_code == 2 and says in refused.stderr, refused.stderr
    assert not (place / "x").exists()


def test_a_log_whose_clock_runs_backwards_is_refused(place):
    assert play("--emulated-log", "log.csv").exit_code == 0
    lines = (place / "log.csv").read_text().splitlines()
    lines[40], lines[41] = lines[41], lines[40]
    (place / "log.csv").write_text("\n".join(lines) + "\n")
    record = "fourvane-stand/cold-1.record"
    refused = run(
        "stand", "merge", "log.csv", record, "--vehicle", "vehicle.toml", "--out", "x.csv"
    )
    assert refused.exit_code == 2 and "line 42, column time_s" in refused.stderr


def test_knots_stand_for_the_programme_within_their_tolerance(place):
    told("identify", "--plan", "--vehicle", "vehicle.toml", "--out", "programme.csv")
    time_s, deflection_deg = read_programme("programme.csv", load_vehicle("vehicle.toml"))
    knots = knots_of(time_s, deflection_deg, "programme.csv")
    for vane in range(4):
        back = np.interp(time_s + LEAD_S, knots.ticks / TICKS_S, knots.mdeg[:, vane] / 1000)
        # a knot's time is known to half a tick, in which a vane at 250 deg/s turns 0.016 deg
        assert np.abs(back - deflection_deg[:, vane]).max() < 0.002 + 250 * 0.5 / TICKS_S
    assert len(knots.ticks) < len(time_s)
