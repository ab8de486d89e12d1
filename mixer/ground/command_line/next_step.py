"""What to do next with a vehicle file, from what it has and lacks: one line after a command."""

from collections.abc import Iterator
from pathlib import Path

from mixer.ground.vehicle.vehicle import Vehicle


def next_step(vehicle: Vehicle, file: Path, done: str) -> str:
    """The first step on the way to flight that the file does not show as made.

    file: the vehicle file as the user will name it. done: the command that has just run, which is
    never the answer.
    """
    return next(step for step in steps(vehicle, file) if not step.startswith(f"fourvane {done} "))


def steps(vehicle: Vehicle, file: Path) -> Iterator[str]:
    """What the file lacks, in the order of mixer/README.md; last what every whole file is for."""
    if vehicle.vanes.geometry is not None and vehicle.erosion is None:
        yield (
            f"fourvane erosion fit inspection.csv --vehicle {file} --out worn.toml, after a static "
            "burn: the file has no [erosion], so the vanes stay new in it"
        )
    if vehicle.uncertainty is None:
        yield (
            f"fourvane identify --plan --vehicle {file} --out programme.csv: the file has no "
            "[uncertainty], so no static test has told yet what the vanes give"
        )
    if vehicle.requirements is None:
        yield (
            f"state [requirements] in {file} (pitch_nm, yaw_nm, roll_nm), then fourvane envelope "
            f"{file}: nothing is judged without them"
        )
    if vehicle.servo_table.latency_ms is None or vehicle.servo_table.backlash_deg is None:
        yield (
            f"fourvane bench all --board PORT --vehicle {file}: the servos' latency_ms and "
            "backlash_deg were not measured (rehearse it with --board unix)"
        )
    if vehicle.rocket is None:
        yield f"add [rocket] to {file}, then fourvane ascent {file}: no simulated flight so far"
    yield f"fourvane check {file}: search its tables for a breach of the promises"
    yield f"fourvane board verify --board emulated {file}: the board computes the same"
