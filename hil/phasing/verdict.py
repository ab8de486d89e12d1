"""The whole check: motions, all findings together, and whether it passes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from hil.phasing.checked_vanes import CheckedVanes
from hil.phasing.commanded_vanes import judge_commands
from hil.phasing.flight_computer import AxisFinding, judge_axes
from hil.phasing.motions import AXES, motions
from hil.phasing.seen_vanes import SeenFinding, judge_seen
from hil.phasing.session import Clock, Held, Person, hold_all
from hil.tap.listener import Listener
from mixer.ground.vehicle.vehicle import Vehicle

NOT_LOOKED = (
    "nobody looked at the vanes: whether a servo is reversed or swapped cannot be known from the "
    "line alone, which holds what was commanded"
)


ROUNDS = 3  # at most: what stays doubtful is asked for again


@dataclass(frozen=True)
class Phasing:
    """What was found. eyes: whether somebody was to look at the vanes. checked: what a control
    check before found of them.
    """

    axes: list[AxisFinding]
    commands: list[str]
    vanes: SeenFinding
    eyes: bool
    roll: bool
    checked: CheckedVanes | None = None

    @property
    def faults(self) -> list[str]:
        """Everything that is not right, in sentences; empty where the check passes."""
        found = [axis.words for axis in self.axes if axis.outcome != "right"]
        found += [*self.commands, *self.vanes.words]
        if self.checked is not None:
            found += [f"control check: {fault}" for fault in self.checked.faults]
        if self.eyes and not self.vanes.looked and not found:
            found.append("the vanes' commands were not heard, so what was seen has no measure")
        if not self.axes:
            found.append("no motion was held")
        return found

    @property
    def passed(self) -> bool:
        return not self.faults

    @property
    def doubtful(self) -> bool:
        """Whether the motions are worth making once more, further and more quietly.

        All of them: an axis that answers another's motion is not told by its own.
        """
        vanes = self.vanes.doubtful and not self.commands
        return vanes or any(a.outcome in ("mixed", "too weak to tell") for a in self.axes)

    @property
    def open(self) -> list[str]:
        """What this check does not tell."""
        left = [] if self.eyes else [NOT_LOOKED]
        if self.checked is not None:
            left.append(self.checked.told)
        if not self.roll:
            left.append("roll was left out")
        return left

    def as_dict(self) -> dict[str, object]:
        """For scripts."""
        return {
            "passed": self.passed,
            "faults": self.faults,
            "not_told": self.open,
            "axes": {
                AXES[axis.axis]: {
                    "outcome": axis.outcome,
                    "answers_motion": None if axis.driven_by is None else AXES[axis.driven_by],
                    "against_it": None if axis.driven_by is None else axis.against,
                    "change_nm": [round(float(value), 4) for value in axis.change_nm],
                }
                for axis in self.axes
            },
            "control_check": self.checked
            and {
                "at": self.checked.at,
                "wrong": self.checked.faults,
                "vanes_measured": self.checked.measured,
            },
            "vanes_as_commanded_wrong": self.commands,
            "vanes_as_seen": {
                "looked": self.vanes.looked,
                "wrong": self.vanes.words,
                "answers": self.vanes.answers,
                "answers_that_fit": self.vanes.fits,
            },
        }


def judge(held: Sequence[Held], vehicle: Vehicle, *, eyes: bool, roll: bool) -> Phasing:
    """Judge the flight computer, the node's commands and the servos, each by itself."""
    return Phasing(
        judge_axes(held, vehicle), judge_commands(held, vehicle), judge_seen(held), eyes, roll
    )


def examine(
    listener: Listener,
    clock: Clock,
    person: Person,
    vehicle: Vehicle,
    *,
    eyes: bool = True,
    roll: bool = True,
    checked: CheckedVanes | None = None,
) -> tuple[Phasing, list[Held]]:
    """Every motion both ways, and all once more, up to `ROUNDS` times, while anything is doubtful.

    eyes: somebody looks at the vanes. roll: the flight computer steers it.
    checked: of a control check before.
    """
    held = hold_all(listener, clock, person, motions(roll))
    found = judge(held, vehicle, eyes=eyes, roll=roll)
    for _ in range(ROUNDS - 1):
        if not found.doubtful:
            break
        held += hold_all(listener, clock, person, motions(roll))
        found = judge(held, vehicle, eyes=eyes, roll=roll)
    return replace(found, checked=checked), held
