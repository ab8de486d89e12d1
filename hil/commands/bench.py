"""`fourvane bench`: measure the servos with their linkages, one by one, and judge them."""

from typing import Any

import click

from hil.bench_sessions.options import BenchOptions, bench_options
from hil.bench_sessions.wiggle_session import check_wiring, wiggle_options
from mixer.ground.command_line.fourvane import FAILED, emit


@click.group()
def bench() -> None:
    """Know each servo before it is bolted on: sweeps, steps, frequency response, endurance.

    Boards: none (the node in this process), unix, emulated, with emulated servos on their pulses;
    or the port of a real board, such as /dev/ttyACM0 or COM3, with your servos.

    CAUTION: with a real board servos move. Fingers and tools out of the linkages, module unpowered
    while hands are in it, battery fused, no pyrotechnics or propellant connected.

    Example: fourvane bench all --board unix
    """


def run_and_judge(options: BenchOptions, *runs: str) -> None:
    """Measure, write tables, results and reports, say what came out; exit status 1 on a fail."""
    from hil.bench_sessions.measure import measure  # takes half as long as all of `--help`

    result, show = measure(options, runs)
    emit(result, options.as_json, show, after_measuring(options, result))
    if not result["passed"]:
        raise SystemExit(FAILED)


def after_measuring(options: BenchOptions, result: dict[str, Any]) -> str | None:
    """What follows: the rest of the runs, or what was measured into the vehicle file."""
    if options.vehicle_file is None:
        return None  # the demo's vehicle, to see how it goes
    if result["outcome"] == "fail":
        return "put right what the reasons name, then measure that servo again with --anew"
    if result["servos_not_measured"] or result["not_measured"]:
        where = f"--board {options.board} --vehicle {options.vehicle_file}"
        return f"fourvane bench all {where}: the runs and servos that are missing"
    practice = " --rehearsal" if options.rehearsal else ""
    return (
        f"fourvane servo adopt {options.out} --vehicle {options.vehicle_file} "
        f"--out measured.toml{practice}: what was measured into a new vehicle file"
    )


@bench.command()
@bench_options("positions", "passes", "settle_s", "low_us", "high_us")
def sweep(options: BenchOptions) -> None:
    """Lead the vane up and down through its travel, pass by pass: table, play, repeatability.

    CAUTION: with a real board the servo moves. Fingers out of the linkage.

    Example: fourvane bench sweep --board unix --servo 2
    """
    run_and_judge(options, "sweep", "deadband")


@bench.command()
@bench_options("settle_s", "step_sizes_deg", "step_repeats")
def step(options: BenchOptions) -> None:
    """Jump by several sizes, both ways: latency, rise, overshoot, settling, slew.

    CAUTION: with a real board the servo moves fast. Fingers out of the linkage.

    Example: fourvane bench step --board unix --servo 2
    """
    run_and_judge(options, "step")


@bench.command()
@bench_options("settle_s", "sine_deg")
def frequency(options: BenchOptions) -> None:
    """Swing by sines, slow ones first: bandwidth and phase lag, small enough not to slew.

    CAUTION: with a real board the servo moves fast. Fingers out of the linkage.

    Example: fourvane bench frequency --board unix --servo 2
    """
    run_and_judge(options, "frequency")


@bench.command()
@bench_options("settle_s", "load_nm")
def hold(options: BenchOptions) -> None:
    """Hang a load on the shaft and see what gives.

    CAUTION: a weight that falls and a servo that is freed both move fast. Fingers out.

    Example: fourvane bench hold --board unix --servo 2 --load-nm 0.3
    """
    run_and_judge(options, "hold")


@bench.command()
@bench_options("settle_s", "blocks", "cycles_per_block")
def endurance(options: BenchOptions) -> None:
    """Go over the whole travel many times, and watch neutral drift and play grow.

    CAUTION: with a real board the servo moves for long. Do not leave it alone; motors get hot.

    Example: fourvane bench endurance --board unix --servo 2 --blocks 20
    """
    run_and_judge(options, "endurance")


@bench.command(name="all")
@bench_options(
    "positions",
    "passes",
    "settle_s",
    "low_us",
    "high_us",
    "step_sizes_deg",
    "step_repeats",
    "sine_deg",
    "load_nm",
    "blocks",
    "cycles_per_block",
)
def all_runs(options: BenchOptions) -> None:
    """Every run on every servo, a report for each and one for the module, pass or fail.

    What was measured is kept at every point: after Ctrl-C, a pulled cable or a lost supply the
    same command goes on where it was.

    CAUTION: with a real board servos move. Fingers and tools out of the linkages, module unpowered
    while hands are in it, battery fused, no pyrotechnics or propellant connected.

    Example: fourvane bench all --board unix
    """
    run_and_judge(options, "sweep", "deadband", "step", "frequency", "hold", "endurance")


@bench.command()
@wiggle_options
def wiggle(options: BenchOptions, by_eye: bool, swapped: tuple[int, int] | None) -> None:
    """Move one vane at a time and compare what is seen with what should be: swapped, reversed?

    Look from outside along each vane's shaft, towards the engine's axis. Positive is clockwise.

    CAUTION: with a real board servos move. Fingers and tools out of the linkages.

    Example: fourvane bench wiggle --board unix --by-eye
    """
    result, show = check_wiring(options, by_eye, swapped)
    following = None
    if result["passed"] and options.vehicle_file is not None:
        where = f"--board {options.board} --vehicle {options.vehicle_file}"
        following = f"fourvane bench all {where}: every servo measured"
    emit(result, options.as_json, show, following)
    if not result["passed"]:
        raise SystemExit(FAILED)


@bench.command()
@bench_options()
def zero(options: BenchOptions) -> None:
    """Tell the encoders where edge-on is, and which way they count.

    Hold the vane edge-on with its alignment jig when asked, then turn it a little by hand. The
    servo's supply must be off: it would fight you. The board's stays on.

    Example: fourvane bench zero --board /dev/ttyACM0 --vehicle vehicle.toml --servo 2
    """
    from hil.bench_sessions.encoder_zero import set_zero

    result, show = set_zero(options)
    where = f"--board {options.board} --vehicle {options.vehicle_file or 'VEHICLE'}"
    following = f"fourvane bench wiggle {where}: every vane turns the way it should"
    emit(result, options.as_json, show, following)
