"""What a record of a flight leaves for the log book: whose it is, and by which tables."""

from typing import Any

from mixer.ground.evidence.evidence import evidence_of, tables_of, write_beside
from mixer.ground.flight_record.record_file import Record
from mixer.ground.reports.page import Verdict
from mixer.ground.vehicle.vehicle import Vehicle

WITHOUT_SERVOS = ("unix", "emulated")  # boards that are programs: NAME in firmware_port/boards


def whose(record: Record) -> dict[str, Any]:
    """The board that answered to IDENTIFY, and whether it was an emulated one; where nobody heard
    its name both stay unknown.
    """
    board = record.header.get("board") or None
    return {"board": board, "rehearsal": None if board is None else board in WITHOUT_SERVOS}


def kept_beside(kind: str, vehicle: Vehicle, record: Record) -> dict[str, Any]:
    """Evidence beside a record, as --json has it; failed where it is of another file's tables."""
    tables, crc = tables_of(vehicle), record.header.get("tables_crc")
    if not crc:
        found = Verdict("open", "the record does not tell by which flight tables", "not told")
    elif f"{crc:08x}" != tables.bytes_crc32:
        words = f"the record is of flight tables {crc:08x}, this file's are {tables.bytes_crc32}"
        found = Verdict("fail", words, "other tables")
    else:
        found = Verdict("pass", f"{len(record.blocks)} blocks, by these flight tables", "kept")
    evidence = evidence_of(
        kind, vehicle, found, tables=tables, files=[record.path], **whose(record)
    )
    write_beside(record.path, evidence)
    return evidence.plain
