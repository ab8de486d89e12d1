"""A folder that appears whole or not at all, and is renewed only where nothing in it is foreign.

`SHA256SUMS` in it names every file and its sum, in the form that `sha256sum --check` reads.
"""

import hashlib
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from mixer.ground.inputs.csv_files import InputError
from mixer.ground.inputs.whole_files import umask

SUMS = "SHA256SUMS"


def write_folder(folder: Path, texts: Mapping[str, str]) -> None:
    """Write files by their places in a folder, which is new, empty, or an earlier one of these.

    InputError where the folder holds anything else, OSError where it cannot be written; then
    nothing has changed.
    """
    target = Path(os.path.realpath(folder))
    refuse_foreign(folder, target)
    contents = {place: text.encode() for place, text in texts.items()}
    contents[SUMS] = sums(contents)
    new = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
    old = new.with_name(f"{new.name}.old")
    try:
        for place, content in contents.items():
            file = new / place
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(content)
        new.chmod(0o777 & ~umask())
        if target.exists():
            target.rename(old)
        try:
            new.rename(target)
        except BaseException:
            if old.exists():
                old.rename(target)
            raise
    finally:
        shutil.rmtree(new, ignore_errors=True)
        if target.exists():
            shutil.rmtree(old, ignore_errors=True)


def sums(contents: Mapping[str, bytes]) -> bytes:
    lines = [
        f"{hashlib.sha256(content).hexdigest()}  {place}\n" for place, content in contents.items()
    ]
    return "".join(sorted(lines, key=lambda line: line[66:])).encode()


def refuse_foreign(folder: Path, target: Path) -> None:
    """InputError where the parent is missing, or where there is what no export has written."""
    if not target.parent.is_dir():
        raise InputError(f"{folder}: the folder {target.parent} does not exist")
    if not target.exists():
        return
    if not target.is_dir():
        raise InputError(f"{folder}: is a file; name a folder that is new, or an earlier export")
    known = known_sums(target / SUMS)
    for path in sorted(target.rglob("*")):
        place = path.relative_to(target).as_posix()
        if place == SUMS or (path.is_dir() and not path.is_symlink()):
            continue
        if place not in known:
            raise InputError(
                f"{folder}: holds {place}, which no export has put there; name a new folder, or "
                "take that file out"
            )
        if path.is_symlink() or hashlib.sha256(path.read_bytes()).hexdigest() != known[place]:
            raise InputError(
                f"{folder}: {place} has been changed since it was exported; name a new folder, or "
                "take that file out"
            )


def known_sums(file: Path) -> dict[str, str]:
    """The sums of an earlier export by place; none where there was no export."""
    if not file.is_file():
        return {}
    lines = file.read_text(encoding="utf-8", errors="replace").splitlines()
    return {line[66:]: line[:64] for line in lines}
