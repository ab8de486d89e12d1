"""A steering on a list of words against one on its array: the same integers, told as they come."""

import random

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.batch.listed_steering import ListedSteering
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

SEED = 12
CYCLES = 1500


def test_a_listed_steering_gives_and_tells_the_same_integers():
    rng = random.Random(SEED)
    print(f"seed {SEED}")
    for policy in ("nearest", "direction"):
        tables = flight_tables(vehicle(control={"policy": policy}))
        plain, listed = Steering(tables), ListedSteering(tables)
        for _ in range(CYCLES):
            demand = [
                rng.randint(-2_000_000, 2_000_000),
                rng.randint(-900_000, 900_000),
                rng.randint(-40_000, 40_000),
            ]
            vane, place = rng.randint(1, 4), rng.randint(-16_000, 16_000)
            event, pressure, dt_us = rng.random(), rng.choice([2_000_000, 90_000]), 5000
            for steering in (plain, listed):
                if event < 0.02:
                    steering.jam(vane, place)
                elif event < 0.05:
                    steering.free(vane)
                elif event < 0.055:
                    steering.reset()
                elif event < 0.06:
                    steering.start(3_000_000, 2_000_000)
                assert list(steering.deflection_mdeg) == list(steering._w[at.DEFLECTION :][:4])
                steering.demand(*demand)
                steering.step(pressure, dt_us)
            assert list(listed._w) == list(plain._w)
            for name in ("deflection_mdeg", "pulse_ns", "force", "moment_mnm"):
                assert list(getattr(listed, name)) == list(getattr(plain, name))
            assert listed.flags == plain.flags
