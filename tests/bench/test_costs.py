"""The same problem side by side, `pytest -n 0 tests/bench`: nothing is asserted about time.

`python -m tests.bench` measures more and writes RESULTS.md.
"""

import numpy as np
import pytest

from mixer.ground.batch.allocate_batch import allocate_batch
from mixer.ground.tables.scales import COUNTS
from tests.bench.c_costs import COUNTED, Core, counts
from tests.bench.flight_core import FlightCore
from tests.bench.peers import HIGHS, all_peers
from tests.bench.problems import draw
from tests.bench.tally import tally_of
from tests.support.c_library import exported, needs, random_tables

PROBLEMS = draw(2000)
ATTAINABLE, SATURATED = (int(PROBLEMS.some(saturated, 1)[0]) for saturated in (False, True))
PEERS = {peer.name: peer for peer in all_peers(PROBLEMS)}
KINDS = pytest.mark.parametrize("row", [ATTAINABLE, SATURATED], ids=["attainable", "saturated"])


@KINDS
def test_allocation_in_plain_python(benchmark, row):
    core = FlightCore(PROBLEMS)
    benchmark(core.allocation(), core.wanted(row))
    answer = PEERS["daqp, levels of priority, workspace kept"].forces_counts(
        PROBLEMS.wanted_counts[row]
    )
    assert np.array(core.steering.force) / 8 == pytest.approx(answer, abs=8)


@KINDS
def test_whole_cycle_in_plain_python(benchmark, row):
    core = FlightCore(PROBLEMS)
    benchmark(core.cycle(), PROBLEMS.demands_mnm[row])
    assert bool(core.steering.flags) == bool(PROBLEMS.saturated[row])


@KINDS
def test_whole_cycle_compiled(benchmark, row):
    core, plain = FlightCore(PROBLEMS, compiled=True), FlightCore(PROBLEMS)
    benchmark(core.cycle(), PROBLEMS.demands_mnm[row])
    for each in (core, plain):
        each.steering.start(0, 0)
        each.cycle()(PROBLEMS.demands_mnm[row])
    assert list(core.steering.pulse_ns) == list(plain.steering.pulse_ns)


@pytest.mark.parametrize("name", [name for name in PEERS if name.startswith("daqp, levels")])
@KINDS
def test_daqp_with_levels_of_priority(benchmark, name, row):
    peer = PEERS[name]
    forces = benchmark(peer.solve, peer.prepare(PROBLEMS.wanted_counts[row]))
    assert np.abs(forces).max() <= 1 + 1e-6


@KINDS
def test_counting_the_arithmetic_leaves_the_answer_as_it_is(row):
    tally = tally_of(FlightCore(PROBLEMS), row, whole_cycle=True)
    assert 0 < tally["multiplications", True] < tally["additions", True]


@KINDS
def test_two_linear_programmes_in_turn(benchmark, row):
    peer = PEERS[HIGHS]
    forces = benchmark(peer.solve, peer.prepare(PROBLEMS.wanted_counts[row]))
    assert np.abs(forces).max() <= 1 + 1e-6


@pytest.mark.usefixtures("campaign")
def test_the_exported_c_counts_its_instructions_on_pythons_words(tmp_path):
    (target,) = (each for each in COUNTED if each.name == "cortex-m3")
    needs(target.compiler)
    core = Core(target, exported(tmp_path) / "src/fourvane.c")
    for seed in range(2):
        assert max(counts(core, random_tables(seed), seed)) < 3500


def test_a_batch_of_100_000(benchmark):
    problems = draw(100_000)
    result = benchmark(allocate_batch, problems.car, problems.demands_nm)
    assert np.abs(result.force_counts).max() <= COUNTS
