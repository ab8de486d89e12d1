"""What `fourvane servo adopt` refuses: failed runs, rehearsals, runs on another vehicle."""

import json

import pytest
from click.testing import CliRunner

from mixer.ground.command import fourvane
from mixer.ground.servo_command import servo
from tests.vehicles import vehicle_file


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
