"""What the flight core promises for any demand, pressure, wear, jam and time step."""

import functools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.tables.angles import cosine, sine
from mixer.ground.tables.build import flight_tables, slew_mdeg_s
from tests.support.flight_core import allocate_counts
from tests.support.vehicles import vehicle

VEHICLES = {
    "quarter turns from 45°": {},
    "quarter turns from 0°, direction": {
        "layout": {"clocking_deg": [0.0, 90.0, 180.0, 270.0]},
        "control": {"policy": "direction"},
    },
    "uneven, unequal, one-sided": {
        "layout": {"clocking_deg": [10.0, 80.0, 191.0, 275.0]},
        "vanes": {
            "travel_deg": [[-15.0, 15.0], [0.0, 12.0], [-9.5, 15.0], [-15.0, 4.0]],
            "deflection_deg": [-16.0, -7.0, 0.0, 8.0, 15.0],
            "force_n": [-210.0, -110.0, 3.0, 112.0, 200.0],
            "drag_n": None,
        },
        "servos": {"slew_deg_s": [250.0, 100.0, 33.3, 400.0]},
    },
}
NAMES = sorted(VEHICLES)


@functools.cache
def tables(name: str):
    return flight_tables(vehicle(**VEHICLES[name]))


moments = st.one_of(
    st.integers(-1_500_000, 1_500_000),
    st.integers(-(2**29), 2**29),
    st.sampled_from([0, 2**31, -(2**31)]),
)
cycles = st.lists(
    st.tuples(
        moments, moments, st.integers(-60_000, 60_000),
        st.sampled_from([0, 90_000, 1_000_000, 1_900_000, 2_000_000, 2_200_000, 9_000_000]),
        st.sampled_from([0, 1, 1000, 5000, 5000, 5000, 80_000, 1_000_000]),
        st.sampled_from(["", "", "", "jam", "free"]), st.integers(1, 4),
        st.integers(-20_000, 20_000),
    ),
    min_size=1, max_size=40,
)  # fmt: skip


def fly(s: Steering, flight):
    """Run the cycles; yield the state's words after each."""
    for pitch, yaw, roll, pressure, dt_us, event, vane, angle in flight:
        if event == "jam":
            s.jam(vane, angle)
        elif event == "free":
            s.free(vane)
        before = list(s.deflection_mdeg)
        s.demand(pitch, yaw, roll)
        s.step(pressure, dt_us)
        yield before, dt_us


@pytest.mark.parametrize("name", NAMES)
@given(flight=cycles)
@settings(max_examples=120, deadline=None)
def test_never_outside_travel_or_slew(name, flight):
    t, slew = tables(name).words, slew_mdeg_s(tables(name))
    s = Steering(tables(name))
    for before, dt_us in fly(s, flight):
        for i in range(4):
            now = s.deflection_mdeg[i]
            assert t[at.TRAVEL_LO + i] <= now <= t[at.TRAVEL_HI + i]
            assert abs(now - before[i]) * 1_000_000 <= slew[i] * dt_us


@pytest.mark.parametrize("name", NAMES)
@given(flight=cycles)
@settings(max_examples=60, deadline=None)
def test_the_same_input_gives_the_same_output(name, flight):
    one, two = Steering(tables(name)), Steering(tables(name))
    for _ in zip(fly(one, flight), fly(two, flight), strict=True):
        assert bytes(memoryview(one._w)) == bytes(memoryview(two._w))


# ---- the allocation alone, in counts ----

LAYOUTS = [(0.0, 90.0, 180.0, 270.0), (45.0, 135.0, 225.0, 315.0), (10.0, 80.0, 191.0, 275.0)]
quarters = st.integers(-80_000, 80_000).map(lambda n: n / 4)
edges = st.tuples(st.integers(-16384, 16384), st.integers(-16384, 16384)).map(sorted)
boxes = st.lists(edges, min_size=4, max_size=4).map(
    lambda pairs: ([a / 4 for a, _ in pairs], [b / 4 for _, b in pairs])
)
FULL = ([-4096] * 4, [4096] * 4)


def delivered(clocking, forces):
    return np.array([cosine(clocking) @ forces, sine(clocking) @ forces, np.sum(forces)])


@given(st.sampled_from(LAYOUTS), boxes, quarters, quarters, quarters, quarters)
@settings(max_examples=400, deadline=None)
def test_roll_never_changes_pitch_and_yaw(clocking, box, x, y, roll, other_roll):
    """The primary differs by no more than the rounding of two different sets of forces."""
    for policy in ("nearest", "direction"):
        a = allocate_counts(clocking, *box, (x, y), roll, policy)
        b = allocate_counts(clocking, *box, (x, y), other_roll, policy)
        assert np.abs(delivered(clocking, a) - delivered(clocking, b))[:2].max() <= 2


@given(st.sampled_from(LAYOUTS[:2]), quarters, quarters, quarters)
@settings(max_examples=300, deadline=None)
def test_the_negative_demand_gives_the_negative_forces(clocking, x, y, roll):
    for policy in ("nearest", "direction"):
        a = allocate_counts(clocking, *FULL, (x, y), roll, policy)
        b = allocate_counts(clocking, *FULL, (-x, -y), -roll, policy)
        assert np.abs(np.add(a, b)).max() <= 2


@given(st.sampled_from(LAYOUTS[:2]), quarters, quarters, quarters)
@settings(max_examples=300, deadline=None)
def test_a_demand_turned_by_a_quarter_turns_the_vanes_by_one(clocking, x, y, roll):
    for policy in ("nearest", "direction"):
        a = allocate_counts(clocking, *FULL, (x, y), roll, policy)
        b = allocate_counts(clocking, *FULL, (-y, x), roll, policy)
        assert np.abs(np.roll(a, 1) - b).max() <= 2


@given(st.sampled_from(LAYOUTS), quarters, quarters, quarters)
@settings(max_examples=300, deadline=None)
def test_what_was_delivered_is_delivered_again(clocking, x, y, roll):
    """Pitch and yaw within rounding; roll too, and what so little pitch and yaw moves its range."""
    for policy in ("nearest", "direction"):
        once = delivered(clocking, allocate_counts(clocking, *FULL, (x, y), roll, policy))
        twice = delivered(clocking, allocate_counts(clocking, *FULL, once[:2], once[2], policy))
        assert np.abs(once - twice)[:2].max() <= 2
        moved = np.hypot(*(once - twice)[:2])
        assert abs(once[2] - twice[2]) <= 8 + moved * max(roll_slopes(clocking))


def roll_slopes(clocking) -> list[float]:
    """How far a count of pitch and yaw moves the roll range, by the facets of the attainable set.

    Their normals b_i×b_j are (s_i − s_j, c_j − c_i, sin(φ_j − φ_i)): |n_xy|/|n_z| of it.
    """
    c, s = cosine(clocking), sine(clocking)
    return [
        np.hypot(s[i] - s[j], c[j] - c[i]) / abs(sine(clocking[j] - clocking[i]))
        for i in range(4)
        for j in range(i)
        if abs(sine(clocking[j] - clocking[i])) > 1e-9
    ]


def most_moved(clocking) -> float:
    """Bound on how far a count more of pitch, yaw and roll moves a force, policy "nearest".

    The primary is a projection: it moves by no more than the demand, √2, and roll with it by no
    more than `roll_slopes` times that. With rows E and null vector v as in the flight core, η_i
    moves by |E_xy|·√2 + |E_ρ|·Δρ, s by no more than the largest Δη, and f_i = v_i·(s − η_i).
    """
    matrix = np.array([cosine(clocking), sine(clocking), np.ones(4)])
    null = np.linalg.svd(matrix)[2][3]
    rows = np.linalg.pinv(matrix) / null[:, None]
    roll = 1 + np.sqrt(2) * max(roll_slopes(clocking))
    eta = np.hypot(rows[:, 0], rows[:, 1]) * np.sqrt(2) + np.abs(rows[:, 2]) * roll
    return float((np.abs(null) * (eta + eta.max())).max())


@given(
    st.sampled_from(LAYOUTS), quarters, quarters, quarters,
    st.sampled_from([-1, 0, 1]), st.sampled_from([-1, 0, 1]), st.sampled_from([-1, 0, 1]),
)  # fmt: skip
@settings(max_examples=500, deadline=None)
def test_a_count_of_demand_moves_a_force_by_a_bounded_number_of_counts(
    clocking, x, y, roll, dx, dy, dr
):
    """Bounds: 2.9 counts for quarter turns and 98.5 for the uneven layout, and 2 of rounding (the
    uneven one has vanes 1° off opposite; roll there moves 114 counts a count)."""
    a = allocate_counts(clocking, *FULL, (x, y), roll, "nearest")
    b = allocate_counts(clocking, *FULL, (x + dx, y + dy), roll + dr, "nearest")
    assert np.abs(np.subtract(a, b)).max() <= most_moved(clocking) + 2


@given(st.sampled_from(LAYOUTS[:2]), quarters, quarters, st.integers(-1, 1), st.integers(-1, 1))
@settings(max_examples=300, deadline=None)
def test_direction_is_continuous_where_neutral_lies_inside_the_box(clocking, x, y, dx, dy):
    """Radial projection onto a set between circles r and R about a0 moves by at most R/r times
    the demand's move: √2 for quarter turns, on top of which come the forces as for "nearest"."""
    a = allocate_counts(clocking, *FULL, (x, y), 0, "direction")
    b = allocate_counts(clocking, *FULL, (x + dx, y + dy), 0, "direction")
    assert np.abs(np.subtract(a, b)).max() <= np.sqrt(2) * most_moved(clocking) + 2


def test_the_stated_bounds_are_the_computed_ones():
    assert [round(most_moved(c), 1) for c in LAYOUTS] == [2.9, 2.9, 98.5]
