"""What goes wrong between computer and board is said in words that tell what to do."""

import os
import re
import shutil
import threading
import tty
from collections.abc import Iterator
from dataclasses import replace

import pytest

from hil.boards.board import Board
from hil.boards.deploy import compile_for, core_form, deploy, install, is_machine_code
from hil.boards.link import BoardFacts, Link
from hil.boards.open_board import open_board
from hil.node.errors import BoardError
from hil.node.patience import VARIABLE

PICO = BoardFacts("Invented Pico", "MicroPython v1.25.0", (6, 3), "armv6m", 32, True)


@pytest.fixture
def bare_line() -> Iterator[tuple[int, str]]:
    """A pseudo-terminal with nobody at its other end; that end and the port's name."""
    far, near = os.openpty()
    tty.setraw(near)
    yield far, os.ttyname(near)
    os.close(far)
    os.close(near)


def test_a_port_that_does_not_exist() -> None:
    with pytest.raises(BoardError, match=r"/dev/ttyNONE7: no such port.*ttyACM0"):
        Link("/dev/ttyNONE7")


def test_a_url_that_pyserial_does_not_know() -> None:
    with pytest.raises(BoardError, match="not a port or pyserial URL"):
        Link("carrier-pigeon://loft")


def test_a_port_that_another_program_has_open(board: Board) -> None:
    with Link(board.port), pytest.raises(BoardError, match="busy; another program"):
        Link(board.port)


def test_a_silent_board(bare_line: tuple[int, str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "0.1")
    with pytest.raises(BoardError, match="silent; is it powered"):
        Link(bare_line[1], timeout_s=1)


def test_something_that_is_not_micropython(
    bare_line: tuple[int, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, "0.1")
    far, port = bare_line
    done = threading.Event()

    def chatter() -> None:
        while not done.wait(0.05):
            os.write(far, b"login: ")

    thread = threading.Thread(target=chatter)
    thread.start()
    try:
        with pytest.raises(BoardError, match=r"not MicroPython's prompt; it said .*login"):
            Link(port, timeout_s=1)
    finally:
        done.set()
        thread.join()


@pytest.mark.parametrize("version", [(5, 0), (7, 0)])
def test_a_board_that_loads_another_mpy_version(version: tuple[int, int]) -> None:
    facts = BoardFacts("Invented board", "MicroPython v1.11", version, "armv6m", 32, True)
    with pytest.raises(BoardError, match=rf"loads \.mpy version {version[0]}\.0.*writes 6\.3"):
        compile_for(facts)


def test_an_exception_on_the_board_is_told_with_its_traceback(board: Board) -> None:
    with Link(board.port) as link, pytest.raises(BoardError, match="ZeroDivisionError"):
        link.execute("1 / 0")


def test_a_board_whose_storage_is_full_keeps_no_half_file(unix_board: Board) -> None:
    with Link(unix_board.port) as link:
        link.execute(_SMALL_STORAGE)
        facts = link.facts()
        assert facts.file_system
        with pytest.raises(BoardError, match="storage is full"):
            deploy(link, facts, compile_for(facts))
        assert not [name for name in _tree(link, ".") if name.endswith(".new")]


def test_a_cable_pulled_half_way_is_said_and_the_next_run_works(quick_board_name: str) -> None:
    with open_board(quick_board_name) as board, Link(board.port) as link:
        facts = link.facts()
        files = compile_for(facts)

        def pull(share: float) -> None:
            if share > 0.5:
                board.stop()

        with pytest.raises(BoardError, match=r"went away|stopped answering"):
            deploy(link, facts, files, pull)
    with open_board(quick_board_name) as board, Link(board.port) as link:
        facts = link.facts()
        deploy(link, facts, files)
        link.execute("import firmware_port.start")


def test_a_transfer_broken_off_leaves_each_file_whole_and_the_next_completes_it(
    unix_board: Board,
) -> None:
    class PulledError(Exception):
        pass

    with Link(unix_board.port) as link:
        facts = link.facts()
        files = compile_for(facts)

        def pull(share: float) -> None:
            if share > 0.5:
                raise PulledError

        with pytest.raises(PulledError):
            deploy(link, facts, files, pull)
        for path in _tree(link, "lib"):
            content = link.evaluate(f"open({path!r}, 'rb').read()")
            assert content == files[path.removeprefix("lib/")]
        deploy(link, facts, files)
        assert len(_tree(link, "lib")) == len(files)


def test_a_deployment_can_be_repeated_on_the_same_board(quick_board_name: str) -> None:
    with open_board(quick_board_name) as board, Link(board.port) as link:
        facts = link.facts()
        for _ in range(2):
            deploy(link, facts, compile_for(facts))
            link.execute("import firmware_port.start")


def test_an_installed_board_starts_by_itself_after_a_reset(unix_board: Board) -> None:
    with Link(unix_board.port) as link:
        facts = link.facts()
        deploy(link, facts, compile_for(facts))
        install(link, facts, "rp2", b"tables")
        files = {name for name in link.evaluate("__import__('os').listdir()") if name[0] != "."}
        assert files == {"lib", "main.py", "tables.bin"}
        assert "fly(rp2)" in link.evaluate("open('main.py').read()")


def test_a_board_without_storage_cannot_be_installed_on() -> None:
    class NoLink:
        port = "/dev/ttyX"

    facts = BoardFacts("Invented", "1.25", (6, 3), "armv7m", 32, False)
    with pytest.raises(BoardError, match="no storage"):
        install(NoLink(), facts, "rp2", b"")  # type: ignore[arg-type]


def test_the_cycle_becomes_machine_code_on_32_bit_boards_only() -> None:
    small = compile_for(PICO)
    plain = compile_for(BoardFacts("64 bits", "1.28", (6, 3), "x64", 64, True))
    older = compile_for(BoardFacts("Older", "1.22", (6, 2), "armv6m", 32, True))
    always = {
        "mixer/flight/unfit.mpy",
        "firmware_port/frames.mpy",
        "firmware_port/registers.mpy",
    }
    fast = {path for path in small if is_machine_code(small[path])}
    assert fast == always | {"firmware_port/record_cycle.mpy"}  # which holds the cycle too
    in_memory = compile_for(replace(PICO, file_system=False))
    fast = {path for path in in_memory if is_machine_code(in_memory[path])}
    assert fast == always | {"mixer/flight/cycle.mpy"}
    assert not any(map(is_machine_code, plain.values()))
    assert older == plain
    left_out = {path.removesuffix(".mpy") for path in plain.keys() - small.keys()}
    assert {"mixer/flight/allocate", "mixer/flight/zonotope"} <= left_out
    assert not left_out & {"mixer/flight/commands", "mixer/flight/interpolate"}


@pytest.mark.parametrize(
    ("architecture", "form"),
    [
        ("armv6m", "machine code for armv6m, .* by arm-none-eabi-gcc"),
        ("armv7emsp", "machine code for armv7emsp, .* by arm-none-eabi-gcc"),
        ("xtensawin", "bytecode, .* no compiler for xtensawin is known here"),
        (None, "bytecode, .* this board loads no machine code of ours"),
    ],
)
def test_the_form_of_the_core_is_said_with_its_reason(architecture: str | None, form: str) -> None:
    if "gcc" in form and not shutil.which("arm-none-eabi-gcc"):
        pytest.skip("arm-none-eabi-gcc is not here")
    facts = BoardFacts("Invented", "MicroPython v1.25.0", (6, 3), architecture, 32, True)
    assert re.match(form, core_form(facts, compile_for(facts)))


def test_without_a_compiler_all_is_bytecode_and_what_that_costs_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("hil.boards.core_image.COMPILERS", ())
    files = compile_for(PICO)
    assert "mixer/flight/allocate.mpy" in files
    assert not is_machine_code(files["mixer/flight/cycle.mpy"])
    assert re.match(
        r"bytecode, about \d+ times the instructions .*, and heap .* install arm-none-eabi-gcc, or",
        core_form(PICO, files),
    )


def _tree(link: Link, folder: str) -> list[str]:
    """All files below a folder of the board."""
    return link.execute(_WALK.format(folder=folder)).split()


_WALK = """
import os
def walk(folder):
    for entry in os.ilistdir(folder):
        path = folder + '/' + entry[0]
        if entry[1] & 0x4000:
            walk(path)
        else:
            print(path)
walk({folder!r})
"""
_SMALL_STORAGE = """
import os, vfs
class Memory:
    def __init__(self):
        self.data = bytearray(16 * 512)
    def readblocks(self, n, buf, off=0):
        buf[:] = self.data[n * 512 + off:n * 512 + off + len(buf)]
    def writeblocks(self, n, buf, off=0):
        self.data[n * 512 + off:n * 512 + off + len(buf)] = buf
    def ioctl(self, op, arg):
        return 16 if op == 4 else 512 if op == 5 else 0
memory = Memory()
vfs.VfsLfs2.mkfs(memory)
vfs.mount(vfs.VfsLfs2(memory), '/small')
os.chdir('/small')
"""
