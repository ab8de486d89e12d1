"""The options of `fourvane stand play`, and what is done by them."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import Any

import click
import numpy as np

from hil.boards.open_board import IN_PROCESS, REHEARSING
from hil.live_page.page_option import PAGE
from hil.live_page.serve import Shown, live_page
from hil.stand.emulated_stand import Logger, logged, write_logged
from hil.stand.open_stand import StandNode, stand_node
from hil.stand.programme_file import knots_of, read_programme
from hil.stand.session import COLD, HOT, WORDS, Plan, StandError, checks, play, what_ran_before
from mixer.ground.command_line.fourvane import INTERRUPTED, stop
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.inputs.file_locks import alone_in
from mixer.ground.inputs.log_book import GivenLog
from mixer.ground.reports.console import messages
from mixer.ground.static_test.simulation import StandNoise, truth_of
from mixer.ground.two_clocks.play_record import PlayRecord, record_in
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle

CELL_SHARE = 0.01  # noise of an emulated load cell, of its full scale
CELLS_LATE_S = 0.004
CLEAR = "everybody clear, hands off; the stand's safety officer decides."
CAUTIONS = {
    COLD: f"four vanes move fast by themselves: {CLEAR}",
    HOT: f"an engine burns, and four vanes move fast by themselves: {CLEAR}",
}


@dataclass(frozen=True)
class PlayOptions:
    """What `play` was told."""

    programme_file: Path
    vehicle_file: Path
    board: str
    hot: bool
    no_cold_run: str | None
    again: bool
    on_input: bool
    folder: Path
    wiring: str
    firmware: Path | None
    log: Path | None
    log_rate_hz: float
    log_offset_s: float
    log_drift_ppm: float
    no_sync: bool
    no_sensors: bool
    seed: int
    page: bool = False

    @property
    def rehearsal(self) -> bool:
        """No vane is there; emulated ones hang on the pulses."""
        return self.board in REHEARSING


@dataclass(frozen=True)
class Played:
    """What came of a play. result: for scripts; stated: operator and serial numbers."""

    vehicle: Vehicle
    record: PlayRecord
    result: dict[str, Any]
    stated: dict[str, Any]


def played(options: PlayOptions, given_log: GivenLog, ask: Callable[[str], str] | None) -> Played:
    """Play as asked for, and what came out."""
    if options.log is not None and not options.rehearsal:
        raise StandError(f"--emulated-log is for rehearsals on {', '.join(REHEARSING)}")
    if options.on_input and options.rehearsal:
        raise StandError("--on-input: a rehearsal has no wired input; leave it out")
    vehicle = load_vehicle(options.vehicle_file)
    knots = knots_of(*read_programme(options.programme_file, vehicle), str(options.programme_file))
    kind = HOT if options.hot else COLD
    options.folder.mkdir(parents=True, exist_ok=True)
    plan = Plan(vehicle, options.programme_file, knots, kind, options.folder, options.board,
                options.no_cold_run, options.again)  # fmt: skip

    def say(text: str) -> None:
        messages.print(text, soft_wrap=True)

    with alone_in(options.folder, "stand"):
        book = given_log.kept_in(options.folder, (), None if options.rehearsal else ask)
        earlier = what_ran_before(plan, options.rehearsal, say)
        if options.rehearsal:
            say(f"rehearsal: emulated vanes hang on the pulses of board {options.board}")
        with page_of(options, vehicle, kind, say) as page, stand_node(
            options.board, vehicle, options.seed, sensors=not options.no_sensors,
            firmware=options.firmware, wiring=options.wiring, say=say,
        ) as node:  # fmt: skip
            checks(plan, node, say)
            if not options.rehearsal:
                ask_for_the_word(kind)
            try:
                path, ended = play(
                    plan, node, earlier, say=say, count=not options.rehearsal,
                    wired=options.on_input, operator=book.operator, page=page,
                )  # fmt: skip
            except KeyboardInterrupt:
                stop(
                    "stopped; the vanes are led to neutral: look before anybody goes near. What "
                    f"was played is kept in {options.folder}",
                    INTERRUPTED,
                )
            if options.log is not None:
                write_log(options, vehicle, node, path)
    record = record_in(path)
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "run": kind,
        **earlier,
        "outcome": record.outcome,
        "points": ended.points,
        "lost": ended.lost,
        "played_s": float(record.time_s[-1]),
        "record": path,
    }
    if options.log is not None:
        result["log"] = options.log
    return Played(vehicle, record, result, book.stated)


def page_of(
    options: PlayOptions, vehicle: Vehicle, kind: str, say: Callable[[str], object]
) -> AbstractContextManager[Shown]:
    """The live page of a play, where one was asked for."""
    rehearsal = "Rehearsal, emulated vanes: " if options.rehearsal else ""
    title = f"{rehearsal}{kind} run of {vehicle.vehicle.name}"
    travel_deg = vehicle.vanes.travel_deg.tolist()
    return live_page(options.page, title, [CAUTIONS[kind]], travel_deg, say)


def ask_for_the_word(kind: str) -> None:
    """A word that nobody types by accident. StandError where another one comes."""
    word = WORDS[kind]
    messages.print(f"CAUTION: {CAUTIONS[kind]}", soft_wrap=True)
    typed = click.prompt(f"Type {word!r} to begin", default="", show_default=False, err=True)
    if typed.strip().lower() != word:
        raise StandError(f"not begun: {typed!r} is not {word!r}")


def write_log(options: PlayOptions, vehicle: Vehicle, node: StandNode, path: Path) -> None:
    """What an emulated stand's logger writes of the play: hot with a jet, cold without."""
    assert node.vanes is not None and options.log is not None
    record = record_in(path)
    lead_s = float(record.header["lead_s"])
    true_s, true_deg = node.vanes.motion
    largest = np.array([2.0, 2.0, 4 * vehicle.layout.roll_arm_m, 0.0]) * max(
        abs(vehicle.force_n(v, np.array(end)))
        for v in range(4)
        for end in vehicle.vanes.travel_deg[v]
    )
    largest[3] = vehicle.engine.thrust_n
    logger = Logger(
        options.log_rate_hz, options.log_offset_s, options.log_drift_ppm, wired=not options.no_sync
    )
    jet = (lead_s, float(record.time_s[-1]) - lead_s) if options.hot else None
    rows = logged(
        vehicle, truth_of(vehicle, lag_s=CELLS_LATE_S), StandNoise(1.2 * largest, CELL_SHARE),
        logger, np.random.default_rng([options.seed, 12]), true_s, true_deg, record, jet,
    )  # fmt: skip
    write_logged(options.log, rows)


OPTIONS = (
    click.option("--vehicle", "vehicle_file", required=True, type=SOURCE,
                 help="The vehicle file; its tables go onto the board."),
    click.option("--board", default=IN_PROCESS, show_default=True,
                 help="none, unix, emulated, or a port or pyserial URL."),
    click.option("--hot", is_flag=True, help="An engine burns; only after a cold run."),
    click.option("--no-cold-run", metavar="REASON",
                 help="Why hot without a cold run of this programme; kept in the record."),
    click.option("--again", is_flag=True, help="Hot, although there is a record of it already."),
    click.option("--on-input", is_flag=True,
                 help="Begin when the board's wired input goes high, not at once."),
    click.option("--out-dir", "folder", metavar="FOLDER", default=Path("fourvane-stand"),
                 show_default=True, type=click.Path(path_type=Path, file_okay=False),
                 help="Folder for the records of one test day."),
    click.option("--wiring", default="rp2", show_default=True,
                 help="How a real board is wired: its file in firmware_port/boards."),
    click.option("--firmware", type=SOURCE, help="MicroPython's ELF file for the emulated board."),
    click.option("--emulated-log", "log", type=RESULT,
                 help="Rehearsal: write what an emulated stand's logger would have."),
    click.option("--log-rate-hz", type=click.FloatRange(20, 10_000), default=200.0,
                 show_default=True, help="Rows a second of the emulated logger."),
    click.option("--log-offset-s", type=click.FloatRange(-3600, 3600), default=2.7,
                 show_default=True, help="What its clock says when the play begins."),
    click.option("--log-drift-ppm", type=click.FloatRange(-500, 500), default=50.0,
                 show_default=True, help="How much faster its clock runs."),
    click.option("--no-sync", is_flag=True, help="Rehearsal: the sync output is not wired."),
    click.option("--no-sensors", is_flag=True, help="Rehearsal: no vane has an angle sensor."),
    click.option("--seed", type=click.IntRange(0), default=0, help="Of emulated things. [0]"),
    PAGE,
)  # fmt: skip


def play_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Adds the options; the command gets them as one `PlayOptions` named `options`."""

    @wraps(command)
    def with_options(given_log: GivenLog, as_json: bool, **given: Any) -> Any:
        return command(options=PlayOptions(**given), given_log=given_log, as_json=as_json)

    for option in reversed(OPTIONS):
        with_options = option(with_options)
    return with_options
