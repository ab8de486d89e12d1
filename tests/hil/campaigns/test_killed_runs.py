"""Runs that are broken off, killed, or meet each other: nothing stays running, nothing is lost."""

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import Future
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from hil.campaigns.flight_table import FlightTable
from hil.campaigns.workers import executor_of, run_blocks
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.inputs.file_locks import alone_in
from mixer.ground.inputs.work_folder import WorkFolder

WORKING = """
import os, time
from hil.campaigns.workers import executor_of
if __name__ == "__main__":
    with executor_of(2, None) as (executor, _):
        for future in [executor.submit(os.getpid) for _ in range(8)]:
            print(future.result(), flush=True)
        futures = [executor.submit(time.sleep, 100) for _ in range(6)]
        print("busy", flush=True)
        [future.result() for future in futures]
"""


def started(code: str, folder: Path) -> tuple[subprocess.Popen[str], list[str]]:
    """A program that prints lines until "busy", and these lines."""
    (folder / "program.py").write_text(code)
    process = subprocess.Popen(
        [sys.executable, str(folder / "program.py")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert process.stdout is not None
    lines = list(iter(lambda: process.stdout.readline().strip(), "busy"))  # type: ignore[union-attr]
    return process, lines


def gone(pid: int) -> bool:
    """Whether a process has ended; one that nobody has asked after counts."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
@pytest.mark.parametrize("sent", [signal.SIGKILL, signal.SIGINT])
def test_workers_end_with_the_process_that_started_them(
    tmp_path: Path, sent: signal.Signals
) -> None:
    process, lines = started(WORKING, tmp_path)
    workers = {int(line) for line in lines}
    began_s = time.monotonic()
    process.send_signal(sent)
    process.communicate(timeout=60)
    while not all(map(gone, workers)) and time.monotonic() - began_s < 60:
        time.sleep(0.05)
    assert all(map(gone, workers))
    assert time.monotonic() - began_s < 30  # the tasks sleep for 100 s


def test_an_interrupt_gives_what_is_finished_before_it_goes_on() -> None:
    class Interrupting:
        """Finishes every second task, and is interrupted while the rest is waited for."""

        count = 0

        def submit(self, function: object, task: int) -> Future[int]:
            self.count += 1
            future: Future[int] = Future()
            if self.count % 2:
                future.set_result(10 * task)
            return future

    results = []
    blocks = run_blocks(Interrupting(), 2, abs, [1, 2, 3, 4])  # type: ignore[arg-type]
    results.append(next(blocks))
    with pytest.raises(KeyboardInterrupt):
        results.append(blocks.throw(KeyboardInterrupt))
        results.extend(blocks)
    assert sorted(results) == [(1, 10), (3, 30)]


def test_work_that_ends_well_waits_for_its_workers() -> None:
    with executor_of(1, None) as (executor, count):
        assert count == 1
        future = executor.submit(abs, -3)
    assert future.result() == 3


def columns(flights: int = 40) -> dict[str, np.ndarray]:
    draw = np.random.default_rng(5)
    values = {f"value_{i}": draw.standard_normal(flights) for i in range(6)}
    values["value_1"][3] = np.nan
    return {"seed": np.arange(flights), **values}


def test_no_damage_to_a_campaigns_file_changes_a_result(tmp_path: Path, full_size: bool) -> None:
    seed = random.randrange(10**9)
    print(f"seed {seed}")
    draw, table = random.Random(seed), FlightTable(tmp_path / "c", "mark")
    table.write(1, columns())
    (file,) = (tmp_path / "c").iterdir()
    good, refused = file.read_bytes(), 0
    assert table.holds(1, 40)
    for _ in range(4000 if full_size else 200):
        damaged = bytearray(good)
        for _ in range(draw.choice((1, 1, 3))):
            damaged[draw.randrange(len(good))] ^= 1 << draw.randrange(8)
        if draw.random() < 0.1:
            del damaged[draw.randrange(len(good)) :]
        file.write_bytes(damaged)
        try:
            assert table.holds(1, 40)
            (read,) = table.read([(1, 40)], list(columns()))
        except InputError as error:
            refused += 1
            assert file.name in str(error)
        else:
            for name, values in columns().items():
                assert read[name].tobytes() == values.tobytes(), name
    assert refused > 100


def test_a_changed_value_is_found_although_the_file_is_whole(tmp_path: Path) -> None:
    import pyarrow.parquet

    table = FlightTable(tmp_path / "c", "mark")
    table.write(1, columns())
    (file,) = (tmp_path / "c").iterdir()
    whole = pyarrow.parquet.ParquetFile(file).read()
    first = pyarrow.array(np.where(np.arange(40) == 7, 0.5, whole["value_2"].to_numpy()))
    changed = whole.set_column(whole.column_names.index("value_2"), "value_2", first)
    pyarrow.parquet.write_table(changed, file)
    with pytest.raises(InputError, match="is damaged, its check sum does not agree"):
        table.holds(1, 40)


BENCH = """
import sys
from pathlib import Path
from mixer.ground.inputs.file_locks import alone_in
with alone_in(Path(sys.argv[0]).parent / "b", "bench"):
    print("busy", flush=True)
    import time
    time.sleep(100)
"""


def test_two_benches_do_not_meet_in_one_folder(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    other, _ = started(BENCH, tmp_path)
    command = ["bench", "sweep", "--servo", "1", "--out-dir", str(tmp_path / "b")]
    try:
        done = CliRunner().invoke(fourvane, command)
        assert done.exit_code == 2, done.output
        assert "another bench is at work in this folder" in done.stderr
        assert not list((tmp_path / "b").glob("*.journal"))
    finally:
        other.kill()
        other.communicate()
    with alone_in(tmp_path / "b", "bench"):  # a killed bench holds nothing
        pass


FORGETFUL = """
import tempfile, sys, time
from mixer.ground.inputs.work_folder import WorkFolder
print(WorkFolder("test").name, flush=True)
print("busy", flush=True)
time.sleep(100)
"""


def test_what_a_killed_process_left_goes_at_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    (tmp_path / "fourvane-elsewhere").mkdir()  # without a lock: somebody may just be making it
    (tmp_path / "fourvane-file").write_text("no folder")
    process, (left,) = started(FORGETFUL, tmp_path)
    with WorkFolder("own") as own:
        assert Path(left).is_dir() and Path(own).is_dir()
    assert not Path(own).exists()
    process.kill()
    process.communicate()
    assert Path(left).is_dir()
    os.utime(tmp_path / "fourvane-elsewhere", (0, 0))
    WorkFolder("next").cleanup()
    with suppress(FileNotFoundError):
        os.remove(tmp_path / "program.py")
    assert [path.name for path in tmp_path.iterdir()] == ["fourvane-file"]
