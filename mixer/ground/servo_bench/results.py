"""The results a bench run leaves in its folder, and how they are read again."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from mixer.ground.inputs.csv_files import write_whole
from mixer.ground.inputs.run_files import reads
from mixer.ground.reports.facts import plain
from mixer.ground.servo_bench.adopt import AdoptError, MeasuredServo
from mixer.ground.servo_bench.verdict import ModuleVerdict, ServoVerdict
from mixer.ground.servo_fit.fit import write_servo_table
from mixer.ground.servo_fit.sweep import write_sweeps

RESULTS = "bench.json"
LARGEST_BYTES = 10_000_000
# Nothing but the type that is named, no NaN; keys that are not read may be there.
STRICT = ConfigDict(strict=True, allow_inf_nan=False)
SWEEP = "sweep.csv"


@dataclass(frozen=True)
class Setup:
    """What the servos were measured on. `rehearsal`: no servo was there, emulated ones were.

    `record`: when, by whom and on which pieces, in plain values.
    """

    board: str
    rehearsal: bool
    record: Mapping[str, Any] = field(default_factory=dict)


def table_name(servo: int) -> str:
    return f"servo-{servo}.csv"


def servo_result(verdict: ServoVerdict) -> dict[str, Any]:
    """One servo in plain values."""
    return {
        "passed": verdict.passed,
        "outcome": verdict.outcome,
        "not_measured": [j.figure for j in verdict.open],
        "reasons": verdict.reasons,
        "faults": [finding.name for finding in verdict.findings],
        "figures": verdict.figures.values(),
        "limits": {j.figure: j.limit for j in verdict.judgements},
        "margins": {j.figure: j.margin for j in verdict.judgements},
        "table": table_name(verdict.servo) if verdict.figures.fit else None,
    }


def module_result(module: ModuleVerdict, setup: Setup) -> dict[str, Any]:
    """The module in plain values: what `--json` prints and the results file keeps."""
    match = module.match
    return {
        "vehicle": module.vehicle.vehicle.name,
        "board": setup.board,
        "rehearsal": setup.rehearsal,
        **setup.record,
        "passed": module.passed,
        "outcome": module.outcome,
        "not_measured": module.open_limits,
        "servos_not_measured": module.absent,
        "reasons": module.reasons,
        "roll_nm": match.roll_nm if match else None,
        "roll_likely_nm": match.likely_nm if match else None,
        "roll_kick_nm": match.kick.largest_nm if match and match.kick else None,
        "servos": {str(n): servo_result(servo) for n, servo in module.servos.items()},
    }


def write_tables(folder: Path, module: ModuleVerdict) -> list[Path]:
    """Servo tables and the sweeps, each whole; returns the files written."""
    written = []
    for number, servo in module.servos.items():
        if servo.figures.fit:
            path = folder / table_name(number)
            write_servo_table(path, servo.figures.fit.table)
            written.append(path)
    sweeps = [servo.data.sweep for servo in module.servos.values() if servo.data.sweep]
    if sweeps:
        write_sweeps(folder / SWEEP, sweeps)
        written.append(folder / SWEEP)
    return written


def write_results(folder: Path, module: ModuleVerdict, setup: Setup) -> Path:
    """The results file, whole; returns its name."""
    with write_whole(folder / RESULTS) as stream:
        json.dump(plain(module_result(module, setup)), stream, indent=2, ensure_ascii=False)
        stream.write("\n")
    return folder / RESULTS


@dataclass(frozen=True)
class BenchRun:
    """What a bench folder holds. `rehearsal` is None where the results do not say.

    `reasons`: why it failed, a sentence each; empty where it passed.
    """

    path: Path
    vehicle: str
    board: str
    rehearsal: bool | None
    reasons: list[str]
    not_measured: list[str]
    servos: dict[int, MeasuredServo]

    def same_vehicle(self, name: str) -> None:
        """AdoptError where the run was made on another vehicle than the one of that name."""
        if self.vehicle != name:
            raise AdoptError(
                f"{self.path}: measured on the vehicle {self.vehicle!r}; must be the one whose "
                f"file is given, {name!r}"
            )

    def real(self) -> None:
        """AdoptError where no real servo was measured, or nobody knows whether one was."""
        if self.rehearsal is None:
            raise AdoptError(
                f"{self.path}: the key rehearsal is missing, so nobody knows whether real servos "
                "were measured; the same bench command again writes it, without measuring anew"
            )
        if self.rehearsal:
            raise AdoptError(
                f"{self.path}: a rehearsal with emulated servos on board {self.board}, not a "
                "measurement; measure your servos on a real board, or say --rehearsal if a "
                "vehicle file for practice is meant"
            )


class Figures(BaseModel):
    """What of a servo's figures goes into a vehicle file."""

    model_config = STRICT

    slew_deg_s: float | None = Field(None, gt=0)
    latency_ms: float | None = Field(None, ge=0)
    backlash_deg: float | None = Field(None, ge=0)


class ServoResults(BaseModel):
    """One servo in the results file; `table` is a file in the same folder."""

    model_config = STRICT

    figures: Figures
    table: str | None = Field(pattern=r"^[^/\\\x00]+$")


class Results(BaseModel):
    """The keys of the results file that are read again; the others are for people."""

    model_config = STRICT

    vehicle: str
    board: str = ""
    rehearsal: bool | None = None
    passed: bool
    reasons: list[str] = []
    not_measured: list[str] = []
    servos: dict[Literal["1", "2", "3", "4"], ServoResults]


def read_run(folder: Path, with_tables: bool = True) -> BenchRun:
    """What a bench run left in its folder. AdoptError where it holds no results."""
    path = folder / RESULTS
    reads(path)
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise AdoptError(f"{path}: too large to be the results of a bench run")
        results = Results.model_validate_json(path.read_bytes())
    except OSError as error:
        raise AdoptError(f"{path}: {error.strerror}; name the folder of a bench run") from error
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(map(str, first["loc"])) or "its text"
        words = f"not the results of a bench run ({place}: {first['msg']})"
        raise AdoptError(f"{path}: {words}") from error
    return BenchRun(
        path,
        results.vehicle,
        results.board,
        results.rehearsal,
        [] if results.passed else results.reasons or ["no reason is given"],
        results.not_measured,
        {
            int(number): MeasuredServo(
                folder / servo.table if servo.table and with_tables else None,
                **servo.figures.model_dump(),
            )
            for number, servo in results.servos.items()
        },
    )
