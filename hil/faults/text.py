"""A fault as a person writes it on a command line: `jam,vane=3,time_s=8,value=15`."""

from dataclasses import fields
from typing import Any

from hil.faults.faults import EVER, Fault
from hil.faults.kinds import KINDS
from mixer.ground.inputs.csv_files import InputError


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
    return checked(Fault(kind, **given), text)


def checked(fault: Fault, text: str) -> Fault:
    """The fault itself where it makes sense."""
    row = fault.row
    if row.of_one_vane and not 1 <= fault.vane <= 4:
        raise FaultError(f"fault {text!r}: vane = {fault.vane}; must be 1 to 4")
    if not 0.0 <= fault.time_s < EVER or not fault.lasts_s > 0.0:
        raise FaultError(f"fault {text!r}: time_s must be 0 or more, lasts_s more than 0")
    if row.values is not None:
        low, high = row.values
        if not low <= fault.value <= high:
            raise FaultError(
                f"fault {text!r}: value = {fault.value:g}; must be {low:g} to {high:g}"
            )
    if row.whole and not float(fault.value).is_integer():
        raise FaultError(f"fault {text!r}: value = {fault.value:g}; must be a whole number")
    if fault.kind == "swapped-servos" and fault.value == fault.vane:
        raise FaultError(f"fault {text!r}: a servo cannot be swapped with itself")
    return fault


def fault_text(fault: Fault) -> str:
    """The text that `parse_fault` reads back into the same fault."""
    parts = [fault.kind]
    if fault.vane:
        parts.append(f"vane={fault.vane}")
    if not fault.row.built_in:
        parts.append(f"time_s={fault.time_s:g}")
    if fault.lasts_s != EVER:
        parts.append(f"lasts_s={fault.lasts_s:g}")
    if fault.row.values is not None:
        parts.append(f"value={fault.value:g}")
    return ",".join(parts)
