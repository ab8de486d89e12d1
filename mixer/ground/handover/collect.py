"""What lies in some folders: all evidence, found by content, and what is damaged."""

import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import ValidationError

from mixer.ground.evidence.evidence import KEY, Evidence, sha256_of
from mixer.ground.evidence.on_page import NAME, on_page
from mixer.ground.handover.links import WORKING

LARGEST_BYTES = 64_000_000
END = "</html>"


@dataclass
class Found:
    """One result, and the files that carry its evidence."""

    evidence: Evidence
    places: list[Path] = field(default_factory=list)


@dataclass
class Collected:
    """All that was found. `damaged`: a file, and what is wrong with it; `files`: every file by
    its name.
    """

    found: dict[str, Found] = field(default_factory=dict)
    damaged: list[tuple[Path, str]] = field(default_factory=list)
    files: dict[str, list[Path]] = field(default_factory=dict)
    sums: dict[Path, str] = field(default_factory=dict)

    @property
    def results(self) -> list[Found]:
        """The results, the earliest first."""
        return sorted(self.found.values(), key=lambda each: each.evidence.at)

    def of_name(self, name: str) -> list[Path]:
        """Files of that name; it may have folders before it."""
        parts = Path(name).parts
        return [
            path for path in self.files.get(parts[-1], []) if path.parts[-len(parts) :] == parts
        ]

    def holds(self, path: Path, sha256: str) -> bool:
        """Whether a file has that sum."""
        if path not in self.sums:
            self.sums[path] = sha256_of(path)
        return self.sums[path] == sha256

    def unclaimed(self) -> list[tuple[Path, str, str]]:
        """Working files that no result names, whose they are and what to do: an interrupted run,
        or one that lost its result.
        """
        named = {Path(name).name for each in self.found.values() for name in each.evidence.files}
        return [
            (path, *WORKING[path.suffix])
            for name, paths in sorted(self.files.items())
            for path in paths
            if path.suffix in WORKING and name not in named
        ]


def collect(
    folders: Sequence[Path], done: Callable[[float], None] = lambda files: None
) -> Collected:
    """Read what is in the folders and below them; hidden ones are left out.

    done: gets how many files were looked at so far.
    """
    collected = Collected()
    for count, path in enumerate(walk(folders)):
        collected.files.setdefault(path.name, []).append(path)
        done(count)
        if path.suffix.lower() not in (".json", ".html"):
            continue
        if path.stat().st_size > LARGEST_BYTES:
            collected.damaged.append((path, "too large to be a result"))
            continue
        texts, trouble = carried(path)
        if trouble:
            collected.damaged.append((path, trouble))
        for text in texts:
            take(collected, path, text)
    return collected


def walk(folders: Sequence[Path]) -> Iterator[Path]:
    """Every file once, in an order that does not change."""
    seen: set[Path] = set()
    for folder in folders:
        for place, inside, names in os.walk(folder):
            inside[:] = sorted(name for name in inside if not name.startswith("."))
            for name in sorted(names):
                path = Path(place, name)
                if not name.startswith(".") and path.is_file() and path.resolve() not in seen:
                    seen.add(path.resolve())
                    yield path


def carried(path: Path) -> tuple[list[object], str]:
    """The evidence in a file as plain data, and what is wrong with the file."""
    content = path.read_text(encoding="utf-8", errors="replace")
    if path.suffix.lower() == ".html":
        if NAME not in content:
            return [], ""
        whole = content.rstrip().endswith(END)
        return [loaded(text) for text in on_page(content)], "" if whole else "is cut off"
    try:
        data = json.loads(content)
    except ValueError:
        return [], "is no whole JSON: cut off, or not written to its end"
    held = data.get(KEY) if isinstance(data, dict) else None
    return ([] if held is None else held if isinstance(held, list) else [held]), ""


def loaded(text: str) -> object:
    """JSON as data, None where it is none."""
    try:
        return json.loads(text)
    except ValueError:
        return None


def take(collected: Collected, path: Path, data: object) -> None:
    """Count one piece of evidence, once however many files carry it."""
    try:
        evidence = Evidence.model_validate(data)
    except ValidationError:
        collected.damaged.append((path, "carries evidence that cannot be read"))
        return
    if evidence.check != evidence.sum:
        words = "has been changed since it was written: its evidence does not agree with its sum"
        collected.damaged.append((path, words))
        return
    known = collected.found.setdefault(evidence.check, Found(evidence))
    if path not in known.places:
        known.places.append(path)
