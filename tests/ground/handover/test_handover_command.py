"""The command: what it prints, what its page holds, and its exit status."""

import json
from pathlib import Path

from click.testing import CliRunner, Result

from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.commands.log_book.handover import handover
from mixer.ground.evidence.evidence import KEY, Evidence
from mixer.ground.evidence.on_page import on_page
from tests.support.made_chain import Chain


def run(chain: Chain, *more: str) -> Result:
    group = type(fourvane)("fourvane", commands={"handover": handover})
    call = ["handover", str(chain.file), "--from", str(chain.folder)]
    return CliRunner().invoke(group, [*call, "--out", str(chain.folder / "out.html"), *more])


def test_with_nothing_open_the_exit_status_is_0_and_nothing_is_said_to_be_safe(
    whole_chain: Chain, tmp_path: Path
) -> None:
    chain = whole_chain.copied(tmp_path / "a")
    done = run(chain)
    assert done.exit_code == 0, done.output
    assert "NOTHING OPEN" in done.output
    page = (chain.folder / "out.html").read_text(encoding="utf-8")
    for text in (done.output.lower(), page.split("</head>")[1].lower()):
        assert "fit to fly" not in text
        assert "safe" not in text.replace("safety officer", "")
    assert "cannot vouch for" in page
    assert page.index("Signatures") > page.index("Where it was found")
    (evidence,) = map(Evidence.model_validate_json, on_page(page))
    assert (evidence.kind, evidence.check) == ("handover", evidence.sum)


def test_what_is_open_comes_first_and_ends_with_1(whole_chain: Chain, tmp_path: Path) -> None:
    chain = whole_chain.copied(tmp_path / "b")
    (chain.folder / "check.html").unlink()
    done = run(chain)
    assert done.exit_code == 1
    assert done.stdout.splitlines()[0].startswith("! missing: promises")
    assert "fourvane check" in done.stdout.splitlines()[1]
    page = (chain.folder / "out.html").read_text(encoding="utf-8")
    assert page.index("What is open") < page.index("The chain")


def test_json_tells_each_link_and_what_is_open(whole_chain: Chain, tmp_path: Path) -> None:
    chain = whole_chain.copied(tmp_path / "c")
    (chain.folder / "failures.html").unlink()
    done = run(chain, "--json")
    told = json.loads(done.stdout)
    assert done.exit_code == 1
    assert told["complete"] is False
    assert [(each["sort"], each["about"]) for each in told["open"]] == [("missing", "failures")]
    states = {each["link"]: each["state"] for each in told["links"]}
    assert (states["failures"], states["campaign"]) == ("missing", "holds")
    assert told[KEY]["tables"] == told["tables"]
