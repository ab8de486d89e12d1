"""Questions to whoever stands at the bench, asked again until the answer is one."""

from collections.abc import Callable
from typing import Any

import click

from mixer.ground.inputs.csv_files import InputError


class NoAnswerError(InputError):
    """The input ended where an answer was needed."""


def ask(text: str, read: Callable[[str], Any] | None = None) -> Any:
    """The answer to a question on standard error, as `read` makes it of what was typed.

    read: raises click.UsageError, with what would be right, for what is no answer; then the
    question comes again. NoAnswerError at the end of the input; KeyboardInterrupt at Ctrl-C.
    """
    try:
        return click.prompt(text, value_proc=read, err=True)
    except click.Abort as end:
        # Ctrl-C and the end of the input are one to click; what it was stays as the context.
        if isinstance(end.__context__, KeyboardInterrupt):
            raise KeyboardInterrupt from None
        raise NoAnswerError(
            f"the input ended at the question {text!r}; answer it at a terminal, or give the "
            "command all answers, one a line"
        ) from None


def one_of(*answers: str) -> Callable[[str], str]:
    """Reads one of some answers, in small or capital letters."""

    def read(typed: str) -> str:
        answer = typed.strip().lower()
        if answer not in answers:
            raise click.UsageError(f"{typed!r} is no answer here; type one of {', '.join(answers)}")
        return answer

    return read
