"""What a static test did not move is said in plain words."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from mixer.ground.identification.fit import identify
from mixer.ground.inputs.arrays import Array
from mixer.ground.static_test.excitation import condition_number, listed, movements, not_excited
from tests.support.static_tests import made_log, vehicle_on_stand, with_angles

VEHICLE = vehicle_on_stand()
Change = Callable[[Array], Array]


def said(change: Change) -> list[str]:
    return not_excited(made_log(1, programme=with_angles(change)), VEHICLE)


def picked(*columns: int) -> Change:
    """Each vane follows the pattern of the given one."""
    return lambda deg: deg[:, list(columns)]


def fourth_balances(deg: Array) -> Array:
    """No roll was ever asked for: the fourth undoes what the others do."""
    deg = deg / 3
    deg[:, 3] = -(deg[:, 0] + deg[:, 1] + deg[:, 2])
    return deg


def fourth_follows(deg: Array) -> Array:
    """Vane 4 always moves as the sum of the others, scaled into the travel."""
    deg = deg / 3
    deg[:, 3] = deg[:, 0] + deg[:, 1] + deg[:, 2]
    return deg


def pitch_and_yaw_alone(deg: Array) -> Array:
    """Opposite vanes always contrary, so no roll was ever asked for."""
    return np.column_stack([deg[:, 0], deg[:, 1], -deg[:, 0], -deg[:, 1]])


def only_to(side: float, vane: int) -> Change:
    def change(deg: Array) -> Array:
        deg[:, vane] = side * np.abs(deg[:, vane])
        return deg

    return change


def rests(vane: int, rows: slice) -> Change:
    def change(deg: Array) -> Array:
        deg[rows, vane] = 0.0
        return deg

    return change


@pytest.mark.parametrize(("change", "sentence"), [
    (lambda deg: deg * [1, 1, 0, 1], "vane 3 was never moved: it stayed between"),
    (picked(0, 1, 0, 3), "vanes 1 and 3 were never moved against each other"),
    (lambda deg: deg[:, [0, 1, 0, 3]] * [1, 1, 0.5, 1],
     "vanes 1 and 3 were never moved against each other"),
    (lambda deg: deg[:, [0, 1, 2, 1]] * [1, 1, 1, -1],
     "vanes 2 and 4 were only ever moved against each other, never together"),
    (picked(0, 0, 0, 0),
     "vanes 1, 2, 3 and 4 were only ever moved all together, never against each other"),
    (fourth_follows, "vanes 1, 2 and 3 were never moved against vane 4"),
    (fourth_balances, "vanes 1, 2, 3 and 4 were never moved all together, as for roll"),
    (only_to(1, 1), "vane 2 was moved to positive deflections only"),
    (only_to(-1, 3), "vane 4 was moved to negative deflections only"),
    (rests(1, slice(3200, None)), "vane 2 was not moved after 1"),
    (rests(0, slice(0, 2000)), "vane 1 was not moved before"),
])  # fmt: skip
def test_what_was_not_excited_is_named(change: Change, sentence: str) -> None:
    (only,) = said(change)
    assert only.startswith(sentence)


def test_no_roll_ever_is_told_pair_by_pair() -> None:
    assert said(pitch_and_yaw_alone) == [
        "vanes 1 and 3 were only ever moved against each other, never together",
        "vanes 2 and 4 were only ever moved against each other, never together",
    ]


def test_a_full_programme_leaves_nothing_to_say() -> None:
    log = made_log(1)
    assert not_excited(log, VEHICLE) == []
    assert condition_number(movements(log, VEHICLE)) < 1.2


def test_a_log_without_quiet_before_or_after_says_what_that_costs() -> None:
    log = made_log(1)
    burning = log.burning
    cut = replace(
        log,
        time_s=log.time_s[burning],
        pressure_bar=log.pressure_bar[burning],
        vanes_deg=log.vanes_deg[burning],
        loads=log.loads[burning],
    )
    (only,) = not_excited(cut, VEHICLE)
    assert only.startswith("the log holds no time without a jet")
    assert not identify(cut, VEHICLE).told("thrust_n")[0]


def test_what_was_never_moved_apart_is_not_told_apart() -> None:
    """The words and the numbers agree: errors grow by far where the movements are in step."""
    apart, in_step = (
        identify(made_log(1, programme=with_angles(change)), VEHICLE).error("effectiveness")[0]
        for change in (picked(0, 1, 2, 3), picked(0, 0, 0, 0))
    )
    assert (in_step > 20 * apart).all()


def test_the_condition_number_is_that_of_the_movements() -> None:
    rng = np.random.default_rng(0)
    free = rng.standard_normal((5000, 4))
    assert condition_number(free) < 1.1
    free[:, 2] = free[:, 0] + 0.01 * free[:, 2]
    assert condition_number(free) == pytest.approx(200, rel=0.1)
    free[:, 2] = 0.0
    assert condition_number(free) == np.inf


def test_vanes_are_listed_as_people_do() -> None:
    assert [listed(vanes) for vanes in ([1], [0, 2], [0, 1, 3])] == [
        "vane 2",
        "vanes 1 and 3",
        "vanes 1, 2 and 4",
    ]
