"""`fourvane identify`: from a log to a corrected vehicle file, a report, or a programme."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.section_errors import Problem, VehicleError
from mixer.ground.static_test.log import StandLog, write_stand_log
from mixer.ground.static_test.programme import Programme, plan
from mixer.ground.static_test.simulation import truth_of
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle
from tests.support.drawn_vane import DRAWING, NOZZLE
from tests.support.static_tests import (
    CURVE,
    drawn_truth,
    made_log,
    vehicle_on_stand,
    with_angles,
)
from tests.support.vehicles import vehicle_file

SEED = 3
COMMENTS = {
    "[layout]": "[layout]  # as measured on the bench",
    "roll_arm_m = 0.045": "roll_arm_m = 0.045  # with a rule, to the middle of the vane",
    "[erosion]": "# burnt twice, see the log book\n[erosion]",
    "[servos]": "[servos]\n# numbered from the umbilical, clockwise",
}


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(fourvane, ["identify", *map(str, arguments)])


def commented_file(folder: Path, **changes: Any) -> Path:
    """The vehicle of the simulated tests, with a user's comments in it."""
    path = vehicle_file(folder, **{"vanes": CURVE, **changes})
    text = path.read_text()
    for plain, commented in COMMENTS.items():
        assert plain in text
        text = text.replace(plain, commented, 1)
    path.write_text(text)
    return path


def log_file(folder: Path, log: StandLog | None = None) -> Path:
    path = folder / "test.csv"
    truth, _ = drawn_truth(SEED, vehicle_on_stand())
    write_stand_log(path, log or made_log(SEED, vehicle_on_stand(), truth))
    return path


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """One full run: its folder and its JSON."""
    folder = tmp_path_factory.mktemp("identified")
    result = invoke(
        log_file(folder), "--vehicle", commented_file(folder), "--out", folder / "tested.toml",
        "--json",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    return folder, json.loads(result.stdout)


def test_the_corrected_file_is_closer_to_the_truth_in_everything(
    done: tuple[Path, dict[str, Any]],
) -> None:
    truth, effectiveness = drawn_truth(SEED, vehicle_on_stand())
    tested, before = load_vehicle(done[0] / "tested.toml"), vehicle_on_stand()
    loads_s = np.linspace(0, 25.5, 12)

    def forces(given: Vehicle) -> Array:
        return given.effectiveness(loads_s) * [given.force_n(v, 10.0) for v in range(4)]

    true_n = effectiveness(loads_s) * [before.force_n(v, 10.0) for v in range(4)]
    np.testing.assert_allclose(forces(tested), true_n, rtol=0.012)
    assert np.abs(forces(before) / true_n - 1).max() > 0.05
    np.testing.assert_allclose(tested.layout.clocking_deg, truth.clocking_deg, atol=0.35)
    assert tested.layout.roll_arm_m == pytest.approx(truth.roll_arm_m, rel=0.006)


def test_neutral_pulses_set_the_vanes_edge_on(done: tuple[Path, dict[str, Any]]) -> None:
    """At 0 the new file sends the pulse at which the old one would have said minus the offset."""
    truth, _ = drawn_truth(SEED, vehicle_on_stand())
    tested = load_vehicle(done[0] / "tested.toml")
    angles = [(float(servo.pulse_us(0.0)) - 1500.0) / 10.0 for servo in tested.servos]
    np.testing.assert_allclose(angles + truth.zero_deg, 0, atol=0.6)
    assert np.abs(truth.zero_deg).max() > 0.3


def test_comments_and_all_other_keys_stay(done: tuple[Path, dict[str, Any]]) -> None:
    before = (done[0] / "vehicle.toml").read_text()
    after = (done[0] / "tested.toml").read_text()
    comments = [line[line.index("#") :] for line in before.splitlines() if "#" in line]
    assert len(comments) == len(COMMENTS)
    for comment in comments:
        assert comment in after
    changed = ("clocking_deg", "roll_arm_m", "force_n", "drag_n", "load_s", "effectiveness")
    for line in before.splitlines():
        if not line.startswith((*changed, "neutral_us")):
            assert line in after.splitlines(), line


def test_the_errors_stand_in_the_new_file(done: tuple[Path, dict[str, Any]]) -> None:
    folder, result = done
    tested = load_vehicle(folder / "tested.toml")
    assert tested.uncertainty is not None
    found = {(f["quantity"], f["vane"]): f for f in result["findings"]}
    assert tested.uncertainty.clocking_deg is not None
    for vane in range(4):
        error = found["clocking", vane + 1]["error"]
        assert tested.uncertainty.clocking_deg[vane] == pytest.approx(error, abs=1e-4)
    new = found["effectiveness at 0 s of burn load", 1]
    relative = new["error"] / new["found"]
    assert tested.uncertainty.effectiveness_at(0.0)[0] == pytest.approx(relative, rel=0.01)


def test_a_second_test_corrects_the_corrected_file(
    done: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    """The same vanes tested again, steered by the new file: hardly anything is left to change."""
    given = load_vehicle(done[0] / "tested.toml")
    again = tmp_path / "again.csv"
    write_stand_log(again, made_log(SEED + 1, given))
    out = tmp_path / "twice.toml"
    result = invoke(again, "--vehicle", given.path, "--out", out, "--json")
    assert result.exit_code == 0, result.output
    findings = json.loads(result.stdout)["findings"]
    assert sum(finding["differs"] for finding in findings) <= 5  # about one of twenty by chance
    assert out.read_text().count("standard errors, from the static test again.csv") == 1
    assert "test.csv" not in out.read_text()


def test_what_changed_is_said(done: tuple[Path, dict[str, Any]]) -> None:
    changes = done[1]["changes"]
    for key in (
        "layout.clocking_deg", "layout.roll_arm_m", "vanes.force_n: scaled by", "vanes.drag_n",
        "erosion.effectiveness", "servos.neutral_us", "uncertainty",
    ):  # fmt: skip
        assert sum(change.startswith(key) for change in changes) == 1, key


def test_json_holds_every_finding_with_its_error(done: tuple[Path, dict[str, Any]]) -> None:
    result = done[1]
    assert {"findings", "warnings", "changes", "condition_number", "out", "report"} <= set(result)
    for finding in result["findings"]:
        assert finding["error"] > 0
        assert finding["told"]
    assert sum(finding["differs"] for finding in result["findings"]) > 10
    assert result["condition_number"] < 1.2


def test_the_report_is_one_page_that_loads_nothing(done: tuple[Path, dict[str, Any]]) -> None:
    page = Path(done[1]["report"]).read_text()
    assert page.count("<svg") == 6
    assert "http" not in page.replace("http://www.w3.org", "")
    for words in ("What the test told", "vane 3", "standard error", "Caution", "graphite dust"):
        assert words in page


def test_the_corrected_file_flies(done: tuple[Path, dict[str, Any]]) -> None:
    flight_tables(load_vehicle(done[0] / "tested.toml"))


def test_people_see_the_table_and_the_changes(tmp_path: Path) -> None:
    result = invoke(
        log_file(tmp_path), "--vehicle", commented_file(tmp_path), "--out", tmp_path / "new.toml"
    )
    assert result.exit_code == 0
    for words in ("effectiveness at 0 s", "differs", "Changed in the vehicle file", "new.html"):
        assert words in result.stdout


def test_what_was_not_told_stays_in_the_file(tmp_path: Path) -> None:
    truth, _ = drawn_truth(SEED, vehicle_on_stand())
    locked = with_angles(lambda deg: deg * [1, 1, 0, 1])
    log = log_file(tmp_path, made_log(SEED, truth=truth, programme=locked))
    out = tmp_path / "new.toml"
    result = invoke(log, "--vehicle", commented_file(tmp_path), "--out", out, "--json")
    assert result.exit_code == 0, result.output
    tested, warnings = load_vehicle(out), json.loads(result.stdout)["warnings"]
    assert tested.layout.clocking_deg[2] == 225.0
    assert tested.force_n(2, 15.0) == 200.0
    assert tested.effectiveness(26.0)[2] == pytest.approx(0.93)
    assert any("vane 3 was never moved" in warning for warning in warnings)
    assert any("not told by this test: clocking, vane 3" in warning for warning in warnings)
    assert tested.uncertainty is not None
    assert tested.uncertainty.effectiveness_at(0.0)[2] > 0.1  # the file's value, hardly known


def test_a_shorter_test_than_the_burn_keeps_the_files_wear_beyond(tmp_path: Path) -> None:
    given = vehicle_on_stand(engine={"burn_time_s": 13.0})
    truth, _ = drawn_truth(SEED, given)
    log = log_file(tmp_path, made_log(SEED, given, truth, plan(given, 13.0)))
    out = tmp_path / "new.toml"
    result = invoke(log, "--vehicle", commented_file(tmp_path), "--out", out, "--json")
    assert result.exit_code == 0, result.output
    tested = load_vehicle(out)
    end_s = json.loads(result.stdout)["burn_load_s"]
    ratio = tested.effectiveness(26.0) / tested.effectiveness(end_s)
    before = vehicle_on_stand().effectiveness(26.0) / vehicle_on_stand().effectiveness(end_s)
    np.testing.assert_allclose(ratio, before, rtol=2e-3)
    assert any("goes on as the file had it" in w for w in json.loads(result.stdout)["warnings"])


def test_servo_tables_are_shifted_and_taken_into_the_new_file(tmp_path: Path) -> None:
    angles = np.linspace(-17, 17, 9)
    rows = "\n".join(f"{deg:g},{1500 + 9.5 * deg + 0.05 * deg**2:.3f}" for deg in angles)
    (tmp_path / "servo.csv").write_text(f"deflection_deg,pulse_us\n{rows}\n")
    servos = {"neutral_us": None, "us_per_deg": None, "table": "servo.csv"}
    path = vehicle_file(tmp_path, vanes=CURVE, servos=servos)
    out = tmp_path / "new.toml"
    result = invoke(log_file(tmp_path), "--vehicle", path, "--out", out, "--json")
    assert result.exit_code == 0, result.output
    old, new = load_vehicle(path), load_vehicle(out)
    # Within two standard errors nothing moves: a test's noise is no reason to turn a vane.
    zero = [
        f["found"] if f["differs"] else 0.0
        for f in json.loads(result.stdout)["findings"]
        if "edge-on" in f["quantity"]
    ]
    assert any(zero) and not all(zero)
    for vane in range(4):
        moved = new.servos[vane].pulse_us(3.0)
        assert moved == pytest.approx(float(old.servos[vane].pulse_us(3.0 - zero[vane])), abs=0.1)
    (tmp_path / "servo.csv").unlink()
    assert flight_tables(load_vehicle(out)).to_bytes() == flight_tables(new).to_bytes()


def test_travel_ends_where_a_shifted_servo_table_ends(tmp_path: Path) -> None:
    (tmp_path / "servo.csv").write_text("deflection_deg,pulse_us\n-15,1350\n0,1500\n15,1650\n")
    servos = {"neutral_us": None, "us_per_deg": None, "table": "servo.csv"}
    path = vehicle_file(tmp_path, vanes=CURVE, servos=servos)
    out = tmp_path / "new.toml"
    result = invoke(log_file(tmp_path), "--vehicle", path, "--out", out, "--json")
    assert result.exit_code == 0, result.output
    travel = load_vehicle(out).vanes.travel_deg
    assert ((travel >= -15) & (travel <= 15)).all()
    edge_on_deg = load_vehicle(out).servo_table.edge_on_deg
    assert edge_on_deg is not None and edge_on_deg.any()
    np.testing.assert_array_equal(np.ptp(travel, axis=1) < 30, edge_on_deg != 0)
    assert any("travel ends where" in w for w in json.loads(result.stdout)["warnings"])


def test_neutrals_move_only_beyond_their_error_and_say_so(
    done: tuple[Path, dict[str, Any]],
) -> None:
    """The rule, vane by vane; what moved is kept for servos that are measured later."""
    folder, result = done
    tested = load_vehicle(folder / "tested.toml")
    assert tested.servo_table.edge_on_deg is not None
    off = [f for f in result["findings"] if "edge-on" in f["quantity"]]
    for vane, finding in enumerate(off):
        moved_deg = (1500.0 - float(tested.servos[vane].pulse_us(0.0))) / 10.0
        sure = abs(finding["found"]) > 2 * finding["error"]
        assert moved_deg == pytest.approx(finding["found"] if sure else 0.0, abs=2e-3)
        assert tested.servo_table.edge_on_deg[vane] == pytest.approx(moved_deg, abs=2e-3)
    assert any("the static test wins over the jig" in warning for warning in result["warnings"])


def test_neutrals_stay_where_the_jig_set_them_if_asked(tmp_path: Path) -> None:
    out = tmp_path / "new.toml"
    log, given = log_file(tmp_path), commented_file(tmp_path)
    result = invoke(log, "--vehicle", given, "--out", out, "--keep-neutrals", "--json")
    assert result.exit_code == 0, result.output
    tested = load_vehicle(out)
    assert [float(servo.pulse_us(0.0)) for servo in tested.servos] == [1500.0] * 4
    off = [f for f in json.loads(result.stdout)["findings"] if "edge-on" in f["quantity"]]
    assert tested.uncertainty is not None and tested.uncertainty.zero_deg is not None
    worst = max(off, key=lambda f: abs(f["found"]))
    assert tested.uncertainty.zero_deg[worst["vane"] - 1] >= abs(worst["found"]) - 1e-4
    assert any("--keep-neutrals" in warning for warning in json.loads(result.stdout)["warnings"])


@pytest.mark.parametrize(
    ("factors", "said"),
    [
        ((1 / 9.80665,) * 4, "looks like kilograms-force"),
        ((1e-3,) * 4, "looks like kilonewtons"),
        ((1.0, 1.0, 1.0, -1.0), "its sign is reversed"),
        ((1 / 9.80665, 1 / 9.80665, 1.0, 1.0), "the roll arm comes out as 0."),
        ((1.0, 1.0, 1 / 4.4482216, 1.0), "roll_nm looks like pounds-force"),
        ((9.80665,) * 4, "the vehicle file, or the channels beside"),
    ],
)
def test_loads_in_a_wrong_unit_or_of_a_wrong_sign_are_refused_with_the_reason(
    tmp_path: Path, factors: tuple[float, ...], said: str
) -> None:
    log = made_log(SEED)
    log.loads[:] = log.loads * factors
    out = tmp_path / "new.toml"
    arguments = (log_file(tmp_path, log), "--vehicle", commented_file(tmp_path), "--out", out)
    result = invoke(*arguments)
    assert result.exit_code == 2
    assert said in result.stderr and "Nothing was written" in result.stderr
    assert not out.exists() and not out.with_suffix(".html").exists()


def test_a_corrected_file_that_is_refused_leaves_the_report_and_says_what_to_do(
    tmp_path: Path,
) -> None:
    log, given = log_file(tmp_path), commented_file(tmp_path)
    out = tmp_path / "new.toml"

    def refused(text: object, path: Path) -> None:
        raise VehicleError(str(path), [Problem("vanes.geometry", "0.4", "the vanes collide")])

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("mixer.ground.vehicle_edits.text.VehicleText.write", refused)
        result = invoke(log, "--vehicle", given, "--out", out)
    assert result.exit_code == 2
    assert "the vehicle file as this test corrects it" in result.stderr
    assert "the vanes collide" in result.stderr and "new.html" in result.stderr
    assert not out.exists()
    assert "was refused and not written" in out.with_suffix(".html").read_text()


def test_drawn_vanes_keep_their_drawing_and_the_wear_table_takes_the_scale(tmp_path: Path) -> None:
    vanes = {"travel_deg": [-15.0, 15.0], "geometry": DRAWING}
    nothing = dict.fromkeys(("deflection_deg", "force_n", "drag_n"))
    path = vehicle_file(tmp_path, vanes={**vanes, **nothing}, engine=NOZZLE, erosion=None)
    drawn = load_vehicle(path)
    truth, effectiveness = drawn_truth(SEED, drawn)
    log = log_file(tmp_path, made_log(SEED, drawn, truth, plan(drawn)))
    out = tmp_path / "new.toml"
    result = invoke(log, "--vehicle", path, "--out", out)
    assert result.exit_code == 0, result.output
    tested = load_vehicle(out)
    assert tested.vanes.geometry == drawn.vanes.geometry
    loads_s = np.array([0.0, 12.0, 25.0])
    np.testing.assert_allclose(tested.effectiveness(loads_s), effectiveness(loads_s), atol=0.015)


def with_cut_log(folder: Path) -> Path:
    path = log_file(folder)
    path.write_text(path.read_text()[:-20])
    return path


def unreadable(folder: Path) -> Path:
    return folder / "none.csv"


def swapped(folder: Path) -> Path:
    log = made_log(SEED)
    log.vanes_deg[:] = log.vanes_deg[:, [2, 1, 0, 3]]
    return log_file(folder, log)


def empty(folder: Path) -> Path:
    (folder / "test.csv").write_text("")
    return folder / "test.csv"


def loose(folder: Path) -> Path:
    """Vane 3's shaft turns without its vane."""
    gone = truth_of(
        vehicle_on_stand(), lambda load_s: np.tile([1.0, 1.0, 0.001, 1.0], (len(load_s), 1))
    )
    return log_file(folder, made_log(SEED, truth=gone))


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (loose, "vane 3 gave only "),
        (with_cut_log, "is the file cut off here?"),
        (unreadable, "none.csv: No such file or directory"),
        (swapped, "vane1_deg and vane3_deg are swapped"),
        (empty, "empty; the first line must be time_s,chamber_pressure_bar,vane1_deg"),
    ],
)
def test_a_bad_log_ends_with_2_one_message_and_no_file(
    tmp_path: Path, make: Any, said: str
) -> None:
    log, given = make(tmp_path), commented_file(tmp_path)
    before = set(tmp_path.iterdir())
    result = invoke(log, "--vehicle", given, "--out", tmp_path / "new.toml")
    assert result.exit_code == 2
    assert said in result.stderr
    assert "Traceback" not in result.output
    assert set(tmp_path.iterdir()) == before


@pytest.mark.parametrize("command", [
    ("identify", "test.csv"), ("identify", "--plan"), ("erosion", "fit", "inspection.csv"),
    ("servo", "adopt", "bench"),
])  # fmt: skip
def test_no_command_writes_over_the_vehicle_file_it_reads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    commented_file(tmp_path)
    (tmp_path / "bench").mkdir()
    for name in ("test.csv", "inspection.csv"):
        (tmp_path / name).write_text("time_s\n0\n", encoding="utf-8")
    before = (tmp_path / "vehicle.toml").read_bytes()
    same = ["--vehicle", "vehicle.toml", "--out", "vehicle.toml"]
    result = CliRunner().invoke(fourvane, [*command, *same])
    assert result.exit_code == 2
    assert result.stderr == "vehicle.toml: named twice; a result needs a file of its own\n"
    assert (tmp_path / "vehicle.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "name the LOG of a static test, or ask for a programme with --plan"),
        (("test.csv", "--plan"), "leave out LOG"),
        (("test.csv", "--report", "new.toml"), "new.toml: named twice"),
        (("--plan", "--burn-s", "2"), "a burn of 2 s is too short for one round of the programme"),
        (("test.csv", "--wear-points", "9"), "9 is not in the range"),
    ],
)
def test_arguments_that_do_not_go_together_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    commented_file(tmp_path)
    result = invoke(*arguments, "--vehicle", "vehicle.toml", "--out", "new.toml")
    assert result.exit_code == 2
    assert said in result.output


def test_an_output_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    log, given = log_file(tmp_path), commented_file(tmp_path)
    before = set(tmp_path.iterdir())
    result = invoke(log, "--vehicle", given, "--out", tmp_path / "missing" / "new.toml")
    assert result.exit_code == 2
    assert "does not exist" in result.stderr
    assert set(tmp_path.iterdir()) == before


def test_a_locked_vane_is_taken_on_the_users_word(tmp_path: Path) -> None:
    log = made_log(SEED, programme=with_angles(lambda deg: deg * [1, 1, 1, 0]))
    log.vanes_deg[:, 3] = 0.0
    arguments = (log_file(tmp_path, log), "--vehicle", commented_file(tmp_path))
    refused = invoke(*arguments, "--out", tmp_path / "new.toml")
    assert refused.exit_code == 2
    assert "say so with --still 4" in refused.stderr
    taken = invoke(*arguments, "--out", tmp_path / "new.toml", "--still", 4, "--json")
    assert taken.exit_code == 0, taken.output
    assert json.loads(taken.stdout)["condition_number"] is None


def programme_of(path: Path) -> Programme:
    rows = np.loadtxt(path, delimiter=",", skiprows=1)
    return Programme(rows[:, 0], rows[:, 1:], 0.0, 0)


def test_a_proposed_programme_played_on_the_stand_tells_everything_apart(tmp_path: Path) -> None:
    """From the written CSV, through a simulated burn, to a fit that leaves nothing open."""
    given = commented_file(tmp_path)
    planned = invoke("--plan", "--vehicle", given, "--out", tmp_path / "programme.csv", "--json")
    assert planned.exit_code == 0, planned.output
    promised = json.loads(planned.stdout)["expected_errors"]
    assert promised["clocking"] < 0.1
    log = made_log(SEED, programme=programme_of(tmp_path / "programme.csv"))
    result = invoke(
        log_file(tmp_path, log), "--vehicle", given, "--out", tmp_path / "new.toml", "--json"
    )
    assert result.exit_code == 0, result.output
    assert all(finding["told"] for finding in json.loads(result.stdout)["findings"])


def test_a_programme_says_what_the_stand_must_carry(tmp_path: Path) -> None:
    result = invoke("--plan", "--vehicle", commented_file(tmp_path), "--out", tmp_path / "p.csv")
    assert result.exit_code == 0
    for words in ("side_y_n", "roll_nm", "The stand must carry the largest loads", "hands off"):
        assert words in result.stdout


def test_help_shows_an_example_and_the_caution() -> None:
    result = invoke("--help")
    assert "Example: fourvane identify test.csv --vehicle vehicle.toml" in result.output
    assert "CAUTION" in result.output
