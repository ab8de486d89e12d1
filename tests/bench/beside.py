"""This tree and another one side by side, in one run: batches and blocks, on one core.

python -m tests.bench.beside OTHER_TREE

Each tree runs in a process of its own; they take turns, and the fastest of several passes counts,
in processor time, so that whatever else the computer does meets both alike. OTHER_TREE is an
export of another commit with the same `allocate_batch` and `Steerings`. Shared conditions are timed
on unlike vehicles too, with demands up to nine tenths of what each can reach, half of that in roll.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import click
import numpy as np

from tests.support.unlike_vehicles import POLICIES, UNLIKE
from tests.support.vehicles import vehicle_text

HERE = Path(__file__).parents[2]
ROUNDS, PASSES = 4, 5
WORKER = """
import os, sys
from pathlib import Path
import numpy as np
try:
    from mixer.ground.batch.allocate_batch import BatchResult, allocate_batch
    from mixer.ground.batch.steerings import Steerings
    from mixer.ground.tables.build import flight_tables
except ImportError:  # before ground had packages
    from mixer.ground.batch import BatchResult, allocate_batch
    from mixer.ground.steering_block import SteeringBlock as Steerings
    flight_tables = lambda vehicle: vehicle.flight_tables()
try:
    from mixer.ground.vehicle.vehicle import load_vehicle
except ImportError:
    from mixer.ground.vehicle import load_vehicle
from tests.bench.clock import seconds_once
from tests.bench.problems import draw
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
ROWS, PASSES = 300_000, int(sys.argv[1])
rng = np.random.default_rng(1)
own = dict(burn_time_s=np.linspace(0, 26, ROWS), chamber_pressure_bar=rng.uniform(10, 30, ROWS))
jams = dict(jammed=np.where(rng.random((ROWS, 4)) < 0.1, 5.0, np.nan))
room = BatchResult.empty(ROWS)

def batch(policy, **given):
    problems = draw(ROWS, policy)
    return (lambda: allocate_batch(problems.car, problems.demands_nm, **given)), ROWS

def unlike(path):
    car = load_vehicle(path)
    far_nm = rng.normal(size=(2000, 3)) * np.array([1e4, 1e4, 200])
    reach_nm = np.abs(allocate_batch(car, far_nm).moments_nm).max(0)
    demands_nm = rng.uniform(-1, 1, (ROWS, 3)) * reach_nm * [0.9, 0.9, 0.45]
    return (lambda: allocate_batch(car, demands_nm, out=room)), ROWS

def block(n):
    problems = draw(20 * n)
    steerings = Steerings(flight_tables(problems.car), n)
    demands = np.rint(problems.demands_nm * 1000).astype(np.int64).T
    pressure_pa, dt_us = np.full(n, 2_000_000), np.full(n, 5000)
    def call():
        for first in range(0, 20 * n, n):
            steerings.demand(demands[:, first : first + n])
            steerings.step(pressure_pa, dt_us)
    return call, 20 * n

jobs = {}
for policy in ("nearest", "direction"):
    jobs[f"{policy}, shared conditions"] = batch(policy)
    jobs[f"{policy}, shared conditions, memory used again"] = batch(policy, out=room)
    jobs[f"{policy}, each row its own time and pressure"] = batch(policy, out=room, **own)
    jobs[f"{policy}, each row its own, with jams"] = batch(policy, out=room, **own, **jams)
for path in sorted(Path(sys.argv[2]).iterdir()):
    jobs[f"{path.stem}, shared, memory used again"] = unlike(path)
for n in (100, 1000, 10_000):
    jobs[f"whole cycles of {n} steerings"] = block(n)
print(";".join(jobs), flush=True)
for line in sys.stdin:
    call, rows = jobs[line.strip()]
    print(seconds_once(call, PASSES) / rows * 1e9, flush=True)
"""


def write_vehicles(folder: Path) -> None:
    for name, changes in UNLIKE.items():
        engine = {"believed_pressure": None}  # which older trees do not know
        for policy in POLICIES:
            control = {**changes.get("control", {}), "policy": policy}
            text = vehicle_text(**{**changes, "engine": engine, "control": control})
            (folder / f"{name}, {policy}.toml").write_text(text, encoding="utf-8")


def started(tree: Path, vehicles: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WORKER, str(PASSES), vehicles],
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def asked(tree: subprocess.Popen[str], job: str) -> float:
    """ns a row."""
    assert tree.stdin is not None and tree.stdout is not None
    tree.stdin.write(f"{job}\n")
    tree.stdin.flush()
    return float(tree.stdout.readline())


@click.command()
@click.argument("other", type=click.Path(exists=True, file_okay=False, path_type=Path))
def main(other: Path) -> None:
    """Time batches and blocks of this tree and of OTHER, in turn."""
    with tempfile.TemporaryDirectory() as folder:
        write_vehicles(Path(folder))
        trees = [started(tree.resolve(), folder) for tree in (other, HERE)]
        compare(trees)
    for tree in trees:
        assert tree.stdin is not None
        tree.stdin.close()
        tree.wait()


def compare(trees: list[subprocess.Popen[str]]) -> None:
    jobs = [tree.stdout.readline().strip().split(";") for tree in trees if tree.stdout]
    times = {job: [[asked(tree, job) for tree in trees]] for job in jobs[0]}
    for _ in range(ROUNDS - 1):
        for job, ns in times.items():
            ns.append([asked(tree, job) for tree in trees])
    for job, ns in times.items():
        theirs, ours = np.min(ns, axis=0)
        click.echo(f"{job:55} {theirs:8.0f} ns {ours:8.0f} ns, {ours / theirs:5.2f} times")


if __name__ == "__main__":
    main()
