"""Every failure flown, what became of it, and the exact check of what a jam leaves."""

import csv
import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.optimize import linprog
from scipy.sparse import block_diag

from hil.campaigns.failure_campaign import (
    Flown,
    Limits,
    by_family,
    count_jams,
    counted,
    fly_failures,
    tasks_of,
    with_reachability,
)
from hil.campaigns.failure_pairs import chapter, lost_by_family, matrix
from hil.campaigns.failure_report import (
    NAMES,
    facts,
    jam_sentence,
    kept_words,
    page,
    verdict,
    write_csv,
)
from hil.campaigns.failures import healthy_plans, pair_plans, single_failures, single_plans
from hil.campaigns.plans import Plan
from hil.campaigns.reachability import HealthyFlights
from hil.faults.faults import Fault
from hil.faults.text import fault_text, parse_fault
from mixer.ground.command_line.fourvane import fourvane
from tests.support.flying import BRIEF, TINY, flying_text, flying_vehicle

# Thin on authority: a crooked thrust line, so that a jam can take away what is needed. Its hold
# is stiff in roll, so that a way of steering without priorities has something to trip over.
THIN = BRIEF | {
    "engine.burn_time_s": 4.0,
    "rocket.thrust_misalignment_deg": [0.9, -0.5],
    "rocket.hold.roll_frequency_rad_s": 12.0,
}


def flown_of(vehicle, plans, limits=None, steered=("flight-core", "clipped")):
    with ThreadPoolExecutor(1) as executor:
        flown = fly_failures(
            tasks_of(vehicle, plans, steered, True),
            executor,
            1,
            limits or Limits(),
            lambda flights: None,
        )
    return with_reachability(vehicle, flown)


# ---- the list ------------------------------------------------------------------------------------


def test_every_vane_meets_every_failure_that_a_vane_can_have():
    found = single_failures(flying_vehicle())
    for kind in ("jam", "jam-in-place", "lost-vane", "slow-servo", "reversed-servo"):
        assert {fault.vane for fault in found if fault.kind == kind} == {1, 2, 3, 4}, kind
    jams = {(fault.vane, fault.value) for fault in found if fault.kind == "jam"}
    assert {(2, 0.0), (2, -15.0), (2, 15.0)} < jams
    assert len(jams) == 16


def test_failures_that_begin_do_so_at_several_times_and_built_in_ones_once():
    vehicle = flying_vehicle()
    plans = single_plans(vehicle, [1, 2])
    jams = [p.faults[0].time_s for p in plans if p.faults[0] == replace(p.faults[0], kind="jam")]
    assert len(set(jams)) == 4
    swapped = [plan for plan in plans if plan.faults[0].kind == "swapped-servos"]
    assert len(swapped) == 2 * 6
    assert {plan.seed for plan in plans} == {1, 2}


def test_pairs_are_all_pairs_that_can_stand_together():
    vehicle = flying_vehicle()
    singles = single_failures(vehicle)
    pairs = {
        tuple(sorted((replace(a, time_s=0.0), replace(b, time_s=0.0)), key=str))
        for plan in pair_plans(vehicle, [1])
        for a, b in [plan.faults]
    }
    possible = {
        tuple(sorted((a, b), key=str)) for i, a in enumerate(singles) for b in singles[i + 1 :]
    }
    assert pairs < possible
    for a, b in possible - pairs:  # what is left out is left out for a reason
        assert a.row.part == b.row.part and a.vane == b.vane
        assert a.vane or a.kind == b.kind or a.row.part in ("link", "sensor", "engine")


def test_a_pair_with_a_built_in_failure_has_it_from_the_beginning():
    plans = pair_plans(flying_vehicle(), [1])
    built_in = [fault for plan in plans for fault in plan.faults if fault.row.built_in]
    assert len(built_in) > 100
    assert {fault.time_s for fault in built_in} == {0.0}


def test_every_planned_failure_can_be_written_and_read():
    vehicle = flying_vehicle()
    for plan in single_plans(vehicle, [1]) + pair_plans(vehicle, [1]):
        for fault in plan.faults:
            read = parse_fault(fault_text(fault))
            assert read == replace(fault, time_s=float(f"{fault.time_s:g}"))


# ---- what became of it ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("attitude", "roll", "outcome"),
    [
        (19.9, 170.0, "kept attitude"),
        (19.9, 181.0, "lost roll only"),
        (20.1, 1.0, "lost"),
        (float("nan"), float("nan"), "lost"),
        (1.0, float("nan"), "lost roll only"),
    ],
)
def test_an_outcome_is_lost_before_roll_is_looked_at(attitude, roll, outcome):
    assert Limits().outcome(attitude, roll) == outcome


@pytest.mark.usefixtures("campaign")
def test_single_jams_that_can_be_held_are_held_and_the_rival_loses_some():
    """Hard-over jams of every vane at four times, 3 seeds, a vehicle thin on authority.

    The flight core keeps every flight that the exact check says can be kept; the clipped
    pseudo-inverse, same seeds, loses at least a tenth of them.
    """
    vehicle = flying_vehicle(THIN)
    plans = [
        plan
        for plan in single_plans(vehicle, [1, 2, 3])
        if plan.faults[0].kind == "jam" and plan.faults[0].value
    ]
    flown = flown_of(vehicle, plans)
    jams = count_jams(flown)
    print(jam_sentence(jams))
    assert jams.jams == len(plans) == 3 * 4 * 3 * 4
    assert 20 < jams.reachable < jams.jams - 20  # the check says yes and no
    assert jams.kept_by_core == jams.reachable
    assert jams.kept_by_rival <= 0.9 * jams.reachable
    assert jams.lost_by_core < jams.lost_by_rival


def test_the_reachability_check_agrees_with_a_linear_program():
    """Second route, 24 jams: is there a force for each free vane that holds the rocket still?"""
    vehicle = flying_vehicle(THIN, {"control.rate_hz": 25, "rocket.rail_m": 2.0})
    healthy = HealthyFlights(vehicle, [1, 2])
    random = np.random.default_rng(11)
    both = set()
    for _ in range(24):
        seed, vane = int(random.integers(1, 3)), int(random.integers(1, 5))
        angle_deg, time_s = float(random.uniform(-15, 15)), float(random.uniform(1.5, 3.9))
        used = healthy.used(seed, vane, angle_deg, time_s)
        instants = healthy.instants(seed, vane, angle_deg, time_s)
        needed, low, high, rows = zip(*instants, strict=True)
        found = linprog(  # all instants as one program: feasible where each of them is
            np.zeros(4 * len(rows)),
            A_eq=block_diag(rows),
            b_eq=np.concatenate(needed),
            bounds=np.column_stack([np.concatenate(low), np.concatenate(high)]),
        )
        assert found.status in (0, 2), found.message
        feasible = found.status == 0
        assert feasible == (used <= 1.0), (seed, vane, angle_deg, time_s, used)
        both.add(feasible)
    assert both == {True, False}


@pytest.mark.usefixtures("campaign")
def test_failures_of_one_kind_are_counted_together():
    vehicle = flying_vehicle(BRIEF, {"control.rate_hz": 50})
    plans = [
        Plan(1, (Fault("jam", 1, 2.0, value=0.0),)),
        Plan(1, (Fault("jam", 4, 2.0, value=0.0),)),
        Plan(1, (Fault("clocking-sign"),)),
    ]
    flown = flown_of(vehicle, plans)
    families = by_family(vehicle, flown)
    assert {name: len(flights) for name, flights in families.items()} == {
        "vane jams at neutral": 4,
        "clocking counted the wrong way round": 2,
    }
    assert counted(flown, "flight-core") == {
        "kept attitude": 2,
        "lost roll only": 0,
        "beyond required": 0,
        "lost": 1,
    }
    assert sum(counted(flown, "clipped").values()) == 3


def test_results_do_not_depend_on_the_number_of_workers():
    vehicle = flying_vehicle(TINY)
    plans = single_plans(vehicle, [1])[:130:13]
    tasks = tasks_of(vehicle, plans, ("flight-core",), True)
    results = []
    for workers in (1, 3):
        with ThreadPoolExecutor(workers) as executor:
            results.append(fly_failures(tasks, executor, workers, Limits(), lambda n: None))
    assert results[0] == results[1]


def test_a_jam_that_could_be_held_but_was_lost_fails_the_campaign(tmp_path):
    vehicle = flying_vehicle()
    lost = Flown(Plan(7, (Fault("jam", 1, 2.0, value=3.0),)), "flight-core", "lost", 40, 1, -5, 0.7)
    jams = count_jams([lost])
    assert jams.broken == (lost,)
    text = page(vehicle, [lost], Limits(), True, tmp_path / "f.csv")
    assert "vane 1 jams at +3.0°, 2.0 s with seed 7" in text


def test_the_table_of_flights_names_faults_that_can_be_flown_again(tmp_path):
    faults = (Fault("jam", 2, 2.0, value=-7.5), Fault("pressure", 0, 3.0, value=0.0))
    flown = [Flown(Plan(4, faults), "flight-core", "kept attitude", 3.0, 1.0, 40.0)]
    write_csv(tmp_path / "f.csv", flown)
    with (tmp_path / "f.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert (parse_fault(row["first_fault"]), parse_fault(row["second_fault"])) == faults
    assert (row["seed"], row["outcome"], row["reach_used_percent"]) == ("4", "kept attitude", "")


def flown_as(*faults, outcome):
    return Flown(Plan(1, faults), "flight-core", outcome, 1.0, 1.0, 1.0)


def test_pairs_are_set_against_what_each_failure_loses_alone():
    vehicle = flying_vehicle()
    jam, slow = Fault("jam", 1, value=0.0), Fault("slow-servo", 2, value=0.2)
    flown = [
        flown_as(jam, outcome="kept attitude"),
        flown_as(slow, outcome="kept attitude"),
        flown_as(jam, slow, outcome="lost"),
        flown_as(slow, jam, outcome="kept attitude"),
    ]
    single, together = lost_by_family(vehicle, flown, "flight-core")
    assert single == {"vane jams at neutral": 0.0, "servo slows to 20%": 0.0}
    assert together == {("servo slows to 20%", "vane jams at neutral"): 50.0}
    table = matrix(single, together)
    assert table[0, 1] == table[1, 0] == 50.0
    assert np.isnan(table[0, 0])
    shown = chapter(vehicle, flown, NAMES)
    assert shown.tables[0].rows[0] == ("flight core", 2, 1, 0, 0, 1)
    assert list(shown.tables[1].rows) == [("servo slows to 20%", "vane jams at neutral", "0", "50")]


# ---- the command ---------------------------------------------------------------------------------


@pytest.mark.usefixtures("campaign")
def test_the_command_flies_all_single_failures_and_writes_both_files(tmp_path):
    """A rocket with a burn of 1.5 s, so that 322 flights are over soon."""
    path = tmp_path / "vehicle.toml"
    changes = {"engine.burn_time_s": 1.5, "control.rate_hz": 50, "rocket.rail_m": 1.0}
    path.write_text(flying_text(BRIEF, changes), encoding="utf-8")
    arguments = ["failures", str(path), "--seeds", "1", "--workers", "2", "--json"]
    report = tmp_path / "f.html"
    done = CliRunner().invoke(fourvane, [*arguments, "--report", str(report)])
    result = json.loads(done.stdout)
    assert done.exit_code == (0 if result["passes"] else 1)
    assert result["flights"] == 2 * (1 + len(single_plans(flying_vehicle(changes), [1])))
    assert {file.name for file in tmp_path.iterdir()} == {"vehicle.toml", "f.html", "f.csv"}
    assert "vane jams hard over" in report.read_text(encoding="utf-8")
    first = result["table"][0]
    assert (first["failure"], first["steered by"], first["flights"]) == (
        "nothing fails", "flight core", 1,
    )  # fmt: skip


def test_attitude_is_kept_by_what_the_file_requires():
    """Within 20 degrees is not lost; kept is what the file calls so."""
    limits = Limits(required_deg=6.0)
    assert limits.outcome(5.9, 1.0) == "kept attitude"
    assert limits.outcome(6.1, 1.0) == "beyond required"
    assert limits.outcome(20.1, 1.0) == "lost"
    assert "within the required 6 deg" in kept_words(limits)
    assert "requires no attitude_error_deg" in kept_words(Limits())


@pytest.mark.parametrize(("outcome", "found"), [
    ("kept attitude", "pass"), ("beyond required", "open"), ("lost", "open"),
])  # fmt: skip
def test_there_is_no_green_above_lost_flights(outcome, found):
    fault = Fault("lost-vane", 1, 2.0)
    flown = [Flown(Plan(4, (fault,)), "flight-core", outcome, 30.0, 1.0, 40.0)]
    assert verdict(flown).outcome == found
    assert "1 were lost" in verdict(flown).reason or outcome != "lost"


def test_what_goes_wrong_without_a_failure_is_told_and_laid_to_none(tmp_path):
    """Flights that are beyond the limit by wind alone must not look like the failures' doing."""
    vehicle = flying_vehicle()
    flown = [
        Flown(plan, "flight-core", "beyond required", 7.0, 1.0, 40.0)
        for plan in (*healthy_plans([4]), Plan(4, (Fault("lost-vane", 1, 2.0),)))
    ]
    said = verdict(flown).reason
    assert "Of the flight core's 1 flights with a failure 0 kept attitude" in said
    assert "With nothing failing 1 of its 1 flights did not keep attitude or roll either." in said
    assert facts(vehicle, flown)["healthy"]["flight core"]["beyond required"] == 1
    assert "nothing fails" in page(vehicle, flown, Limits(required_deg=6.0), True, tmp_path / "f")
    well = [Flown(plan, "flight-core", "kept attitude", 1, 1, 40) for plan in healthy_plans([4])]
    assert "nothing failing" not in verdict([*well, flown[1]]).reason
