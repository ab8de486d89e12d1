"""Moments within reach: exact geometry against linear programs and published closed forms."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from mixer.ground.authority import required as authority
from mixer.ground.authority.reach import KEPT_BACK, PITCH, YAW, Reach, reach
from mixer.ground.authority.required import each_alone_nm, unmet_requirements
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.vehicle.vehicle import Vehicle
from tests.support.vehicles import vehicle, vehicle_file

F, L, R = 180.0, 2.5, 0.12
QUARTERS = np.array([0.0, 90.0, 180.0, 270.0])


def square(e: tuple[float, ...] = (1, 1, 1, 1)) -> Reach:
    """Four vanes at exact quarter turns whose limits are ±F times effectiveness."""
    most = F * np.array(e, dtype=float)
    return Reach(QUARTERS, -most, most, np.array(L), R)


@st.composite
def reaches(draw: st.DrawFn) -> Reach:
    """Uneven clocking, one-sided or jammed vanes, boxes that need not hold 0."""
    turn = draw(st.floats(0, 360))
    apart = [draw(st.sampled_from([0.0, 0.0, 0.3, -4.0, 17.0])) for _ in range(4)]
    lo, hi = [], []
    for _ in range(4):
        a, b = draw(st.floats(-200, 200)), draw(st.floats(-200, 200))
        kind = draw(st.sampled_from(["any", "any", "both ways", "jammed"]))
        low, high = {"any": (a, b), "both ways": (-abs(a), abs(b)), "jammed": (a, a)}[kind]
        lo.append(min(low, high))
        hi.append(max(low, high))
    return Reach(QUARTERS + turn + apart, np.array(lo), np.array(hi), np.array(2.0), 0.1)


def extreme(reached: Reach, wanted: np.ndarray, equal: np.ndarray, to: np.ndarray) -> float | None:
    """The most of wanted·f over the box where equal·f = to, by a linear program; None: empty."""
    found = linprog(
        -wanted,
        A_eq=equal if len(equal) else None,
        b_eq=to if len(equal) else None,
        bounds=np.column_stack([reached.lo_n, reached.hi_n]),
        method="highs",
    )
    return -found.fun if found.status == 0 else None


# The table of the closed form, [computed]: F = 180 N, L = 2.5 m, R = 0.12 m, quarter turns.
@pytest.mark.parametrize(
    ("e", "pitch", "yaw", "low", "high"),
    [
        ((1, 1, 1, 1), 450, 300, -50.4, 50.4),
        ((1, 1, 1, 1), 900, 450, -21.6, 21.6),
        ((1, 1, 1, 1), 600, -500, -33.6, 33.6),
        ((1, 0.8, 0.6, 0.9), 300, -200, -36.48, 58.08),
        ((1, 0.8, 0.6, 0.9), 720, 240, -18.72, 31.68),
        ((1, 0.8, 0.6, 0.9), 500, 500, -16.8, 29.76),
    ],
)
def test_roll_beside_pitch_and_yaw_is_what_the_closed_form_says(
    e: tuple[float, ...], pitch: float, yaw: float, low: float, high: float
) -> None:
    np.testing.assert_allclose(square(e).roll_range_nm(pitch, yaw), [low, high], atol=1e-9)


def test_equal_vanes_at_quarter_turns_reach_the_published_octahedron_cut_by_a_box() -> None:
    """|P|+|Y|+|Rr| ≤ 4F, |P|, |Y| ≤ 2F (Durham 1993, worked out for this layout)."""
    reached, rng = square(), np.random.default_rng(3)
    points = rng.uniform(-1, 1, (2000, 3)) * [2.5 * F * L, 2.5 * F * L, 4.5 * F * R]
    pitch, yaw, roll = points.T
    low, high = reached.roll_range_nm(pitch, yaw).T
    inside = (roll >= low) & (roll <= high)  # false where not a number
    p, y, r = np.abs(points / [L, L, R]).T
    np.testing.assert_array_equal(inside, (p + y + r <= 4 * F) & (p <= 2 * F) & (y <= 2 * F))


def test_the_volume_within_reach_is_the_published_one() -> None:
    """64 F³ L² R for new vanes, 16 F³ L² R e₃(e) for worn ones [computed]."""
    for e in ((1, 1, 1, 1), (1, 0.8, 0.6, 0.9)):
        reached = square(e)
        side = np.linspace(-2 * F * L, 2 * F * L, 401)
        middle = (side[1:] + side[:-1]) / 2
        low, high = np.moveaxis(reached.roll_range_nm(middle[:, None], middle[None]), -1, 0)
        volume = np.nansum(high - low) * (side[1] - side[0]) ** 2
        e3 = sum(np.prod(np.delete(e, leave)) for leave in range(4))
        assert volume == pytest.approx(16 * F**3 * L**2 * R * e3, rel=2e-3)


def test_worn_vanes_reach_the_published_pitch_and_yaw() -> None:
    """|pitch| ≤ LF(e₁+e₃), |yaw| ≤ LF(e₂+e₄) [computed]; the steering keeps 1/128 back."""
    e = (1, 0.8, 0.6, 0.9)
    for axis, share in ((PITCH, e[0] + e[2]), (YAW, e[1] + e[3])):
        for kept_back in (0.0, KEPT_BACK):
            most = (1 - kept_back) * L * F * share
            found = square(e).primary_range_nm(axis, kept_back=kept_back)
            np.testing.assert_allclose(found, [-most, most])


@settings(max_examples=150, deadline=None)
@given(reaches())
def test_the_outline_is_the_hull_of_the_corners_of_the_force_box(reached: Reach) -> None:
    corners = np.array(np.meshgrid(*zip(reached.lo_n, reached.hi_n, strict=True)))
    points = corners.reshape(4, -1).T @ reached.directions * reached.lever_arm_m
    outline = reached.outline_nm(kept_back=0)
    size = max(1.0, np.abs(points).max())
    np.testing.assert_allclose(outline[0], outline[-1], atol=1e-9 * size)
    (x, y), (next_x, next_y) = outline[:-1].T, outline[1:].T
    area = (x * next_y - y * next_x).sum() / 2
    free = reached.hi_n - reached.lo_n
    if np.linalg.matrix_rank(free[:, None] * reached.directions, tol=1.0) == 2:
        assert area == pytest.approx(ConvexHull(points).volume, rel=1e-6)
    over = points @ reached.normals.T / reached.lever_arm_m - reached.edges_n(0)
    assert over.max() <= 1e-9 * size


@given(reaches(), st.floats(-1.3, 1.3), st.sampled_from([PITCH, YAW]))
def test_pitch_beside_yaw_and_yaw_beside_pitch_agree_with_a_linear_program(
    reached: Reach, share: float, axis: int
) -> None:
    other_nm = share * float(np.abs(reached.outline_nm()).max())
    along, aside = reached.directions.T[[axis, 1 - axis]]
    to = np.array([other_nm / reached.lever_arm_m])
    least, most = reached.primary_range_nm(axis, other_nm, kept_back=0)
    highest = extreme(reached, along, aside[None], to)
    lowest = extreme(reached, -along, aside[None], to)
    if highest is None or lowest is None or np.isnan(most):
        ends = np.sort([reached.lo_n * aside, reached.hi_n * aside], axis=0).sum(1)
        # out of reach, or so near the end of it that rounding decides
        assert not ends[0] + 1e-5 < to[0] < ends[1] - 1e-5
        return
    np.testing.assert_allclose(
        [least, most], np.array([-lowest, highest]) * reached.lever_arm_m, atol=1e-4, rtol=1e-6
    )


@given(reaches(), st.lists(st.floats(0, 1), min_size=4, max_size=4))
def test_roll_beside_pitch_and_yaw_agrees_with_a_linear_program(
    reached: Reach, shares: list[float]
) -> None:
    force = reached.lo_n + np.array(shares) * (reached.hi_n - reached.lo_n)
    primary = force @ reached.directions
    low, high = reached.roll_range_nm(*primary * reached.lever_arm_m)
    equal = reached.directions.T
    highest = extreme(reached, np.ones(4), equal, primary)
    lowest = extreme(reached, -np.ones(4), equal, primary)
    assume(highest is not None and lowest is not None)  # lost to the program's own tolerance
    # the program may miss the two conditions by 1e-7, which almost parallel vanes enlarge
    np.testing.assert_allclose(
        [low, high], np.array([-lowest, highest]) * reached.roll_arm_m, atol=1e-3, rtol=1e-5
    )


@settings(max_examples=150, deadline=None)
@given(reaches(), st.floats(0, 360))
def test_a_demand_on_the_outline_asks_for_all_of_the_reach(reached: Reach, angle: float) -> None:
    rest = reached.rest_n @ reached.directions * reached.lever_arm_m
    way = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    share = float(reached.primary_share(*(rest + way)))
    if not 1e-6 < share < 1e6:
        return
    np.testing.assert_allclose(reached.primary_share(*(rest + way / share)), 1.0, rtol=1e-6)
    np.testing.assert_allclose(reached.primary_share(*rest), 0.0, atol=1e-9)


def test_vanes_that_all_stand_still_reach_one_moment() -> None:
    stands = np.array([10.0, -5.0, 3.0, 2.0])
    reached = Reach(QUARTERS, stands, stands, np.array(L), R)
    pitch, yaw = L * (stands @ reached.directions)
    np.testing.assert_allclose(reached.roll_range_nm(pitch, yaw), [1.2, 1.2])
    assert np.isnan(reached.roll_range_nm(pitch + 1, yaw)).all()
    assert reached.primary_share(pitch + 1, yaw) == np.inf
    assert reached.all_round_nm() == 0.0


def test_near_parallel_vanes_do_not_split_the_reach() -> None:
    """cos(90 deg) in floats is 6e-17, not 0: quarter turns are taken as what they are."""
    exact = square().roll_range_nm(1800 - 1e-6, 0)
    turned = Reach(
        QUARTERS + np.array([0, 1e-13, 0, 0]), *(F * np.array([[-1] * 4, [1] * 4])), np.array(L), R
    )
    np.testing.assert_allclose(turned.roll_range_nm(1800 - 1e-6, 0), exact, atol=1e-3)


def test_the_slice_of_roll_and_pitch_has_its_corners_on_the_reach() -> None:
    outline = square((1, 0.8, 0.6, 0.9)).roll_outline_nm(PITCH)
    low, high = square((1, 0.8, 0.6, 0.9)).roll_range_nm(outline[:, 0], 0.0).T
    assert np.isclose(outline[:, 1], low).sum() >= len(outline) // 2
    assert (np.isclose(outline[:, 1], low) | np.isclose(outline[:, 1], high)).all()
    middles = np.linspace(outline[:-1], outline[1:], 7)[1:-1].reshape(-1, 2)
    low, high = square((1, 0.8, 0.6, 0.9)).roll_range_nm(middles[:, 0], 0.0).T
    steep = np.isclose(low, high)
    near = np.minimum(np.abs(middles[:, 1] - low), np.abs(middles[:, 1] - high))
    ends = np.isclose(np.abs(middles[:, 0]), np.abs(outline[:, 0]).max())
    assert (near[~steep & ~ends] < 1e-9).all()


def test_many_instants_at_once_are_each_as_alone() -> None:
    sane, times_s = vehicle(), np.array([0.0, 11.0, 26.0])
    together = reach(sane, times_s)
    for n, time_s in enumerate(times_s):
        alone = reach(sane, time_s)
        np.testing.assert_allclose(
            together.primary_range_nm(PITCH)[n], alone.primary_range_nm(PITCH), rtol=1e-14
        )
        np.testing.assert_allclose(together.roll_range_nm()[n], alone.roll_range_nm(), rtol=1e-14)
        np.testing.assert_allclose(
            together.primary_share(500, 90)[n], alone.primary_share(500, 90), rtol=1e-14
        )


def test_reach_follows_pressure_wear_lever_arm_and_jammed_vanes() -> None:
    sane = vehicle()
    start = reach(sane, 0.0).primary_range_nm(PITCH)
    np.testing.assert_allclose(
        reach(sane, 0.0, pressure_ratio=0.5).primary_range_nm(PITCH), start / 2
    )
    end = reach(sane, 26.0).primary_range_nm(PITCH)
    np.testing.assert_allclose(end, start * 0.93 * 2.7 / 2.3)
    worn = reach(sane, 0.0, load_s=26.0).primary_range_nm(PITCH)
    np.testing.assert_allclose(worn, start * 0.93)
    jammed = reach(sane, 0.0, jammed_deg=[np.nan, np.nan, 7.5, np.nan])
    np.testing.assert_allclose([jammed.lo_n[2], jammed.hi_n[2]], [100.0, 100.0])


def required(**limits: float) -> Vehicle:
    """A vehicle whose reach only falls, with requirements."""
    return vehicle(layout={"lever_arm_m": 2.5}, requirements=limits)


def test_without_requirements_nothing_is_unmet() -> None:
    assert unmet_requirements(vehicle()) == []
    assert unmet_requirements(required(pitch_nm=100.0, roll_nm=10.0)) == []


def test_the_time_at_which_a_requirement_fails_is_where_the_reach_crosses_it() -> None:
    """Between 13 s and 26 s effectiveness falls in a straight line from 0.98 to 0.93."""
    full_nm = float(each_alone_nm(reach(required(), 0.0))[0])
    found = unmet_requirements(required(pitch_nm=0.95 * full_nm))
    assert [one.axis for one in found] == ["pitch"]
    assert found[0].time_s == pytest.approx(13 + 13 * 0.03 / 0.05, abs=1e-5)
    assert found[0].least_nm == pytest.approx(0.93 * full_nm)


def test_the_earliest_failure_comes_first_and_each_axis_is_told() -> None:
    pitch_nm, yaw_nm, roll_nm = each_alone_nm(reach(required(), 0.0))
    found = unmet_requirements(
        required(pitch_nm=0.94 * pitch_nm, yaw_nm=2 * yaw_nm, roll_nm=0.99 * roll_nm)
    )
    assert [one.axis for one in found] == ["yaw", "roll", "pitch"]
    assert found[0].time_s == 0.0
    assert "from the start" in str(found[0])
    assert f"from {found[1].time_s:.2f} s on" in str(found[1])


def test_a_dip_between_two_points_of_the_wear_table_is_found() -> None:
    """A dip of 2 ms, far narrower than the even steps over the burn."""
    dip = {"load_s": [0.0, 9.0, 9.001, 9.002, 26.0], "effectiveness": [1.0, 1.0, 0.5, 1.0, 1.0]}
    full_nm = float(each_alone_nm(reach(required(), 0.0))[0])
    limits = {"pitch_nm": 0.9 * full_nm}
    found = unmet_requirements(
        vehicle(layout={"lever_arm_m": 2.5}, erosion=dip, requirements=limits)
    )
    assert found[0].time_s == pytest.approx(9.0002, abs=1e-5)


def test_another_reach_than_the_nominal_can_be_judged() -> None:
    """What a band of uncertainty needs: the same question of a weaker vehicle."""
    full_nm = float(each_alone_nm(reach(required(), 0.0))[0])
    strict = required(pitch_nm=0.9 * full_nm)
    assert unmet_requirements(strict) == []
    weak = unmet_requirements(
        strict, lambda time_s: each_alone_nm(reach(strict, time_s, pressure_ratio=0.95))
    )
    assert weak[0].time_s == pytest.approx(13 + 13 * (0.98 - 0.9 / 0.95) / 0.05, abs=1e-4)


def test_vanes_that_cannot_bring_a_moment_to_zero_meet_nothing() -> None:
    stuck = reach(vehicle(), 0.0, jammed_deg=[15.0, -15.0, np.nan, np.nan])
    assert each_alone_nm(stuck)[0] < 0 or each_alone_nm(stuck)[0] == -np.inf


def run(*arguments: object) -> Result:
    return CliRunner().invoke(fourvane, ["envelope", *map(str, arguments)])


def test_the_command_prints_numbers_writes_a_report_and_ends_with_0(tmp_path: Path) -> None:
    out = tmp_path / "reach.html"
    result = run(vehicle_file(tmp_path), "--out", out)
    assert result.exit_code == 0, result.stderr
    assert "±1291" in result.stdout and str(out) in result.stdout
    page = out.read_text(encoding="utf-8")
    assert page.count("<svg") == 3 and "safety officer" in page and "nan" not in page


def test_the_command_ends_with_1_and_says_when_where_a_requirement_fails(tmp_path: Path) -> None:
    file = vehicle_file(tmp_path, requirements={"roll_nm": 34.9})
    out = tmp_path / "reach.png"
    result = run(file, "--out", out, "--at", 3)
    assert result.exit_code == 1
    when_s = 13 + 13 * (0.98 - 34.9 / 36.0) / 0.05
    assert f"FAIL. Roll of 34.9 N·m is not within reach both ways from {when_s:.2f} s on" in (
        result.stdout
    )
    assert out.read_bytes().startswith(b"\x89PNG")


def test_json_holds_the_numbers_and_the_failures(tmp_path: Path) -> None:
    file = vehicle_file(tmp_path, requirements={"roll_nm": 34.9})
    result = run(file, "--out", tmp_path / "a.html", "--at", 26, "--at", 0, "--json")
    told = json.loads(result.stdout)
    assert result.exit_code == 1
    assert [one["time_s"] for one in told["instants"]] == [0.0, 26.0]
    assert told["instants"][0]["roll_at_centre_nm"] == pytest.approx([-36.0, 36.0])
    assert told["required_nm"] == {"pitch": None, "yaw": None, "roll": 34.9}
    assert told["requirements_met"] is False and told["unmet"][0]["axis"] == "roll"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--at", "27"], "--at 27: must be at most the burn time, 26 s"),
        (["--out", "reach.pdf"], "reach.pdf: must end in .html for a report or .png"),
        (["--at", "soon"], "Invalid value for '--at'"),
    ],
)
def test_a_wrong_request_ends_with_2_and_leaves_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], message: str
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(vehicle_file(tmp_path), *arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["vehicle.toml"]


def test_times_over_the_burn_hold_every_table_point() -> None:
    times_s = authority.burn_times_s(vehicle())
    assert {0.0, 13.0, 26.0} <= set(times_s.tolist())
    assert (np.diff(times_s) > 0).all() and times_s[-1] == 26.0
