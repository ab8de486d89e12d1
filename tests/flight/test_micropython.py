"""The same flight files on a real MicroPython interpreter give the same integers.

The interpreter is the unix port from PyPI (test extra); nothing but `mixer/flight` is handed to it.
"""

import base64
import json
import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import mixer.flight
from mixer.flight import FLAG_NAMES, Steering
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

CYCLES = 2400
SEED = 77
FLIGHT = Path(mixer.flight.__file__).parent

ON_BOARD = """
import json, sys
from mixer.flight import FlightTables, Steering
import binascii
job = json.load(sys.stdin)
s = Steering(FlightTables.from_bytes(binascii.a2b_base64(job["tables"])))
for pitch, yaw, roll, pressure, dt, event, vane, angle in job["cycles"]:
    if event == 1:
        s.jam(vane, angle)
    elif event == 2:
        s.free(vane)
    if event != 3:
        s.demand(pitch, yaw, roll)
    s.step(pressure, dt)
    print(list(s.deflection_mdeg), list(s.pulse_ns), list(s.force), list(s.moment_mnm), s.flags,
          s.load_us)
"""


def interpreter() -> str | None:
    beside = Path(sys.executable).with_name("micropython")
    return str(beside) if beside.exists() else shutil.which("micropython")


def recorded_cycles(rng: random.Random) -> list[tuple[int, ...]]:
    found = []
    size = 100_000
    for n in range(CYCLES):
        if n % 40 == 0:
            size = int(10 ** rng.uniform(3.5, 8.5))
        event = rng.choices([0, 1, 2], [50, 1, 2])[0]
        if n % 300 < 30:
            event = 3  # no demand: they go stale
        pitch = rng.randint(-size, size) if n % 97 else 2**30 - 1  # out of range
        found.append((
            pitch, rng.randint(-size, size), rng.randint(-50_000, 50_000),
            rng.choice([2_000_000] * 6 + [90_000, 1_000_000, 2_100_000]),
            rng.choice([5000] * 8 + [0, 7001, 900_000]),
            event, rng.randint(1, 4), rng.randint(-16_000, 16_000),
        ))  # fmt: skip
    return found


@pytest.mark.parametrize("policy", ["nearest", "direction"])
def test_micropython_gives_the_same_integers(policy, tmp_path):
    program = interpreter()
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("no MicroPython interpreter, and CI must have one: install the test extra")
        pytest.skip("because no `micropython` was found: install the test extra to run this")
    target = tmp_path / "mixer" / "flight"
    shutil.copytree(FLIGHT, target, ignore=shutil.ignore_patterns("__pycache__"))
    tables = flight_tables(
        vehicle(
            engine={"believed_pressure": [0.0, 1.02]},
            control={"policy": policy},
            layout={"clocking_deg": [44.0, 135.0, 226.5, 315.0]},
        )
    )
    rng = random.Random(SEED)
    print(f"seed {SEED}, {CYCLES} cycles")
    cycles = recorded_cycles(rng)
    job = {"tables": base64.b64encode(tables.to_bytes()).decode(), "cycles": cycles}
    run = subprocess.run(
        [program, "-X", "heapsize=16M", "-c", ON_BOARD], cwd=tmp_path, input=json.dumps(job),
        capture_output=True, text=True, timeout=120, env={**os.environ, "MICROPYPATH": "."},
    )  # fmt: skip
    assert run.returncode == 0, run.stderr + run.stdout[-500:]
    theirs = run.stdout.splitlines()

    s = Steering(tables)
    ours, seen = [], 0
    for pitch, yaw, roll, pressure, dt, event, vane, angle in cycles:
        if event == 1:
            s.jam(vane, angle)
        elif event == 2:
            s.free(vane)
        if event != 3:
            s.demand(pitch, yaw, roll)
        seen |= s.step(pressure, dt)
        state = [list(s.deflection_mdeg), list(s.pulse_ns), list(s.force), list(s.moment_mnm)]
        ours.append(" ".join(map(str, [*state, s.flags, s.load_us])))
    assert theirs == ours
    assert seen == (1 << len(FLAG_NAMES)) - 1, "the cycles raise every flag"
