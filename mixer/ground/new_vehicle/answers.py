"""What is asked before a vehicle file can be begun: few things, each of which may be left open."""

from dataclasses import dataclass, fields
from typing import Any

from mixer.ground.inputs.errors import InputError

NAME_LONGEST = 100


@dataclass(frozen=True)
class Question:
    """One thing that is asked. least, most: what is allowed; several: two numbers may be given."""

    words: str
    least: float
    most: float
    several: bool = False


@dataclass(frozen=True)
class Answers:
    """What is known of a vehicle from the start; None: not known yet."""

    name: str = "a vehicle without a name"
    thrust_n: float | None = None
    chamber_pressure_bar: float | None = None
    burn_time_s: float | None = None
    throat_diameter_mm: float | None = None
    expansion_ratio: float | None = None
    first_vane_deg: float | None = None
    lever_arm_m: tuple[float, ...] | None = None

    @property
    def exit_radius_mm(self) -> float | None:
        """Of the nozzle, where throat and expansion are known."""
        if self.throat_diameter_mm is None or self.expansion_ratio is None:
            return None
        return 0.5 * self.throat_diameter_mm * self.expansion_ratio**0.5


QUESTIONS = {
    "thrust_n": Question("Thrust of the engine without vanes, N", 1, 1e6),
    "chamber_pressure_bar": Question("Chamber pressure at that thrust, bar", 1, 300),
    "burn_time_s": Question("Longest burn, s", 0.5, 600),
    "throat_diameter_mm": Question("Diameter of the nozzle's throat, mm", 1, 1000),
    "expansion_ratio": Question("Exit area over throat area", 1.1, 100),
    "first_vane_deg": Question("Clocking of vane 1, deg from starboard towards down", 0, 90),
    "lever_arm_m": Question(
        "Vane shafts to centre of gravity, m: full tanks, or full,empty", 0.05, 50, True
    ),
}


def answer(key: str, text: str) -> Any:
    """What somebody typed or gave as an option; None for nothing. InputError where it cannot be."""
    question, text = QUESTIONS[key], text.strip()
    if not text:
        return None
    try:
        numbers = tuple(float(part) for part in text.split(","))
    except ValueError:
        numbers = ()
    most = 2 if question.several else 1
    if not 1 <= len(numbers) <= most or not all(
        question.least <= number <= question.most for number in numbers
    ):
        what = "one number, or two with a comma," if question.several else "a number"
        raise InputError(
            f"{key} = {text}: must be {what} from {question.least:g} to {question.most:g} "
            f"({question.words})"
        )
    return numbers if question.several else sum(numbers)


def refuse_name(name: str) -> None:
    """InputError for a name that no vehicle file may have."""
    if not 1 <= len(name) <= NAME_LONGEST or not name.isprintable():
        raise InputError(f"name = {name!r}: must be 1 to {NAME_LONGEST} characters in one line")


ASKED = tuple(each.name for each in fields(Answers) if each.name in QUESTIONS)
