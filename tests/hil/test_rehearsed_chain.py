"""The chain made by the commands themselves, on boards that need no hardware.

Of a module that was rehearsed from end to end, nothing is open but that it was a rehearsal.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from hil.commands.bench import bench
from hil.commands.board import board
from hil.commands.campaign import campaign as campaign_command
from hil.commands.failures import failures
from hil.commands.phasing import phasing
from hil.commands.stand import stand
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.commands.check import check
from mixer.ground.commands.erosion import erosion
from mixer.ground.commands.export import export
from mixer.ground.commands.identify import identify
from mixer.ground.commands.log_book.handover import handover
from mixer.ground.commands.servo import servo
from mixer.ground.commands.vanes import vanes
from mixer.ground.demo import scenario

COMMANDS = {
    "bench": bench, "board": board, "campaign": campaign_command, "failures": failures,
    "check": check, "erosion": erosion, "export": export, "identify": identify,
    "handover": handover, "phasing": phasing, "servo": servo,
    "stand": stand, "vanes": vanes,
}  # fmt: skip


class Module:
    """A folder in which commands are given."""

    def __init__(self, folder: Path):
        self.folder = folder

    def run(self, *call: str, status: int = 0) -> dict[str, Any]:
        """What a command prints as JSON; names in curly brackets stand in the folder."""
        named = [word.replace("{", f"{self.folder}/").replace("}", "") for word in call]
        group = type(fourvane)("fourvane", commands=COMMANDS)
        done = CliRunner().invoke(group, [*named, "--json"])
        assert done.exit_code == status, (call, done.output, done.exception)
        return json.loads(done.stdout)


@pytest.fixture(scope="session")
def module(campaign: None, size: str, tmp_path_factory: pytest.TempPathFactory) -> Module:
    """Everything from the drawing to the emulated board."""
    made = Module(tmp_path_factory.mktemp("module"))
    text = scenario.vehicle_toml()
    (made.folder / "drawn.toml").write_text(text[: text.index("[uncertainty]")], encoding="utf-8")
    made.run("vanes", "{drawn.toml}", "--out", "{vanes.html}")
    made.run("erosion", "form", "{drawn.toml}", "--rehearse", "--out", "{inspection.csv}")
    made.run("erosion", "fit", "{inspection.csv}", "--vehicle", "{drawn.toml}",
             "--out", "{worn.toml}", "--per-vane")  # fmt: skip
    made.run("identify", "--plan", "--vehicle", "{worn.toml}", "--out", "{programme.csv}")
    play = ("stand", "play", "{programme.csv}", "--vehicle", "{worn.toml}", "--out-dir", "{stand}")
    made.run(*play)
    made.run(*play, "--hot", "--emulated-log", "{log.csv}")
    made.run("stand", "merge", "{log.csv}", "{stand/hot-1.record}", "--vehicle", "{worn.toml}",
             "--out", "{test.csv}")  # fmt: skip
    made.run("identify", "{test.csv}", "--vehicle", "{worn.toml}", "--out", "{tested.toml}")
    bench_at = ("--vehicle", "{tested.toml}", "--out-dir", "{bench}", "--board")
    made.run("bench", "wiggle", *bench_at, "none")
    short = [
        "--positions",
        "15",
        "--passes",
        "2",
        "--repeats",
        "2",
        "--blocks",
        "3",
        "--cycles",
        "3",
    ]
    made.run("bench", "all", *bench_at, "none", *([] if size == "long" else short))
    made.run("servo", "adopt", "{bench}", "--vehicle", "{tested.toml}", "--rehearsal",
             "--out", "{measured.toml}")  # fmt: skip
    made.run("check", "{measured.toml}", "--examples", "5", "--report", "{check.html}")
    if size == "long":
        made.run("failures", "{measured.toml}", "--seeds", "1", "--report", "{failures.html}")
    flights = "20" if size == "long" else "2"
    made.run("campaign", "{measured.toml}", "--flights", flights, "--out", "{campaign}",
             "--report", "{campaign.html}")  # fmt: skip
    made.run("board", "check", "{measured.toml}", "--board", "none",
             "--out", "{control-check.json}", "--report", "{control-check.html}")  # fmt: skip
    made.run("phasing", "{measured.toml}", "--rehearse", "--checked", "{control-check.json}",
             "--out-dir", "{phasing}")  # fmt: skip
    made.run("export", "{measured.toml}", "--out", "{fourvane-c}")
    made.run("board", "verify", "--board", "emulated", "--cycles", "240", "--seeds", "1",
             "--report", "{verify.html}", "{measured.toml}")  # fmt: skip
    return made


def test_of_a_rehearsed_module_only_the_rehearsals_are_open(module: Module, size: str) -> None:
    told = module.run(
        "handover", "{measured.toml}", "--from", "{}", "--out", "{handover.html}", status=1
    )
    found = {(each["sort"], each["about"]) for each in told["open"]}
    rehearsed = {
        "inspection of burnt vanes", "programme played cold", "programme played hot",
        "stand's log on one clock", "static test", "wiggle check", "servo bench", "servos adopted",
        "bytes on the board", "control check", "phasing check",
    }  # fmt: skip
    # 312 flights are flown at full size only; without them that is said, too.
    unflown = set() if size == "long" else {("missing", "failures")}
    assert found == {("rehearsal", name) for name in rehearsed} | unflown


def test_every_page_and_folder_carries_evidence(module: Module) -> None:
    told = module.run(
        "handover", "{measured.toml}", "--from", "{}", "--out", "{handover.html}", status=1
    )
    named = {file for link in told["links"] for file in link["files"]}
    pages = {str(path) for path in module.folder.rglob("*.html")}
    assert pages - named <= {str(module.folder / "handover.html")}
    assert str(module.folder / "fourvane-c" / "evidence.json") in named
