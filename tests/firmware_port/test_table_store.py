"""Flight tables on a board's storage: whole and valid, or the old ones."""

import os
from binascii import crc32
from pathlib import Path

import pytest

from firmware_port import protocol as p
from firmware_port import table_store
from firmware_port.table_store import MOST_BYTES, TableStore
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
BLOB = TABLES.to_bytes()
OTHER = flight_tables(vehicle(servos={"neutral_us": 1480.0}))


def loaded(path: Path, tables=TABLES) -> NodeLink:
    link = NodeLink(Loopback(store=TableStore(str(path))))
    link.load_tables(tables.to_bytes())
    return link


def received(path: Path, blob: bytes) -> TableStore:
    """A store that has received a whole set and not kept it yet."""
    store = TableStore(str(path))
    crc = crc32(blob)
    assert store.begin(len(blob), crc >> 16, crc & 0xFFFF) == p.TAKEN
    assert store.piece(0, blob, 0, len(blob)) == p.TAKEN
    assert not isinstance(store.check(), int)
    return store


def kept(path: Path) -> list[int] | None:
    store = TableStore(str(path))
    return None if store.tables is None else list(store.tables.words)


def test_committed_tables_survive_a_reset(tmp_path: Path) -> None:
    path = tmp_path / "tables.bin"
    loaded(path)
    link = NodeLink(Loopback(store=TableStore(str(path))))
    assert link.identify()[2] == crc32(BLOB)
    link.arm()


def test_stored_tables_are_handed_over_once_and_take_no_memory_beside_the_steering_s(
    tmp_path: Path,
) -> None:
    path = tmp_path / "tables.bin"
    loaded(path)
    store = TableStore(str(path))
    tables = store.hand_over()
    assert tables is not None
    assert list(tables.words) == list(TABLES.words)
    assert store.hand_over() is None
    assert store.size == len(BLOB)  # what it tells of them stays


def test_a_reset_in_the_middle_of_loading_leaves_the_old_ones(tmp_path: Path) -> None:
    path = tmp_path / "tables.bin"
    loaded(path)
    store = TableStore(str(path))
    store.begin(len(BLOB), 0, 0)
    store.piece(0, BLOB, 0, 40)
    assert kept(path) == list(TABLES.words)


class PowerLostError(Exception):
    """The power went in this call."""


def cut_power(*args: object) -> None:
    raise PowerLostError


@pytest.mark.parametrize("call", ["open", "rename"])
def test_a_reset_while_they_are_written_leaves_the_old_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    path = tmp_path / "tables.bin"
    loaded(path)
    store = received(path, OTHER.to_bytes())
    if call == "open":
        monkeypatch.setattr(table_store, "open", cut_power, raising=False)
    else:
        monkeypatch.setattr(table_store.os, "rename", cut_power)
    with pytest.raises(PowerLostError):
        store.keep()
    monkeypatch.undo()
    assert kept(path) == list(TABLES.words)


def test_a_reset_between_the_two_steps_that_fat_needs_leaves_the_new_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "tables.bin"
    loaded(path)
    calls = iter([OSError(17, "EEXIST"), PowerLostError()])

    def rename(old: str, new: str) -> None:
        raise next(calls)

    store = received(path, OTHER.to_bytes())
    monkeypatch.setattr(table_store.os, "rename", rename)
    with pytest.raises(PowerLostError):
        store.keep()
    monkeypatch.undo()
    assert kept(path) == list(OTHER.words)


@pytest.mark.parametrize(
    "content",
    [b"", b"4V", BLOB[:-1], BLOB[:100], BLOB[:60] + b"\x01" + BLOB[61:], b"\xff" * 500],
    ids=["empty", "two bytes", "a byte short", "cut", "a wrong byte", "erased flash"],
)
def test_a_damaged_file_counts_as_no_tables(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "tables.bin"
    path.write_bytes(content)
    assert kept(path) is None


def test_full_storage_keeps_the_old_tables_flying_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "tables.bin"
    link = loaded(path)

    def full(path: str, content: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(table_store, "_write_whole", full)
    store = received(path, OTHER.to_bytes())
    assert store.keep() == p.NOT_STORED
    assert store.tables is not None
    assert list(store.tables.words) == list(TABLES.words)
    link.arm()


def test_storage_that_does_not_rename_onto_a_file_works_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """FAT, as on some boards."""
    path = tmp_path / "tables.bin"
    loaded(path)
    rename = os.rename

    def fat_rename(old: str, new: str) -> None:
        if os.path.exists(new):
            raise OSError(17, "EEXIST")
        rename(old, new)

    monkeypatch.setattr(table_store.os, "rename", fat_rename)
    loaded(path, OTHER)
    assert kept(path) == list(OTHER.words)


def test_tables_need_no_more_room_than_a_board_gives() -> None:
    assert len(BLOB) <= MOST_BYTES
