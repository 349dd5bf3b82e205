"""An open run found on start: what happened to it, judged from evidence and, where somebody is there, by asking."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surefoot.guide.bench import Bench
from surefoot.guide.machine import MachineElsewhere
from surefoot.guide.use_counters import use_detail
from surefoot.rig.boot import same_boot
from surefoot.rig.guardian import GuardianReport, all_reports
from surefoot.runs import USE, Closing, Outcome, Run


@dataclass(frozen=True, slots=True)
class Verdict:
    """What an answer means for the run."""

    outcome: Outcome
    words: str


# The first of each is what counts when nobody is there to say otherwise.
AFTER_A_BOOT: Mapping[str, Verdict] = {
    "crash": Verdict(Outcome.RESET, "the machine went down under the run"),
    "froze": Verdict(Outcome.HANG, "the machine froze and was switched off by hand"),
    "power": Verdict(Outcome.VOID, "the power was lost for another reason"),
    "purpose": Verdict(Outcome.VOID, "the machine was restarted on purpose"),
}
_BY_RECORD: Mapping[str, str] = {"crash": "crash", "froze": "froze", "power": "power", "planned": "purpose"}
"""What the system's own record of its end makes the answer, where nobody says otherwise."""
SAME_BOOT: Mapping[str, Verdict] = {
    "stopped": Verdict(Outcome.VOID, "only the tool was stopped"),
    "driver": Verdict(Outcome.DRIVER_RESET, "the driver was reset and took the session down"),
    "froze": Verdict(Outcome.HANG, "the load or the desktop froze and had to be ended"),
}


def recover(bench: Bench) -> list[Run]:
    """Close every open run of the unit and return them as closed.

    Another boot identity than the run's means that the machine went down under it: `reset` unless the system's own
    record or the user says otherwise. The same boot means that only the tool was stopped: `void`. The time to failure
    is that of the last heartbeat.
    """
    journal, machine, voice = bench.journal, bench.machine, bench.voice
    closed = []
    for run in journal.open_runs(bench.unit.name):
        verdict, judged_by = _judge(run, bench)
        seen: dict[str, Any] = {}
        if run.plan.purpose == USE:
            # What was acknowledged of a stretch of use held, whatever ended it, unless its end was a failure.
            verdict, seen = as_use(verdict), use_detail(journal, bench.unit, run)
        journal.close_run(
            run.id,
            Closing(
                outcome=verdict.outcome,
                minutes=run.last_minutes,
                judged_by=judged_by,
                detail={"recovered": True, "boot_then": run.plan.boot_id, "boot_now": machine.boot_id(), **seen},
            ),
            at=machine.now(),
        )
        closed.append(journal.run(run.id))
        voice.say(
            f"Run {run.id} ({run.setting.describe(bench.unit)}) was still open: {verdict.words}. "
            f"Recorded as {verdict.outcome.value} after {run.last_minutes:.1f} min under load.",
            "bad" if verdict.outcome is not Outcome.VOID else "warn",
        )
    for report in _guardian(bench, closed):
        voice.say(f"The guardian stepped in at {report.at:%Y-%m-%d %H:%M} UTC: {report.words}.", "warn")
    if any(run.outcome in (Outcome.RESET, Outcome.HANG) for run in closed):
        voice.say(
            "Before going on: see that the machine is back at stock, and let the system check its disk. "
            "A crash can damage files that were being written.",
            "warn",
        )
    return closed


def as_use(verdict: Verdict) -> Verdict:
    """What it means for a stretch of use: an end that was no failure leaves the minutes that were acknowledged."""
    return Verdict(Outcome.HELD, verdict.words) if verdict.outcome is Outcome.VOID else verdict


def _guardian(bench: Bench, closed: list[Run]) -> list[GuardianReport]:
    if not closed:
        return []
    since = min(run.opened_at for run in closed)
    if isinstance(bench.machine, MachineElsewhere):
        return bench.machine.guardian_reports(bench.unit, since)
    return all_reports(bench.guardian_log, bench.unit, since)


def _judge(run: Run, bench: Bench) -> tuple[Verdict, str]:
    same = same_boot(run.plan.boot_id, bench.machine.boot_id())
    answers, evidence = (
        (SAME_BOOT, "the same boot as when the run began")
        if same
        else (AFTER_A_BOOT, "another boot than the one the run began under")
        if same is False
        # Boots that cannot be compared prove nothing; a lost failure would let the search go deeper than it should.
        else (AFTER_A_BOOT, "the boot of the run is not known")
    )
    default = next(iter(answers))
    seen = bench.machine.seen_under_the_same_boot() if isinstance(bench.machine, MachineElsewhere) else None
    if answers is SAME_BOOT and seen is not None:
        default, evidence = "froze", f"{evidence}; {seen.words}"
    if answers is AFTER_A_BOOT:
        ending = bench.machine.ending(run.plan.boot_id, run.opened_at)
        if ending.is_known:
            default = _BY_RECORD[ending.kind]
            evidence += f"; {ending.words}"
    choice = bench.voice.choose(
        f"Run {run.id} at {run.setting.describe(bench.unit)} was never closed ({evidence}). What happened?",
        {key: verdict.words for key, verdict in answers.items()},
        default,
    )
    who = "the user" if bench.voice.attended else "the rule for unattended starts"
    return answers[choice], f"{evidence}; {who}: {answers[choice].words}"
