"""The oracle itself: closed-form facts, two further routes to the same answers, a strict judge."""

from itertools import combinations

import numpy as np
import pytest
from scipy.spatial import ConvexHull, HalfspaceIntersection

from tests.oracle.attainable import attainable_set
from tests.oracle.cases import BOXES, DEMANDS, FULL, LAYOUTS, LEAST_GAP_DEG, cases, slewed_cases
from tests.oracle.directions import directions
from tests.oracle.fair_roll import fair_roll_interval
from tests.oracle.judge import judge
from tests.oracle.policy import exact_policy, least_effort, null_vector, roll_range
from tests.oracle.primary import Zonotope, combine
from tests.oracle.second_route import solver_policy

POLICIES = ("nearest", "direction")
QUARTERS_DEG = (0.0, 90.0, 180.0, 270.0)
# The closed-form table: newtons per vane, lever arm and roll arm in metres.
F_N, LEVER_M, ROLL_ARM_M = 180.0, 2.5, 0.12
ROUNDING = 1e-9  # counts: floats of a few thousand, a few dozen operations


def worn_box(effectiveness, full=F_N):
    return [-full * e for e in effectiveness], [full * e for e in effectiveness]


# --- closed-form facts: Durham 1993 [memory], Shephard 1974 [read where cited], [computed] -------


def test_quarter_and_eighth_turns_are_exact():
    """Square and opposite vanes have exactly square and opposite unit vectors at any base."""
    for base in (0.0, 45.0, 87.4, 12.3):
        b = directions([base + 90.0 * k for k in range(4)])
        for (x, y), (next_x, next_y) in zip(b, b[1:] + b[:1], strict=True):
            assert (next_x, next_y) == (-y, x)
    assert all(abs(x) == abs(y) for x, y in directions([45.0, 135.0, 225.0, 315.0]))
    assert directions(QUARTERS_DEG) == [(1, 0), (0, 1), (-1, 0), (0, -1)]


def test_misalignment_far_below_the_last_bit_of_the_clocking_is_kept():
    b = directions(QUARTERS_DEG, [0.0, 1e-15, 0.0, 0.0])
    assert b[1][0] == pytest.approx(-np.radians(1e-15))


def test_equal_vanes_reach_an_octahedron_with_its_corners_cut():
    """Roll over (P, Y) reaches exactly |R| = 4F - |P| - |Y|, for |P|, |Y| <= 2F."""
    b, box = directions(QUARTERS_DEG), worn_box([1.0] * 4)
    for p in np.linspace(-2.0, 2.0, 9) * F_N:
        for y in np.linspace(-2.0, 2.0, 9) * F_N:
            most = 4 * F_N - abs(p) - abs(y)
            assert roll_range(b, *box, (p, y)) == pytest.approx((-most, most))
    corners = np.array(Zonotope(b, *box).vertices)
    assert np.abs(corners).max() == pytest.approx(2 * F_N)
    assert len(corners) == 4


@pytest.mark.parametrize("clocking_deg", [QUARTERS_DEG, (11.0, 95.0, 190.0, 301.0)])
def test_four_generators_in_general_position_give_12_facets_and_14_vertices(clocking_deg):
    """n(n-1) facets for n = 4; Euler's formula then leaves 14 vertices."""
    reached = attainable_set(directions(clocking_deg), [-1.0] * 4, [1.0] * 4)
    assert (len(reached.facets), len(reached.vertices)) == (12, 14)


def test_volume_of_the_attainable_set_of_equal_vanes():
    """64 F^3 L^2 R = 279 936 000 (N m)^3."""
    reached = attainable_set(directions(QUARTERS_DEG), *worn_box([1.0] * 4))
    assert reached.volume * LEVER_M**2 * ROLL_ARM_M == pytest.approx(279_936_000.0)


@pytest.mark.parametrize("e", [(1.0, 0.8, 0.6, 0.9), (0.5, 1.0, 0.7, 0.3), (1.0, 1.0, 1.0, 0.0)])
def test_volume_and_reach_of_worn_vanes(e):
    """Volume 16 F^3 e3(e), reach F(e1 + e3) and F(e2 + e4); one vane held at 0 leaves 1/4."""
    reached = attainable_set(directions(QUARTERS_DEG), *worn_box(e))
    symmetric = sum(np.prod(triple) for triple in combinations(e, 3))
    assert reached.volume == pytest.approx(16 * F_N**3 * symmetric)
    reach = np.abs(reached.vertices).max(axis=0)
    assert reach[:2] == pytest.approx([F_N * (e[0] + e[2]), F_N * (e[1] + e[3])])
    if e[3] == 0.0:
        assert reached.volume == pytest.approx(64 * F_N**3 / 4)


def test_pseudo_inverse_alone_reaches_two_thirds_of_the_volume():
    columns = np.vstack([np.transpose(directions(QUARTERS_DEG)), np.ones(4)])
    inverse = np.linalg.pinv(columns)
    bounds = np.hstack([np.vstack([inverse, -inverse]), -np.ones((8, 1))])
    volume = ConvexHull(HalfspaceIntersection(bounds, np.zeros(3)).intersections).volume
    whole = attainable_set(directions(QUARTERS_DEG), [-1.0] * 4, [1.0] * 4).volume
    assert volume / whole == pytest.approx(2 / 3)


def test_null_vector_of_quarter_turns_moves_opposite_vanes_together():
    v = np.array(null_vector(directions(QUARTERS_DEG)))
    assert v / v[0] == pytest.approx([1.0, -1.0, 1.0, -1.0])


def test_roll_range_is_that_of_the_hull_of_the_boxs_corners():
    """The pairwise strips agree with a convex hull that knows nothing of them."""
    rng = np.random.default_rng(71)
    print("seed 71")
    for _ in range(60):
        gaps = LEAST_GAP_DEG + rng.dirichlet(np.ones(4)) * (360 - 4 * LEAST_GAP_DEG)
        b = directions(np.cumsum(gaps).tolist())
        lo = rng.uniform(-1.0, 0.5, 4)
        hi = lo + rng.uniform(0.1, 1.0, 4)
        p = combine(b, rng.uniform(lo, hi).tolist())
        hull = attainable_set(b, lo.tolist(), hi.tolist()).roll_range(p)
        assert roll_range(b, lo.tolist(), hi.tolist(), p) == pytest.approx(hull, abs=1e-7)


# e, demand (pitch, yaw, roll) N m, share kept, roll, reachable roll, f/e [computed]
TABLE = [
    ((1, 1, 1, 1), (450, 300, 20), 1, 20, (-50.4, 50.4), (395 / 3, 305 / 3, -145 / 3, -55 / 3)),
    ((1, 1, 1, 1), (1800, 900, 30), 0.5, 21.6, (-21.6, 21.6), (180, 180, -180, 0)),
    ((1, 1, 1, 1), (600, -500, 60), 1, 33.6, (-33.6, 33.6), (180, -20, -60, 180)),
    ((1, 0.8, 0.6, 0.9), (300, -200, 15), 1, 15, (-36.48, 58.08), None),
    ((1, 0.8, 0.6, 0.9), (900, 300, -40), 0.8, -18.72, (-18.72, 31.68), (180, -82.5, -180, -180)),
    ((1, 0.8, 0.6, 0.9), (500, 500, 100), 1, 29.76, (-16.8, 29.76), None),
]


@pytest.mark.parametrize("exact", [False, True], ids=["floats", "fractions"])
@pytest.mark.parametrize(("e", "demand_nm", "share", "roll_nm", "reach_nm", "per_e_n"), TABLE)
def test_table_of_answers_without_kept_back_authority(
    e, demand_nm, share, roll_nm, reach_nm, per_e_n, exact
):
    """Policy "direction", tau 0, least sum of (f/e)^2 inside +-F e."""
    answer = exact_policy(
        QUARTERS_DEG,
        *worn_box(e),
        (demand_nm[0] / LEVER_M, demand_nm[1] / LEVER_M),
        demand_nm[2] / ROLL_ARM_M,
        "direction",
        tau=0.0,
        exact=exact,
        weights=[1 / x**2 for x in e],
    )
    assert answer.p * LEVER_M == pytest.approx(np.multiply(demand_nm[:2], share))
    assert answer.rho * ROLL_ARM_M == pytest.approx(roll_nm)
    assert answer.rho_range * ROLL_ARM_M == pytest.approx(reach_nm)
    if per_e_n is not None:
        assert answer.f / e == pytest.approx(per_e_n, abs=1e-5)


@pytest.mark.parametrize(
    ("misalignment_deg", "tau", "roll_nm"),
    [
        (0.0, 0.0, 30.0),
        (1e-15, 0.0, -43.2),
        (-1e-15, 0.0, 43.2),
        (0.0, 1 / 128, 30.0),
        (1e-15, 1 / 128, 30.0),
        (-1e-15, 1 / 128, 30.0),
    ],
)
@pytest.mark.parametrize("policy", POLICIES)
def test_near_parallel_trap_is_there_without_kept_back_authority_and_gone_with_it(
    misalignment_deg, tau, roll_nm, policy
):
    """Exactly on the edge of Z 1e-15 degree turns the roll round; 1/128 inside it does nothing."""
    answer = exact_policy(
        QUARTERS_DEG,
        *worn_box([1.0] * 4),
        (1800.0 / LEVER_M, 0.0),
        30.0 / ROLL_ARM_M,
        policy,
        tau=tau,
        exact=True,
        misalignment_deg=[0.0, misalignment_deg, 0.0, 0.0],
    )
    assert answer.rho * ROLL_ARM_M == pytest.approx(roll_nm)


def test_with_every_vane_held_the_answer_is_where_they_are():
    held = [100.0, -50.0, 25.0, 0.0]
    for policy in POLICIES:
        answer = exact_policy(QUARTERS_DEG, held, held, (5000.0, 1.0), -9000.0, policy)
        assert answer.f == pytest.approx(held)
        assert answer.p == pytest.approx([75.0, -50.0])


def test_a_flat_set_is_followed_only_by_demands_along_it():
    """Vanes 2 and 4 held: "nearest" drops to the segment, "direction" leaves it at once."""
    lo, hi = [-100.0, 10.0, -100.0, 10.0], [100.0, 10.0, 100.0, 10.0]
    for demand, policy, p in [
        ((80.0, 0.0), "direction", (80.0, 0.0)),
        ((900.0, 0.0), "direction", (200.0 * 127 / 128, 0.0)),
        ((80.0, 30.0), "direction", (0.0, 0.0)),
        ((80.0, 30.0), "nearest", (80.0, 0.0)),
    ]:
        answer = exact_policy(QUARTERS_DEG, lo, hi, demand, 0.0, policy)
        assert answer.p == pytest.approx(p), (demand, policy)


def slewed(demand, policy, now, step, roll=0.0, full=100.0):
    """Quarter turns, travel ±full, vanes at `now` and free to go `step`, 31/32 of it for p."""
    travel = [-full] * 4, [full] * 4
    window, first = (
        np.clip([np.array(now) - s, np.array(now) + s], -full, full) for s in (step, step * 31 / 32)
    )
    return exact_policy(
        QUARTERS_DEG, *window, demand, roll, policy, travel=travel, first=tuple(first)
    )


@pytest.mark.parametrize("policy", POLICIES)
def test_a_held_demand_comes_to_rest_at_the_answer_of_travel_alone(policy):
    """Worked out: of (600, 300) "direction" keeps (2F, F)·127/128, "nearest" the corner (2F, 2F)
    of it, however far the vanes may go in a cycle; the way there takes travel over step cycles."""
    rest = 200 * 127 / 128
    for step in (8.0, 32.0, 64.0):
        f = np.array([60.0, -80.0, 90.0, 20.0])
        for _ in range(int(200 / step) + 3):
            f = slewed((600.0, 300.0), policy, f, step).f
        p = f[0] - f[2], f[1] - f[3]
        assert p == pytest.approx((rest, rest if policy == "nearest" else rest / 2), abs=1e-9)


def test_a_primary_on_its_way_leaves_the_last_share_of_the_slew_to_roll():
    """From (100, 0, −100, 0) to no pitch at 32 counts a cycle: pitch falls by 62, and roll within
    2 + 2·32 of none is free."""
    for roll, given in ((0.0, 0.0), (50.0, 50.0), (90.0, 66.0), (-90.0, -66.0)):
        answer = slewed((0.0, 0.0), "nearest", (100.0, 0.0, -100.0, 0.0), 32.0, roll)
        assert answer.p == pytest.approx((138.0, 0.0))
        assert answer.target == pytest.approx((0.0, 0.0))
        assert answer.rho == pytest.approx(given)


def test_an_unknown_policy_is_refused_with_the_allowed_ones():
    with pytest.raises(ValueError, match='"sideways"; allowed: "nearest", "direction"'):
        exact_policy(QUARTERS_DEG, [-1] * 4, [1] * 4, (0, 0), 0, "sideways")


# --- further routes over random cases ------------------------------------------------------------


@pytest.mark.parametrize(("problems", "count"), [(cases, 300), (slewed_cases, 150)])
@pytest.mark.parametrize("policy", POLICIES)
def test_general_solvers_agree_with_the_geometry(policy, problems, count, full_size):
    """Linear programs and bounded least squares give the same p, roll, forces and roll range.

    1e-5 count: the solvers stop at 1e-10 of 4096 counts, which 0.01 degree between opposite
    vanes multiplies by 1/sin(0.01 degree) = 5730.
    """
    for case in problems(count if full_size else count // 3, seed=20260):
        answer = exact_policy(*case.arguments, policy, **case.boxes)
        p, rho, f, ends = solver_policy(*case.arguments, policy, **case.boxes)
        expected = [*answer.p, answer.rho, *answer.f, *answer.rho_range]
        assert [*p, rho, *f, *ends] == pytest.approx(expected, abs=1e-5, rel=0), case


@pytest.mark.parametrize(("problems", "count"), [(cases, 300), (slewed_cases, 150)])
@pytest.mark.parametrize("policy", POLICIES)
def test_fractions_agree_with_floats(policy, problems, count, full_size):
    """Without any rounding the answer is the same to 1e-9 count.

    Where opposite vanes are nearly parallel, the last bit of p (1e-12 count) is divided by the
    sine of their angle, and by that only.
    """
    for case in problems(count if full_size else count // 3, seed=20261):
        rounded = exact_policy(*case.arguments, policy, **case.boxes)
        answer = exact_policy(*case.arguments, policy, **case.boxes, exact=True)
        b = directions(case.clocking_deg)
        sines = [abs(c[0] * d[1] - c[1] * d[0]) for c, d in combinations(b, 2)]
        tolerance = ROUNDING + 4e-12 / min(sine for sine in sines if sine)
        assert rounded.p == pytest.approx(answer.p, abs=ROUNDING, rel=0), case
        for name in ("rho", "f", "rho_range"):
            expected = pytest.approx(getattr(answer, name), abs=tolerance, rel=0)
            assert getattr(rounded, name) == expected, (name, case)


@pytest.mark.parametrize("policy", POLICIES)
def test_answers_keep_to_the_box_and_give_the_moments_they_claim(policy, full_size):
    for case in cases(1000 if full_size else 300, seed=20262):
        answer = exact_policy(*case.arguments, policy)
        assert np.all(answer.f >= np.array(case.lo) - 1e-7), case
        assert np.all(answer.f <= np.array(case.hi) + 1e-7), case
        b = np.array(directions(case.clocking_deg))
        assert answer.f @ b == pytest.approx(answer.p, abs=ROUNDING), case
        assert answer.f.sum() == pytest.approx(answer.rho, abs=ROUNDING), case


def test_random_cases_repeat_by_seed_and_reach_every_kind():
    some, again = list(cases(2000, seed=5)), list(cases(2000, seed=5))
    assert some == again != list(cases(2000, seed=6))
    kinds = {case.kind for case in some}
    assert kinds == {f"{x}/{y}/{z}" for x in LAYOUTS for y in BOXES for z in DEMANDS}
    for case in some:
        forces = np.array([*case.lo, *case.hi, *case.demand, case.roll])
        assert np.all(forces * 4 == np.round(forces * 4))
        assert all(-FULL <= low <= high <= FULL for low, high in zip(case.lo, case.hi, strict=True))
        ordered = np.sort(np.mod(case.clocking_deg, 360.0))
        assert np.diff(ordered, append=ordered[0] + 360.0).min() > LEAST_GAP_DEG - 0.02
    jammed = [case for case in some if "/jammed/" in case.kind]
    assert {sum(x == y for x, y in zip(c.lo, c.hi, strict=True)) for c in jammed} == {1, 2}
    assert any(all(x > 0 or y < 0 for x, y in zip(c.lo, c.hi, strict=True)) for c in some)


# --- the judge ------------------------------------------------------------------------------------


def rounded_inside(f, case):
    """The exact forces as whole counts, or the limit where that is not whole."""
    return np.clip(np.round(f), case.lo, case.hi)


@pytest.mark.parametrize("policy", POLICIES)
def test_judge_accepts_exact_answers_in_whole_counts(policy, full_size):
    """Rounding each vane to a count is never called a fault, in any kind of case."""
    for case in cases(2500 if full_size else 400, seed=20263):
        f = rounded_inside(exact_policy(*case.arguments, policy).f, case)
        assert judge(*case.arguments, policy, f).faults == [], case


def clipped_pseudo_inverse(case):
    """What a plain pseudo-inverse with clipping delivers: roll takes from pitch and yaw."""
    columns = np.vstack([np.transpose(directions(case.clocking_deg)), np.ones(4)])
    return np.clip(np.linalg.pinv(columns) @ [*case.demand, case.roll], case.lo, case.hi)


def scaled_pseudo_inverse(case):
    """All three axes shortened alike until the forces fit +-hi."""
    columns = np.vstack([np.transpose(directions(case.clocking_deg)), np.ones(4)])
    f = np.linalg.pinv(columns) @ [*case.demand, case.roll]
    return f / max(1.0, np.max(np.abs(f) / np.array(case.hi)))


@pytest.mark.parametrize("wrong", [clipped_pseudo_inverse, scaled_pseudo_inverse])
@pytest.mark.parametrize("policy", POLICIES)
def test_judge_catches_allocators_that_break_the_priority(wrong, policy, full_size):
    """Wherever roll or primary is limited, both shortcuts lose moments that were reachable."""
    seen, count = 0, 1500 if full_size else 400
    for case in cases(count, seed=20264):
        answer = exact_policy(*case.arguments, policy)
        cut = np.hypot(*(answer.p - case.demand)) + abs(answer.rho - case.roll)
        if case.kind.split("/")[1] in ("equal", "unequal") and cut > 400.0:
            seen += 1
            assert judge(*case.arguments, policy, wrong(case)).faults, case
    assert seen > count / 6


def test_judge_names_each_fault_by_itself():
    """Equal vanes, everything reachable: each deliberate error is named, and only it."""
    box = [-FULL] * 4, [FULL] * 4
    arguments = (QUARTERS_DEG, *box, (1000.0, -500.0), 800.0, "nearest")
    right = exact_policy(*arguments).f
    for change, faults in [
        ([0.0, 0.0, 0.0, 0.0], []),
        ([5.0, 0.0, -5.0, 0.0], ["primary"]),
        ([3.0, -3.0, 3.0, -3.0], ["effort"]),
        ([2.5, 2.5, 2.5, 2.5], ["roll"]),
    ]:
        assert judge(*arguments, right + change).faults == faults, change


@pytest.mark.parametrize(("force", "faults"), [(500.0, []), (501.0, []), (502.0, ["effort"])])
def test_effort_at_a_limit_may_miss_by_one_count_of_each_vane(force, faults):
    """Vane 1 cannot go below 500: all four at +-501 cost 4 (501^2 - 500^2) more, one count each."""
    lo, f = [500.0, -FULL, -FULL, -FULL], [force, -force, force, -force]
    verdict = judge(QUARTERS_DEG, lo, [FULL] * 4, (0.0, 0.0), 0.0, "nearest", f)
    assert verdict.effort_explained == pytest.approx(4004.0)
    assert verdict.effort_excess == pytest.approx(4 * (force**2 - 500.0**2))
    assert verdict.faults == faults


def test_a_vane_outside_its_box_is_named_with_its_distance():
    lo, hi = [-FULL] * 4, [FULL, 70.0, FULL, FULL]
    verdict = judge(QUARTERS_DEG, lo, hi, (0, 144.0), 0, "nearest", [0.0, 72.0, 0.0, -72.0])
    assert verdict.faults == ["box"]
    assert verdict.outside_counts == pytest.approx(2.0)


def test_judge_measures_errors_in_counts():
    arguments = (QUARTERS_DEG, [-FULL] * 4, [FULL] * 4, (1000.0, -500.0), 800.0, "direction")
    verdict = judge(*arguments, np.add(exact_policy(*arguments).f, [3.0, 0.0, 0.0, -2.0]))
    assert verdict.primary_error_counts == pytest.approx([3.0, 2.0])
    assert verdict.roll_error_counts == pytest.approx(1.0)
    assert verdict.inside_box


def test_fair_roll_interval_is_what_nearby_primaries_give():
    """A fine grid over the square never leaves the interval and comes close to both its ends.

    Grid step 0.2 count; the roll ends move by at most 1/sin of the angle between two vanes.
    """
    grid = np.linspace(-4.0, 4.0, 41)
    for angle_deg in (0.3, 1.0, 4.0):
        b = directions([0.0, 90.0 + angle_deg, 180.0 + angle_deg, 270.0])
        lo, hi = [-20.0, -31.0, -9.0, 14.0], [25.0, 12.0, 18.0, 40.0]
        reachable = Zonotope(b, lo, hi)
        step = 0.2 * np.sqrt(2.0) / np.sin(np.radians(angle_deg))
        for roll in (-200.0, 5.0, 200.0):
            p = reachable.nearest((90.0, 3.0))
            interval = fair_roll_interval(b, lo, hi, p, roll, 4.0)
            assert interval is not None
            given = []
            for q in [(p[0] + x, p[1] + y) for x in grid for y in grid]:
                if reachable.contains(q):
                    least, most = roll_range(b, lo, hi, q)
                    given.append(min(max(roll, least), most))
            assert interval[0] - 1e-6 <= min(given) <= interval[0] + step
            assert interval[1] - step <= max(given) <= interval[1] + 1e-6


def test_roll_is_judged_by_primaries_near_the_delivered_one():
    """Half a degree off parallel, four counts of primary move the roll by far more than eight.

    The roll of the neighbour is accepted with the delivered primary; nine counts more is a fault.
    """
    clocking_deg, lo, hi = (0.0, 90.0, 180.5, 270.0), [-300.0] * 4, [300.0] * 4
    arguments = (clocking_deg, lo, hi, (40.0, 600.0), 900.0)
    answer = exact_policy(*arguments, "nearest")
    b, p = directions(clocking_deg), (float(answer.p[0]), float(answer.p[1]))
    interval = fair_roll_interval(b, lo, hi, p, 900.0, 4.0)
    assert interval is not None and interval[1] - answer.rho > 8.0 + 1.0
    for roll, error in [(interval[1], 0.0), (interval[1] + 9.0, 9.0)]:
        f = least_effort(b, [-1e3] * 4, [1e3] * 4, p, roll)
        verdict = judge(*arguments, "nearest", f)
        assert verdict.roll_error_counts == pytest.approx(error, abs=1e-6)
        assert ("roll" in verdict.faults) == (error > 8.0)


def test_judge_refuses_forces_that_are_no_numbers():
    for wrong in (np.nan, np.inf):
        with pytest.raises(ValueError, match="four finite numbers"):
            judge(QUARTERS_DEG, [-9.0] * 4, [9.0] * 4, (0, 0), 0, "nearest", [wrong, 0, 0, 0])


def test_no_reachable_primary_nearby_makes_the_roll_error_infinite():
    verdict = judge(QUARTERS_DEG, [-9.0] * 4, [9.0] * 4, (0, 0), 0, "nearest", [60, 0, -60, 0])
    assert verdict.roll_error_counts == np.inf
    assert {"primary", "roll", "box"} <= set(verdict.faults)


@pytest.mark.parametrize(
    ("delivered", "strict", "against_edges"),
    [
        ((170.55, 2.977), (0.0, 0.0), (0.0, 0.0)),  # the exact answer
        ((130.0, 2.269), (40.5, 0.708), (0.0, 0.0)),  # as if the edge were 0.7 count further in
        ((90.0, 1.571), (80.5, 1.406), (23.3, 0.4)),  # more than one count of edge
        ((140.0, -5.0), (30.5, 7.977), (0.0, 7.4)),  # off the demanded direction
    ],
)
def test_a_grazing_direction_is_also_measured_against_edges_one_count_off(
    delivered, strict, against_edges
):
    """The demand runs 1 degree out of line with an edge 3 counts away: a count of it is 57."""
    lo, hi = [-1000.0, -1000.0, -1000.0, -3.0], [1000.0, 0.0, 1000.0, 1000.0]
    demand = (1900.0, 1900.0 * np.tan(np.radians(1.0)))
    f = least_effort(directions(QUARTERS_DEG), [-1e4] * 4, [1e4] * 4, delivered, 0.0)
    verdict = judge(QUARTERS_DEG, lo, hi, demand, 0.0, "direction", f)
    assert verdict.primary_error_counts == pytest.approx(strict, abs=0.1)
    assert verdict.primary_edge_error_counts == pytest.approx(against_edges, abs=0.3)
