"""How a boot of Linux ended, from made-up journals and login records."""

from __future__ import annotations

import struct
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from surefoot.rig.endings import ending_of, restart_record
from surefoot.rig.linux_ending import ending_from_lines, parse_wtmp

START = datetime(2031, 5, 4, 9, 0, tzinfo=UTC)


def entry(kind: int, user: str, minute: float) -> bytes:
    """utmp(5): 384 bytes a record on Linux with glibc."""
    seconds = int((START + timedelta(minutes=minute)).timestamp())
    data = struct.pack("<h2xi32s4s32s256shhi", kind, 0, b"~", b"~~", user.encode(), b"", 0, 0, 0)
    data += struct.pack("<ii16s20s", seconds, 250_000, b"", b"")
    assert len(data) == 384
    return data


def put(root: Path, *entries: bytes, tail: bytes = b"") -> Path:
    file = root / "var/log/wtmp"
    file.parent.mkdir(parents=True)
    file.write_bytes(b"".join(entries) + tail)
    return root


@pytest.mark.parametrize(
    ("entries", "kind"),
    [
        ([entry(2, "reboot", -60), entry(1, "shutdown", 5), entry(2, "reboot", 6)], "planned"),
        ([entry(2, "reboot", -60), entry(2, "reboot", 6)], "crash"),
        # The shutdown before the run's own boot is not the run's.
        ([entry(1, "shutdown", -61), entry(2, "reboot", -60), entry(2, "reboot", 6)], "crash"),
        # A later shutdown in order does not excuse the crash before it.
        ([entry(2, "reboot", -60), entry(2, "reboot", 6), entry(1, "shutdown", 50), entry(2, "reboot", 51)], "crash"),
        ([entry(2, "reboot", -60), entry(7, "someone", 1)], "unknown"),
        ([], "unknown"),
    ],
)
def test_login_records(tmp_path, entries, kind):
    assert ending_of(None, START, put(tmp_path, *entries)).kind == kind


def test_a_torn_last_record_is_left_out(tmp_path):
    root = put(tmp_path, entry(2, "reboot", 6), tail=b"\x01\x00half")
    assert ending_of(None, START, root).kind == "crash"
    assert len(parse_wtmp((root / "var/log/wtmp").read_bytes())) == 1
    assert parse_wtmp(b"rubbish") == []


def test_no_record_is_said(tmp_path):
    found = ending_of(None, START, tmp_path)
    assert (found.kind, found.is_known) == ("unknown", False)
    assert restart_record(tmp_path) == ""
    assert restart_record(put(tmp_path)) == "the login records"


@pytest.mark.parametrize(
    ("last", "kind"),
    [
        (["b systemd[1]: Reached target System Reboot.", "b systemd-journald[2]: Journal stopped"], "planned"),
        (["b systemd-logind[640]: The system will power off now!", "b systemd-shutdown[1]: Syncing"], "planned"),
        (["b upowerd[7]: battery charge critical, powering off", "b systemd[1]: Reached target Power-Off."], "power"),
        (["bench kernel: mce: something", "bench app[9]: still working"], "crash"),
        (["bench kernel: Kernel panic - not syncing: Fatal exception"], "crash"),
    ],
)  # fmt: skip
def test_last_words_of_the_journal(last, kind):
    found = ending_from_lines(["bench app[9]: hello", *last])
    assert found is not None and found.kind == kind


def test_a_journal_without_lines_says_nothing():
    assert ending_from_lines([]) is None
