"""What a reader takes of memory grows with its file, by a small factor, whatever stands in it."""

import tracemalloc
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path

import pytest

from mixer.ground.inputs.csv_files import InputError, read_all, read_rows
from mixer.ground.servo_fit.sweep import read_sweeps
from mixer.ground.static_test.log import COLUMNS as LOG
from mixer.ground.static_test.log import read_stand_log
from mixer.ground.vehicle.servo_table import read_servo_table
from mixer.ground.vehicle.vehicle import load_vehicle
from mixer.ground.wear.inspection import read_inspection
from tests.support.vehicles import vehicle, vehicle_text

SWEEP = "servo,pulse_us,angle_deg,direction,pass\n"
WORN = "burn,vane,pressure_log,station_mm,chord_before_mm,chord_after_mm\n"
FACTOR, SMALL = 40, 12_000_000  # bytes of memory a byte of the file, beyond a few pieces of it


def apart(rows: int) -> Iterable[str]:
    """A sweep in which every reading has a pulse and a pass of its own."""
    yield SWEEP
    yield from (f"1,{500 + i / 10:.1f},0,up,{i + 1}\n" for i in range(rows))


def usual_sweep(rows: int) -> Iterable[str]:
    yield SWEEP
    for i in range(rows):
        yield f"1,{500 + i % 500},0,{('up', 'down')[i // 500 % 2]},{i // 1000 + 1}\n"


def one_long_word(rows: int) -> Iterable[str]:
    """Text cells of which one is long: arrays of text would make all of them as wide."""
    yield WORN
    for i in range(rows):
        yield f"1,1,{'a' * (60_000 if i == 7 else 1)},{i},70,69\n"


def burns(rows: int) -> Iterable[str]:
    """Many burns that name one log."""
    yield WORN
    yield from (f"{i + 1},1,log.csv,10,70,69\n" for i in range(rows // 10))


def log(rows: int) -> Iterable[str]:
    yield ",".join(LOG) + "\n"
    yield from (f"{i / 1000:.3f},20" + ",1" * (len(LOG) - 2) + "\n" for i in range(rows))


def no_line(rows: int) -> Iterable[str]:
    yield ",".join(LOG) + "\n" + "1" * (20 * rows)


def long_lines(rows: int) -> Iterable[str]:
    yield ",".join(LOG) + "\n"
    yield from ("1" * 60_000 + ",20\n" for _ in range(rows // 1000))


def table(rows: int) -> Iterable[str]:
    yield "deflection_deg,pulse_us\n"
    yield from (f"{-45 + 90 * i / rows:.6f},{1000 + 1000 * i / rows:.6f}\n" for i in range(rows))


def vehicle_with_many_points(rows: int) -> Iterable[str]:
    text = vehicle_text(servos={"neutral_us": None, "us_per_deg": None, "table": "servo.csv"})
    yield text.replace("load_s = [0.0, 13.0, 26.0]", f"load_s = [{'0,' * rows}1]")


def nested(rows: int) -> Iterable[str]:
    yield "a = " + "[" * 20 * rows


READERS: list[tuple[Callable[[int], Iterable[str]], Callable[[Path], object]]] = [
    (apart, read_sweeps),
    (usual_sweep, read_sweeps),
    (one_long_word, lambda path: read_inspection(path, 20.0)),
    (burns, lambda path: read_inspection(path, 20.0)),
    (log, lambda path: read_stand_log(path, vehicle(), (1, 2, 3, 4))),
    (log, lambda path: read_all(path, LOG)),
    (no_line, lambda path: sum(map(len, read_rows(path, LOG)))),
    (long_lines, lambda path: sum(map(len, read_rows(path, LOG)))),
    (table, read_servo_table),
    (vehicle_with_many_points, load_vehicle),
    (nested, load_vehicle),
]


@pytest.mark.parametrize(("content", "read"), READERS, ids=lambda each: each.__name__)
def test_memory_grows_with_the_file_by_a_small_factor(
    tmp_path: Path,
    content: Callable[[int], Iterable[str]],
    read: Callable[[Path], object],
    full_size: bool,
) -> None:
    path = tmp_path / "file"
    with path.open("w") as stream:
        stream.writelines(content(20_000 if full_size else 8_000))
    with (tmp_path / "log.csv").open("w") as stream:
        stream.write("time_s,chamber_pressure_bar\n")
        stream.writelines(f"{i / 10},20\n" for i in range(5000))
    tracemalloc.start()
    try:
        with suppress(InputError):
            read(path)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < SMALL + FACTOR * path.stat().st_size, f"{most / 1e6:.0f} MB"
