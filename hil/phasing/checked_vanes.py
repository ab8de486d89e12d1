"""What a control check on the pad has found of the vanes, taken into the phasing check."""

import json
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

from hil.pad.pad_check import ANSWERED
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.run_files import reads
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class CheckedVanes:
    """at: when it was made. faults: in sentences. measured: vanes whose sensors followed."""

    at: str
    faults: list[str]
    measured: list[int]

    @property
    def told(self) -> str:
        """What it adds to the line, and what it cannot add."""
        vanes = ", ".join(map(str, self.measured)) or "none"
        return (
            f"in the control check of {self.at} the angle sensors of these vanes followed their "
            f"commands, each alone: {vanes}; a servo that is reversed together with its sensor's "
            "sign is not found so"
        )


def read_checked(path: Path, vehicle: Vehicle, *, rehearsal: bool) -> CheckedVanes:
    """The result that `fourvane board check` kept. InputError where it is none, or of another
    vehicle's tables, or of a rehearsal where this is none.
    """
    reads(path)
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        tables_crc32, rehearsed = found["tables_crc32"], found["rehearsal"]
        vanes = [vane["vane"] for vane in found["vanes"] if vane["outcome"] == ANSWERED]
        checked = CheckedVanes(found["at"], list(found["faults"]), vanes)
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"{path}: no result of a control check; `fourvane board check` writes one"
        ) from error
    ours = f"{crc32(flight_tables(vehicle).to_bytes()):08x}"
    if tables_crc32 != ours:
        raise InputError(
            f"{path}: made with flight tables of CRC-32 {tables_crc32}, this vehicle's have "
            f"{ours}; check the vehicle that is here"
        )
    if rehearsed and not rehearsal:
        raise InputError(f"{path}: a rehearsal, without a servo; make the check on the vehicle")
    return checked
