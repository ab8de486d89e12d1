"""Who measured what: operator and serial numbers, asked once and kept in a folder.

One small file, `log-book.json`. What was never stated is not guessed: reports say "not stated".
"""

import json
import sys
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path
from typing import Annotated, Any, Literal

import click
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.csv_files import write_whole
from mixer.ground.inputs.errors import InputError

LOG_BOOK = "log-book.json"
NOT_STATED = "not stated"
Name = Annotated[str, Field(max_length=80, pattern=r"^[^\x00-\x1f\x7f]*$")]


class LogBook(BaseModel):
    """Operator and serial numbers. None: never asked; empty: asked, and left open."""

    model_config = ConfigDict(strict=True, extra="forbid")

    operator: Name | None = None
    board_serial: Name | None = None
    servo_serials: dict[Literal["1", "2", "3", "4"], Name] = {}

    def servo(self, number: int) -> str | None:
        """The serial number of one servo; None where it was not stated."""
        return self.servo_serials.get(str(number)) or None  # type: ignore[call-overload]

    @property
    def stated(self) -> dict[str, Any]:
        """For results: what is not stated is null."""
        return {
            "operator": self.operator or None,
            "board_serial": self.board_serial or None,
            "servo_serials": {str(n): self.servo(n) for n in range(1, VANES + 1)},
        }

    @property
    def facts(self) -> list[tuple[str, str]]:
        """For the head of a report."""
        serials = [f"{n}: {self.servo(n) or NOT_STATED}" for n in range(1, VANES + 1)]
        told = any(self.servo(n) for n in range(1, VANES + 1))
        return [
            ("Operator", self.operator or NOT_STATED),
            ("Board, serial number", self.board_serial or NOT_STATED),
            ("Servos, serial numbers", ", ".join(serials) if told else NOT_STATED),
        ]


def now() -> str:
    """The time of a record or report, in UTC to the second (ISO 8601)."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def readable(time: str) -> str:
    """'2026-11-28T03:46:13Z' as people write it."""
    return time.replace("T", " ").replace("Z", " UTC")


def read_log_book(folder: Path) -> LogBook:
    """What a folder keeps; an empty log book where it keeps none."""
    path = folder / LOG_BOOK
    if not path.exists():
        return LogBook()
    try:
        return LogBook.model_validate_json(path.read_bytes())
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(map(str, first["loc"])) or "its text"
        raise InputError(
            f"{path}: {place}: {first['msg']}; correct it, or remove the file and state operator "
            "and serial numbers anew"
        ) from error


def serial_of(text: str) -> tuple[str, str]:
    """'3=B7' as a servo and its serial number."""
    number, sign, serial = text.partition("=")
    if not sign or number not in [str(n) for n in range(1, VANES + 1)]:
        raise InputError(f"--servo-serial {text}: must be SERVO=NUMBER, such as 3=B7")
    return number, serial


class GivenLog(BaseModel):
    """What the options of one command say; goes over what the folder keeps."""

    operator: str | None = None
    board_serial: str | None = None
    servo_serials: dict[str, str] = {}

    def kept_in(
        self,
        folder: Path,
        servos: Iterable[int] = (),
        ask: Callable[[str], str] | None = None,
    ) -> LogBook:
        """The folder's log book with what was given, written back where that is new.

        servos: of which serial numbers belong to this command. ask: how to ask for what was never
        stated; None: nobody is there to ask.
        """
        before = read_log_book(folder)
        new = before.model_dump()
        for key in ("operator", "board_serial"):
            if getattr(self, key) is not None:
                new[key] = getattr(self, key)
            elif new[key] is None and ask is not None:
                new[key] = ask(QUESTIONS[key])
        new["servo_serials"] |= self.servo_serials
        for servo in map(str, servos):
            if servo not in new["servo_serials"] and ask is not None:
                new["servo_serials"][servo] = ask(f"Serial number of servo {servo}")
        try:
            book = LogBook.model_validate(new)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            place = " ".join(map(str, first["loc"])).replace("_", " ")
            raise InputError(
                f"{place}: {first['input']!r}: must be at most 80 characters in one line"
            ) from error
        if book != before:
            folder.mkdir(parents=True, exist_ok=True)
            with write_whole(folder / LOG_BOOK) as stream:
                json.dump(book.model_dump(), stream, indent=2, ensure_ascii=False)
                stream.write("\n")
        return book


QUESTIONS = {"operator": "Operator", "board_serial": "Serial number of the board"}


def asker(as_json: bool) -> Callable[[str], str] | None:
    """How to ask whoever sits at the terminal; None where nobody does."""
    if as_json or not (sys.stdin.isatty() and sys.stderr.isatty()):
        return None
    return lambda text: click.prompt(
        f"{text} (Enter: {NOT_STATED})", default="", show_default=False, err=True
    ).strip()


def log_book_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Adds the options; the command gets them as one `GivenLog` named `given_log`."""

    @wraps(command)
    def with_options(
        operator: str | None,
        board_serial: str | None,
        servo_serials: tuple[str, ...],
        **others: Any,
    ) -> Any:
        given = GivenLog(
            operator=operator,
            board_serial=board_serial,
            servo_serials=dict(map(serial_of, servo_serials)),
        )
        return command(given_log=given, **others)

    for option in (
        click.option(
            "--servo-serial", "servo_serials", multiple=True, metavar="SERVO=NUMBER",
            help="Serial number of a servo, such as 3=B7. Can be repeated.",
        ),
        click.option("--board-serial", metavar="NUMBER", help="Serial number of the board."),
        click.option(
            "--operator", metavar="NAME",
            help="Who does this; kept with the serial numbers in log-book.json, for every report.",
        ),
    ):  # fmt: skip
        with_options = option(with_options)
    return with_options
