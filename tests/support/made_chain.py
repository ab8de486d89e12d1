"""A whole chain of results about one vehicle, from its drawing to the board's bytes.

On paper: every result is written by the functions that the commands write it by, without what
takes long to compute, and as if by real hardware, so that nothing is open.
"""

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hil.bench.journal import Journal
from mixer.ground.demo import scenario
from mixer.ground.evidence.evidence import (
    Evidence,
    Tables,
    about,
    evidence_of,
    tables_of,
    write_beside,
    write_record,
)
from mixer.ground.evidence.on_page import stamped
from mixer.ground.reports.page import Verdict, render_page
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle
from mixer.ground.vehicle_edits.text import VehicleText

PASS = Verdict("pass", "all as it should be")
PIECES = {"operator": "A. Person", "board_serial": "P-7", "servo_serials": {"3": "B7"}}


@dataclass(frozen=True)
class Chain:
    """A folder with everything, and the vehicle file that is handed over."""

    folder: Path

    @property
    def file(self) -> Path:
        return self.folder / "measured.toml"

    def vehicle(self) -> Vehicle:
        return load_vehicle(self.file)

    def copied(self, to: Path) -> "Chain":
        shutil.copytree(self.folder, to)
        return Chain(to)

    def paper(self, name: str, kind: str, vehicle: Vehicle, *found: Any, **others: Any) -> Evidence:
        """A page with the evidence of a command."""
        evidence = evidence_of(kind, vehicle, *found, tables=sums(vehicle), **others)
        text = stamped(render_page(kind, "A result.", []), evidence)
        (self.folder / name).write_text(text, encoding="utf-8")
        return evidence

    def edited(self, before: str, after: str, **tables: dict[str, Any]) -> Vehicle:
        """A vehicle file with some keys set, written as the commands write one."""
        file = VehicleText(load_vehicle(self.folder / before))
        for table, values in tables.items():
            for key, value in values.items():
                file.put(table, key, value)
        file.write(self.folder / after)
        return load_vehicle(self.folder / after)


SUMS: dict[str, Tables] = {}


def sums(vehicle: Vehicle) -> Tables:
    """The sums of a vehicle's flight tables, made once for each that is met."""
    key = json.dumps(about(vehicle).values, sort_keys=True)
    if key not in SUMS:
        SUMS[key] = tables_of(vehicle)
    return SUMS[key]


def servo_tables() -> list[dict[str, list[float]]]:
    """Four unlike servo tables."""
    angles = [-16.0, -8.0, 0.0, 8.0, 16.0]
    return [
        {"deflection_deg": angles, "pulse_us": [1500.0 + 10.0 * servo + 10.0 * a for a in angles]}
        for servo in range(4)
    ]


def make_chain(folder: Path) -> Chain:
    """The chain on paper."""
    chain = Chain(folder)
    text = scenario.vehicle_toml()
    drawn_text = text[: text.index("[erosion]")] + text[text.index("[servos]") :]
    drawn_text = drawn_text[: drawn_text.index("[uncertainty]")]
    (folder / "drawn.toml").write_text(drawn_text, encoding="utf-8")
    drawn = load_vehicle(folder / "drawn.toml")
    chain.paper("vanes.html", "vanes", drawn, PASS)

    (folder / "inspection.csv").write_text(scenario.inspection_csv(), encoding="utf-8")
    wear = {"load_s": [0.0, 26.0], "effectiveness": [1.0, 0.94]}
    worn = chain.edited("drawn.toml", "worn.toml", erosion=wear)
    inspected = [folder / "inspection.csv"]
    chain.paper("worn.html", "erosion fit", drawn, made=worn, files=inspected)

    real = {"board": "/dev/ttyACM0", "rehearsal": False, "pieces": PIECES}
    played(chain, worn, real)
    tested = chain.edited(
        "worn.toml",
        "tested.toml",
        erosion={"effectiveness": [1.0, 0.93]},
        uncertainty={"roll_arm_m": 0.0001},
    )
    log = [folder / "test.csv"]
    chain.paper("tested.html", "identify", worn, made=tested, files=log, pieces=PIECES)

    bench = folder / "fourvane-bench"
    bench.mkdir()
    journals = [bench / f"servo-{servo}-sweep.journal" for servo in (1, 2, 3, 4)]
    for journal in journals:
        with Journal(journal, {"vehicle": drawn.vehicle.name}) as kept:
            kept.append("sweep:1", {"angle_deg": 1.0})
    chain.paper("fourvane-bench/wiggle.html", "bench wiggle", tested, PASS, **real)
    chain.paper("fourvane-bench/module.html", "bench all", tested, PASS, files=journals, **real)

    measured = adopted(tested, chain.file)
    write_beside(
        chain.file,
        evidence_of(
            "servo adopt",
            tested,
            tables=sums(tested),
            made=measured,
            files=journals,
            rehearsal=False,
        ),
    )

    chain.paper("check.html", "check", measured, PASS)
    (folder / "failures.csv").write_text("seed\n1\n", encoding="utf-8")
    flown = [folder / "failures.csv"]
    held = Verdict("pass", "every jam was held; 2 flights were lost", "jams held")
    chain.paper("failures.html", "failures", measured, held, files=flown)
    flights = folder / "campaign"
    flights.mkdir()
    (flights / "flights-000000001.parquet").write_bytes(b"flights")
    write_record(
        flights,
        evidence_of(
            "campaign", measured, PASS, tables=sums(measured), files=list(flights.iterdir())
        ),
    )
    kept = sums(measured).bytes_crc32
    chain.paper("verify.html", "board verify", measured, PASS, on_board=kept, **real)
    chain.paper("control-check.html", "board check", measured, PASS, on_board=kept, **real)
    flown_record(chain, measured, real)
    return chain


def played(chain: Chain, worn: Vehicle, real: dict[str, Any]) -> None:
    """A programme played cold and hot, and the stand's log brought onto one clock."""
    folder = chain.folder / "fourvane-stand"
    folder.mkdir()
    names = ("programme.csv", "log.csv", "test.csv")
    programme, log, test = (chain.folder / name for name in names)
    for path in (programme, log, test):
        path.write_text("time_s\n0\n", encoding="utf-8")
    for run, kind in (("cold", "stand play"), ("hot", "stand play --hot")):
        record = folder / f"{run}-1.record"
        record.write_bytes(f"played {run}".encode())
        evidence = evidence_of(
            kind, worn, PASS, tables=sums(worn), files=[programme, record], **real
        )
        write_beside(record, evidence)
    files = [log, folder / "hot-1.record", test]
    chain.paper("test.html", "stand merge", worn, files=files, board="x", rehearsal=False)


def flown_record(chain: Chain, measured: Vehicle, real: dict[str, Any]) -> None:
    """A phasing check, and the record of a flight, fetched and replayed."""
    folder = chain.folder / "fourvane-phasing"
    folder.mkdir()
    (folder / "phasing.heard").write_bytes(b"heard")
    heard = [folder / "phasing.heard"]
    chain.paper("fourvane-phasing/phasing.html", "phasing", measured, PASS, files=heard, **real)
    record = chain.folder / "flight.record"
    record.write_bytes(b"4VFR and so on")
    by = {"tables": sums(measured), "board": "rp2", "rehearsal": False}
    write_beside(record, evidence_of("record fetch", measured, PASS, files=[record], **by))
    chain.paper(
        "replay.html", "record replay", measured, PASS, files=[record], board="rp2",
        rehearsal=False,
    )  # fmt: skip


def adopted(tested: Vehicle, out: Path) -> Vehicle:
    """The file with what the bench found of the servos."""
    file = VehicleText(tested)
    file.put("servos", "table", servo_tables())
    for key in ("neutral_us", "us_per_deg"):
        file.drop("servos", key)
    file.put("servos", "slew_deg_s", [300.0] * 4)
    file.write(out)
    return load_vehicle(out)
