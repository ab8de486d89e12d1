"""The record of a run stays small and tells no lie; the report stands whatever the run was."""

import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixer.flight.layout import (
    BAD_DEMAND,
    NO_THRUST,
    PRIMARY_LIMITED,
    ROLL_LIMITED,
    SLEW_LIMITED,
    STALE_DEMAND,
)
from mixer.ground.allocation import report as flight_report
from mixer.ground.allocation.commands_csv import CommandsWriter
from mixer.ground.allocation.demands import DemandFile
from mixer.ground.allocation.record import (
    AT_SLEW,
    AT_TRAVEL,
    CHANNELS,
    DEMAND,
    JAMMED,
    MOMENT,
    PLACE,
    Bins,
    FlightRecord,
    Stretches,
    marked_vanes,
)
from mixer.ground.allocation.run import CommandRows, Jam, allocate, channels_of, marks_of
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle
from tests.support.vehicles import vehicle

RAISED = (0, ROLL_LIMITED, PRIMARY_LIMITED | ROLL_LIMITED, NO_THRUST, STALE_DEMAND, BAD_DEMAND)


def made_up(count: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Rows of every channel and their marks, times rising."""
    rng = np.random.default_rng(seed)
    rows = rng.normal(0, 100, (count, len(CHANNELS)))
    rows[:, PLACE["time_s"]] = np.cumsum(rng.uniform(0.001, 0.02, count))
    marks = rng.choice(RAISED, count, p=[0.9, 0.02, 0.02, 0.02, 0.02, 0.02])
    return rows, marks | rng.integers(0, 2, count) << AT_SLEW


def in_pieces(rows: np.ndarray, marks: np.ndarray, sizes: list[int]) -> list[Any]:
    cuts = np.cumsum(sizes)
    return [
        (piece, part)
        for piece, part in zip(np.split(rows, cuts), np.split(marks, cuts), strict=True)
        if len(piece)
    ]


@settings(max_examples=60, deadline=None)
@given(
    st.integers(1, 900),
    st.lists(st.integers(0, 400), max_size=6),
    st.integers(2, 60),
    st.integers(0, 2**32 - 1),
)
def test_bins_hold_the_extremes_of_all_rows_however_they_come(
    count: int, sizes: list[int], most: int, seed: int
) -> None:
    rows, marks = made_up(count, seed)
    bins = Bins(most)
    for piece, part in in_pieces(rows, marks, sizes):
        bins.add(piece, part)
    bins.finish()
    assert len(bins) <= most + 1
    np.testing.assert_array_equal(bins.lo.min(0), rows.min(0))
    np.testing.assert_array_equal(bins.hi.max(0), rows.max(0))
    assert np.bitwise_or.reduce(bins.marks) == np.bitwise_or.reduce(marks)
    first = np.searchsorted(rows[:, 0], bins.lo[:, 0])
    past = np.append(first[1:], count)
    for n, (start, end) in enumerate(zip(first, past, strict=True)):
        here = rows[start:end]
        np.testing.assert_array_equal(bins.lo[n], here.min(0))
        np.testing.assert_array_equal(bins.hi[n], here.max(0))
        assert bins.marks[n] == np.bitwise_or.reduce(marks[start:end])
        size = np.hypot(here[:, DEMAND.start], here[:, DEMAND.start + 1])
        np.testing.assert_array_equal(bins.peak[n], here[np.argmax(size)])


def test_few_rows_are_drawn_as_they_are_and_many_by_their_extremes() -> None:
    rows, marks = made_up(10, 1)
    few, many = Bins(20), Bins(5)
    for bins in (few, many):
        bins.add(rows, marks)
        bins.finish()
    np.testing.assert_array_equal(few.line("roll_nm")[1], rows[:, PLACE["roll_nm"]])
    time_s, roll_nm = many.line("roll_nm")
    assert (np.diff(time_s) >= 0).all()
    assert (roll_nm.min(), roll_nm.max()) == (
        rows[:, PLACE["roll_nm"]].min(),
        rows[:, PLACE["roll_nm"]].max(),
    )


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 500), st.integers(1, 50), st.integers(0, 2**32 - 1))
def test_coarser_bins_and_a_part_of_them_are_what_they_are_made_of(
    count: int, most: int, seed: int
) -> None:
    rows, marks = made_up(count, seed)
    bins = Bins()
    bins.add(rows, marks)
    few = bins.coarser(most)
    assert len(few) <= most and len(bins) == count
    np.testing.assert_array_equal(few.lo.min(0), rows.min(0))
    np.testing.assert_array_equal(few.hi.max(0), rows.max(0))
    size = np.hypot(rows[:, DEMAND.start], rows[:, DEMAND.start + 1])
    assert rows[np.argmax(size)].tolist() in few.peak.tolist()
    from_s, to_s = rows[count // 3, 0], rows[count // 2, 0]
    np.testing.assert_array_equal(bins.between(from_s, to_s).lo, rows[count // 3 : count // 2 + 1])


def test_a_line_through_bins_goes_the_way_the_channel_goes() -> None:
    """Down where it falls, up where it rises, so that no saw teeth are drawn."""
    rows, marks = made_up(64, 2)
    place = PLACE["pitch_nm"]
    for values in (np.linspace(0, 1, 64), np.linspace(1, 0, 64)):
        rows[:, place] = values
        bins = Bins(8)
        bins.add(rows, marks)
        drawn = bins.line("pitch_nm")[1]
        np.testing.assert_array_equal(drawn, np.sort(drawn)[:: -1 if values[0] else 1])


def stretches(times_s: list[float], most: int = 24) -> Stretches:
    found = Stretches(most=most)
    for n, time_s in enumerate(times_s):
        found.add(np.array([time_s]), np.array([1 << n % 3]), np.full((1, 3), float(n)))
    return found


def test_rows_close_together_are_one_stretch_with_the_worst_of_them() -> None:
    found = stretches([1.0, 1.005, 1.04, 2.0, 2.2])
    assert found.from_s.tolist() == [1.0, 2.0, 2.2] and found.to_s.tolist() == [1.04, 2.0, 2.2]
    assert found.rows.tolist() == [3, 1, 1]
    assert found.marks.tolist() == [0b111, 1, 2]
    assert found.worst[:, 0].tolist() == [2, 3, 4]


def test_too_many_stretches_are_joined_over_longer_gaps_and_none_is_lost() -> None:
    found = stretches([n * 0.3 + n**2 * 0.01 for n in range(100)], most=10)
    assert 0 < len(found) <= 10
    assert found.rows.sum() == 100 and found.joined_over_s > 0.3
    assert (found.from_s[0], found.to_s[-1]) == (0.0, pytest.approx(99 * 0.3 + 99**2 * 0.01))


def test_totals_are_exact_however_the_rows_come() -> None:
    rows, marks = made_up(5000, 4)
    for sizes in ([], [1, 700, 13], [2500]):
        record = FlightRecord()
        for piece, part in in_pieces(rows, marks, sizes):
            record.add(piece, part)
        record.finish()
        assert record.rows == 5000
        assert record.flagged.tolist() == [int((marks >> bit & 1).sum()) for bit in range(8)]
        np.testing.assert_array_equal(
            record.worst_nm, np.abs(rows[:, DEMAND] - rows[:, MOMENT]).max(0)
        )
        drag = np.trapezoid(rows[:, PLACE["drag_n"]], rows[:, 0])
        assert record.drag_impulse_ns == pytest.approx(drag)
        assert (record.first_s, record.last_s) == (rows[0, 0], rows[-1, 0])
        assert sum(one.rows.sum() for one in record.stretches) == (marks & 0x3B != 0).sum()


def commands(**given: Any) -> CommandRows:
    """One row of commands, of which only what is given matters."""
    row: dict[str, Any] = {
        "time_s": [1.0], "pressure_bar": [20.0], "ratio_q14": [16384], "demand_nm": [[0, 0, 0]],
        "deflection_mdeg": [[0, 0, 0, 0]], "pulse_ns": [[0, 0, 0, 0]], "moment_mnm": [[0, 0, 0]],
        "flags": [0], "jammed": [0], "load_us": [0], "moved_mdeg": [[0, 0, 0, 0]],
        "step_mdeg": [[1000, 1000, 1000, 1000]],
    }  # fmt: skip
    return CommandRows(**{name: np.array(value) for name, value in {**row, **given}.items()})


TRAVEL_MDEG = np.array([[-15000, 15000]] * 4)


def test_marks_say_which_vane_stood_where() -> None:
    (mark,) = marks_of(
        commands(
            flags=[PRIMARY_LIMITED | SLEW_LIMITED],
            deflection_mdeg=[[15000, -14600, 4000, 15000]],
            moved_mdeg=[[0, -100, 990, 0]],
            jammed=[0b1000],
        ),
        TRAVEL_MDEG,
    ).tolist()
    assert mark & 0x7F == PRIMARY_LIMITED | SLEW_LIMITED
    assert marked_vanes(mark, AT_TRAVEL) == [1, 2]
    assert marked_vanes(mark, AT_SLEW) == [3]
    assert marked_vanes(mark, JAMMED) == [4]


def test_a_vane_that_moves_fast_and_gets_there_is_not_held_by_slew() -> None:
    (mark,) = marks_of(commands(moved_mdeg=[[1000, 0, 0, 0]]), TRAVEL_MDEG).tolist()
    assert mark == 0


def test_drag_follows_deflection_and_pressure() -> None:
    """120 N at rest and 140 N at 15 deg, each vane, at the reference pressure of 20 bar."""
    rows = channels_of(
        commands(deflection_mdeg=[[0, 15000, -7500, 0]], pressure_bar=[10.0]), vehicle()
    )
    assert rows[0, PLACE["drag_n"]] == pytest.approx((120 + 140 + 130 + 120) / 2)


def flown(
    folder: Path, rows: str, given: Vehicle | None = None, jams: tuple[Jam, ...] = ()
) -> tuple[Vehicle, FlightRecord]:
    """The record of some demands, a line each."""
    given = given or vehicle()
    path = folder / "demands.csv"
    path.write_text("time_s,pitch_nm,yaw_nm,roll_nm,chamber_pressure_bar\n" + rows)
    writer = CommandsWriter(io.StringIO())
    tables = flight_tables(given)
    return given, allocate(given, tables, DemandFile(path, given), writer, jams)


def lines(count: int, text: str = "300,-200,5,20", period_s: float = 0.005) -> str:
    return "".join(f"{n * period_s:.6f},{text}\n" for n in range(count))


def report(given: Vehicle, record: FlightRecord) -> str:
    return flight_report.page(given, record, {"Vehicle file": "v.toml"}, [])


def test_thrust_loss_is_drag_over_thrust(tmp_path: Path) -> None:
    """Four vanes at rest: 4 x 120 N of 5000 N, at any pressure."""
    given, record = flown(tmp_path, lines(50, "0,0,0,14"))
    assert flight_report.thrust_loss_percent(record, given) == pytest.approx(9.6)
    page = report(given, record)
    assert "about 9.6 % of the thrust" in page
    assert "How wear changes a vane&#39;s drag is not known here" in page


def test_the_picture_of_the_burn_shows_what_counted_while_a_reading_was_not_believed(
    tmp_path: Path,
) -> None:
    """A tenth of a second at a tenth of the pressure."""
    rows = [f"{n / 200},30,0,0,{2 if 60 <= n < 80 else 20}" for n in range(160)]
    doubting = vehicle(engine={"believed_pressure": [0.5, 1.5]})
    given, record = flown(tmp_path, "\n".join(rows), doubting)
    counted, read = (record.bins.at_peaks(name) for name in ("counted_bar", "pressure_bar"))
    assert read[70] == 2.0 and counted[70] == pytest.approx(20.0, rel=0.01)
    assert ">counted<" in report(given, record)
    _, sound = flown(tmp_path, lines(100, "30,-20,1,20"))
    assert ">counted<" not in report(given, sound)


def test_without_drag_no_thrust_loss_is_told(tmp_path: Path) -> None:
    given, record = flown(tmp_path, lines(5), vehicle(vanes={"drag_n": None}))
    assert flight_report.thrust_loss_percent(record, given) is None
    assert flight_report.facts(record, given)["thrust_loss_percent"] is None
    page = report(given, record)
    assert "the vehicle file has no drag_n" in page and "Drag of the four vanes" not in page


@pytest.mark.parametrize(
    "rows",
    [
        "0,1,2,3,20\n",
        lines(3, "0,0,0,0"),
        lines(30, "1e9,0,0,20"),
        lines(30, "4e5,-4e5,9000,20"),
        lines(2, "1,2,3,20", 16.0),
        "0,0,0,0,0\n0.0000001,0,0,0,20\n",
    ],
)
def test_the_report_stands_whatever_the_run_was(tmp_path: Path, rows: str) -> None:
    """One row, no thrust at all, nothing but bad demands, far demands, long gaps, none."""
    given, record = flown(tmp_path, rows, jams=(Jam(1, 0.05),))
    page = report(given, record)
    assert page.count("<svg") in (6, 7, 8) and "safety officer" in page
    words = re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", page, flags=re.DOTALL)
    assert not re.search(r"\b(nan|inf|None)\b", words)
    assert '"nan' not in page and "nan," not in page


def test_where_authority_ran_out_is_told_with_when_what_and_why(tmp_path: Path) -> None:
    calm, hard = "30,-20,1,20", "2500,0,10,20"
    rows = [f"{n / 200},{hard if 60 <= n < 100 else calm}" for n in range(160)]
    given, record = flown(tmp_path, "\n".join(rows))
    (row,) = flight_report.gave_way(record)
    assert row["what"] == "pitch, yaw, roll"
    assert row["from_s"] == 0.3 and 0.495 <= row["to_s"] < 0.6
    assert row["at_travel"] and row["at_slew"]
    assert row["worst"][0] == pytest.approx(2500 - 30, rel=0.1)
    assert {"primary-limited", "roll-limited", "slew-limited"} == set(row["flags"])
    page = report(given, record)
    assert "Where authority was shortest, close up." in page
    assert "0.300" in page and "at travel: " in page and "held by slew: " in page


def test_where_it_never_ran_out_that_is_said(tmp_path: Path) -> None:
    given, record = flown(tmp_path, lines(100, "30,-20,1,20"))
    assert flight_report.gave_way(record) == []
    page = report(given, record)
    assert "It never did: every demand was given in full." in page and "close up" not in page


def test_names_out_of_a_users_file_are_escaped(tmp_path: Path) -> None:
    given, record = flown(tmp_path, lines(3), vehicle(vehicle={"name": "<b>Gorse</b> & co"}))
    assert "<b>Gorse" not in report(given, record)
