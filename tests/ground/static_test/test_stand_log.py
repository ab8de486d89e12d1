"""Static-test logs: what is right is read, and what cannot be right is named."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import DataError, InputError
from mixer.ground.static_test.dead_channels import clipped_at, stuck_at
from mixer.ground.static_test.log import (
    COLUMNS,
    LOAD_COLUMNS,
    StandLog,
    read_stand_log,
    write_stand_log,
)
from mixer.ground.static_test.mixed_up_columns import refuse_mixed_up_columns
from tests.support.static_tests import made_log, vehicle_on_stand, with_angles

VEHICLE = vehicle_on_stand()
LOG = made_log(seed=5)
SIDE_Y, SIDE_Z, ROLL, AXIAL = range(4)
BURNING = np.flatnonzero(LOG.burning)


def written(folder: Path, log: StandLog = LOG) -> Path:
    path = folder / "test.csv"
    write_stand_log(path, log)
    return path


def with_load(channel: int, change: Callable[[Array], Array]) -> StandLog:
    loads = LOG.loads.copy()
    loads[:, channel] = change(loads[:, channel])
    return replace(LOG, loads=loads)


def refused(folder: Path, log: StandLog, still: tuple[int, ...] = ()) -> str:
    with pytest.raises(DataError) as caught:
        read_stand_log(written(folder, log), VEHICLE, still)
    return str(caught.value)


def test_a_log_is_read_as_it_was_written(tmp_path: Path) -> None:
    read = read_stand_log(written(tmp_path), VEHICLE)
    np.testing.assert_allclose(read.time_s, LOG.time_s, atol=1e-6)
    np.testing.assert_allclose(read.pressure_bar, LOG.pressure_bar, atol=1e-4)
    np.testing.assert_allclose(read.vanes_deg, LOG.vanes_deg, atol=1e-3)
    np.testing.assert_allclose(read.loads, LOG.loads, atol=1e-3)


def test_burn_load_is_the_integral_of_pressure_to_the_power_of_four_fifths() -> None:
    """Two seconds at twice, then one at half the reference: 2·2^0.8 + 2^-0.8 (Bartz 1957)."""
    time_s = np.arange(0, 3.0005, 1e-3)
    log = replace(LOG, time_s=time_s, pressure_bar=np.where(time_s < 2, 40.0, 10.0))
    assert log.burn_load_s(20.0)[-1] == pytest.approx(2 * 1.741101 + 0.574349, abs=2e-3)


@pytest.mark.parametrize("column", COLUMNS)
def test_a_missing_column_is_named(tmp_path: Path, column: str) -> None:
    path = written(tmp_path)
    path.write_text(path.read_text().replace(column, "something", 1))
    with pytest.raises(DataError, match=r"line 1.*column something: unknown column"):
        read_stand_log(path, VEHICLE)


@pytest.mark.parametrize("cell", ["", "nan", "inf", "fast", "1,2", "0x10"])
def test_a_cell_that_is_no_number_is_named_with_its_place(tmp_path: Path, cell: str) -> None:
    path = written(tmp_path)
    lines = path.read_text().splitlines()
    lines[40] = re.sub(r"^[^,]*", cell, lines[40])
    path.write_text("\n".join(lines))
    with pytest.raises(DataError, match="line 41"):
        read_stand_log(path, VEHICLE)


def test_time_that_goes_back_is_named(tmp_path: Path) -> None:
    time_s = LOG.time_s.copy()
    time_s[100] = time_s[98]
    message = refused(tmp_path, replace(LOG, time_s=time_s))
    assert "line 102, column time_s" in message
    assert "must be later than" in message


def test_a_log_with_too_few_rows_a_second_says_how_many_are_needed(tmp_path: Path) -> None:
    pick = slice(None, None, 20)
    slow = StandLog(
        "", LOG.time_s[pick], LOG.pressure_bar[pick], LOG.vanes_deg[pick], LOG.loads[pick]
    )
    assert "10 a second; a test needs at least 20 rows a second" in refused(tmp_path, slow)


def test_a_pressure_too_low_to_steer_by_is_told_with_what_is_needed(tmp_path: Path) -> None:
    message = refused(tmp_path, replace(LOG, pressure_bar=0.2 * LOG.pressure_bar))
    assert "4 bar at the most for half a second" in message
    assert "must reach 6 bar, 30% of the vehicle's 20 bar" in message


def test_a_pressure_in_another_unit_is_suspected(tmp_path: Path) -> None:
    message = refused(tmp_path, replace(LOG, pressure_bar=14.5 * LOG.pressure_bar))
    assert "at most 40 bar, twice the vehicle's reference; is it in bar?" in message


def test_a_pressure_sensor_the_wrong_way_on_is_suspected(tmp_path: Path) -> None:
    assert "far below 0" in refused(tmp_path, replace(LOG, pressure_bar=-LOG.pressure_bar))


def test_an_angle_far_outside_the_travel_is_named(tmp_path: Path) -> None:
    angles = LOG.vanes_deg.copy()
    angles[BURNING[7], 2] = 23.0
    message = refused(tmp_path, replace(LOG, vanes_deg=angles))
    assert "column vane3_deg: 23.0; must lie within the travel of -15 to 15 deg" in message


@pytest.mark.parametrize("channel", [SIDE_Y, SIDE_Z, ROLL, AXIAL])
@pytest.mark.parametrize("side", ["high", "low"])
@pytest.mark.parametrize("share", [0.5, 2.0, 20.0])
def test_a_clipped_load_channel_is_named(
    tmp_path: Path, channel: int, side: str, share: float
) -> None:
    """Cut off at its highest or lowest half, 2 or 20 % of the burn."""
    burnt = LOG.loads[BURNING, channel]
    end = np.percentile(burnt, 100 - share if side == "high" else share)
    cut = np.minimum if side == "high" else np.maximum
    message = refused(tmp_path, with_load(channel, lambda load: cut(load, end)))
    assert f"column {LOAD_COLUMNS[channel]}" in message
    assert "clipped" in message


def test_a_healthy_channel_read_by_any_converter_is_not_called_clipped_or_stuck() -> None:
    """Noise of 5 N read in steps of 0.001 to 50 N: fine, coarse and hopelessly coarse."""
    for channel in range(4):
        burnt = LOG.loads[BURNING, channel]
        noise = 0.01 * np.ptp(burnt)
        for step in noise * np.array([1e-4, 0.01, 0.1, 0.5, 1.0, 3.0, 10.0]):
            read = np.round(burnt / step) * step
            assert clipped_at(read) is None, (channel, step)
            assert stuck_at(read, 200.0) is None, (channel, step)


@pytest.mark.parametrize("channel", [SIDE_Y, SIDE_Z, ROLL, AXIAL])
def test_a_load_channel_that_stands_still_in_the_burn_is_named(
    tmp_path: Path, channel: int
) -> None:
    def stand_still(load: Array) -> Array:
        load[BURNING[1000:1300]] = load[BURNING[1000]]
        return load

    message = refused(tmp_path, with_load(channel, stand_still))
    assert f"column {LOAD_COLUMNS[channel]}" in message
    assert "stuck: the same to the last digit over 1.5 s of the burn" in message


def test_an_angle_that_stands_still_while_others_move_is_named(tmp_path: Path) -> None:
    angles = LOG.vanes_deg.copy()
    angles[BURNING[2000:], 1] = angles[BURNING[2000], 1]
    message = refused(tmp_path, replace(LOG, vanes_deg=angles))
    assert "column vane2_deg" in message
    assert "while other vanes moved" in message


def test_an_angle_that_never_changes_is_stuck_unless_the_vane_was_locked(tmp_path: Path) -> None:
    angles = LOG.vanes_deg.copy()
    angles[:, 3] = 0.25
    log = replace(LOG, vanes_deg=angles)
    assert "if the vane was locked, say so with --still 4" in refused(tmp_path, log)
    assert (read_stand_log(written(tmp_path, log), VEHICLE, (4,)).vanes_deg[:, 3] == 0.25).all()


def test_a_vane_that_rests_with_its_noise_is_not_called_stuck(tmp_path: Path) -> None:
    resting = with_angles(lambda deg: deg * [1, 1, 0, 1])
    read_stand_log(written(tmp_path, made_log(programme=resting)), VEHICLE)


def mixed_up(log: StandLog) -> str:
    with pytest.raises(InputError) as caught:
        refuse_mixed_up_columns(log, VEHICLE)
    return str(caught.value)


def test_columns_in_their_places_pass_with_any_small_misclocking() -> None:
    for seed in range(12):
        rng = np.random.default_rng(seed)
        turned_deg = VEHICLE.layout.clocking_deg + rng.normal(0, 4, 4)
        given = vehicle_on_stand(layout={"clocking_deg": turned_deg.tolist()})
        refuse_mixed_up_columns(made_log(seed, given), VEHICLE)


@pytest.mark.parametrize(
    ("first", "second"), [(a, b) for a in range(1, 5) for b in range(a + 1, 5)]
)
def test_swapped_vane_columns_are_named(first: int, second: int) -> None:
    order = [0, 1, 2, 3]
    order[first - 1], order[second - 1] = second - 1, first - 1
    message = mixed_up(replace(LOG, vanes_deg=LOG.vanes_deg[:, order]))
    assert f"vane{first}_deg and vane{second}_deg are swapped" in message
    assert message.count("are swapped") == 1 + ("side_y_n and side_z_n are swapped" in message)


def test_vane_columns_moved_round_by_one_are_named_each() -> None:
    message = mixed_up(replace(LOG, vanes_deg=np.roll(LOG.vanes_deg, 1, axis=1)))
    for vane, other in ((1, 4), (2, 1), (3, 2), (4, 3)):
        assert f"vane{vane}_deg moves the loads as vane {other} should" in message


@pytest.mark.parametrize("vane", [1, 2, 3, 4])
def test_an_angle_with_the_wrong_sign_is_named(vane: int) -> None:
    sign = np.ones(4)
    sign[vane - 1] = -1
    message = mixed_up(replace(LOG, vanes_deg=LOG.vanes_deg * sign))
    assert f"vane{vane}_deg has the wrong sign" in message
    assert message.count("wrong sign") == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ([-1, 1, 1], "side_y_n has the wrong sign"),
        ([1, -1, 1], "side_z_n has the wrong sign"),
        ([-1, -1, 1], "side_y_n has the wrong sign and side_z_n has the wrong sign"),
        ([1, 1, -1], "roll_nm has the wrong sign"),
    ],
)
def test_a_load_with_the_wrong_sign_is_the_reading_offered_first(
    change: list[int], said: str
) -> None:
    message = mixed_up(replace(LOG, loads=LOG.loads * [*change, 1]))
    assert f": the angles are right and {said}; or else" in message.splitlines()[0]


def test_swapped_side_channels_are_the_reading_offered_first() -> None:
    message = mixed_up(replace(LOG, loads=LOG.loads[:, [1, 0, 2, 3]]))
    first = message.splitlines()[0]
    assert "the angles are right and side_y_n and side_z_n are swapped; or else" in first


def test_a_vane_where_none_should_stand_is_named_with_its_direction() -> None:
    turned = vehicle_on_stand(layout={"clocking_deg": [90.0, 135.0, 225.0, 315.0]})
    message = mixed_up(made_log(0, turned))
    assert re.search(
        r"vane1_deg pushes as a vane at (89|90|91) deg would, where none stands", message
    )


def test_vanes_that_all_moved_as_one_accuse_no_column() -> None:
    together = with_angles(lambda deg: np.repeat(deg[:, :1], 4, axis=1))
    log = made_log(programme=together)
    refuse_mixed_up_columns(replace(log, vanes_deg=log.vanes_deg[:, [1, 0, 2, 3]]), VEHICLE)
