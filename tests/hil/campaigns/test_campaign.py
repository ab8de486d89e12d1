"""Many dispersed flights: the same whoever flies them, kept as they come, and gone on with."""

import json
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context

import distributed
import numpy as np
import pytest
from click.testing import CliRunner

from hil.ascent.history import fly_ascent
from hil.campaigns import campaign as campaigns
from hil.campaigns import workers
from hil.campaigns.campaign import blocks_of, fly_campaign, spreads
from hil.campaigns.flight_table import FlightTable, mark_of
from hil.campaigns.plans import FLIGHTS_A_BLOCK
from hil.campaigns.workers import executor_of, run_blocks
from hil.flights.fly import Flight
from hil.rocket.dispersion import drawn
from mixer.ground.command_line.fourvane import fourvane, told_what_is_missing
from mixer.ground.inputs.csv_files import InputError
from tests.support.flying import TINY, flying_text, flying_vehicle


@pytest.fixture(autouse=True)
def small_blocks(monkeypatch):
    """Blocks of 5 flights, so that a few flights make several blocks."""
    monkeypatch.setattr(campaigns, "FLIGHTS_A_BLOCK", 5)


def table_of(vehicle, folder):
    return FlightTable(folder, mark_of(vehicle, True, 1))


def flown(vehicle, folder, executor, workers, flights=7):
    """A campaign's rows, every column, sorted by seed."""
    table = table_of(vehicle, folder)
    blocks = blocks_of(1, flights)
    fly_campaign(vehicle, blocks, table, executor, workers)
    import pyarrow.parquet

    whole = pyarrow.parquet.read_table(folder).sort_by("seed")
    return {name: whole[name].to_numpy() for name in whole.column_names}


def assert_same(one, other):
    assert one.keys() == other.keys()
    for name in one:
        assert np.array_equal(one[name], other[name], equal_nan=True), name


def test_blocks_cover_every_seed_once_and_do_not_move_with_the_total():
    assert blocks_of(3, 12) == [(3, 5), (8, 5), (13, 2)]
    assert blocks_of(3, 500)[:2] == blocks_of(3, 12)[:2]


def test_the_default_block_is_large_enough_to_be_quick():
    assert 256 <= FLIGHTS_A_BLOCK <= 1024


@pytest.mark.usefixtures("campaign")
def test_one_thread_three_threads_and_processes_give_the_same_flights(tmp_path):
    vehicle = flying_vehicle(TINY)
    with ThreadPoolExecutor(1) as executor:
        one = flown(vehicle, tmp_path / "one", executor, 1)
    with ThreadPoolExecutor(3) as executor:
        three = flown(vehicle, tmp_path / "three", executor, 3)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as executor:
        apart = flown(vehicle, tmp_path / "apart", executor, 2)
    assert one["seed"].tolist() == list(range(1, 8))
    assert_same(one, three)
    assert_same(one, apart)


@pytest.mark.usefixtures("campaign")
def test_a_local_dask_cluster_gives_the_same_flights_too(tmp_path):
    """By its address, as a cluster of many machines would be reached."""
    vehicle = flying_vehicle(TINY)
    with ThreadPoolExecutor(1) as executor:
        here = flown(vehicle, tmp_path / "here", executor, 1)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        executor_of(None, cluster.scheduler_address) as (executor, count),
    ):
        assert count == 2
        there = flown(vehicle, tmp_path / "there", executor, count)
    assert_same(here, there)


def test_a_cluster_that_does_not_answer_is_an_error_in_words(monkeypatch):
    monkeypatch.setattr(workers, "CLUSTER_PATIENCE_S", 1)
    with pytest.raises(InputError, match="no cluster answers"), executor_of(None, "tcp://[::1]:9"):
        pass


@pytest.mark.usefixtures("campaign")
def test_a_worst_flight_flown_again_alone_is_the_same_flight(tmp_path):
    """By its seed, to the last bit of every figure."""
    vehicle = flying_vehicle(TINY)
    with ThreadPoolExecutor(1) as executor:
        flown(vehicle, tmp_path / "c", executor, 1)
    found = spreads(table_of(vehicle, tmp_path / "c"), blocks_of(1, 7), vehicle.requirements)
    for spread, column in zip(found, ("attitude_error_deg", "roll_rate_deg_s"), strict=False):
        row = spread.worst[0]
        seed = int(spread.seeds[row])
        again = fly_ascent(vehicle, Flight(drawn(vehicle, seed), seed))
        assert getattr(again.tally, column)[0] == spread.values[row]


def test_an_interrupted_campaign_goes_on_where_it_stopped(tmp_path):
    vehicle = flying_vehicle(TINY)
    folder = tmp_path / "c"

    class PowerCutError(Exception):
        pass

    def cut(flights):
        if flights >= 5:
            raise PowerCutError

    with ThreadPoolExecutor(1) as executor:
        with pytest.raises(PowerCutError):
            fly_campaign(
                vehicle, blocks_of(1, 12), table_of(vehicle, folder), executor, 1, done=cut
            )
        assert len(list(folder.iterdir())) == 1
        steps = []
        flights = fly_campaign(
            vehicle, blocks_of(1, 12), table_of(vehicle, folder), executor, 1, done=steps.append
        )
    assert flights == 7
    assert steps == [5, 10, 12]


def test_no_more_blocks_are_under_way_than_workers_can_take():
    """So that memory does not grow with the number of flights."""
    handed_out = 0
    taken = 0
    most = 0

    def tasks():
        nonlocal handed_out, most
        for n in range(50):
            handed_out += 1
            most = max(most, handed_out - taken)
            yield n

    with ThreadPoolExecutor(2) as executor:
        results = []
        for task, result in run_blocks(executor, 2, lambda n: n * n, tasks()):
            taken += 1
            results.append((task, result))
    assert sorted(results) == [(n, n * n) for n in range(50)]
    assert most <= 2 * 2 + 2


def test_another_vehicles_folder_is_refused(tmp_path):
    vehicle = flying_vehicle(TINY)
    other = flying_vehicle(TINY, {"rocket.diameter_m": 0.4})
    with ThreadPoolExecutor(1) as executor:
        flown(vehicle, tmp_path / "c", executor, 1, flights=5)
        with pytest.raises(InputError, match="belongs to another campaign"):
            fly_campaign(other, blocks_of(1, 5), table_of(other, tmp_path / "c"), executor, 1)


def test_a_damaged_file_in_the_folder_is_named(tmp_path):
    vehicle = flying_vehicle(TINY)
    with ThreadPoolExecutor(1) as executor:
        flown(vehicle, tmp_path / "c", executor, 1, flights=5)
        (file,) = (tmp_path / "c").iterdir()
        file.write_bytes(file.read_bytes()[:100])
        with pytest.raises(InputError, match=f"{file.name}: not a readable Parquet file"):
            fly_campaign(vehicle, blocks_of(1, 5), table_of(vehicle, tmp_path / "c"), executor, 1)


def test_without_pyarrow_the_way_to_get_it_is_told(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with (
        pytest.raises(InputError, match=r"pip install \"fourvane\[campaign\]\""),
        told_what_is_missing(),
    ):
        FlightTable(tmp_path / "c", "mark")


# ---- the command ---------------------------------------------------------------------------------


def run(*arguments):
    return CliRunner().invoke(fourvane, ["campaign", *map(str, arguments)])


@pytest.fixture
def threads(monkeypatch):
    """Called, threads fly the commands' flights: a process takes more than a second to start."""

    @contextmanager
    def executor(workers, cluster, tls_files):
        with ThreadPoolExecutor(workers) as executor:
            yield executor, workers

    return lambda: monkeypatch.setattr("hil.commands.campaign.executor_of", executor)


def test_the_command_flies_writes_and_goes_on(tmp_path, threads, full_size):
    path = tmp_path / "vehicle.toml"
    path.write_text(flying_text(TINY), encoding="utf-8")
    where = ["--out", tmp_path / "c", "--report", tmp_path / "c.html", "--json"]
    processes = 2 if full_size else 1
    first = json.loads(run(path, "--flights", 6, *where, "--workers", processes).stdout)
    threads()
    assert (first["flights"], first["flown_now"]) == (6, 6)
    more = json.loads(run(path, "--flights", 10, *where, "--workers", 1).stdout)
    assert (more["flights"], more["flown_now"]) == (10, 5)
    assert more["attitude_error_deg"]["worst"] >= first["attitude_error_deg"]["worst"]
    fewer = json.loads(run(path, "--flights", 6, *where, "--workers", 1).stdout)
    assert fewer["flown_now"] == 0
    assert fewer["attitude_error_deg"] == first["attitude_error_deg"]
    assert len(list((tmp_path / "c").glob("*.parquet"))) == 2  # no flight is there twice
    text = (tmp_path / "c.html").read_text(encoding="utf-8")
    assert "seeds 1 to 6" in text
    assert "Assumed, not in the file" in text and "fin_lift_per_rad" in text


def test_ctrl_c_says_how_many_flights_are_kept_and_how_to_go_on(tmp_path, monkeypatch, threads):
    threads()
    path = tmp_path / "vehicle.toml"
    path.write_text(flying_text(TINY), encoding="utf-8")
    where = ["--out", tmp_path / "c", "--report", tmp_path / "c.html", "--workers", 1]
    run(path, "--flights", 6, *where)

    def interrupted(*arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr("hil.commands.campaign.fly_campaign", interrupted)
    done = run(path, "--flights", 10, *where)
    assert done.exit_code == 130
    assert "interrupted; 5 of 10 flights are kept in" in done.stderr  # in blocks of five


def test_the_command_ends_with_1_where_a_flight_fails(tmp_path, threads):
    threads()
    path = tmp_path / "vehicle.toml"
    path.write_text(flying_text(TINY, {"requirements.attitude_error_deg": 0.1}), encoding="utf-8")
    where = ["--out", tmp_path / "c", "--report", tmp_path / "c.html", "--workers", 1]
    done = run(path, "--flights", 5, *where)
    assert done.exit_code == 1
    assert "FAIL" in done.output


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--flights", "0"], "--flights"),
        (["--out", "vehicle.toml"], "is a file; a campaign needs a folder"),
        (["--out", "no/such/folder"], "does not exist"),
    ],
)
def test_bad_input_ends_with_2(tmp_path, monkeypatch, arguments, said):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "vehicle.toml").write_text(flying_text(TINY), encoding="utf-8")
    done = run("vehicle.toml", *arguments)
    assert done.exit_code == 2, done.output
    assert said in done.output
    assert [file.name for file in tmp_path.iterdir()] == ["vehicle.toml"]
