"""What is wrong with a vehicle file, in words a person can act on."""

import difflib
import json
import types
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt, MaxLen
from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from mixer.ground.inputs.csv_files import InputError, shortened
from mixer.ground.inputs.quantities import Numbers, limits_in_words, unit_of
from mixer.ground.unfinished.to_be_measured import how_to_get

Place = tuple[int | str, ...]
LIMITS = {"gt": Gt, "ge": Ge, "lt": Lt, "le": Le}


@dataclass(frozen=True)
class Problem:
    """One thing wrong: the dotted key (empty for the whole file), the value given as text
    (None where there is none), and what is allowed.
    """

    key: str
    value: str | None
    allowed: str

    def __str__(self) -> str:
        given = self.key if self.value is None else f"{self.key} = {self.value}"
        return f"{given}: {self.allowed}" if given else self.allowed


class VehicleError(InputError):
    """Everything wrong with one vehicle file, a line for each problem."""

    def __init__(self, file: str, problems: Sequence[Problem]) -> None:
        self.file, self.problems = file, list(problems)
        super().__init__("\n".join(f"{file}: {problem}" for problem in problems))

    def __reduce__(self) -> tuple[type["VehicleError"], tuple[str, list[Problem]]]:
        """What brings it here from another process."""
        return VehicleError, (self.file, self.problems)


def problems_of(error: ValidationError, model: type[BaseModel]) -> list[Problem]:
    """The problems that a failed reading of `model` found, in the order they were met.

    A key that is missing because it was misspelt is told of once, at the misspelt one.
    """
    details = error.errors(include_url=False)
    misspelt = [detail for detail in details if detail["type"] == "extra_forbidden"]
    meant = {(*detail["loc"][:-1], close_key(model, detail["loc"])) for detail in misspelt}
    return [
        problem(model, detail)
        for detail in details
        if detail["type"] != "missing" or detail["loc"] not in meant
    ]


def problem(model: type[BaseModel], detail: ErrorDetails) -> Problem:
    """One of pydantic's findings in our words."""
    place, kind, context = detail["loc"], detail["type"], detail.get("ctx", {})
    key = ".".join(str(part) for part in place)
    if kind == "missing_key":
        place = (*place, context["key"])
        key = f"{key}.{context['key']}"
    if kind in ("missing", "missing_key"):
        words = f"missing; must be {allowed_at(model, place)}{how_to_get(key)}"
        return Problem(key, None, words)
    if kind == "extra_forbidden":
        close = close_key(model, place)
        known = f"known here: {', '.join(key_names(model_at(model, place[:-1])))}"
        return Problem(key, None, f"unknown key; {f'did you mean {close}?' if close else known}")
    if kind == "refused":
        unit = in_unit(place) if context["with_unit"] else ""
        value = None if context["given"] is None else shown(context["given"])
        return Problem(key + context["where"], value, context["message"] + unit)
    if kind == "value_error":
        return Problem(key, shown(detail["input"]), str(context["error"]))
    return Problem(key, shown(detail["input"]), f"must be {allowed_at(model, place)}")


def shown(value: object) -> str:
    """A value about as it stands in the file, cut to a readable length."""
    if isinstance(value, float):
        return repr(value)
    try:
        return shortened(json.dumps(value, ensure_ascii=False))
    except TypeError:
        return shortened(str(value))


def in_unit(place: Place) -> str:
    unit = unit_of(next((part for part in reversed(place) if isinstance(part, str)), ""))
    return f", in {unit}" if unit else ""


def allowed_at(model: type[BaseModel], place: Place) -> str:
    """What the key at `place` may hold, in words, with its limits and unit."""
    field = field_at(model, place)
    if field is None:
        return "left out"
    if table_model(field.annotation) is not None:
        return "a table"
    words = allowed_in_words(field)
    return words + in_unit(place)


def allowed_in_words(field: FieldInfo) -> str:
    """What a field that is not a table may hold, read off its annotation."""
    metadata = list(field_metadata(field))
    for item in metadata:
        if isinstance(item, Numbers):
            return item.allowed
    found = {
        name: getattr(item, name)
        for item in metadata
        for name, kind in LIMITS.items()
        if isinstance(item, kind)
    }
    limits = limits_in_words(**found)
    kinds = list(bare_types(field.annotation))
    for kind in kinds:
        if get_origin(kind) is Literal:
            return " or ".join(json.dumps(choice) for choice in get_args(kind))
    for kind, words in ((bool, "true or false"), (int, "a whole number"), (float, "a number")):
        if kind in kinds:
            return f"{words} {limits}".rstrip()
    if str in kinds:
        longest = next((i.max_length for i in metadata if isinstance(i, MaxLen)), None)
        return f"text in quotes{f' of 1 to {longest} characters' if longest else ''}"
    return "of another kind"


def field_metadata(field: FieldInfo) -> Iterator[Any]:
    """Everything attached to a field, also to the members of `Annotated[...] | None`."""
    yield from field.metadata
    for member in get_args(field.annotation):
        if get_origin(member) is Annotated:
            for item in member.__metadata__:
                yield from item.metadata if isinstance(item, FieldInfo) else [item]


def bare_types(annotation: Any) -> Iterator[Any]:
    """The types an annotation allows, without None and without what is attached."""
    origin = get_origin(annotation)
    if origin in (Union, types.UnionType):
        for member in get_args(annotation):
            yield from bare_types(member)
    elif origin is Annotated:
        yield from bare_types(get_args(annotation)[0])
    elif annotation is not type(None):
        yield annotation


def table_model(annotation: Any) -> type[BaseModel] | None:
    """The model of a table, or None where the annotation is no table."""
    for kind in bare_types(annotation):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None


def key_names(model: type[BaseModel] | None) -> list[str]:
    """The keys a table may have, as the file spells them."""
    return [field.alias or name for name, field in (model.model_fields if model else {}).items()]


def field_at(model: type[BaseModel], place: Place) -> FieldInfo | None:
    """The field that a place in the file stands for."""
    field = None
    table: type[BaseModel] | None = model
    for part in place:
        if isinstance(part, int) or table is None:
            continue
        names = dict(zip(key_names(table), table.model_fields.values(), strict=True))
        field = names.get(part)
        if field is None:
            return None
        table = table_model(field.annotation)
    return field


def model_at(model: type[BaseModel], place: Place) -> type[BaseModel] | None:
    """The model of the table at a place; `model` itself at the top."""
    field = field_at(model, place)
    return model if not place else field and table_model(field.annotation)


def close_key(model: type[BaseModel], place: Place) -> str | None:
    """The known key that an unknown one at `place` probably stands for."""
    known = key_names(model_at(model, place[:-1]))
    return next(iter(difflib.get_close_matches(str(place[-1]), known, 1)), None)
