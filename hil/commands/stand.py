"""`fourvane stand`: play a test's programme through the node, and bring its log onto one clock."""

from pathlib import Path

import click

from hil.stand.options import PlayOptions, play_options, played
from hil.stand.played import evidence_of_play, next_of_play
from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.path_options import RESULT, SOURCE, beside
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.inputs.log_book import GivenLog, asker, log_book_options
from mixer.ground.reports.console import output, progress
from mixer.ground.static_test.log import write_stand_log
from mixer.ground.two_clocks.logger_log import read_logger_log
from mixer.ground.two_clocks.merge import Merged, merge
from mixer.ground.two_clocks.play_record import read_play_record
from mixer.ground.two_clocks.report import merge_page, rests_on
from mixer.ground.vehicle.vehicle import load_vehicle


@click.group()
def stand() -> None:
    """A static test: its programme played by the node, its log brought onto the node's clock.

    CAUTION: vanes move by themselves and an engine burns. People behind cover, hands off, the
    test stand's rules and local law first.

    Example: fourvane stand play programme.csv --vehicle vehicle.toml --board none
    """


@stand.command(name="play")
@click.argument("programme_file", metavar="PROGRAMME", type=SOURCE)
@log_book_options
@play_options
@result_option
def play_command(options: PlayOptions, given_log: GivenLog, as_json: bool) -> None:
    """Play a programme of deflections through the node, cold first, and keep what happened.

    PROGRAMME is the CSV of `identify --plan`, or any with time_s and vane1_deg to vane4_deg. The
    node plays it on its own clock. Ctrl-C, Enter, a lost line: vanes to neutral at the slew rate;
    the record up to there stays. Boards: none (the node in this process), unix, emulated, with
    emulated vanes; or the port of a real one.

    CAUTION: four vanes move fast by themselves, and with --hot an engine burns. Cold first, hands
    off, people behind cover; the test stand's rules and local law come before this program.

    Example: fourvane stand play programme.csv --vehicle vehicle.toml --board none
    """
    play = played(options, given_log, asker(as_json))
    evidence = evidence_of_play(options, play)
    emit(play.result, as_json, None, next_of_play(options, play), evidence.plain)
    if not play.record.whole:
        raise SystemExit(FAILED)


@stand.command(name="merge")
@click.argument("log_file", metavar="LOG", type=SOURCE)
@click.argument("record_file", metavar="RECORD", type=SOURCE)
@click.option("--vehicle", "vehicle_file", required=True, type=SOURCE,
              help="The vehicle file that the programme was played with.")  # fmt: skip
@click.option("--out", required=True, type=RESULT,
              help="The log to write, for fourvane identify; a page goes beside it.")  # fmt: skip
@click.option(
    "--cells-late-ms",
    type=click.FloatRange(-100, 100),
    help="How late the load cells are read; needed without a column sync.",
)
@result_option
def merge_command(
    log_file: Path,
    record_file: Path,
    vehicle_file: Path,
    out: Path,
    cells_late_ms: float | None,
    as_json: bool,
) -> None:
    """Bring a stand's log and a play's record onto one clock: the log that `identify` reads.

    LOG is the logger's CSV: time_s, chamber_pressure_bar, side_y_n, side_z_n, roll_nm, axial_n and
    sync, the node's sync output. Without sync the vanes' motion against the side loads has to
    tell, less surely. What does not fit is refused.

    Example: fourvane stand merge log.csv fourvane-stand/hot-1.record --vehicle vehicle.toml
    --out test.csv
    """
    page_file = beside(out, ".html")
    vehicle = load_vehicle(vehicle_file)
    with progress("Clocks", None):
        record, log = read_play_record(record_file), read_logger_log(log_file)
        late_s = None if cells_late_ms is None else cells_late_ms / 1000
        merged = merge(record, log, vehicle, late_s)
        page = merge_page(merged, record, log, vehicle)
    write_stand_log(out, merged.log)
    evidence = evidence_of(
        "stand merge", vehicle, says=rests_on(merged), files=[log_file, record_file, out],
        board=record.header.get("board"), rehearsal=merged.log.rehearsal,
    )  # fmt: skip
    write_page(page_file, lambda: page, evidence)
    clock = merged.clock
    result = {
        "vehicle": vehicle.vehicle.name,
        "by": "sync" if merged.by_sync else "motion",
        "offset_s": clock.offset_s,
        "offset_error_ms": 1e3 * clock.offset_error_s,
        "drift_ppm": 1e6 * clock.drift,
        "drift_error_ppm": 1e6 * clock.drift_error,
        "middle_error_ms": 1e3 * clock.middle_error_s,
        "agreement": merged.alike,
        "used": merged.used,
        "rows": len(merged.log.time_s),
        "notes": merged.notes,
        "out": out,
        "report": page_file,
    }
    following = f"fourvane identify {out} --vehicle {vehicle_file} --out tested.toml"
    emit(result, as_json, lambda: show_merged(merged, out, page_file), following, evidence.plain)


def show_merged(merged: Merged, out: Path, page_file: Path) -> None:
    """What a person sees on the terminal."""
    clock = merged.clock
    if merged.log.rehearsal:
        output.print("REHEARSAL: log or record is of an emulated stand; nothing was burnt")
    output.print(
        f"offset {clock.offset_s:.5f} s ± {1e3 * clock.offset_error_s:.2f} ms, drift "
        f"{1e6 * clock.drift:z.1f} ± {1e6 * clock.drift_error:.1f} ppm; {rests_on(merged)}",
        soft_wrap=True,
    )
    for note in merged.notes:
        output.print(f"Note: {note}", soft_wrap=True)
    output.print(f"log: {out}\nreport: {page_file}", soft_wrap=True)
