"""Authority with its uncertainty: the band, the worst case, and requirements judged by it."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from scipy.optimize import brentq

from mixer.ground.authority.band import reachable_band, worst_case_nm
from mixer.ground.authority.reach import reach
from mixer.ground.authority.required import each_alone_nm, unmet_requirements
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.vehicle.vehicle import Vehicle, VehicleError, parse_vehicle
from tests.support.vehicles import vehicle, vehicle_file, vehicle_text

TIMES_S = np.array([0.0, 8.0, 13.0, 20.0, 26.0])
ERRORS: dict[str, Any] = {
    "load_s": [0.0, 26.0],
    "effectiveness": [[0.01, 0.03], [0.02, 0.02], [0.01, 0.01], [0.005, 0.04]],
    "clocking_deg": [0.5, 0.3, 0.4, 0.2],
    "zero_deg": 0.2,
    "roll_arm_m": 0.0005,
    "lever_arm_m": 0.02,
}
WIDER = {"deflection_deg": [-20.0, 0.0, 20.0], "force_n": [-260.0, 0.0, 260.0], "drag_n": None}


def uncertain(**errors: Any) -> Vehicle:
    """A vehicle whose curves go on beyond its travel, with some errors stated."""
    return vehicle(vanes=WIDER, uncertainty=errors)


def alone_nm(given: Vehicle) -> np.ndarray:
    return each_alone_nm(reach(given, TIMES_S))


def test_without_errors_there_is_no_band() -> None:
    band = reachable_band(vehicle(), TIMES_S)
    for ends in (band.low_nm, band.high_nm, band.worst_nm):
        np.testing.assert_array_equal(ends, band.nominal_nm)
    np.testing.assert_array_equal(band.nominal_nm, alone_nm(vehicle()))


@pytest.mark.parametrize("key", [key for key in ERRORS if key != "load_s"])
def test_each_error_alone_moves_the_worst_case_and_all_together_move_it_most(key: str) -> None:
    loads = {"load_s": ERRORS["load_s"]} if key == "effectiveness" else {}
    alone = reachable_band(uncertain(**loads, **{key: ERRORS[key]}), TIMES_S)
    together = reachable_band(uncertain(**ERRORS), TIMES_S)
    assert (alone.worst_nm < alone.nominal_nm - 1e-6).any()
    assert (together.worst_nm < alone.worst_nm - 1e-6).all()
    for band in (alone, together):
        drawn_nm = 0.1 * (band.nominal_nm - band.worst_nm)  # what a quantile of draws may be off
        assert (band.worst_nm <= band.low_nm + drawn_nm).all()
        assert (band.low_nm <= band.high_nm).all()


def test_arms_scale_their_own_moments_and_no_others() -> None:
    """Two standard errors of 1 mm in 45 mm of roll arm and of 46 mm in 2.3 m of lever arm."""
    band = reachable_band(uncertain(roll_arm_m=0.0005, lever_arm_m=0.023), np.array(0.0))
    np.testing.assert_allclose(
        band.worst_nm, band.nominal_nm * [1 - 0.02, 1 - 0.02, 1 - 1 / 45], rtol=1e-12
    )
    np.testing.assert_allclose(
        band.high_nm, band.nominal_nm * [1 + 0.02, 1 + 0.02, 1 + 1 / 45], rtol=2e-3
    )


@pytest.mark.parametrize("vane", range(4))
def test_effectiveness_too_low_is_as_if_the_file_said_less(vane: int) -> None:
    rows = np.zeros((4, 2))
    rows[vane] = [0.01, 0.03]
    band = reachable_band(uncertain(load_s=[0.0, 26.0], effectiveness=rows.tolist()), TIMES_S)
    less = np.tile([[1.0, 0.98, 0.93]], (4, 1))
    less[vane] -= 2 * np.interp([0.0, 13.0, 26.0], [0.0, 26.0], rows[vane])
    given = vehicle(vanes=WIDER, erosion={"effectiveness": less.tolist()})
    np.testing.assert_allclose(band.worst_nm, alone_nm(given), rtol=1e-12)


@pytest.mark.parametrize("vane", range(4))
def test_clocking_off_either_way_is_as_if_the_file_said_so(vane: int) -> None:
    errors = np.eye(4)[vane]
    band = reachable_band(uncertain(clocking_deg=errors.tolist()), TIMES_S)
    turned = [
        alone_nm(vehicle(vanes=WIDER, layout={"clocking_deg": by.tolist()}))
        for by in (np.array([45, 135, 225, 315]) + sign * 2 * errors for sign in (-1, 1))
    ]
    worse = np.minimum(np.min(turned, axis=0), band.nominal_nm)
    np.testing.assert_allclose(band.worst_nm, worse, rtol=1e-9)


def test_edge_on_off_neutral_moves_the_travel_along_the_curve() -> None:
    """Vane 1 by two standard errors of 0.5 deg: as a travel of -16 to 14 or -14 to 16 deg."""
    band = reachable_band(uncertain(zero_deg=[0.5, 0.0, 0.0, 0.0]), TIMES_S)
    plain = [-15.0, 15.0]
    moved = [
        alone_nm(vehicle(vanes={**WIDER, "travel_deg": [ends, plain, plain, plain]}))
        for ends in ([-16.0, 14.0], [-14.0, 16.0])
    ]
    worse = np.minimum(np.min(moved, axis=0), band.nominal_nm)
    np.testing.assert_allclose(band.worst_nm, worse, rtol=1e-12)


def test_scatter_of_new_vanes_adds_to_their_errors_in_quadrature() -> None:
    """3 % of a vane's error and 4 % of vane scatter are 5 % of each vane by itself."""
    both = uncertain(load_s=[0.0, 26.0], effectiveness=[0.03, 0.03], vane_scatter=[0.04, 0.04])
    alone = uncertain(load_s=[0.0, 26.0], effectiveness=[0.05, 0.05])
    for name in ("low_nm", "high_nm", "worst_nm"):
        found, expected = (getattr(reachable_band(one, TIMES_S), name) for one in (both, alone))
        np.testing.assert_allclose(found, expected, rtol=1e-12)


def test_what_a_burn_shares_moves_all_four_vanes_together() -> None:
    """Two standard deviations of 4 % that all vanes share take 8 % of a new vane from every moment,
    where the same scatter of each vane by itself leaves most of it in the band.
    """
    together = uncertain(load_s=[0.0, 26.0], burn_scatter=[0.04, 0.04])
    by_themselves = uncertain(load_s=[0.0, 26.0], vane_scatter=[0.04, 0.04])
    effectiveness = np.interp(TIMES_S, [0.0, 13.0, 26.0], [1.0, 0.98, 0.93])[:, None]
    band = reachable_band(together, TIMES_S)
    np.testing.assert_allclose(band.worst_nm, band.nominal_nm * (1 - 0.08 / effectiveness))
    np.testing.assert_allclose(band.low_nm, band.nominal_nm * (1 - 0.08 / effectiveness), rtol=2e-3)
    narrow = reachable_band(by_themselves, TIMES_S)
    assert (narrow.low_nm[:, :2] > band.low_nm[:, :2]).all()


def test_a_new_set_of_vanes_burns_within_the_band_in_nineteen_of_twenty() -> None:
    """Drawn apart: 2000 new sets in new burns, seed 2, wear as the file says and scatter about it;
    pitch in the two-sided band within four standard deviations of the count and of the draws.
    """
    row = np.array([0.0, 0.02, 0.05])
    errors = {
        "load_s": [0.0, 13.0, 26.0],
        "vane_scatter": (0.6 * row).tolist(),
        "burn_scatter": (0.8 * row).tolist(),
    }
    given = vehicle(vanes=WIDER, uncertainty=errors)
    band = reachable_band(given, np.array([26.0]))
    rng = np.random.default_rng(2)
    force_n = 260.0 * 15 / 20
    inside = 0
    for _ in range(2000):
        gain = 0.93 + 0.04 * rng.normal() + 0.03 * rng.standard_normal(4)
        # Vanes at 45° and symmetric: pitch is cos 45° of all, as far as the file keeps none back.
        pitch_nm = 2.7 * np.cos(np.pi / 4) * float(np.sum(gain) * force_n) * (1 - 1 / 128)
        inside += band.low_nm[0, 0] * (1 - 1e-9) <= pitch_nm <= band.high_nm[0, 0] * (1 + 1e-9)
    print(f"seed 2: {inside / 2000:.3f} of 2000 sets within the band")
    assert abs(inside / 2000 - 0.9545) < 4 * np.sqrt(0.9545 * 0.0455 / 2000 * (1 + 2000 / 256))


def test_the_band_holds_about_nineteen_of_twenty_drawn_vehicles_and_the_worst_case_nearly_all(
    full_size: bool,
) -> None:
    """Vehicles drawn by their errors, seed 1; four standard deviations allowed."""
    drawn_vehicles = 400 if full_size else 150
    errors = {k: ERRORS[k] for k in ("load_s", "effectiveness", "roll_arm_m", "lever_arm_m")}
    band = reachable_band(uncertain(**errors), TIMES_S)
    rng = np.random.default_rng(1)
    inside, above_worst = [], []
    for _ in range(drawn_vehicles):
        effectiveness = np.array([1.0, 0.98, 0.93]) + rng.standard_normal((4, 1)) * np.array(
            [np.interp([0.0, 13.0, 26.0], [0.0, 26.0], row) for row in ERRORS["effectiveness"]]
        )
        lever_m = np.array([2.3, 2.7]) + ERRORS["lever_arm_m"] * rng.normal()
        drawn = alone_nm(
            vehicle(
                vanes=WIDER,
                erosion={"effectiveness": effectiveness.tolist()},
                layout={
                    "roll_arm_m": 0.045 + ERRORS["roll_arm_m"] * rng.normal(),
                    "lever_arm_m": {"time_s": [0.0, 26.0], "m": lever_m.tolist()},
                },
            )
        )
        inside.append((band.low_nm <= drawn) & (drawn <= band.high_nm))
        above_worst.append((drawn >= band.worst_nm).all())
    share = np.mean(inside, axis=0)
    print(f"\nseed 1, share of {drawn_vehicles} within the band:", share.round(3).tolist())
    margin = 4 * np.sqrt(0.9545 * 0.0455 * (1 / drawn_vehicles + 1 / 256))  # drawn on both sides
    assert (np.abs(share - 0.9545) < margin).all()
    assert np.mean(above_worst) > 0.995


@pytest.mark.parametrize(("change", "said"), [
    ({"load_s": None}, "uncertainty.effectiveness: needs load_s"),
    ({"load_s": [0.0, 13.0, 26.0]}, "vane 1: must be 3 numbers, one for each of load_s"),
    ({"load_s": [26.0, 0.0]}, "uncertainty.load_s[1] = 0.0"),
    ({"effectiveness": [-0.1, 0.1]}, "uncertainty.effectiveness[0] = -0.1: must be"),
    ({"vane_scatter": [0.1]}, "uncertainty.vane_scatter = [0.1]: must be 2 numbers, one for each"),
    ({"effectiveness": None, "load_s": None, "burn_scatter": [0.1, 0.2]},
     "uncertainty.burn_scatter: needs load_s"),
    ({"clocking_deg": [1.0, 2.0]}, "uncertainty.clocking_deg"),
    ({"zero_deg": 90.0}, "uncertainty.zero_deg = 90.0: must be"),
    ({"roll_arm_m": -1.0}, "uncertainty.roll_arm_m = -1.0: must be a number at least 0"),
    ({"lever_arm_m": float("nan")}, "uncertainty.lever_arm_m"),
    ({"zero_degrees": 1.0}, "uncertainty.zero_degrees: unknown key; did you mean zero_deg?"),
])  # fmt: skip
def test_a_wrong_uncertainty_is_named(change: dict[str, Any], said: str) -> None:
    errors = {k: v for k, v in {**ERRORS, **change}.items() if v is not None}
    with pytest.raises(VehicleError) as caught:
        parse_vehicle(vehicle_text(uncertainty=errors))
    assert said in str(caught.value)
    assert len(caught.value.problems) == 1


def test_the_earliest_time_of_the_worst_case_is_where_it_crosses_the_requirement() -> None:
    """Against a root found on the worst case itself (brentq)."""
    given = vehicle(uncertainty=ERRORS, requirements={"roll_nm": 30.5})
    (unmet,) = unmet_requirements(given, lambda time_s: worst_case_nm(given, time_s))
    expected = brentq(lambda t: worst_case_nm(given, np.array([t]))[0, 2] - 30.5, 0.0, 26.0)
    assert unmet.axis == "roll"
    assert unmet.time_s == pytest.approx(expected, abs=1e-5)
    assert unmet_requirements(given) == []


def envelope(folder: Path, **tables: Any) -> Result:
    path = vehicle_file(folder, **tables)
    return CliRunner().invoke(
        fourvane, ["envelope", str(path), "--out", str(folder / "envelope.html"), "--json"]
    )


@pytest.fixture(scope="module")
def unsure(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, str]:
    """An envelope whose requirement is met nominally but not at worst, and its page."""
    folder = tmp_path_factory.mktemp("unsure")
    result = envelope(folder, requirements={"roll_nm": 30.5}, uncertainty=ERRORS)
    return result, (folder / "envelope.html").read_text(encoding="utf-8")


def test_a_requirement_met_nominally_but_not_at_worst_fails_the_envelope(
    unsure: tuple[Result, str], tmp_path: Path
) -> None:
    sure = envelope(tmp_path, requirements={"roll_nm": 30.5})
    assert (sure.exit_code, json.loads(sure.stdout)["requirements_met"]) == (0, True)
    found, page = unsure
    assert found.exit_code == 1
    result = json.loads(found.stdout)
    assert result["requirements_met"] is False
    assert result["unmet"] == []
    assert result["unmet_worst_case"][0]["axis"] == "roll"
    assert 0 < result["unmet_worst_case"][0]["time_s"] < 26
    assert "In the worst case of [uncertainty]: Roll of 30.5 N·m is not within reach" in page


def test_the_envelope_gives_the_band_at_the_chosen_times(unsure: tuple[Result, str]) -> None:
    band = reachable_band(vehicle(uncertainty=ERRORS), np.array([0.0, 13.0, 26.0]))
    for name, values in json.loads(unsure[0].stdout)["band"].items():
        np.testing.assert_allclose(values, getattr(band, name))


def test_the_report_says_whose_vanes_a_band_is_for(
    unsure: tuple[Result, str], tmp_path: Path
) -> None:
    tested, page = unsure
    assert json.loads(tested.stdout)["band_for_new_vanes"] is False
    assert "for the very vanes that were tested: a new set scatters more" in page
    new = envelope(tmp_path, uncertainty={**ERRORS, "vane_scatter": [0.0, 0.02]})
    assert json.loads(new.stdout)["band_for_new_vanes"] is True
    page = (tmp_path / "envelope.html").read_text(encoding="utf-8")
    assert "for a new set of vanes in a new burn" in page
