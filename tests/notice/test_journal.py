"""Entries in the journal's native form, read back by a reader of its own."""

from __future__ import annotations

import socket
import struct
from pathlib import Path

from dawnproof.model import EventRow
from dawnproof.notice.journal import Journal, speaks_to_journal


def read_entry(data: bytes) -> dict[str, str]:
    """Fields of one entry, after the description of the native protocol."""
    found = {}
    while data:
        line, _, rest = data.partition(b"\n")
        name, equals, value = line.partition(b"=")
        if equals:
            data = rest
        else:
            (length,) = struct.unpack("<Q", rest[:8])
            value, data = rest[8 : 8 + length], rest[8 + length + 1 :]
        found[name.decode()] = value.decode()
    return found


def test_entries_carry_job_and_kind(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as there:
        there.bind(str(tmp_path / "journal"))
        journal = Journal(tmp_path / "journal")
        journal.say(EventRow("2026-11-24T22:00:00+00:00", "alarm", "SL-0412", "the archive is gone"))
        entry = read_entry(there.recv(65536))
        assert (entry["MESSAGE"], entry["PRIORITY"]) == ("the archive is gone", "3")
        assert (entry["DAWNPROOF_JOB"], entry["DAWNPROOF_KIND"]) == ("SL-0412", "alarm")
        journal.say(EventRow("", "error", "", "two\nlines"))
        assert read_entry(there.recv(65536))["MESSAGE"] == "two\nlines"
        journal.say(EventRow("", "measured", "", "\x1b[2J evil\x07"))
        assert "\x1b" not in read_entry(there.recv(65536))["MESSAGE"]
        journal.close()


def test_only_where_output_goes_to_the_journal(tmp_path: Path) -> None:
    (tmp_path / "journal").touch()
    assert speaks_to_journal({"JOURNAL_STREAM": "8:1"}, tmp_path / "journal")
    assert not speaks_to_journal({}, tmp_path / "journal")
    assert not speaks_to_journal({"JOURNAL_STREAM": "8:1"}, tmp_path / "none")
