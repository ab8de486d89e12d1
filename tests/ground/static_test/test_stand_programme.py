"""The proposed programme: within travel and slew, and it tells what it promises."""

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixer.ground.identification.expected_errors import StandCells, expect
from mixer.ground.identification.fit import identify
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.static_test.programme import (
    FAR,
    FAR_OR_NEAR,
    NEAR,
    TO_AND_FRO,
    frame,
    plan,
    walsh,
    write_programme,
)
from mixer.ground.static_test.simulation import StandNoise
from tests.support.static_tests import made_log, vehicle_on_stand


def test_the_patterns_of_the_vanes_share_no_walsh_function() -> None:
    """To-and-fro, far-or-near and their product: twelve different ones, none that stands still."""
    functions = [
        index
        for turn, reach in zip(TO_AND_FRO, FAR_OR_NEAR, strict=True)
        for index in (turn, reach, turn ^ reach)
    ]
    assert len(set(functions)) == 12
    assert 0 not in functions


def test_walsh_functions_are_orthogonal_and_multiply_among_themselves() -> None:
    for a, b in combinations(range(16), 2):
        assert walsh(a) @ walsh(b) == 0
        np.testing.assert_array_equal(walsh(a) * walsh(b), walsh(a ^ b))


def test_over_a_frame_nothing_looks_like_anything_else() -> None:
    """Movements, their squares (drag) and a constant: every pair of vanes is orthogonal."""
    moves = frame()
    squares = moves**2 - (moves**2).mean(axis=0)
    assert set(np.abs(moves).round(9).ravel()) == {FAR, NEAR}
    table = np.hstack([moves, squares])
    products = table.T @ table
    np.testing.assert_allclose(products - np.diag(np.diag(products)), 0, atol=1e-12)
    np.testing.assert_allclose(table.sum(axis=0), 0, atol=1e-12)


@given(
    burn_s=st.floats(10.6, 120.0),  # the widest travel at the slowest slew takes 10.5
    slew=st.lists(st.floats(120.0, 800.0), min_size=4, max_size=4),
    ends=st.lists(st.tuples(st.floats(-15.0, -1.0), st.floats(1.0, 15.0)), min_size=4, max_size=4),
)
@settings(max_examples=60)
def test_a_programme_keeps_within_travel_and_slew(
    burn_s: float, slew: list[float], ends: list[tuple[float, float]]
) -> None:
    vehicle = vehicle_on_stand(
        servos={"slew_deg_s": slew}, vanes={"travel_deg": [list(pair) for pair in ends]}
    )
    programme = plan(vehicle, burn_s)
    low, high = vehicle.vanes.travel_deg.T
    assert (programme.deflection_deg >= low - 1e-9).all()
    assert (programme.deflection_deg <= high + 1e-9).all()
    rate = np.abs(np.diff(programme.deflection_deg, axis=0)) * vehicle.control.rate_hz
    assert (rate <= np.array(slew) + 1e-6).all()
    assert programme.time_s[-1] <= burn_s
    np.testing.assert_array_equal(programme.deflection_deg[[0, -1]], 0)


def test_a_burn_too_short_for_one_round_says_how_long_it_must_be() -> None:
    with pytest.raises(InputError, match=r"a burn of 3 s is too short.*: 5\.\d+ s are needed"):
        plan(vehicle_on_stand(), 3.0)


def test_a_written_programme_has_a_row_for_each_control_cycle(tmp_path: Path) -> None:
    vehicle = vehicle_on_stand()
    programme = plan(vehicle)
    write_programme(tmp_path / "programme.csv", programme)
    lines = (tmp_path / "programme.csv").read_text().splitlines()
    assert lines[0] == "time_s,vane1_deg,vane2_deg,vane3_deg,vane4_deg"
    assert len(lines) == 1 + len(programme.time_s) == 1 + 26 * 200 + 1
    read = np.array([line.split(",") for line in lines[1:]], dtype=float)
    np.testing.assert_allclose(read[:, 1:], programme.deflection_deg, atol=6e-4)


def test_a_test_by_the_programme_is_as_sure_as_the_programme_promised() -> None:
    """The errors promised beforehand against those a fit claims, of the same noise and drift."""
    vehicle = vehicle_on_stand()
    programme = plan(vehicle)
    promised = expect(vehicle, programme, StandCells(noise_share=0.01, rate_hz=200.0))
    largest = np.array(list(promised.largest.values()))
    fits = [
        identify(made_log(s, vehicle, noise=StandNoise(largest, drift=0.007)), vehicle)
        for s in range(4)
    ]
    for name, key in {
        "clocking_deg": ("clocking", "deg"),
        "roll_arm_m": ("roll arm", "m"),
        "zero_deg": ("edge-on is off neutral by", "deg"),
    }.items():
        claimed = np.mean([fit.error(name).max() for fit in fits])
        assert claimed == pytest.approx(promised.rows[key], rel=0.3), name
    new = next(e for (quantity, _), e in promised.rows.items() if "at 0 s" in quantity)
    claimed = np.mean([fit.error("effectiveness")[0].max() for fit in fits])
    assert claimed == pytest.approx(new, rel=0.3)
