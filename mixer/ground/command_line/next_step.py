"""What to do next with a vehicle file, from what it has and lacks: one line after a command."""

from collections.abc import Iterator
from pathlib import Path

from mixer.ground.vehicle.vehicle import Vehicle


def next_step(vehicle: Vehicle, file: Path, done: str, passed: bool = True) -> str:
    """The first step on the way to flight that the file does not show as made.

    file: the vehicle file as the user will name it. done: the command that has just run, which is
    never the answer. What a whole file is for comes in its order, each after the one before it;
    where it failed, nothing comes before that is mended.
    """
    if not passed:
        return f"mend what failed, in {file} or on the module; then this fourvane {done} again"
    lacking = [step for step in steps(vehicle, file) if not is_of(step, done)]
    if lacking:
        return lacking[0]
    place = next((n for n, step in enumerate(PROOFS) if step.startswith(f"{done} ")), -1)
    return "fourvane " + PROOFS[min(place + 1, len(PROOFS) - 1)].format(file=file)


PROOFS = (
    "check {file} --report check.html: search its tables for a breach of the promises",
    "ascent {file}: one simulated flight",
    "failures {file}: the same with everything that may fail",
    "campaign {file}: many flights that differ",
    "board verify --board emulated {file} --report verify.html: the board computes the same",
    "handover {file} --from . --out handover.html: what all of that comes to",
)


def is_of(step: str, done: str) -> bool:
    """Whether a step is the command that has just run."""
    return step.startswith(f"fourvane {done} ")


def steps(vehicle: Vehicle, file: Path) -> Iterator[str]:
    """What the file lacks, in the order of mixer/README.md."""
    if vehicle.vanes.geometry is not None and vehicle.erosion is None:
        yield (
            f"fourvane erosion fit inspection.csv --vehicle {file} --out worn.toml, after a static "
            "burn: the file has no [erosion], so the vanes stay new in it (fourvane erosion form "
            "writes the form to fill in, and can rehearse it)"
        )
    if vehicle.uncertainty is None or vehicle.uncertainty.effectiveness is None:
        yield (
            f"fourvane identify --plan --vehicle {file} --out programme.csv: the file has no "
            "uncertainty.effectiveness, so no static test has told yet what the vanes give"
        )
    if vehicle.requirements is None:
        yield (
            f"state [requirements] in {file} (pitch_nm, yaw_nm, roll_nm), then fourvane envelope "
            f"{file}: nothing is judged without them"
        )
    if vehicle.servo_table.latency_ms is None or vehicle.servo_table.backlash_deg is None:
        if vehicle.acceptance is None:
            yield (
                f"state [acceptance] in {file} (backlash_deg, latency_ms), then fourvane bench all "
                f"--board PORT --vehicle {file}: without limits a bench judges no servo"
            )
        yield (
            f"fourvane bench all --board PORT --vehicle {file}: the servos' latency_ms and "
            "backlash_deg were not measured (rehearse it with --board unix)"
        )
    if vehicle.rocket is None:
        yield f"add [rocket] to {file}, then fourvane ascent {file}: no simulated flight so far"
