"""What a result is about, the same in every `--json`, page, folder and library.

Nobody can tell two folders of results apart in a month; so each says which vehicle file it is
about (by its sum, and by the value of every key, so that a later file can be held against it),
which flight tables came of that, and what came out. Sums find mix-ups and damage. They prove
nothing against somebody who wants to deceive.
"""

import hashlib
import json
import tomllib
from collections.abc import Iterable, Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any, Literal
from zlib import crc32

from pydantic import BaseModel, ConfigDict

from mixer.flight import FlightTables
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.log_book import now
from mixer.ground.inputs.run_files import writes
from mixer.ground.inputs.whole_files import write_whole
from mixer.ground.reports.facts import plain
from mixer.ground.reports.page import Verdict
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables_in_words.text import checksum
from mixer.ground.vehicle.assumed import assumed_of
from mixer.ground.vehicle.servo_table import table_values
from mixer.ground.vehicle.vehicle import Vehicle

KEY = "evidence"
RECORD = "evidence.json"  # in a folder of results that has no other file to carry it
STRICT = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)
Outcome = Literal["pass", "fail", "open", "none"]


class About(BaseModel):
    """A vehicle file. `values`: every key, tables of servos in the place of their files' names.
    `assumed`: what is not in the file and counts all the same.
    """

    model_config = STRICT

    name: str
    file: str
    sha256: str
    values: dict[str, Any]
    assumed: list[str] = []


class Tables(BaseModel):
    """Flight tables. `crc32` is of their words, as `fourvane tables` tells it; `bytes_crc32` of
    the bytes that a board keeps, as its node answers to IDENTIFY. `refused`: why there are none.
    """

    model_config = STRICT

    crc32: str | None
    bytes_crc32: str | None
    refused: str = ""


class Evidence(BaseModel):
    """One result.

    about: the vehicle file it was got from; made: the one that it wrote. rehearsal: no real
    hardware was there; None where none is asked for. verdict: "none" where nothing is judged;
    word: how people say it. files: what the result rests on, by name, with SHA-256. pieces:
    operator and serial numbers. on_board: of the tables that the board itself keeps, as IDENTIFY
    tells it. check: SHA-256 of all the rest.
    """

    model_config = STRICT

    kind: str
    about: About
    tables: Tables
    made: About | None = None
    at: str
    fourvane: str
    board: str | None = None
    firmware: str | None = None
    on_board: str | None = None
    rehearsal: bool | None = None
    verdict: Outcome = "none"
    word: str = ""
    says: str = ""
    files: dict[str, str] = {}
    pieces: dict[str, Any] = {}
    check: str = ""

    @property
    def sum(self) -> str:
        """What `check` must be."""
        rest = self.model_dump(exclude={"check"})
        text = json.dumps(rest, sort_keys=True, ensure_ascii=True, allow_nan=False)
        return hashlib.sha256(text.encode()).hexdigest()

    @property
    def plain(self) -> dict[str, Any]:
        """For `--json`, and for whatever else carries it."""
        return self.model_dump()


def evidence_of(
    kind: str,
    vehicle: Vehicle,
    found: Verdict | None = None,
    *,
    says: str = "",
    made: Vehicle | None = None,
    files: Iterable[Path] = (),
    sums: Mapping[str, str] | None = None,
    tables: Tables | None = None,
    pieces: Mapping[str, Any] | None = None,
    **others: Any,
) -> Evidence:
    """The evidence of one result; all of its pages and files carry this one.

    kind: the command, such as "bench all". found: the verdict, None where nothing is judged; says:
    what came out, where the verdict's reason does not tell. made: the vehicle file that was
    written. sums: of files that are still to be written. tables: where they are known already.
    others: board, firmware, on_board, rehearsal.
    """
    judged = {} if found is None else {"verdict": found.outcome, "word": found.word}
    unchecked = Evidence(
        kind=kind,
        about=about(vehicle),
        tables=tables or tables_of(vehicle),
        made=None if made is None else about(made),
        at=now(),
        fourvane=version("fourvane"),
        says=says or ("" if found is None else found.reason),
        # A pipe or a device would be read without end; whoever reads such an input refuses it.
        files={**{each.name: sha256_of(each) for each in files if each.is_file()}, **(sums or {})},
        pieces=plain(pieces or {}),
        **judged,
        **others,
    )
    return unchecked.model_copy(update={"check": unchecked.sum})


def about(vehicle: Vehicle) -> About:
    """What a vehicle file holds, key by key."""
    values = dict(flat(tomllib.loads(vehicle.text)))
    if vehicle.servo_table.table is not None:
        values["servos.table"] = [table_values(table) for table in vehicle.servo_table.table]
    return About(
        name=vehicle.vehicle.name,
        file=vehicle.path.name,
        sha256=vehicle.sha256,
        values=plain(values),
        assumed=assumed_of(vehicle),
    )


def flat(table: Mapping[str, Any], before: str = "") -> Iterable[tuple[str, Any]]:
    """Dotted keys and their values; lists stay whole."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value


def tables_of(vehicle: Vehicle) -> Tables:
    """The sums of a vehicle's flight tables, or why there are none."""
    try:
        built = flight_tables(vehicle)
    except InputError as error:
        return Tables(crc32=None, bytes_crc32=None, refused=str(error))
    return sums_of(built)


def sums_of(built: FlightTables) -> Tables:
    """The sums of flight tables that are there already: to build them again takes a while."""
    return Tables(crc32=f"{checksum(built):08x}", bytes_crc32=f"{crc32(built.to_bytes()):08x}")


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def write_beside(result: Path, evidence: Evidence) -> Path:
    """Put evidence beside a result that cannot carry it, in a file of its own."""
    path = result.with_name(f"{result.stem}.evidence.json")
    writes(path)
    return _write(path, evidence)


def write_record(folder: Path, evidence: Evidence) -> Path:
    """Put evidence into a folder of results as a file of its own."""
    return _write(folder / RECORD, evidence)


def _write(path: Path, evidence: Evidence) -> Path:
    with write_whole(path) as stream:
        json.dump({KEY: evidence.plain}, stream, indent=2, ensure_ascii=False)
        stream.write("\n")
    return path
