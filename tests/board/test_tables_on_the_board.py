"""Which flight tables a board keeps, told beside whether it computes the same."""

import json
from pathlib import Path

from click.testing import CliRunner

from hil.boards.board import Board
from hil.commands.board import board as board_group
from mixer.ground.evidence.evidence import KEY
from tests.support.vehicles import vehicle_file


def test_a_board_that_keeps_an_older_vehicles_tables_is_found_out(
    unix_board: Board, tmp_path: Path
) -> None:
    """A board on a port of its own, as a real one is."""

    def run(*call: str) -> dict:
        done = CliRunner().invoke(board_group, [*call, "--json"])
        assert done.exit_code == 0, done.output
        return json.loads(done.stdout)[KEY]

    port = ["--board", unix_board.port]
    older = vehicle_file(tmp_path, servos={"slew_deg_s": 200.0})
    there = run("deploy", *port, str(older))
    assert there["on_board"] == there["tables"]["bytes_crc32"]
    newer = vehicle_file(tmp_path)
    page = tmp_path / "verify.html"
    quick = ["--cycles", "240", "--seeds", "1", "--report", str(page)]
    found = run("verify", *port, *quick, str(newer))
    assert (found["verdict"], found["rehearsal"]) == ("open", False)
    assert found["on_board"] == there["on_board"] != found["tables"]["bytes_crc32"]
    assert "keeps other flight tables" in found["says"]
    assert there["on_board"] in page.read_text(encoding="utf-8")
