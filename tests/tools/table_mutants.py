"""Flight tables with words changed under a right CRC: none may do harm.

    python -m tests.tools.table_mutants                       # 10^6 mutants, some minutes
    python -m tests.tools.table_mutants --mutants 20000 --seed 5

Mutants of unlike vehicles' tables fly in the exported C core under sanitizers of addresses and of
undefined behaviour, from blocks exactly as long as the tables: those that the check takes are told
far demands, jams, gaps, pressures of any size. Any read out of range, shift or product beyond its
word, cycle without end, pulse outside 400 to 2600 µs or deflection outside travel is told, and the
command ends with 1. `mutate` makes such changes for the core in Python and for boards.
"""

import argparse
import random
import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from mixer.flight import FlightTables
from mixer.flight import layout as at
from tests.support.c_library import C99, HERE, ROOM, exported, needs, random_tables, run
from tests.support.unlike_vehicles import unlike_tables

MUTANTS = 1_000_000
CHECKED = ("-g1", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
RANDOM_VEHICLES = 24


@dataclass
class Flown:
    """What came of it. harmful: the number of the first mutant that did harm, -1 for none."""

    mutants: int
    refused: int
    cycles: int
    harmful: int

    def __str__(self) -> str:
        found = "none did harm" if self.harmful < 0 else f"mutant {self.harmful} did harm"
        return (
            f"{self.mutants} mutants of flight tables, {self.refused} refused, "
            f"{self.cycles} cycles flown by the others: {found}"
        )


def vehicles(every: int = 1) -> list[FlightTables]:
    """Tables of unlike and of random vehicles, at most 64; or every so manieth of them."""
    unlike = [tables for _, tables in unlike_tables(every)]
    return [*unlike, *(random_tables(seed) for seed in range(0, RANDOM_VEHICLES, every))]


def built(folder: Path, *flags: str) -> Path:
    """The program that flies mutants, from a library in a folder."""
    needs("gcc")
    program = folder / "mutants"
    run(
        "gcc", *C99[:1], "-Wall", "-Wno-unused-function", "-Werror", *CHECKED, *flags,
        f"-DFV_WORDS={ROOM}", "-I", folder / "src", HERE / "mutants.c", "-o", program,
    )  # fmt: skip
    return program


def flown(program: Path, tables: list[FlightTables], mutants: int, seed: int) -> Flown:
    """Fly mutants; AssertionError, with what the sanitizers say, where one breaks."""
    data = struct.pack("<i", len(tables)) + b"".join(
        struct.pack("<i", len(one.words)) + bytes(memoryview(one.words)) for one in tables
    )
    done = subprocess.run(
        [program, str(mutants), str(seed)], input=data, capture_output=True, check=False
    )
    assert done.returncode == 0, f"seed {seed}: {done.stderr.decode()}"
    return Flown(*map(int, done.stdout.split()))


def mutate(tables: FlightTables, source: random.Random) -> FlightTables:
    """A copy with one word changed, at times several."""
    mutant = FlightTables(tables.words)
    words = mutant.words
    for _ in range(source.choice((1, 1, 1, 1, 2, 5))):
        end = source.choice((at.BODY, len(words)))
        place = source.randrange(at.COS, end)
        word = source.choice(
            (
                source.getrandbits(32) - (1 << 31), words[place] ^ 1 << source.randrange(31),
                words[place] + source.choice((-1, 1)), source.choice((0, -1, 32, -(1 << 31))),
                -words[place], words[place] * 2, words[source.randrange(len(words))],
            )
        )  # fmt: skip
        words[place] = min(max(word, -(1 << 31)), (1 << 31) - 1)
    return mutant


def word_by_word(tables: FlightTables) -> Iterator[FlightTables]:
    """Copies with one word changed, a little and as far as it goes, each word in turn."""
    last = len(tables.words) - 1
    for place in range(at.COS, len(tables.words)):
        was = tables.words[place]
        for word in {-(1 << 31), (1 << 31) - 1, was - 1, 0, was * 3 // 2, at.BODY, last}:
            mutant = FlightTables(tables.words)
            mutant.words[place] = word
            yield mutant
    # Cells that run past the end: the first leads to a record, the second is not there.
    mutant = FlightTables([*tables.words, tables.words[at.CURVE_OFF]])
    mutant.words[at.FORCE_CELLS] = last + 1
    yield mutant


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--mutants", type=int, default=MUTANTS)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        found = flown(built(exported(Path(name))), vehicles(), asked.mutants, asked.seed)
    print(f"{found}; seed {asked.seed}")
    sys.exit(found.harmful >= 0)


if __name__ == "__main__":
    main()
