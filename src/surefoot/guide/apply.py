"""Have a setting applied that is meant to stay, outside a run: judged first, agreed to, on the right machine."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.errors import AnswerIsNo, MachineError
from surefoot.guide.at_work import at_work
from surefoot.guide.bench import Bench
from surefoot.guide.recall import Present, Recall, recall
from surefoot.units import Setting


@dataclass(frozen=True, slots=True)
class Applying:
    """``agreed``, ``this_machine``: said on the command line; ``ambient_celsius``: the room now."""

    agreed: bool = False
    this_machine: bool = False
    ambient_celsius: float | None = None


def recall_and_apply(bench: Bench, applying: Applying) -> tuple[Recall, Setting | None]:
    """Recall for the bench's goal once every open run is judged, and apply that; None when nothing is known-stable.

    Raises AnswerIsNo when the cautions are declined, the machine is another, or a rule is against the setting;
    MachineError when it could not be applied, JournalError when another session holds the unit.
    """
    with at_work(bench, off_stock=True, agreed=applying.agreed, this_machine=applying.this_machine, stays=True):
        answer = recall(bench.journal, bench.unit, bench.goal, present_on(bench, applying.ambient_celsius))
        if not answer.known:
            return answer, None
        setting = answer.as_setting()
        if rule := bench.forbidden(setting):
            raise AnswerIsNo(
                f"{setting.describe(bench.unit)} was not applied: {rule}", remedy="`surefoot tune` goes on from here."
            )
        _see_changes(bench, answer, setting)
        return answer, apply_setting(bench, setting, "recalled")


def _see_changes(bench: Bench, answer: Recall, setting: Setting) -> None:
    """Tell what is not as it was before anything is applied, and ask whoever is there. Raises AnswerIsNo for a no."""
    if not answer.changes or setting.is_stock:
        return
    for text in answer.changes:
        bench.voice.say(f"{text[0].upper()}{text[1:]}.", "warn")
    choices = {"yes": "apply it; `surefoot tune` or `measure` holds it again", "no": "leave the unit at stock"}
    if (
        bench.voice.attended
        and bench.voice.choose(f"Apply {setting.describe(bench.unit)} all the same?", choices, "no") != "yes"
    ):
        raise AnswerIsNo("nothing was applied: the conditions are not as they were.")


def present_on(bench: Bench, ambient_celsius: float | None = None) -> Present:
    """This moment on the bench's machine."""
    machine = bench.machine
    return Present(machine.now(), ambient_celsius, machine.boot_id(), machine.operating_system())


def apply_setting(bench: Bench, setting: Setting, why: str = "applied") -> Setting:
    """Apply for longer than this process lives; return what was read back (what was asked for when nothing does).

    Raises BadInput for a setting that card or rules forbid, MachineError when it could not be, or is not there.
    """
    read = bench.apply(setting, why)
    if wrong := bench.missing(setting, read):
        raise MachineError(
            f"{'; '.join(wrong)}.",
            where=f"unit {bench.unit.name!r}",
            remedy="Check the utility that applies it, or restart.",
        )
    bench.leave_applied()
    return setting if read is None else read
