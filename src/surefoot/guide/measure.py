"""Measuring: hold a load at a setting under stated conditions, several times, each from a comparable start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

from surefoot.guide.at_work import at_work
from surefoot.guide.bench import Bench
from surefoot.guide.exception import ask_exception
from surefoot.guide.hold import hold
from surefoot.guide.remote.again import wait_for
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.run_in_hand import Holding
from surefoot.guide.session import first_start
from surefoot.guide.settle import Settling, settle
from surefoot.guide.voice import Voice
from surefoot.runs import Outcome, Purpose, Run, RunPlan, Score, Trace
from surefoot.units import Conditions, Setting, Unit

WORK_SCORE: Final = "verified work"
EARLIEST_MINUTES: Final = 3.0
"""Before so long a forecast of the final temperature is not asked for: the fast part of the rise hides the slow one."""


@dataclass(frozen=True, slots=True)
class Measuring:
    """``stop_when_steady``: end a run once the final temperature is forecast within 1 degree; ``conditions``: as they
    are now, with the card's own where a field is None."""

    setting: Setting = field(default_factory=Setting)
    load: str | None = None
    minutes: float = 15.0
    repeats: int = 1
    conditions: Conditions = field(default_factory=Conditions)
    purpose: Purpose = "measure"
    stop_when_steady: bool = False
    note: str = ""
    agreed: bool = False
    this_machine: bool = False
    sample_seconds: float = 1.0
    heartbeat_seconds: float = 10.0
    settling: Settling = field(default_factory=Settling)


def measure(bench: Bench, measuring: Measuring) -> list[Run]:
    """Make the runs and return them closed, the trace and the rate of verified work of each kept.

    Stops at the first run that fails. A setting off stock needs the cautions agreed to, as tuning does. Raises BadInput
    for a setting that must never be applied, JournalError when another session holds the unit.
    """
    bench.unit.depths(measuring.setting)
    if not _needs_hands(measuring, bench):
        bench = replace(bench, given_hands=AtStock())
    made: list[Run] = []
    voice = bench.voice
    while True:
        try:
            with at_work(
                bench,
                off_stock=not measuring.setting.is_stock,
                agreed=measuring.agreed,
                this_machine=measuring.this_machine,
            ):
                if bench.voice is not voice:
                    # The lost run is judged by now: one that failed is the last.
                    bench = replace(bench, voice=voice)
                    made.append(bench.journal.runs(bench.unit.name)[-1])
                    if made[-1].outcome is not Outcome.VOID:
                        return made
                ask_exception(bench, measuring.setting)
                _repeat(bench, measuring, made)
                return made
        except LineLost as lost:
            bench = wait_for(bench, lost)


def _repeat(bench: Bench, measuring: Measuring, made: list[Run]) -> None:
    voice = bench.voice
    load = measuring.load or bench.machine.default_load(bench.unit, None)
    for number in range(len(made) + 1, measuring.repeats + 1):
        start, words = settle(bench, measuring.settling, first_start(bench.journal.runs(bench.unit.name)))
        setting = measuring.setting.describe(bench.unit)
        voice.say(f"Measuring {number} of {measuring.repeats}: {setting} under {load}", "heading")
        voice.say(words, "quiet")
        holding = Holding(
            sample_seconds=measuring.sample_seconds,
            heartbeat_seconds=measuring.heartbeat_seconds,
            stop_early=_steady(voice) if measuring.stop_when_steady else None,
            start=start,
            start_words=words,
        )
        run = hold(bench, _plan(bench, measuring, load), holding)
        made.append(run)
        keep_score(bench, run)
        if run.outcome is not Outcome.HELD:
            voice.say(f"Run {run.id}: {run.outcome}; {run.closing.judged_by if run.closing else ''}.", "bad")
            break
        voice.say(f"Run {run.id}: held {run.minutes:.1f} min.", "good")


def _plan(bench: Bench, measuring: Measuring, load: str) -> RunPlan:
    return RunPlan(
        unit_name=bench.unit.name,
        setting=measuring.setting,
        load=load,
        planned_minutes=measuring.minutes,
        purpose=measuring.purpose,
        conditions=present_conditions(bench, measuring.conditions),
        boot_id=bench.machine.boot_id(),
        source=bench.machine.source,
        note=measuring.note,
    )


class AtStock:
    """No hands: nothing is changed, so nothing needs to be applied or read back."""

    kind = "none"
    can_read_back = False

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """Stock is where the unit is."""
        return None

    def read_back(self, unit: Unit) -> Setting | None:
        """Not known."""
        return None


def _needs_hands(measuring: Measuring, bench: Bench) -> bool:
    # At stock with hands that are the user, nobody needs to be asked to do nothing; unless it may not be at stock.
    unit = bench.unit
    idle = measuring.setting.is_stock and unit.hands.kind == "ask"
    left = bench.left_applied is not None or bench.journal.open_runs(unit.name)
    return bool(unit.knobs) and (not idle or bool(left))


def present_conditions(bench: Bench, now: Conditions) -> Conditions:
    """The conditions as they are now: as told, else as the card has them."""
    unit = bench.unit
    card = Conditions(
        power_mode=unit.power_mode,
        cooling=unit.cooling,
        supply=unit.supply,
        firmware=unit.firmware,
        driver=unit.driver,
        operating_system=bench.machine.operating_system(),
    )
    return card.model_copy(update={name: value for name, value in now if value is not None})


def _steady(voice: Voice) -> Callable[[Trace], str | None]:
    """Ends a run once each part's final temperature is forecast within 1 degree; asks where somebody is there."""
    from surefoot.thermal.fan import fan_series
    from surefoot.thermal.steady import forecast_final

    declined = False

    def stop_early(trace: Trace) -> str | None:
        nonlocal declined
        if declined or trace.duration_minutes < EARLIEST_MINUTES:
            return None
        fan = fan_series(trace)
        forecasts = {
            name: forecast_final(trace.seconds, values, fan)
            for name in ("cpu.temperature", "gpu.temperature")
            if (values := trace.get(name)) is not None
        }
        if not forecasts or not all(one.within(1.0) for one in forecasts.values()):
            return None
        words = ", ".join(f"{name.split('.')[0]} {one.final_celsius:.0f} °C" for name, one in forecasts.items())
        reason = f"final temperature forecast within 1 °C ({words})"
        if voice.attended:
            voice.live(None)
            answer = voice.choose(f"{reason}. End this run here?", {"yes": "end it", "no": "hold on"}, "yes")
            declined = answer == "no"
            if declined:
                return None
        return reason

    return stop_early


def keep_score(bench: Bench, run: Run) -> None:
    """How fast the load verified work in a run that held is a score like any other: its own, else its mean rate."""
    detail = run.closing.detail if run.closing and run.outcome is Outcome.HELD else {}
    found = [Score(name=name, **score) for name, score in detail.get("scores", {}).items()]
    if not found and (rates := detail.get("rates")):
        kept = rates[len(rates) // 10 :]
        found = [Score(name=f"{WORK_SCORE} ({run.plan.load})", value=sum(kept) / len(kept), unit="1/s")]
    for score in found:
        bench.journal.add_score(bench.unit.name, score, run_id=run.id)
