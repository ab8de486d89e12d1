"""The options that the bench's commands share, and what they are put together into."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import wraps
from pathlib import Path
from typing import Any

import click

from hil.bench.plan import BenchPlan, plan_for
from hil.boards.open_board import REHEARSING
from hil.emulated_servos.faults import FAULTS, emulated_servo
from hil.emulated_servos.servo import EmulatedServo
from hil.live_page.page_option import PAGE
from mixer.ground.command_line.fourvane import result_option
from mixer.ground.command_line.path_options import SOURCE
from mixer.ground.demo import scenario
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.inputs.log_book import GivenLog, LogBook, asker, log_book_options
from mixer.ground.servo_fit.fit import FEWEST_POSITIONS
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle, parse_vehicle

AnyFunction = Callable[..., Any]


class OptionError(InputError):
    """Options that do not go together."""


@dataclass(frozen=True)
class BenchOptions:
    """What a bench command was told; `settings` are those of its plan that were given."""

    board: str
    vehicle_file: Path | None
    servos: tuple[int, ...]
    out: Path
    anew: bool
    by_person: bool
    firmware: Path | None
    wiring: str
    seed: int
    faults: dict[int, str]
    timer_us: float
    page: bool
    as_json: bool
    given_log: GivenLog
    settings: dict[str, Any] = field(default_factory=dict)

    def log_book(self) -> LogBook:
        """Operator and serial numbers: given, kept in the folder, or asked for at a terminal."""
        ask = None if self.rehearsal else asker(self.as_json)
        return self.given_log.kept_in(self.out, self.servos, ask)

    @property
    def rehearsal(self) -> bool:
        """No servo is there; emulated ones hang on the board's pulses."""
        return self.board in REHEARSING

    def vehicle(self) -> Vehicle:
        """The vehicle file; for a rehearsal without one, the demo's invented vehicle."""
        if self.vehicle_file is not None:
            return load_vehicle(self.vehicle_file)
        if self.rehearsal:
            return parse_vehicle(scenario.vehicle_toml(), "the demo's vehicle")
        raise OptionError(
            f"--vehicle is needed with servos on a real board ({self.board}); emulated servos are "
            "on the boards none, unix and emulated"
        )

    def plan(self, vehicle: Vehicle, servo: int) -> BenchPlan:
        """The plan for one servo. OptionError where its limits make no sense."""
        plan = plan_for(vehicle, servo, timer_us=self.timer_us, **self.settings)
        if plan.low_us >= plan.high_us:
            raise OptionError(
                f"--from-us {plan.low_us:g} must be less than --to-us {plan.high_us:g}"
            )
        if SWEPT & self.settings.keys():
            check_positions(vehicle, plan)
        return plan

    def emulated(self, vehicle: Vehicle) -> list[EmulatedServo]:
        """Four emulated servos as the vehicle file describes them, more or less."""
        if self.faults and not self.rehearsal:
            raise OptionError(f"--fault is for rehearsals on {', '.join(REHEARSING)}")
        plans = [plan_for(vehicle, servo) for servo in range(1, VANES + 1)]
        return [
            emulated_servo(
                self.seed * VANES + plan.servo,
                self.faults.get(plan.servo),
                plan.neutral_us,
                plan.us_per_deg,
            )
            for plan in plans
        ]


SWEPT = {"positions", "low_us", "high_us"}  # the settings that choose the pulses of the sweep


def check_positions(vehicle: Vehicle, plan: BenchPlan) -> None:
    """OptionError where too few pulses of the sweep lie within the travel to make a table of."""
    travel_deg = list(vehicle.vanes.travel_deg[plan.servo - 1])
    low_us, high_us = sorted(vehicle.servos[plan.servo - 1].pulse_us(travel_deg))
    within = int(((plan.sweep_us >= low_us) & (plan.sweep_us <= high_us)).sum())
    if within < FEWEST_POSITIONS:
        raise OptionError(
            f"--positions {plan.positions}: of the pulses from {plan.low_us:g} to "
            f"{plan.high_us:g} us only {within} lie within the travel of servo {plan.servo}, "
            f"{low_us:g} to {high_us:g} us; at least {FEWEST_POSITIONS} are needed: more "
            "positions, or --from-us and --to-us nearer to the travel"
        )


def fault_of(text: str) -> tuple[int, str]:
    """'3=loose-horn' as a servo and the fault's name."""
    number, _, name = text.partition("=")
    name = name.replace("-", " ")
    if number not in [str(i) for i in range(1, VANES + 1)] or name not in FAULTS:
        known = ", ".join(fault.replace(" ", "-") for fault in FAULTS)
        raise OptionError(f"--fault {text}: must be SERVO=FAULT, such as 3=loose-horn; of {known}")
    return int(number), name


def numbers_of(text: str | None) -> tuple[float, ...] | None:
    """'3,8,20' as numbers."""
    if text is None:
        return None
    try:
        sizes = tuple(float(part) for part in text.split(","))
    except ValueError:
        raise OptionError(
            f"--steps-deg {text}: must be numbers with commas, such as 3,8,20"
        ) from None
    if not all(0 < size <= 90 for size in sizes):
        raise OptionError(f"--steps-deg {text}: each must be above 0 and at most 90")
    return sizes


PLAN_OPTIONS: dict[str, Any] = {
    "positions": click.option(
        "--positions", type=click.IntRange(7, 401), help="Pulses of the sweep. [35]"
    ),
    "passes": click.option("--passes", type=click.IntRange(2, 50), help="Passes up and down. [3]"),
    "settle_s": click.option(
        "--settle-s", type=click.FloatRange(0.05, 30), help="Rest before a reading. [0.3]"
    ),
    "low_us": click.option(
        "--from-us",
        "low_us",
        type=click.FloatRange(400, 2600),
        help="Shortest pulse, instead of the travel's end and 8 % beyond.",
    ),
    "high_us": click.option(
        "--to-us",
        "high_us",
        type=click.FloatRange(400, 2600),
        help="Longest pulse, instead of the travel's end and 8 % beyond.",
    ),
    "step_sizes_deg": click.option(
        "--steps-deg",
        "step_sizes_deg",
        metavar="SIZES",
        callback=lambda context, option, text: numbers_of(text),
        help="Sizes of the steps. [3,8,20]",
    ),
    "step_repeats": click.option(
        "--repeats", "step_repeats", type=click.IntRange(1, 50), help="Of each step. [3]"
    ),
    "sine_deg": click.option(
        "--sine-deg",
        type=click.FloatRange(0.8, 15),
        help="Largest amplitude; less where the servo would slew. [3]",
    ),
    "load_nm": click.option(
        "--load-nm", type=click.FloatRange(-50, 50), help="What hangs on the shaft. [0: no run]"
    ),
    "blocks": click.option(
        "--blocks", type=click.IntRange(1, 10_000), help="Blocks of cycles, each looked at. [10]"
    ),
    "cycles_per_block": click.option(
        "--cycles", "cycles_per_block", type=click.IntRange(1, 1000), help="Cycles a block. [10]"
    ),
}

SHARED = (
    click.option(
        "--board",
        default="none",
        show_default=True,
        help="none, unix, emulated, or a port or pyserial URL.",
    ),
    click.option(
        "--vehicle", "vehicle_file", type=SOURCE,
        help="The vehicle file. Without a real board: the demo's, where none is named.",
    ),
    click.option(
        "--servo", "servos", type=click.IntRange(1, VANES), multiple=True,
        help="Which servo; can be repeated. All four where none is named.",
    ),
    click.option(
        "--out-dir",
        "out",
        metavar="FOLDER",
        type=click.Path(path_type=Path, file_okay=False),
        default=Path("fourvane-bench"),
        show_default=True,
        help="Folder for journals, tables and reports.",
    ),
    click.option("--anew", is_flag=True, help="Measure again; what is there is set aside."),
    click.option(
        "--reader",
        type=click.Choice(["encoder", "person"]),
        default="encoder",
        show_default=True,
        help="Who reads the angle: the board's encoder or potentiometer, or you, typing it in.",
    ),
    click.option(
        "--timer-us",
        type=click.FloatRange(0.05, 20),
        default=0.5,
        show_default=True,
        help="The smallest step of the pulse that the board can make.",
    ),
    click.option(
        "--wiring",
        default="rp2",
        show_default=True,
        help="How a real board is wired: its file in firmware_port/boards.",
    ),
    click.option(
        "--firmware",
        type=SOURCE,
        help="MicroPython's ELF file for the emulated board.",
    ),
    click.option("--seed", type=click.IntRange(0), default=0, help="Of emulated servos. [0]"),
    click.option(
        "--fault",
        "faults",
        multiple=True,
        metavar="SERVO=FAULT",
        help="Rehearse with a faulty emulated servo, such as 3=loose-horn. Can be repeated.",
    ),
    result_option,
)  # fmt: skip


def bench_options(*plan_keys: str) -> Callable[[AnyFunction], AnyFunction]:
    """The shared options and those of the plan; the command gets one BenchOptions.

    A command with a plan measures for long, and offers a live page.
    """

    def decorate(command: AnyFunction) -> AnyFunction:
        @wraps(command)
        def with_options(
            servos: tuple[int, ...], faults: tuple[str, ...], reader: str, **given: Any
        ) -> Any:
            settings = {key: given.pop(key) for key in plan_keys}
            shared = {key: given.pop(key) for key in SHARED_KEYS}
            options = BenchOptions(
                servos=tuple(dict.fromkeys(servos)) or tuple(range(1, VANES + 1)),
                faults=dict(fault_of(text) for text in faults),
                by_person=reader == "person",
                page=given.pop("page", False),
                settings={key: value for key, value in settings.items() if value is not None},
                **shared,
            )
            return command(options, **given)

        page = (PAGE,) if plan_keys else ()
        for option in reversed((*(PLAN_OPTIONS[key] for key in plan_keys), *page, *SHARED)):
            with_options = option(with_options)
        return log_book_options(with_options)

    return decorate


SHARED_KEYS = (
    "board",
    "vehicle_file",
    "out",
    "anew",
    "timer_us",
    "wiring",
    "firmware",
    "seed",
    "as_json",
    "given_log",
)
