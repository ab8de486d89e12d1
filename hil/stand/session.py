"""A play from start to end: what ran before, checks that speak, the word, the count, the record."""

import hashlib
import re
import secrets
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firmware_port.stand import protocol as s
from hil.live_page.serve import NoPage, Shown
from hil.node.errors import BoardError
from hil.stand.open_stand import StandNode
from hil.stand.player import Angles, Ended
from hil.stand.programme_file import Knots
from hil.stand.record_file import RecordFile
from hil.stand.stop_key import enter_stops
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.run_files import writes
from mixer.ground.reports.console import progress
from mixer.ground.two_clocks.play_record import KIND, PlayRecord, read_play_record, tables_crc
from mixer.ground.vehicle.vehicle import Vehicle

COLD, HOT = "cold", "hot"
WORDS = {COLD: "vanes move", HOT: "engine burns"}
COUNT_S = 5
LOWEST_SUPPLY_V = 4.0  # below it a usual servo does not hold; common practice
NEUTRAL_DEG = 3.0  # an angle sensor may be off by as much before anything has moved

Say = Callable[[str], None]


class StandError(InputError):
    """A play that may not begin, in words."""


@dataclass(frozen=True)
class Plan:
    """What is to be played: programme, vehicle, cold or hot, and where the record goes."""

    vehicle: Vehicle
    programme: Path
    knots: Knots
    kind: str
    folder: Path
    board: str
    no_cold_run: str | None = None
    again: bool = False

    @property
    def programme_hash(self) -> str:
        """Tells one programme from another, as the node gets it."""
        return hashlib.sha256(b"".join(self.knots.pieces)).hexdigest()[:16]

    def matches(self, record: PlayRecord) -> bool:
        """Whether a record is of this programme, these tables and the same sort of board."""
        return record.header.get("programme_hash") == self.programme_hash and record.header.get(
            "tables_crc"
        ) == tables_crc(self.vehicle)


def records_in(folder: Path, kind: str) -> list[PlayRecord]:
    """The records of one kind in a folder that can be read, in the order of their numbers."""
    found = []
    for path in sorted(folder.glob(f"{kind}-*.record"), key=number_of):
        try:
            found.append(read_play_record(path))
        except InputError:  # stopped before anything was played
            continue
    return found


def number_of(path: Path) -> int:
    found = re.fullmatch(r"(?:cold|hot)-(\d+)\.record", path.name)
    return int(found[1]) if found else 0


def next_record(folder: Path, kind: str) -> Path:
    """The name of the record to come; no record is ever written over."""
    return (
        folder
        / f"{kind}-{1 + max(map(number_of, folder.glob(f'{kind}-*.record')), default=0)}.record"
    )


def what_ran_before(plan: Plan, rehearsal: bool, say: Say) -> dict[str, Any]:
    """What the record says of earlier runs. StandError where a hot run may not follow on them."""
    same = {kind: [r for r in records_in(plan.folder, kind) if plan.matches(r)] for kind in WORDS}
    for record in same[plan.kind]:
        say(f"{record.file}: the same programme, {record.outcome}, {record.time_s[-1]:.2f} s")
    if plan.kind == COLD:
        return {}
    if same[HOT] and not plan.again:
        raise StandError(
            f"{same[HOT][-1].file}: this programme was played hot already "
            f"({same[HOT][-1].outcome}); a burn cannot be gone on with. Merge that "
            "record, torn or not; or play it anew with --again"
        )
    cold = [r for r in same[COLD] if r.whole and (rehearsal or not r.header.get("rehearsal"))]
    if cold:
        return {"cold_run": Path(cold[-1].file).name}
    if plan.no_cold_run:
        return {"cold_run": None, "no_cold_run_because": plan.no_cold_run}
    torn = f"; {same[COLD][-1].file} is torn or was a rehearsal" if same[COLD] else ""
    raise StandError(
        f"{plan.folder}: no whole cold run of this programme by these tables{torn}: play it "
        "without --hot first, with everybody clear; or say why not with --no-cold-run "
        "REASON, which is kept"
    )


def checks(plan: Plan, node: StandNode, say: Say) -> None:
    """Before anything moves. StandError names the first thing that is not as it should be."""
    crc = tables_crc(plan.vehicle)
    if node.tables_crc != crc:
        raise StandError(
            f"the board has the tables {node.tables_crc:08x}, {plan.vehicle.path} gives {crc:08x}"
        )
    say(f"tables: the board has those of {plan.vehicle.path}, CRC-32 {crc:08x}")
    say(
        f"programme: {len(plan.knots.ticks)} knots, {plan.knots.length_s:.2f} s with "
        f"{plan.knots.lead_s:g} s of rest at either end, within travel and slew"
    )
    looked = node.player.look()
    for vane, angle in enumerate(looked.angles_deg, 1):
        if angle is not None and abs(angle) > NEUTRAL_DEG:
            raise StandError(
                f"vane {vane}: its sensor says {angle:z.2f} deg where the pulse is neutral; at "
                f"most {NEUTRAL_DEG:g}: look at vane, linkage and the sensor's zero"
            )
    heard = sum(angle is not None for angle in looked.angles_deg)
    say(
        f"angle sensors: {heard} of {VANES} answer, at neutral"
        if heard
        else "angle sensors: none; whether the servos answer only your eyes tell"
    )
    if looked.supply_v is None:
        say("supply: not measured on this board; read it yourself")
    elif looked.supply_v < LOWEST_SUPPLY_V:
        raise StandError(
            f"supply: {looked.supply_v:.2f} V; at least {LOWEST_SUPPLY_V:g} V are needed"
        )
    else:
        say(f"supply: {looked.supply_v:.2f} V")


def play(
    plan: Plan,
    node: StandNode,
    earlier: dict[str, Any],
    *,
    say: Say,
    count: bool,
    wired: bool = False,
    operator: str | None = None,
    page: Shown | None = None,
) -> tuple[Path, Ended]:
    """Load, count, play, keep. The record's name, and how it ended. CAUTION: vanes move."""
    path = next_record(plan.folder, plan.kind)
    writes(path)
    run = 1 + secrets.randbelow(s.MOST_RUN)
    header = {
        "kind": KIND,
        "run": plan.kind,
        "vehicle": plan.vehicle.vehicle.name,
        "tables_crc": node.tables_crc,
        "programme": plan.programme.name,
        "programme_hash": plan.programme_hash,
        "number": run,
        "lead_s": plan.knots.lead_s,
        "board": plan.board,
        "rehearsal": node.vanes is not None,
        **({"by": operator} if operator else {}),
        **earlier,
    }
    with progress("programme to the node", len(plan.knots.ticks)) as done:
        sent = 0

        def advance(knots: int) -> None:
            nonlocal sent
            sent += knots
            done(sent)

        node.player.load(plan.knots, run, advance)
    page, length_s = page or NoPage(), round(plan.knots.length_s, 1)
    if count:
        for left in range(COUNT_S, 0, -1):
            say(f"{left} …")
            page.say(f"begins in {left} s")
            time.sleep(1)
    with RecordFile(path, header) as record:
        if node.vanes is not None:
            node.vanes.begin()
        try:
            with (
                progress(f"playing {plan.kind}", plan.knots.length_s) as done,
                enter_stops(sys.stdin),
            ):

                def show(time_s: float, commanded_deg: Angles, sensed_deg: Angles) -> None:
                    done(time_s)
                    page.say(f"{plan.kind} run, seconds", min(round(time_s, 1), length_s), length_s)
                    page.vanes(commanded_deg, sensed_deg)

                ended = node.player.play(run, record, show, wired)
        except KeyboardInterrupt:
            record.end("stopped by Ctrl-C or Enter", False, 0)
            raise
        except BoardError as error:
            record.end(f"the line was lost: {error}", False, 0)
            raise BoardError(
                f"{error}. The node leads the vanes to neutral by itself within a second; look "
                f"before anybody goes near. What was played until then is in {path}"
            ) from error
        whole = ended.outcome == s.PLAYED and not ended.lost
        words = s.OUTCOME_NAMES[ended.outcome]
        if ended.lost:
            words += f", {ended.lost} points lost: the line is too slow for every cycle"
        record.end(words, whole, ended.lost)
    return path, ended
