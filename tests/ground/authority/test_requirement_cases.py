"""Requirements together and in time, and one verdict for `envelope` and `check`."""

import json
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.optimize import linprog

from mixer.ground.authority.cases import rise_time_s, together_share, worst_together_share
from mixer.ground.authority.reach import KEPT_BACK, reach
from mixer.ground.command_line.fourvane import fourvane
from tests.support.vehicles import vehicle, vehicle_file


def by_programme(given: Any, wanted_nm: np.ndarray) -> float:
    """Second route: a linear program for each corner; largest s with s·d from forces in the box."""
    here = reach(given, 0.0)
    levers = np.array([here.lever_arm_m, here.lever_arm_m, here.roll_arm_m])
    rows = np.vstack([here.directions.T, np.ones(4)])
    least = np.inf
    for signs in product((-1, 1), repeat=3):
        target = np.array(signs) * wanted_nm / levers
        bounds = [*zip(here.lo_n, here.hi_n, strict=True), (None, None)]
        found = linprog(
            [0, 0, 0, 0, -1], A_eq=np.column_stack([rows, -target]), b_eq=np.zeros(3), bounds=bounds
        )
        least = min(least, found.x[4])
    return least


@pytest.mark.parametrize(
    "clocking",
    [[45.0, 135.0, 225.0, 315.0], [0.0, 90.0, 180.0, 270.0], [40.0, 140.0, 222.0, 318.0]],
)
@pytest.mark.parametrize("wanted", [[500.0, 300.0, 10.0], [100.0, 0.0, 20.0], [0.0, 0.0, 25.0]])
def test_the_share_together_is_that_of_a_linear_program(
    clocking: list[float], wanted: list[float]
) -> None:
    """Where roll is what ends it; where pitch and yaw do, the kept-back part lies between."""
    given = vehicle(layout={"clocking_deg": clocking})
    found = float(together_share(reach(given, np.array(0.0)), np.array(wanted)))
    exact = by_programme(given, np.array(wanted))
    assert (1 - KEPT_BACK) * exact - 1e-9 <= found <= exact + 1e-9


def test_equal_vanes_at_quarter_turns_share_four_forces() -> None:
    """|P| + |Y| + |R| ≤ 4F (Durham 1993), P, Y, R over their arms: 1 + 1 + 1 of 4/3 is all."""
    given = vehicle(layout={"clocking_deg": [0.0, 90.0, 180.0, 270.0]})
    here = reach(given, np.array(0.0))
    third = 4 / 3 * float(here.hi_n[0])
    wanted = third * np.array([float(here.lever_arm_m)] * 2 + [here.roll_arm_m])
    assert float(together_share(here, wanted)) == pytest.approx(1.0, rel=1e-9)


def test_the_worst_case_leaves_less_together() -> None:
    given = vehicle(uncertainty={"load_s": [0.0, 26.0], "burn_scatter": [0.05, 0.05]})
    wanted, times_s = np.array([400.0, 400.0, 8.0]), np.array([0.0, 26.0])
    nominal = together_share(reach(given, times_s), wanted)
    effectiveness = given.effectiveness(times_s)[:, 0]
    found = worst_together_share(given, times_s, wanted)
    np.testing.assert_allclose(found, nominal * (1 - 0.1 / effectiveness), rtol=1e-9)


def test_rise_is_the_deflection_over_the_slew_and_the_latency() -> None:
    """Straight curves: half of the moment at half of 15°, at 250 deg/s 30 ms, and 12 ms latency."""
    given = vehicle(servos={"latency_ms": 12.0})
    here = reach(given, np.array(0.0))
    full = float(here.roll_range_nm()[1])
    (pitch_s, yaw_s, roll_s) = rise_time_s(given, np.array(0.0), np.array([np.nan, 1e5, full / 2]))
    assert (pitch_s, yaw_s) == (0.0, np.inf)
    assert roll_s == pytest.approx(0.030 + 0.012, abs=1e-4)


def run(*arguments: object) -> Any:
    return CliRunner().invoke(fourvane, list(map(str, arguments)))


@pytest.mark.parametrize(("required", "status", "said"), [
    ({"pitch_nm": 800.0, "yaw_nm": 800.0, "roll_nm": 20.0}, 0, "each by itself, over the whole"),
    ({"pitch_nm": 800.0, "yaw_nm": 800.0, "roll_nm": 20.0, "together": True}, 1,
     "All that is required together is not within reach"),
    ({"pitch_nm": 200.0, "yaw_nm": 200.0, "roll_nm": 5.0, "together": True}, 0,
     "each by itself and all together"),
    ({"pitch_nm": 1000.0, "rise_time_ms": 10.0}, 1, "Pitch rises to what is required in "),
    ({"pitch_nm": 1000.0, "rise_time_ms": 90.0}, 0, "each within 90 ms"),
])  # fmt: skip
def test_envelope_says_what_it_judged(
    tmp_path: Path, required: dict[str, Any], status: int, said: str
) -> None:
    file = vehicle_file(tmp_path, requirements=required)
    result = run("envelope", file, "--out", tmp_path / "e.png")
    assert result.exit_code == status, result.output
    assert said in result.stdout


def test_check_and_envelope_give_one_verdict_on_one_file(tmp_path: Path) -> None:
    """Met nominally, not in the worst case: both fail, with the same words."""
    uncertainty = {"load_s": [0.0, 26.0], "burn_scatter": [0.1, 0.1]}
    file = vehicle_file(tmp_path, requirements={"roll_nm": 30.5}, uncertainty=uncertainty)
    seen = run("envelope", file, "--out", tmp_path / "e.png", "--json")
    checked = run("check", file, "--examples", 1, "--seed", 1, "--json")
    plain = run("check", file, "--examples", 1, "--seed", 1)
    assert (seen.exit_code, checked.exit_code) == (1, 1)
    for told in (json.loads(seen.stdout), json.loads(checked.stdout)):
        assert told["requirements_met"] is False
        assert told["unmet"] == [] and told["unmet_worst_case"][0]["axis"] == "roll"
    assert "In the worst case of [uncertainty]: Roll of 30.5 N·m is not within" in plain.stdout
