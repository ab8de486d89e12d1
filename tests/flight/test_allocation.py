"""The allocation against an oracle that shares nothing with it, and against closed forms.

Closed forms: Durham, J. Guidance 16(4), 1993, 717-725 (from memory); Shephard, Canad. J. Math. 26,
1974, 302-321; and worked out from the policy itself.
"""

from collections import Counter

import numpy as np
import pytest

from tests.oracle.cases import cases
from tests.oracle.judge import judge
from tests.support.flight_core import allocate_counts

CASES = {"long": 5000, "ci": 3000, "laptop": 300}
SEED = 20_261_125
SQUARE = (0.0, 90.0, 180.0, 270.0)


@pytest.fixture(scope="module", params=["nearest", "direction"])
def verdicts(request, size):
    policy = request.param
    found = []
    for case in cases(CASES[size], SEED):
        forces = allocate_counts(*case.arguments, policy)
        found.append((case, judge(*case.arguments, policy, forces)))
    return policy, found


def test_no_force_leaves_its_box(verdicts):
    assert all(verdict.inside_box for _, verdict in verdicts[1])


def test_primary_is_within_four_counts_of_the_policy(verdicts):
    """On each axis. "direction" has no such bound in itself where the segment leaves Z at a
    grazing angle: there the policy's own answer moves by more than this when the demand moves by
    the eighth of a count it is rounded to. Such cases, at most 2 in 1000 of these (which seek
    them out), are held to the policy's answers with the edges of Z half as uncertain again."""
    policy, found = verdicts
    errors = np.array([verdict.primary_error_counts.max() for _, verdict in found])
    over = [
        (case, verdict) for (case, verdict), error in zip(found, errors, strict=True) if error > 4
    ]
    print(f"{policy}: worst {np.sort(errors)[-len(over) - 1]:.2f} counts, {len(over)} grazing")
    if policy == "nearest":
        assert not over
    assert len(over) <= len(found) * 0.002
    assert all(verdict.primary_edge_error_counts.max() <= 4 for _, verdict in over)


def test_roll_is_within_eight_counts_by_the_fair_measure(verdicts):
    worst = max(verdict.roll_error_counts for _, verdict in verdicts[1])
    print(f"{verdicts[0]}: worst roll error {worst:.2f} counts")
    assert worst <= 8


def test_effort_is_within_what_one_count_per_vane_explains(verdicts):
    """All but a hair: where vanes stand 30° apart and roll is at its end, a count of roll opens
    several counts of null motion, and about one case in 10 000 exceeds the bound by a tenth."""
    over = [
        (case, verdict)
        for case, verdict in verdicts[1]
        if verdict.effort_excess > verdict.effort_explained
    ]
    kinds = Counter(case.kind.split("/")[0] for case, _ in over)
    print(f"{verdicts[0]}: over the effort bound: {dict(kinds)}")
    assert set(kinds) <= {"uneven"} and len(over) <= 1
    assert all(v.effort_excess <= 1.25 * v.effort_explained for _, v in over)


@pytest.mark.parametrize("policy", ["nearest", "direction"])
def test_equal_vanes_reach_the_closed_form_set(policy):
    """|P| + |Y| + |R| ≤ 4F, |P| ≤ 2F, |Y| ≤ 2F; the last 1/128 of the primary is kept back."""
    full = 4096
    rng = np.random.default_rng(7)
    for pitch, yaw in rng.uniform(-2 * full, 2 * full, (300, 2)) * 127 / 128:
        for sign in (-1, 1):
            forces = np.array(
                allocate_counts(SQUARE, [-full] * 4, [full] * 4, (pitch, yaw), sign * 9e4, policy)
            )
            room = 4 * full - abs(pitch) - abs(yaw)
            assert forces[0] - forces[2] == pytest.approx(pitch, abs=2)
            assert forces[1] - forces[3] == pytest.approx(yaw, abs=2)
            assert forces.sum() == pytest.approx(sign * room, abs=4)


def test_one_vane_held_leaves_a_quarter_of_the_volume():
    """Roll range over a grid of the primary, summed: 64F³ becomes 16F³ with one vane at 0."""
    full, steps = 4096, np.linspace(-1, 1, 41)
    volumes = []
    for held in (False, True):
        lo, hi = [-full] * 4, [full] * 4
        if held:
            lo[1] = hi[1] = 0
        ranges = []
        for x in steps * 2 * full:
            for y in steps * 2 * full:
                ends = [
                    allocate_counts(SQUARE, lo, hi, (x, y), sign * 9e4, "nearest")
                    for sign in (-1, 1)
                ]
                low, high = np.array(ends)
                reached = np.hypot(high[0] - high[2] - x, high[1] - high[3] - y) < 0.02 * full
                ranges.append((high.sum() - low.sum()) * reached)
        weights = np.outer(*[np.r_[0.5, np.ones(39), 0.5]] * 2).ravel()
        volumes.append((np.array(ranges) * weights).sum() * (steps[1] * 2 - steps[0] * 2) ** 2)
    assert volumes[1] / volumes[0] == pytest.approx(0.25, abs=0.02)


# F = 180 N, L = 2.5 m, R = 0.12 m, e = 1, clocking 0/90/180/270, "direction"; worked out from the
# policy with nothing kept back. Demand, share λ of the primary, roll, forces.
WORKED = [
    ((450, 300, 20), 1.0, 20.0, (131.6667, 101.6667, -48.33333, -18.33333)),
    ((1800, 900, 30), 0.5, 21.6, (180, 180, -180, 0)),
    ((600, -500, 60), 1.0, 33.6, (180, -20, -60, 180)),
]


@pytest.mark.parametrize(("demand", "share", "roll", "forces"), WORKED)
def test_worked_examples(demand, share, roll, forces):
    """A saturated primary is short of the worked one by the 1/128 that is kept back."""
    unit = 180 / 4096
    pitch, yaw = demand[0] / 2.5 / unit, demand[1] / 2.5 / unit
    found = np.array(
        allocate_counts(
            SQUARE, [-4096] * 4, [4096] * 4, (pitch, yaw), demand[2] / 0.12 / unit, "direction"
        )
    )
    kept = share if share == 1 else share * 127 / 128
    assert found[0] - found[2] == pytest.approx(kept * pitch, abs=2)
    assert found[1] - found[3] == pytest.approx(kept * yaw, abs=2)
    if share == 1:
        assert found.sum() * unit * 0.12 == pytest.approx(roll, abs=4 * unit * 0.12)
        assert found * unit == pytest.approx(np.array(forces), abs=2 * unit)
    else:
        room = 4 * 180 - (abs(demand[0]) + abs(demand[1])) / 2.5 * kept
        reached = min(room * 0.12, demand[2])
        assert found.sum() * unit * 0.12 == pytest.approx(reached, abs=4 * unit * 0.12)


@pytest.mark.parametrize("turned_deg", [0.0, 1e-15, -1e-15, 1e-13, 1e-10])
def test_a_hair_of_misclocking_does_not_turn_the_roll_round(turned_deg):
    """At (1800, 0, 30) N·m exact quarter turns keep roll +30, and 1e-15° on one vane would turn
    it to −43.2 if the primary went to the very edge of its reach."""
    unit = 180 / 4096
    found = allocate_counts(
        (0.0, 90.0 + turned_deg, 180.0, 270.0),
        [-4096] * 4, [4096] * 4, (1800 / 2.5 / unit, 0.0), 30 / 0.12 / unit, "nearest",
    )  # fmt: skip
    assert sum(found) * unit * 0.12 == pytest.approx(30, abs=8 * unit * 0.12)


@pytest.mark.parametrize("times", [3, 10, 30, 100])
def test_a_far_demand_keeps_its_nearest_point(times):
    """The foot on an edge stays where it is, however far out the demand lies."""
    full = 4096
    foot = 1500.25
    found = allocate_counts(
        SQUARE, [-full] * 4, [full] * 4, (foot, times * 2.0 * full), 0.0, "nearest"
    )
    assert found[0] - found[2] == pytest.approx(foot, abs=2)
    assert found[1] - found[3] == pytest.approx(2 * full * 127 / 128, abs=2)
