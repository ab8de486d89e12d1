"""A fault as a person writes it on a command line: `jam,vane=3,time_s=8,value=15`."""

from dataclasses import fields
from typing import Any, get_args

from hil.faults.faults import BUILT_IN, Fault, Kind
from mixer.ground.inputs.csv_files import InputError

KINDS: tuple[Kind, ...] = get_args(Kind)
OF_ONE_VANE = ("jam", "jam-in-place", "lost-vane", "slow-servo", "swapped-servos", "reversed-servo")
WHOLE = ("swapped-servos", "late-cycles")  # whose value counts something
# What `value` may be for each kind that has one: least, most.
VALUES: dict[str, tuple[float, float]] = {
    "jam": (-45.0, 45.0),
    "slow-servo": (0.01, 1.0),
    "swapped-servos": (1.0, 4.0),
    "wear-table": (0.0, 5.0),
    "pressure": (0.0, 20.0),
    "pressure-intermittent": (0.1, 1000.0),
    "pressure-noise": (0.0, 1.0),
    "pressure-bias": (-1.0, 1.0),
    "pressure-slow": (0.001, 10.0),
    "link-damage": (0.0, 1.0),
    "board-reset": (0.0, 60.0),
    "late-cycles": (1.0, 100.0),
}


class FaultError(InputError):
    """A fault that cannot be; the message says what would be right."""


def parse_fault(text: str) -> Fault:
    """The fault that a text like `jam,vane=3,time_s=8,value=15` names."""
    kind, *settings = [part.strip() for part in text.split(",")]
    if kind not in KINDS:
        raise FaultError(f"fault {text!r}: no such kind as {kind!r}; there are {', '.join(KINDS)}")
    names = [field.name for field in fields(Fault) if field.name != "kind"]
    given: dict[str, Any] = {}
    for setting in settings:
        name, equals, number = setting.partition("=")
        if not equals or name not in names:
            raise FaultError(f"fault {text!r}: {setting!r}; needs {'=, '.join(names)}=")
        try:
            given[name] = float(number)
        except ValueError:
            raise FaultError(f"fault {text!r}: {name} = {number!r} is not a number") from None
    if "vane" in given:
        if not given["vane"].is_integer():
            raise FaultError(f"fault {text!r}: vane = {given['vane']:g} is not a whole number")
        given["vane"] = int(given["vane"])
    return checked(Fault(KINDS[KINDS.index(kind)], **given), text)


def checked(fault: Fault, text: str) -> Fault:
    """The fault itself where it makes sense."""
    if fault.kind in OF_ONE_VANE and not 1 <= fault.vane <= 4:
        raise FaultError(f"fault {text!r}: vane = {fault.vane}; must be 1 to 4")
    if not 0.0 <= fault.time_s < float("inf") or not fault.lasts_s > 0.0:
        raise FaultError(f"fault {text!r}: time_s must be 0 or more, lasts_s more than 0")
    if fault.kind in VALUES:
        low, high = VALUES[fault.kind]
        if not low <= fault.value <= high:
            raise FaultError(
                f"fault {text!r}: value = {fault.value:g}; must be {low:g} to {high:g}"
            )
    if fault.kind in WHOLE and not float(fault.value).is_integer():
        raise FaultError(f"fault {text!r}: value = {fault.value:g}; must be a whole number")
    if fault.kind == "swapped-servos" and fault.value == fault.vane:
        raise FaultError(f"fault {text!r}: a servo cannot be swapped with itself")
    return fault


def fault_text(fault: Fault) -> str:
    """The text that `parse_fault` reads back into the same fault."""
    parts = [fault.kind]
    if fault.vane:
        parts.append(f"vane={fault.vane}")
    if fault.kind not in BUILT_IN:
        parts.append(f"time_s={fault.time_s:g}")
    if fault.lasts_s != float("inf"):
        parts.append(f"lasts_s={fault.lasts_s:g}")
    if fault.kind in VALUES:
        parts.append(f"value={fault.value:g}")
    return ",".join(parts)
