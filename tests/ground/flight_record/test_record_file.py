"""A record on disk: entries come back as they were put, torn files are read up to there, and one
flipped bit is found and named.
"""

import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixer.ground.flight_record import record_layout as r
from mixer.ground.flight_record.entries import (
    Answered,
    Counts,
    Cycle,
    Entry,
    Reading,
    State,
    Told,
    Words,
    read_entry,
    words_of,
)
from mixer.ground.flight_record.record_file import (
    STRIDE,
    RecordError,
    RecordWriter,
    header_bytes,
    read_record,
)

HEADER = {"source": "node", "tables_crc": 7, "board": "invented"}
WORD = st.integers(-(1 << 30), (1 << 30) - 1)
BYTE = st.integers(0, 255)
CYCLES = st.builds(
    Cycle,
    st.integers(0, 16_000_000),
    st.integers(0, 0xFFFFFF),
    st.none() | st.tuples(WORD, WORD, WORD),
    BYTE,
    st.booleans(),
    st.booleans(),
)
ENTRIES = st.one_of(
    CYCLES,
    st.builds(Reading, st.integers(0, 3), st.integers(-(1 << 25), (1 << 25) - 1)),
    st.builds(State, st.integers(0, 3)),
    st.builds(Told, st.integers(1, 11), WORD, WORD),
    st.builds(Words, st.integers(0, 83), st.lists(WORD, max_size=42).map(tuple)),
    st.builds(Counts, st.integers(0, 23), st.lists(WORD, max_size=24).map(tuple)),
    st.builds(Answered, BYTE, *[st.tuples(*[WORD] * n) for n in (4, 4, 3)]),
)


@given(ENTRIES)
def test_an_entry_comes_back_from_its_words_and_fits_32_bits(entry: Entry) -> None:
    words = words_of(entry)
    assert all(-(1 << 31) <= word < 1 << 31 for word in words)
    assert words[0] != 0
    assert read_entry([*words, 0, 0]) == (entry, len(words))


@pytest.mark.parametrize("bits", [r.MOMENT_BITS, r.ROLL_BITS])
def test_a_usual_cycle_takes_16_bytes_and_one_beyond_its_bits_takes_more(bits: int) -> None:
    most = (1 << bits - 1) - 1
    axis = 2 if bits == r.ROLL_BITS else 0
    for value, short in ((most, True), (-most - 1, True), (most + 1, False), (-most - 2, False)):
        moment = [0, 0, 0]
        moment[axis] = value
        words = words_of(Cycle(5000, 2_000_000, (moment[0], moment[1], moment[2])))
        assert (len(words) == 4) == short


def some_cycles(count: int, seed: int) -> list[Entry]:
    draw = random.Random(seed)
    return [
        Cycle(
            draw.randrange(20_000),
            draw.randrange(1 << 23),
            (draw.randrange(-9999, 9999), draw.randrange(-9999, 9999), draw.randrange(-99, 99)),
            draw.randrange(256),
        )
        for _ in range(count)
    ]


@pytest.fixture
def written(tmp_path: Path) -> tuple[Path, list[Entry]]:
    entries = some_cycles(60, 1)
    path = tmp_path / "flight.record"
    with RecordWriter(path, HEADER) as writer:
        for entry in entries:
            writer.put(entry)
    return path, entries


def test_a_record_reads_back_whole(written: tuple[Path, list[Entry]]) -> None:
    path, entries = written
    record = read_record(path)
    assert record.entries == entries
    assert record.header == HEADER
    assert [block.cycles_before for block in record.blocks] == [0, 14, 28, 42, 56]
    assert record.torn_bytes == 0


def test_a_record_torn_at_any_byte_is_read_up_to_there(
    written: tuple[Path, list[Entry]], full_size: bool
) -> None:
    path, entries = written
    content = path.read_bytes()
    start = len(header_bytes(HEADER))
    for size in range(0, len(content), 1 if full_size else 7):
        path.write_bytes(content[:size])
        if size < start:
            with pytest.raises(RecordError, match=r"cut off|no flight record"):
                read_record(path)
            continue
        record = read_record(path)
        whole, torn = divmod(size - start, STRIDE)
        assert (len(record.blocks), record.torn_bytes) == (whole, torn)
        assert record.entries == entries[: 14 * whole]
        more = min(max(torn - 12, 0) // 16, 14)
        assert record.unchecked == entries[14 * whole :][:more]


def test_any_flipped_bit_is_found_and_named(written: tuple[Path, list[Entry]], size: str) -> None:
    path, _ = written
    content = path.read_bytes()
    first = 8 * len(header_bytes(HEADER))
    count = {"laptop": 60, "ci": 400}.get(size, 8 * len(content) - first)
    seed = 2
    print(f"seed {seed}")
    for bit in random.Random(seed).sample(range(first, 8 * len(content)), count):
        flipped = bytearray(content)
        flipped[bit >> 3] ^= 1 << (bit & 7)
        path.write_bytes(flipped)
        with pytest.raises(RecordError, match=rf"byte {bit >> 3}: bit {bit & 7} has flipped"):
            read_record(path)


def test_what_is_no_record_is_refused_by_name(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("nothing of the kind")
    with pytest.raises(RecordError, match=r"notes\.txt: no flight record"):
        read_record(path)
