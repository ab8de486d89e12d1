"""`fourvane check`: sound cores pass, broken ones are found, and the case shown shows it again."""

import json
import re
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from mixer.ground.authority.reach import Reach
from mixer.ground.check import promises
from mixer.ground.check.search import CounterExample, Searched, breach_of, check_promises
from mixer.ground.check.smallest import simpler_flights
from mixer.ground.check.steering_on_trial import SteeringOnTrial
from mixer.ground.check.trial_flight import BreachError, TrialCycle, TrialFlight
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.exact_policy.bounds import most_moved_counts
from mixer.ground.exact_policy.fair_roll import fair_roll_error, roll_interval
from mixer.ground.exact_policy.policy import Exact, exact_policy
from tests.oracle.cases import cases
from tests.oracle.directions import directions
from tests.oracle.fair_roll import fair_roll_interval
from tests.support.broken_cores import BROKEN
from tests.support.vehicles import vehicle, vehicle_file

SEED = 2_406
EXAMPLES = 250  # enough for every broken core here, with every seed tried
DEMO = Path(promises.__file__).parents[1] / "demo" / "demo.toml"


@pytest.fixture(autouse=True)
def tables_built_quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the proof of word bounds: not looked at here."""
    monkeypatch.setattr("mixer.ground.kernel_code.bounds.bound_cycle", lambda words: None)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(fourvane, ["check", *map(str, arguments)])


def search(trial: SteeringOnTrial, promise: str, examples: int = EXAMPLES) -> Searched:
    print(f"seed {SEED}")
    (finding,) = check_promises(trial, examples, SEED, promises=[getattr(promises, promise)])
    return finding


SOUND = {
    "quarter turns": {},
    "quarter turns, direction": {"control": {"policy": "direction"}},
    "uneven, one-sided, slow, worn": {
        "layout": {"clocking_deg": [10.0, 80.0, 191.0, 275.0]},
        "vanes": {"travel_deg": [[-15.0, 15.0], [0.0, 12.0], [-9.5, 15.0], [-15.0, 4.0]]},
        "erosion": {"load_s": [0.0, 9.0, 26.0], "effectiveness": [
            [1.0, 0.9, 0.4], [1.0, 1.02, 0.9], [0.97, 0.9, 0.9], [1.0, 0.99, 0.98]]},
        "servos": {"slew_deg_s": [250.0, 100.0, 60.0, 400.0]},
    },
    "a hair of misclocking": {"layout": {"clocking_deg": [45.1, 135.0, 225.0, 314.9]}},
}  # fmt: skip


@pytest.mark.parametrize("name", SOUND)
def test_a_sound_core_keeps_every_promise(name: str, size: str) -> None:
    print(f"seed {SEED}")
    examples = 6 if size == "laptop" else 40
    findings = check_promises(SteeringOnTrial(vehicle(**SOUND[name])), examples, SEED)
    for finding in findings:
        assert finding.kept, finding.counter_example
        assert finding.flights >= examples and all(
            one.share <= 1 for one in finding.closest.values()
        )
    assert [finding.name for finding in findings] == [
        "limits", "priority", "continuity", "recovery", "accuracy", "rest",
    ]  # fmt: skip


@cache
def case_against(name: str) -> CounterExample | None:
    """The smallest flight that shows how a core is broken."""
    promise, break_it, _ = BROKEN[name]
    with pytest.MonkeyPatch.context() as broken:
        break_it(broken)
        return search(SteeringOnTrial(vehicle()), promise).counter_example


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_core_is_found_and_its_smallest_case_shows_it_again(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    promise, break_it, says = BROKEN[name]
    file = vehicle_file(tmp_path)
    found = case_against(name)
    assert found is not None, "not found"
    print(found.breach)
    assert says in found.breach
    code = found.code(promise, file)
    with monkeypatch.context() as broken:
        break_it(broken)
        with pytest.raises(BreachError, match=f"^{re.escape(found.breach)}$"):
            exec(code, {})
    exec(code, {})  # a sound core keeps the promise on the same flight


@pytest.mark.parametrize("name", ["wrong pulse", "jumping primary", "wear forgotten"])
def test_the_case_is_small(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """One or a few cycles, and nothing in them that does not matter: no simpler one breaks it."""
    promise, break_it, _ = BROKEN[name]
    break_it(monkeypatch)
    trial = SteeringOnTrial(vehicle())
    found = case_against(name)
    assert found is not None
    assert len(found.flight.cycles) <= 3
    for simpler in simpler_flights(found.flight):
        assert not breach_of(trial, getattr(promises, promise), simpler)


def test_the_command_passes_the_demo_vehicle_with_a_seed_to_repeat_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(DEMO, "--examples", 4)
    assert result.exit_code == 0, result.output
    seed = int(re.search(r"seed (\d+)", result.stdout).group(1))
    assert "PASS. No promise was found broken." in result.stdout
    assert "not a proof" in result.stdout
    again = run(DEMO, "--examples", 4, "--seed", seed)
    assert again.stdout == result.stdout
    assert list(tmp_path.iterdir()) == []


def test_the_command_prints_the_case_and_ends_with_1(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = vehicle_file(tmp_path)
    BROKEN["wrong pulse"][1](monkeypatch)
    result = run(file, "--examples", 8, "--seed", SEED)
    assert result.exit_code == 1
    assert "FAIL. Broken: limits." in result.stdout
    printed = result.stdout[result.stdout.index("from mixer.ground") :]
    code = printed[: printed.index("FAIL.")]
    with pytest.raises(BreachError, match="vane 4: pulse"):
        exec(code, {})


def test_json_holds_findings_seed_and_case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = vehicle_file(tmp_path)
    BROKEN["wrong pulse"][1](monkeypatch)
    told = json.loads(run(file, "--examples", 8, "--seed", SEED, "--json").stdout)
    assert told["seed"] == SEED and told["passed"] is False
    by_name = {one["name"]: one for one in told["promises"]}
    assert not by_name["limits"]["kept"] and "vane 4: pulse" in by_name["limits"]["breach"]
    compile(by_name["limits"]["case"], "case", "exec")
    assert by_name["accuracy"]["kept"] and by_name["accuracy"]["case"] is None
    assert {one["unit"] for one in by_name["accuracy"]["closest"]} == {"counts"}


def test_requirements_out_of_reach_fail_the_vehicle(tmp_path: Path) -> None:
    file = vehicle_file(tmp_path, requirements={"roll_nm": 34.9})
    result = run(file, "--examples", 2, "--seed", 1)
    assert result.exit_code == 1
    assert "FAIL. No promise was found broken. Roll of 34.9 N·m is not within reach" in (
        result.stdout
    )
    told = json.loads(run(file, "--examples", 2, "--seed", 1, "--json").stdout)
    assert told["requirements_met"] is False and told["unmet"][0]["axis"] == "roll"


def test_without_requirements_it_says_that_none_were_compared(tmp_path: Path) -> None:
    result = run(vehicle_file(tmp_path), "--examples", 2, "--seed", 1)
    assert result.exit_code == 0
    assert "states no moments, so none were compared" in result.stdout


def test_a_bound_that_says_nothing_is_called_so(tmp_path: Path) -> None:
    """Vanes 0.01° off parallel: a count of demand may move a force by thousands."""
    file = vehicle_file(tmp_path, layout={"clocking_deg": [45.01, 135.0, 225.0, 315.0]})
    sentence = "A bound of more than 4096 counts, a vane's whole force, says nothing"
    assert sentence in run(file, "--examples", 2, "--seed", 1).stdout
    assert sentence not in run(vehicle_file(tmp_path), "--examples", 2, "--seed", 1).stdout


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--examples", "0"], "Invalid value for '--examples'"),
        (["--seed", "-1"], "Invalid value for '--seed'"),
    ],
)
def test_a_wrong_request_ends_with_2(tmp_path: Path, arguments: list[str], message: str) -> None:
    result = run(vehicle_file(tmp_path), *arguments)
    assert result.exit_code == 2 and message in result.stderr


def test_a_wrong_vehicle_ends_with_2_and_says_what_is_wrong(tmp_path: Path) -> None:
    result = run(vehicle_file(tmp_path, layout={"roll_arm_m": -1.0}))
    assert result.exit_code == 2
    assert "layout.roll_arm_m = -1.0" in result.stderr and "Traceback" not in result.output


def test_without_hypothesis_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "hypothesis", None)
    for name in ("search", "strategies"):
        monkeypatch.delitem(sys.modules, f"mixer.ground.check.{name}", raising=False)
        monkeypatch.delattr(f"mixer.ground.check.{name}", raising=False)
    result = run(vehicle_file(tmp_path))
    assert result.exit_code == 2
    assert 'pip install "fourvane[check]"' in result.stderr


def test_a_grazing_segment_is_ill_conditioned_and_no_breach() -> None:
    """With vanes 2 and 4 standing still only pitch is within reach; a millinewton metre of yaw
    beside 5 kN·m of pitch takes the exact answer from all of it to none."""
    trial = SteeringOnTrial(
        vehicle(layout={"clocking_deg": [0.0, 90.0, 180.0, 270.0]}, control={"policy": "direction"})
    )

    def asked(yaw_mnm: int) -> TrialFlight:
        return TrialFlight(
            (
                TrialCycle(jam=(2, 0)),
                TrialCycle(jam=(4, 0)),
                TrialCycle(demand_mnm=(5_000_000, yaw_mnm, 0)),
            )
        )

    assert promises.accuracy(trial, asked(0)).ill_conditioned == 0
    assert promises.accuracy(trial, asked(1)).ill_conditioned == 1
    assert promises.continuity(trial, asked(1)).ill_conditioned > 0
    assert promises.accuracy(trial, asked(100)).ill_conditioned == 0


def test_the_bound_of_continuity_is_the_worked_out_one() -> None:
    """2.9 counts a count for quarter turns; 98.5 where vanes are 1° off opposite."""
    layouts = ([0.0, 90.0, 180.0, 270.0], [45.0, 135.0, 225.0, 315.0], [10.0, 80.0, 191.0, 275.0])
    bounds = [most_moved_counts(np.array(layout)) for layout in layouts]
    assert bounds == pytest.approx([2.9, 2.9, 98.5], abs=0.05)


def test_the_fair_measure_of_roll_is_that_of_the_oracle() -> None:
    """The interval of fair rolls about delivered primaries that are a few counts off."""
    rng = np.random.default_rng(SEED)
    compared = 0
    for case in cases(120, SEED):
        reached = Reach(
            np.array(case.clocking_deg), np.array(case.lo), np.array(case.hi), np.array(1.0), 1.0
        )
        exact = exact_policy(reached, np.array(case.demand), np.array(case.roll), "nearest")
        primary = exact.primary_n + rng.uniform(-6, 6, 2)
        found = roll_interval(reached, primary, case.roll, 4.0)
        right = fair_roll_interval(
            directions(case.clocking_deg), case.lo, case.hi, tuple(primary), case.roll, 4.0
        )
        assert (found is None) == (right is None), case
        if found is not None and right is not None:
            compared += 1
            assert found == pytest.approx(right, abs=0.02), case
    assert compared > 60


def test_roll_that_no_primary_near_the_delivered_gives_is_measured() -> None:
    """Quarter turns, ±4096: at pitch 8000 roll reaches 8384 (|P| + |R| ≤ 16384), so 8500 is at
    least 112 too much for every pitch within 4 counts."""
    reached = Reach(
        np.array([0.0, 90.0, 180.0, 270.0]),
        np.full((1, 4), -4096.0),
        np.full((1, 4), 4096.0),
        np.ones(1),
        1.0,
    )
    exact = Exact(np.array([[8000.0, 0.0]]), np.array([8384.0]), np.zeros((1, 4)))
    error = fair_roll_error(
        reached, exact, exact.primary_n, np.array([8500.0]), np.array([9000.0]), 4.0, 8.0
    )
    assert error == pytest.approx([112.0], abs=1e-3)
