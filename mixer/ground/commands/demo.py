"""`fourvane demo`: an invented vehicle flies an invented flight, and a report tells of it."""

from pathlib import Path
from typing import Any

import click
import numpy as np
from rich.table import Table

from mixer.flight import FLAG_NAMES
from mixer.ground.allocation.commands_csv import COLUMNS as COMMANDS
from mixer.ground.allocation.demands import COLUMNS as DEMANDS
from mixer.ground.allocation.demands import PRESSURE
from mixer.ground.allocation.report import facts
from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.commands.allocate import allocate_files
from mixer.ground.demo import scenario
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.inputs.csv_files import Rows, read_all, write_whole
from mixer.ground.reports.console import output
from mixer.ground.vehicle.vehicle import load_vehicle

MOMENTS = DEMANDS[1:]


@click.command()
@click.option(
    "--out-dir", metavar="FOLDER", type=click.Path(path_type=Path, file_okay=False),
    default=Path("fourvane-demo"), show_default=True, help="Where the demo's files go.",
)  # fmt: skip
@result_option
def demo(out_dir: Path, as_json: bool) -> None:
    """Fly an invented vehicle through a gust, a roll disturbance, a pitch-over too hard for it and
    a jammed vane, while its vanes wear away. Writes the vehicle file, the inspection its wear was
    fitted from, the demands, the commands and a report to look at.

    The demands are made up and no rocket is simulated: it shows what the steering makes of them.

    Example: fourvane demo
    """
    out_dir.mkdir(parents=True, exist_ok=True)
    vehicle_file, demands_file = out_dir / "vehicle.toml", out_dir / "demands.csv"
    inspection_file = out_dir / "inspection.csv"
    commands_file, report = out_dir / "commands.csv", out_dir / "report.html"
    with write_whole(vehicle_file) as stream:
        stream.write(scenario.vehicle_toml())
    with write_whole(inspection_file) as stream:
        stream.write(scenario.inspection_csv())
    with write_whole(demands_file) as stream:
        scenario.write_demands(stream)
    vehicle = load_vehicle(vehicle_file)
    evidence = evidence_of("demo", vehicle, files=[demands_file])
    record = allocate_files(vehicle, demands_file, commands_file, report, evidence, [scenario.JAM])
    result: dict[str, Any] = {
        "vehicle": vehicle_file,
        "inspection": inspection_file,
        "demands": demands_file,
        "commands": commands_file,
        "report": report,
        "phases": story(demands_file, commands_file),
        **facts(record, vehicle),
    }
    following = "fourvane new: a vehicle file of your own to begin with"
    emit(result, as_json, lambda: show(result), following, evidence.plain)


def story(demands_file: Path, commands_file: Path) -> list[dict[str, Any]]:
    """What happened in each phase of the flight, read off the two files."""
    demands = read_all(demands_file, DEMANDS, optional=(PRESSURE,))
    commands = read_all(commands_file, COMMANDS, text={"flags": None})
    return [
        {
            "what": phase.name,
            "from_s": phase.from_s,
            "to_s": phase.to_s,
            **what_happened(demands, commands, phase.from_s, phase.to_s),
        }
        for phase in scenario.PHASES
    ]


def what_happened(demands: Rows, commands: Rows, from_s: float, to_s: float) -> dict[str, Any]:
    """The largest demands and shortfalls, and the flags, of some seconds of the flight.

    Demands that were refused are not counted: nothing was meant to follow them.
    """
    here = (demands["time_s"] >= from_s) & (demands["time_s"] < to_s)
    flags = commands["flags"][here]
    raised = {flag for row in flags for flag in row.split(";") if flag}
    good = here & (np.char.find(commands["flags"].astype(str), "bad-demand") < 0)
    wanted = np.column_stack([demands[name][good] for name in MOMENTS])
    given = np.column_stack([commands[name][good] for name in MOMENTS])
    short = np.abs(wanted - given)
    return {
        "demanded_nm": largest(wanted),
        "shortfall_nm": largest(short),
        "flags": [flag for flag in FLAG_NAMES if flag in raised],
    }


def largest(moments_nm: np.ndarray) -> dict[str, float | None]:
    """The largest size of each moment (n, 3); None where there are no rows."""
    if not len(moments_nm):
        return dict.fromkeys(MOMENTS)
    return dict(zip(MOMENTS, np.abs(moments_nm).max(0).tolist(), strict=True))


def show(result: dict[str, Any]) -> None:
    """The flight as a short table, and where to read on."""
    table = Table("burn time", "what happened", "pitch", "yaw", "roll", "flags", box=None)
    for column in table.columns[2:5]:
        column.justify = "right"
    for phase in result["phases"]:
        table.add_row(
            f"{phase['from_s']:g}–{phase['to_s']:g} s",
            phase["what"],
            *(
                ""
                if phase["demanded_nm"][name] is None
                else f"{phase['demanded_nm'][name]:.0f}\n−{phase['shortfall_nm'][name]:.0f}"
                for name in MOMENTS
            ),
            ", ".join(phase["flags"]),
        )
    output.print("Largest demand, N·m, and below it the largest shortfall:")
    output.print(table)
    if result["thrust_loss_percent"] is not None:
        output.print(f"The vanes took about {result['thrust_loss_percent']:.1f} % of the thrust.")
    output.print(f"Report to open in a browser: {result['report']}", soft_wrap=True)
    jam = scenario.JAM
    output.print(
        "The same by hand: fourvane allocate "
        f"{result['vehicle']} {result['demands']} --jam {jam.vane} {jam.time_s:g} "
        f"--out {result['commands']} --report {result['report']}",
        soft_wrap=True,
    )
    output.print(
        f"Where its forces come from: fourvane vanes {result['vehicle']}; and its wear: fourvane "
        f"erosion fit {result['inspection']} --vehicle {result['vehicle']} --per-vane "
        f"--out {result['vehicle'].with_name('worn.toml')}",
        soft_wrap=True,
    )
