"""A run that nothing has closed, as far as it can be told before somebody is asked."""

from __future__ import annotations

from surefoot.rig.boot import same_boot
from surefoot.runs import USE, Closing, Outcome, Run
from surefoot.units import Unit


def went_down(run: Run, boot_id: str | None) -> bool:
    """Whether the machine went down under an open run. Boots that cannot be compared count as the worse case."""
    return same_boot(run.plan.boot_id, boot_id) is not True


def presumed(run: Run, boot_id: str | None) -> Run:
    """The run as an unattended start would close it: nothing is written."""
    if not run.is_open:
        return run
    still = Outcome.HELD if run.plan.purpose == USE else Outcome.VOID
    outcome = Outcome.RESET if went_down(run, boot_id) else still
    return run.model_copy(
        update={"closing": Closing(outcome=outcome, minutes=run.last_minutes, judged_by="not yet judged")}
    )


def unclosed_words(run: Run, unit: Unit, boot_id: str | None) -> str:
    """What is to be said of an open run before anything is called stable."""
    start = f"run {run.id} at {run.setting.describe(unit)} was never closed"
    if run.plan.purpose == USE and not went_down(run, boot_id):
        return (
            f"{start}: it is being lived with now, or the watching was stopped; its {run.last_minutes / 60:.1f} h "
            "under load count as held"
        )
    judge = "`surefoot live`, `tune`, `measure` or `recall --apply` judge it for good"
    if went_down(run, boot_id):
        return f"{start}: the machine went down under it, it seems, and here it counts as failed; {judge}"
    return f"{start}: it is running now, or the tool was stopped; here it counts as nothing; {judge}"
