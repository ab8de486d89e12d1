"""Every emulated fault is found and named by the whole bench, and healthy servos pass it."""

from collections import Counter

import pytest

from hil.emulated_servos.faults import FAULTS, emulated_servo
from mixer.ground.servo_bench.verdict import servo_verdict
from tests.support.benches import measured, port_of
from tests.support.vehicles import vehicle

SEEDS = {"long": range(20), "ci": range(10)}
MISSED = 0.05  # of the seeds, at most
LIMITS = {
    "backlash_deg": 0.45,
    "repeatability_deg": 0.6,
    "accuracy_deg": 0.7,
    "hysteresis_percent": 1.5,
    "nonlinearity_percent": 1.0,
    "dead_band_us": 4.0,
    "latency_ms": 15.0,
    "overshoot_percent": 8.0,
    "settling_ms": 150.0,
    "slew_deg_s": 330.0,
    "bandwidth_hz": 7.0,
    "drift_deg": 0.15,
    "sag_v": 0.4,
}


def outcome(case):
    """The names of what was found, and whether the servo passed; for one fault and seed."""
    name, seed = case
    data = measured(port_of(emulated_servo(seed, name)))
    verdict = servo_verdict(vehicle(acceptance=LIMITS), data, timer_us=0.5)
    return name, [finding.name for finding in verdict.findings], verdict.passed, verdict.reasons


@pytest.mark.usefixtures("campaign")
def test_faults_are_named_and_healthy_servos_pass_in_19_of_20_seeds(record_property, size):
    """All runs of `bench all` on the seeds of each fault and of none; the table is shown."""
    seeds = SEEDS[size]
    results = [outcome((name, seed)) for name in (None, *FAULTS) for seed in seeds]
    right: Counter[str | None] = Counter()
    lines = [f"the bench on emulated servos, seeds {seeds.start} to {seeds.stop - 1}"]
    for name in (None, *FAULTS):
        mine = [result for result in results if result[0] == name]
        for _, found, passed, _ in mine:
            right[name] += found == [name] and not passed if name else passed
        wrong = [found or why for _, found, ok, why in mine if found != ([name] if name else [])]
        rest = f", else: {wrong}" if wrong else ""
        verb = "found and named" if name else "passed"
        lines.append(f"  {name or 'healthy':16} {verb} in {right[name]} of {len(mine)}{rest}")
    record_property("shown", "\n".join(lines))
    for name in (None, *FAULTS):
        mine = [result for result in results if result[0] == name]
        assert right[name] >= len(seeds) * (1 - MISSED), (name, mine)


@pytest.mark.parametrize("encoder", ["frozen", "silent", "no magnet"])
def test_a_dead_encoder_ends_the_bench_after_the_first_look(encoder):
    """Nothing more could be measured, and moving a servo blindly helps nobody."""
    from hil.emulated_servos.servo import EmulatedServo, ServoFault

    data = measured(port_of(EmulatedServo(fault=ServoFault(encoder=encoder))))
    assert len(data.looks) >= 3
    assert data.sweep is None


def test_a_servo_that_stands_still_is_told_from_a_dead_encoder():
    from dataclasses import replace

    from hil.emulated_servos.servo import EmulatedServo, ServoKind

    unplugged = EmulatedServo(replace(ServoKind(), stiction_deg=1e9))
    verdict = servo_verdict(vehicle(), measured(port_of(unplugged)), 0.5)
    assert [finding.name for finding in verdict.findings] == ["servo does not move"]
    assert not verdict.passed
