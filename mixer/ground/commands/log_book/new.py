"""`fourvane new`: a commented vehicle file to begin with, by few questions or by options."""

import sys
from pathlib import Path
from typing import Any

import click

from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.command_line.path_options import RESULT
from mixer.ground.drawn_vane.file_checks import ideal_thrust_n, thrust_warning
from mixer.ground.drawn_vane.geometry import jet_for
from mixer.ground.evidence.evidence import tables_of
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.section_errors import VehicleError
from mixer.ground.inputs.whole_files import write_whole
from mixer.ground.new_vehicle.answers import ASKED, QUESTIONS, Answers, answer, refuse_name
from mixer.ground.new_vehicle.begun import begun
from mixer.ground.reports.console import output
from mixer.ground.unfinished.to_be_measured import marked_lines
from mixer.ground.vehicle.vehicle import parse_vehicle


def asked(command: Any) -> Any:
    """An option for each question."""
    for key in reversed(ASKED):
        name = f"--{key.replace('_', '-')}"
        metavar = "NUMBERS" if QUESTIONS[key].several else "NUMBER"
        command = click.option(name, key, metavar=metavar, help=f"{QUESTIONS[key].words}.")(command)
    return command


@click.command()
@click.option(
    "--out", metavar="FILE", type=RESULT, default=Path("vehicle.toml"), show_default=True,
    help="The vehicle file to write; one that is there already stays.",
)  # fmt: skip
@click.option("--name", help="What the vehicle is called.")
@asked
@result_option
def new(out: Path, name: str | None, as_json: bool, **given: str | None) -> None:
    """Begin a vehicle file, with comments, by few questions or by options.

    What you do not know yet may be left open. Every value that is still to be measured is marked,
    with what measures it. Vanes are a sketch in proportion to the nozzle's exit, to put your own
    drawing in the place of.

    CAUTION: a value to begin with is a guess, not a measurement. Nothing moves or burns by it.

    Example: fourvane new --name "Our first" --thrust-n 1500 --chamber-pressure-bar 18
    """
    if out.exists():
        raise InputError(f"{out}: is there already, and stays as it is; name another file by --out")
    nobody = as_json or not (sys.stdin.isatty() and sys.stderr.isatty())
    if name is None:
        name = Answers.name if nobody else ask("Name of the vehicle") or Answers.name
    refuse_name(name)
    values = {key: value_of(key, given[key], nobody) for key in ASKED}
    text = begun(Answers(name=name, **values))
    lacking, warnings = lacks(text, out)
    with write_whole(out) as stream:
        stream.write(text)
    marks = [{"line": line, "key": key, "says": says} for line, key, says in marked_lines(text)]
    result: dict[str, Any] = {"vehicle": name, "out": out, "lacks": lacking}
    result |= {"warnings": warnings, "marks": marks}

    def show() -> None:
        for each in marks:
            output.print(f"  line {each['line']:>3}  {each['key']}", soft_wrap=True)
        output.print(
            f"{len(marks)} values are still to be measured; the file says by what.", soft_wrap=True
        )
        for each in lacking + warnings:
            output.print(f"! {each}", soft_wrap=True)
        output.print(f"Vehicle file: {out}", soft_wrap=True)

    following = (
        f"mend in {out} what is told above, then fourvane vanes {out} --out vanes.html"
        if lacking or warnings
        else f"fourvane vanes {out} --out vanes.html: what such vanes give, before anything is cut"
    )
    emit(result, as_json, show, following)


def ask(words: str) -> str:
    return click.prompt(f"{words} (Enter: not known)", default="", show_default=False, err=True)


def value_of(key: str, given: str | None, nobody: bool) -> Any:
    """The answer to a question: by its option, or at the terminal until it can be taken."""
    if given is not None or nobody:
        return answer(key, given or "")
    while True:
        try:
            return answer(key, ask(QUESTIONS[key].words))
        except InputError as error:
            click.echo(str(error), err=True)


def lacks(text: str, out: Path) -> tuple[list[str], list[str]]:
    """What keeps the file from being read, or flight tables from being made of it, and what of
    its numbers cannot go together, in words; nothing where it is whole enough.
    """
    try:
        vehicle = parse_vehicle(text, str(out))
    except VehicleError as error:
        return [str(problem) for problem in error.problems], []
    refused = tables_of(vehicle).refused
    lacking = [f"no flight tables can be made of it: {refused}"] if refused else []
    engine, geometry = vehicle.engine, vehicle.vanes.geometry
    assert geometry is not None  # a file that is begun has the sketch of one
    ideal_n = ideal_thrust_n(engine, jet_for(geometry, engine))
    warning = thrust_warning(engine.thrust_n, ideal_n)
    return lacking, [] if warning is None else [warning]
