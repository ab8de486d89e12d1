"""What `fourvane servo adopt` refuses: failed runs, rehearsals, runs on another vehicle."""

import json

import pytest
from click.testing import CliRunner

from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.commands.servo import servo
from mixer.ground.vehicle.vehicle import load_vehicle
from tests.support.vehicles import vehicle_file


def run(*arguments):
    group = type(fourvane)("fourvane", commands={"servo": servo})
    return CliRunner().invoke(group, [str(a) for a in arguments])


@pytest.fixture
def bench(tmp_path):
    """Writes the results of a bench run; call it with what is not as in a good run."""
    file = vehicle_file(tmp_path)
    name = next(line for line in file.read_text().splitlines() if line.startswith("name"))

    def write(*options, without=(), **changed):
        results = {
            "vehicle": name.split('"')[1],
            "board": "/dev/ttyACM0",
            "rehearsal": False,
            "passed": True,
            "reasons": [],
            "servos": {"1": {"figures": {"slew_deg_s": 250.0}, "table": None}},
            **changed,
        }
        for key in without:
            del results[key]
        (tmp_path / "bench.json").write_text(json.dumps(results))
        out = ("--vehicle", file, "--out", tmp_path / "new.toml")
        return run("servo", "adopt", tmp_path, *out, *options), tmp_path / "new.toml"

    return write


FAILED = {"passed": False, "reasons": ["servo 3: loose horn: 2.9 deg of play"]}


def test_a_good_run_on_real_servos_is_taken(bench):
    done, new = bench()
    assert done.exit_code == 0, done.output
    assert "225.0" in new.read_text()


def test_a_failed_run_is_refused_with_1_and_its_reasons(bench):
    done, new = bench(**FAILED)
    assert done.exit_code == 1
    assert "servo 3: loose horn: 2.9 deg of play" in done.stderr
    assert "--although-failed" in done.stderr
    assert not new.exists()


def test_a_failed_run_is_taken_where_that_is_meant_and_it_is_said(bench):
    done, new = bench("--although-failed", **FAILED)
    assert done.exit_code == 0, done.output
    assert "although the bench run failed" in done.stderr
    assert "loose horn" in done.stderr
    assert new.exists()


def test_what_was_not_measured_is_said(bench):
    done, _ = bench(not_measured=["drift_deg"])
    assert done.exit_code == 0, done.output
    assert "not measured: drift_deg" in done.stderr


def test_meaning_a_failed_run_is_not_meaning_a_rehearsal(bench):
    done, new = bench("--although-failed", rehearsal=True, board="unix", **FAILED)
    assert done.exit_code == 2
    assert "adopted" not in done.output
    assert not new.exists()


@pytest.mark.parametrize(
    ("results", "words"),
    [
        ({"rehearsal": True, "board": "unix"}, "emulated servos on board unix"),
        ({"without": ("rehearsal", "board")}, "the key rehearsal is missing"),
        ({"vehicle": "Another"}, "measured on the vehicle 'Another'"),
        ({"without": ("vehicle",)}, "not the results of a bench run"),
    ],
)
def test_what_is_no_measurement_of_this_vehicle_is_refused_with_2(bench, results, words):
    done, new = bench(**results)
    assert done.exit_code == 2
    assert words in done.stderr
    assert not new.exists()


def test_a_rehearsal_is_taken_where_that_is_meant_and_it_is_said(bench):
    done, new = bench("--rehearsal", rehearsal=True, board="unix")
    assert done.exit_code == 0, done.output
    assert "a rehearsal" in done.stderr
    assert new.exists()


@pytest.mark.parametrize("keep", [False, True])
def test_what_a_static_test_found_wins_over_the_jig_unless_the_jig_is_kept(tmp_path, keep):
    """Edge-on found 0.71° off for vane 2: the bench's table says 0 where the jig does."""
    for number in range(1, 5):
        rows = "".join(f"{deg},{1500 + 10 * deg}\n" for deg in (-16, 0, 16))
        (tmp_path / f"servo-{number}.csv").write_text(f"deflection_deg,pulse_us\n{rows}")
    servos = {"edge_on_deg": [0.0, 0.71, 0.0, 0.0]}
    file = vehicle_file(tmp_path, servos=servos)
    name = load_vehicle(file).vehicle.name
    each = {str(n): {"figures": {}, "table": f"servo-{n}.csv"} for n in range(1, 5)}
    results = {"vehicle": name, "board": "x", "rehearsal": False, "passed": True, "reasons": [],
               "servos": each}  # fmt: skip
    (tmp_path / "bench.json").write_text(json.dumps(results))
    out = tmp_path / "new.toml"
    options = ["--keep-jig"] if keep else []
    done = run("servo", "adopt", tmp_path, "--vehicle", file, "--out", out, *options)
    assert done.exit_code == 0, done.output
    new = load_vehicle(out)
    pulses = [float(servo_of.pulse_us(0.0)) for servo_of in new.servos]
    if keep:
        assert pulses == [1500.0] * 4
        assert new.servo_table.edge_on_deg is None
        assert "neutral is the jig's again" in done.stdout
    else:
        assert pulses == pytest.approx([1500.0, 1492.9, 1500.0, 1500.0])
        assert new.servo_table.edge_on_deg[1] == 0.71
        assert "the static test wins over the jig" in done.stdout
        # The table of the bench itself is left as it was measured.
        assert "0,1500" in (tmp_path / "servo-2.csv").read_text()
