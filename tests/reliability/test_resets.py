"""Machines that are really reset (long; QEMU), and what the table rests on."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import qemu_guest
import resets

from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Setting

SCRIPT = Path(__file__).with_name("resets.py")


@pytest.mark.long
@pytest.mark.parametrize("how", ["inside", "on"])
def test_twenty_resets(how):
    if words := qemu_guest.why_not():
        pytest.skip(words)
    command = [sys.executable, str(SCRIPT), how, "--resets", "20"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_archive_is_one_that_cpio_knows():
    made = qemu_guest._cpio({"init": b"one\n", "bin/two": b"12345"})
    assert made.startswith(b"070701") and b"TRAILER!!!\0" in made and len(made) % 4 == 0
    places = [made.find(name) for name in (b"bin\0", b"init\0", b"bin/two\0", b"TRAILER")]
    assert places == sorted(places) and -1 not in places


def played(
    tmp_path: Path, closings: list[tuple[Outcome, float]], pressed: list[float], code: int = 0, cut_off: bool = False
):
    """A made-up session: runs of ten minutes' distance, a button pressed so many seconds after each lost one began."""
    name = "unit-1"
    one = resets.Played(tmp_path, 1, None)
    one.exit_code, one.cut_off = code, cut_off
    began = datetime(2031, 5, 4, 9, tzinfo=UTC).timestamp()
    with Journal.open(tmp_path / "home") as journal:
        journal.add_unit(resets.unit_named(name))
        for number, (outcome, minutes) in enumerate(closings):
            plan = RunPlan(
                unit_name=name, setting=Setting(values={"core": -20}), load="turns", planned_minutes=2, purpose="search"
            )
            at = datetime.fromtimestamp(began + 600 * number, UTC)
            run_id = journal.open_run(plan, at=at)
            journal.heartbeat(run_id, minutes)
            journal.close_run(run_id, Closing(outcome=outcome, minutes=minutes, judged_by="test"), at=at)
    one.resets = pressed
    lines = resets.lines_of_the_table("inside")
    resets.judge(one, tmp_path / "home", lines)
    return lines


def test_a_reset_is_judged_by_the_heartbeat_before_it(tmp_path):
    lines = played(tmp_path, [(Outcome.RESET, 0.33)], [27.0])
    assert lines["resets"].survived == 1 and lines["boots"].survived == 1 and not lines["others"].lost


@pytest.mark.parametrize(
    ("closings", "pressed", "wrong"),
    [
        ([(Outcome.RESET, 0.33)], [70.0], "resets"),
        ([(Outcome.RESET, 0.33)], [10.0], "resets"),
        ([(Outcome.VOID, 0.33)], [27.0], "others"),
        ([(Outcome.HELD, 0.33)], [27.0], "boots"),
        ([(Outcome.RESET, 0.33), (Outcome.RESET, 0.33)], [27.0], "boots"),
    ],
)
def test_the_table_can_fail(tmp_path, closings, pressed, wrong):
    assert played(tmp_path, closings, pressed)[wrong].lost


def test_no_certificate_is_a_loss(tmp_path):
    assert "certified: False" in played(tmp_path, [(Outcome.RESET, 0.33)], [27.0])["sessions"].lost[0]


def test_a_session_that_was_cut_off_counts_with_what_it_did(tmp_path):
    closings = [(Outcome.RESET, 0.33), (Outcome.RESET, 0.33), (Outcome.VOID, 0.1)]
    lines = played(tmp_path, closings, [27.0, 70.0, 12.0], cut_off=True)
    assert (lines["resets"].tried, lines["resets"].survived) == (2, 1), "a wrong judgement is a loss all the same"
    assert lines["sessions"].tried == lines["boots"].tried == 0 and not lines["others"].lost
