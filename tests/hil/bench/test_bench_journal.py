"""The bench's journal: whole records only, through every way of being cut off."""

import errno
import json
import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.bench.journal import Journal, JournalError, line_of, read_lines

HEADER = {"servo": 2, "passes": 3}


def filled(path, count, header=HEADER):
    with Journal(path, header) as journal:
        for i in range(count):
            journal.append(f"sweep:{i}", {"angle_deg": i / 7, "trouble": ""})
    return path


def test_records_come_back_as_they_were(tmp_path):
    path = filled(tmp_path / "a.journal", 5)
    with Journal(path, HEADER) as journal:
        assert list(journal.records) == [f"sweep:{i}" for i in range(5)]
        assert journal.records["sweep:4"] == {"angle_deg": 4 / 7, "trouble": ""}
        assert "sweep:2" in journal
        assert journal.recovered_bytes == 0


@settings(max_examples=80, deadline=None)
@given(cut=st.integers(0, 10_000), junk=st.binary(max_size=40))
def test_a_journal_cut_anywhere_loses_only_what_was_cut(tmp_path_factory, cut, junk):
    """Lost supply: the file ends anywhere, perhaps with other bytes behind; the rest goes on."""
    path = filled(tmp_path_factory.mktemp("cut") / "a.journal", 6)
    content = path.read_bytes()
    keep = content[: cut % (len(content) + 1)]
    path.write_bytes(keep + junk.replace(b"\n", b""))
    points = max(keep.count(b"\n") - 1, 0)  # the first line is the header
    with Journal(path, HEADER) as journal:
        assert len(journal.records) == points
        journal.append("sweep:new", {"angle_deg": 1.0})
    with Journal(path, HEADER) as journal:
        assert "sweep:new" in journal
        assert journal.recovered_bytes == 0


def test_zeros_that_a_file_system_leaves_after_a_lost_supply_are_cut_off(tmp_path):
    path = filled(tmp_path / "a.journal", 3)
    path.write_bytes(path.read_bytes() + bytes(4096))
    with Journal(path, HEADER) as journal:
        assert len(journal.records) == 3
        assert journal.recovered_bytes == 4096
    assert not path.read_bytes().endswith(b"\0")


def test_one_flipped_bit_ends_what_is_believed(tmp_path):
    path = filled(tmp_path / "a.journal", 4)
    content = bytearray(path.read_bytes())
    lines = content.split(b"\n")
    content[len(b"\n".join(lines[:3])) + 20] ^= 4
    path.write_bytes(content)
    assert len(read_lines(path).records) == 3  # the header and two points


def test_a_run_of_other_settings_is_not_mixed_in(tmp_path):
    path = filled(tmp_path / "a.journal", 2)
    with pytest.raises(JournalError, match=r"passes = 3, now it is 4; .* --anew"):
        Journal(path, {"servo": 2, "passes": 4})
    assert len(read_lines(path).records) == 3


def test_another_file_is_not_taken_for_a_journal(tmp_path):
    path = tmp_path / "notes.journal"
    path.write_text("remember the milk\n", encoding="utf-8")
    with pytest.raises(JournalError, match="not a journal"):
        Journal(path, HEADER)
    assert path.read_text(encoding="utf-8") == "remember the milk\n"


@pytest.mark.parametrize("room", [0, 1, 30])
def test_a_full_disk_leaves_no_half_written_point(tmp_path, monkeypatch, room):
    """The disk takes `room` more bytes of the line and then refuses; made room, it goes on."""
    path = filled(tmp_path / "a.journal", 3)
    true_write = os.write

    def full(handle, data):
        if room:
            return true_write(handle, data[:room])
        raise OSError(errno.ENOSPC, "No space left on device")

    with Journal(path, HEADER) as journal:
        monkeypatch.setattr(os, "write", full)
        with pytest.raises(JournalError, match=r"No space left.*the 3 points before are safe"):
            journal.append("sweep:3", {"angle_deg": 1.0})
        monkeypatch.setattr(os, "write", true_write)
        assert "sweep:3" not in journal
        assert path.read_bytes().endswith(b"\n")
        journal.append("sweep:3", {"angle_deg": 1.0})
    assert len(read_lines(path).records) == 5


def test_each_point_is_forced_to_the_disk_before_the_next(tmp_path, monkeypatch):
    forced = []
    monkeypatch.setattr(os, "fsync", lambda handle: forced.append(os.fstat(handle).st_size))
    path = filled(tmp_path / "a.journal", 3)
    sizes = [len(b"".join(path.read_bytes().splitlines(True)[:k])) for k in range(1, 5)]
    assert [size for size in forced if size in sizes] == sizes


def test_a_line_is_plain_json_behind_its_check(tmp_path):
    line = line_of("sweep:1", {"angle_deg": 1.5})
    assert json.loads(line[9:]) == {"key": "sweep:1", "angle_deg": 1.5}


def test_what_is_not_a_number_never_gets_into_a_journal(tmp_path):
    with Journal(tmp_path / "a.journal", HEADER) as journal, pytest.raises(ValueError):
        journal.append("sweep:1", {"angle_deg": float("nan")})
