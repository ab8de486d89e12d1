"""The ground's exact policy against the tests' own oracle, which shares nothing with it."""

import numpy as np
import pytest

from mixer.ground.authority.reach import Reach
from mixer.ground.exact_policy.policy import corners_n, exact_policy, last_point, roll_range_n
from tests.oracle.cases import cases, slewed_cases
from tests.oracle.policy import exact_policy as oracle
from tests.oracle.primary import Zonotope, cross, minus

SEED = 4_107


def reach_of(clocking_deg, lo, hi) -> Reach:
    """Force limits in counts, both arms 1 m, so that moments are counts too."""
    return Reach(np.array(clocking_deg), np.array(lo), np.array(hi), np.array(1.0), 1.0)


def answer(clocking_deg, lo, hi, demand, roll, policy, **boxes):
    return exact_policy(
        reach_of(clocking_deg, lo, hi),
        np.array(demand, float),
        np.array(float(roll)),
        policy,
        **{name: box and reach_of(clocking_deg, *box) for name, box in boxes.items()},
    )


@pytest.mark.parametrize("problems", [cases, slewed_cases])
@pytest.mark.parametrize("policy", ["nearest", "direction"])
def test_primary_roll_and_forces_are_those_of_the_oracle(
    policy: str, problems, full_size: bool
) -> None:
    """Within 1e-6 counts, also where vanes a hair off parallel amplify the last bits of both."""
    worst = 0.0
    for case in problems(1500 if full_size else 300, SEED):
        found = answer(*case.arguments, policy, **case.boxes)
        right = oracle(*case.arguments, policy, **case.boxes)
        assert np.abs(found.primary_n - right.p).max() <= 1e-6, case
        assert abs(float(found.roll_n) - right.rho) <= 1e-6, case
        worst = max(worst, float(np.abs(found.force_n - right.f).max()))
        assert worst <= 1e-6, case
    print(f"{policy}: worst force {worst:.1e} counts from the oracle")


@pytest.mark.parametrize("policy", ["nearest", "direction"])
def test_many_instants_at_once_give_what_each_gives_alone(policy: str) -> None:
    clocking = (10.0, 80.0, 191.0, 275.0)
    some = list(cases(60, SEED))
    lo, hi = np.array([case.lo for case in some]), np.array([case.hi for case in some])
    demands = np.array([case.demand for case in some])
    rolls = np.array([case.roll for case in some])
    reached = Reach(np.array(clocking), lo, hi, np.ones(len(some)), 1.0)
    together = exact_policy(reached, demands, rolls, policy)
    for n, case in enumerate(some):
        alone = answer(clocking, case.lo, case.hi, case.demand, case.roll, policy)
        assert together.primary_n[n] == pytest.approx(alone.primary_n, abs=1e-9)
        assert together.roll_n[n] == pytest.approx(alone.roll_n, abs=1e-9)
        assert together.force_n[n] == pytest.approx(alone.force_n, abs=1e-9)


def test_forces_give_the_moments_and_stay_in_the_box() -> None:
    for case in cases(300, SEED + 1):
        reached = reach_of(case.clocking_deg, case.lo, case.hi)
        found = answer(*case.arguments, "nearest")
        assert found.force_n @ reached.directions == pytest.approx(found.primary_n, abs=1e-6)
        assert found.force_n.sum() == pytest.approx(float(found.roll_n), abs=1e-6)
        assert (found.force_n >= np.array(case.lo) - 1e-5).all()
        assert (found.force_n <= np.array(case.hi) + 1e-5).all()


def test_corners_go_round_the_polygon_and_lie_on_its_edges() -> None:
    for case in cases(200, SEED + 2):
        reached = reach_of(case.clocking_deg, case.lo, case.hi)
        corners = [(float(x), float(y)) for x, y in corners_n(reached)]
        for k, corner in enumerate(corners):
            before, after = corners[k - 1], corners[(k + 1) % 8]
            assert cross(minus(corner, before), minus(after, corner)) >= -1e-5
        right = Zonotope(reached.directions.tolist(), case.lo, case.hi, 1 / 128)
        for vertex in right.vertices:
            assert min(np.hypot(*minus(vertex, corner)) for corner in corners) < 1e-6


def test_moved_edges_let_a_grazing_segment_out_later() -> None:
    """Along an edge of the square, a count outwards lets the segment run on to the demand."""
    reached = reach_of((0.0, 90.0, 180.0, 270.0), [-100.0, 0.0, 0.0, 0.0], [100.0, 0.0, 0.0, 0.0])
    along, askew = np.array([50.0, 0.0]), np.array([50.0, 0.5])
    assert last_point(reached, along) == pytest.approx([50.0, 0.0])
    assert last_point(reached, askew) == pytest.approx([0.0, 0.0])
    assert last_point(reached, askew, moved_n=1.0) == pytest.approx([50.0, 0.5])


def test_the_near_parallel_trap_is_the_policys_own() -> None:
    """At the very edge of Z (nothing kept back) a hair of misclocking turns the roll round; with
    1/128 kept back it does not. F = 180 N: roll +30 N·m over 0.12 m against −43.2 N·m."""
    lo, hi = [-180.0] * 4, [180.0] * 4
    for turned, edge_nm in ((0.0, 30.0), (0.001, -43.2)):
        reached = reach_of((0.0, 90.0 + turned, 180.0, 270.0), lo, hi)
        demand, roll = np.array([1800 / 2.5, 0.0]), np.array(30 / 0.12)
        strict = exact_policy(reached, demand, roll, "nearest", kept_back=0.0)
        assert float(strict.roll_n) * 0.12 == pytest.approx(edge_nm, abs=0.1)
        kept = exact_policy(reached, demand, roll, "nearest")
        assert float(kept.roll_n) * 0.12 == pytest.approx(30.0, abs=0.1)


def test_roll_range_is_the_closed_form_for_equal_vanes() -> None:
    """|P| + |Y| + |R| ≤ 4F (Durham 1993, recalled; worked out from the policy)."""
    reached = reach_of((0.0, 90.0, 180.0, 270.0), [-1.0] * 4, [1.0] * 4)
    for point in ([0.0, 0.0], [1.5, -0.5], [-2.0, 0.0], [1.0, 2.0]):
        room = 4.0 - np.abs(point).sum()
        assert roll_range_n(reached, np.array(point)) == (
            pytest.approx(-room),
            pytest.approx(room),
        )


def test_another_policy_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match='must be "nearest" or "direction"'):
        answer((0.0, 90.0, 180.0, 270.0), [-1.0] * 4, [1.0] * 4, (0.0, 0.0), 0.0, "shortest")
