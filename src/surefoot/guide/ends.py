"""How a run ends: what the load, the user and the system's log have to say about it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from surefoot.errors import SurefootError
from surefoot.guide.voice import Voice
from surefoot.runs import LoadState, Outcome, RunPlan

HOW_IT_WENT: Final = {
    "held": Outcome.HELD,
    "wrong": Outcome.MISCOMPUTE,
    "driver": Outcome.DRIVER_RESET,
    "froze": Outcome.HANG,
    "void": Outcome.VOID,
}


@dataclass(frozen=True, slots=True)
class End:
    """An outcome, who or what decided it, in words, and what was seen."""

    outcome: Outcome
    judged_by: str
    detail: dict[str, Any] = field(default_factory=dict)


def failed(state: LoadState) -> End:
    """The load says that it failed."""
    outcome = state.outcome or Outcome.MISCOMPUTE
    return End(outcome, state.message or outcome.says, dict(state.detail))


def last_word(plan: RunPlan, end: End, last: LoadState) -> End:
    """What the load says when it is stopped: a late failure, what it verified, and its scores."""
    if last.state == "failed":
        # A worker can find its wrong result in the moment it is told to stop; that is a failure all the same.
        return failed(last)
    verified = last.detail.get("verified_units")
    if verified is not None and not sum(verified.values()):
        return End(Outcome.VOID, f"load {plan.load!r} did no verified work, so nothing was proved")
    words = f"{end.judged_by}; {last.message}".rstrip(". ") if last.message else end.judged_by
    return End(end.outcome, words, {**last.detail, **end.detail})


def told_by_the_user(voice: Voice, title: str) -> End:
    """The end of a load done by hand: nobody else can know."""
    answer = voice.choose(f"{title}: how did it go?", {key: outcome.says for key, outcome in HOW_IT_WENT.items()}, "")
    return End(HOW_IT_WENT[answer], "the user, by hand")


def cut_short(error: BaseException) -> End:
    """The end of a run that an error or an interrupt broke off: it proves nothing."""
    if isinstance(error, KeyboardInterrupt):
        return End(Outcome.VOID, "stopped by the user")
    if isinstance(error, SystemExit):
        return End(Outcome.VOID, "nobody was left to speak to")
    if isinstance(error, SurefootError):
        return End(Outcome.VOID, f"could not be run: {error.message()}")
    return End(Outcome.VOID, f"the tool itself broke off: {type(error).__name__}: {error}")
