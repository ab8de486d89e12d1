"""A vehicle file's TOML as plain data, within what TOML promises and a vehicle can need."""

import tomllib
from typing import Any

from mixer.ground.inputs.section_errors import Problem, VehicleError

DEEPEST = 16
# TOML 1.0.0, "Integer": 64 bits are to be accepted; what cannot be held without loss is an error.
LARGEST = (1 << 63) - 1


def toml_data(text: str, name: str) -> dict[str, Any]:
    """The data of a TOML text. VehicleError, naming the file, where it is none or would be no
    vehicle's: numbers without end, lists in lists in lists.
    """
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, OverflowError) as error:
        raise VehicleError(name, [Problem("", None, f"not valid TOML: {error}")]) from error
    except RecursionError:
        raise VehicleError(name, [Problem("", None, "tables or lists nested too deep")]) from None
    except ValueError as error:  # an integer of thousands of digits
        words = f"not valid TOML: a number too long to read ({error})"
        raise VehicleError(name, [Problem("", None, words)]) from error
    waiting: list[tuple[str, Any, int]] = [("", data, 0)]
    while waiting:
        key, value, depth = waiting.pop()
        if depth > DEEPEST:
            raise VehicleError(name, [Problem(key[:60], None, "nested too deep")])
        if isinstance(value, dict):
            prefix = f"{key}." if key else ""
            waiting += [(f"{prefix}{part}", each, depth + 1) for part, each in value.items()]
        elif isinstance(value, list):
            waiting += [(f"{key}[{i}]", each, depth + 1) for i, each in enumerate(value)]
        elif isinstance(value, int) and not -LARGEST - 1 <= value <= LARGEST:
            raise VehicleError(name, [Problem(key, None, "a whole number too large to hold")])
    return data
