"""One run, from the journal's first line to its last: apply, read back, hold the load, judge, go back, close."""

from __future__ import annotations

from contextlib import ExitStack
from functools import partial

from surefoot.errors import MachineError
from surefoot.guide.aside import aside
from surefoot.guide.bench import Bench
from surefoot.guide.ends import End, cut_short, last_word, told_by_the_user
from surefoot.guide.interrupts import no_interrupts
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.run_in_hand import Holding, RunInHand
from surefoot.guide.stock import to_stock
from surefoot.guide.watch import watch
from surefoot.rig.hands.guard import guard
from surefoot.rig.protocols import Load
from surefoot.runs import Outcome, Run, RunPlan
from surefoot.units import Setting


def hold(bench: Bench, plan: RunPlan, holding: Holding) -> Run:
    """Make one run and return it closed.

    The run is in the journal before its setting is applied, each heartbeat before the next, and it is closed once.
    The unit is returned to stock when anything goes wrong, and after each run when hands are a command. Ctrl-C closes
    the run as `void`, returns the unit to stock, and is raised again. Raises BadInput, before anything is written, for
    a setting that must never be applied.
    """
    bench.permit(plan.setting)
    load = bench.machine.load(plan.load, bench.unit)
    if load.by_hand and not bench.voice.attended:
        raise MachineError(
            f"the load {plan.load!r} is done by hand and nobody is here.", remedy="Choose a load that runs by itself."
        )
    run = RunInHand.open(bench, plan, holding)
    try:
        end = _make(run, load)
    except LineLost:
        # As after any crash: judged once it is known what became of the unit, by `recover`.
        run.keep()
        raise
    # Not BaseException: a virtual machine that goes down stops the tool too, as a real one would.
    except (Exception, KeyboardInterrupt, SystemExit) as error:
        _finish(run, cut_short(error), to_the_end=False)
        raise
    _finish(run, end, to_the_end=True)
    return run.record()


def _finish(run: RunInHand, end: End, *, to_the_end: bool) -> None:
    """Back to stock, then close; each is tried whatever becomes of the other, and what only speaks comes last."""
    bench = run.bench
    leave = to_the_end and end.outcome is Outcome.HELD and bench.hands.kind == "ask"
    # A user who has just confirmed stock is not asked again.
    go_back = not leave and (bench.hands.kind != "ask" or not run.plan.setting.is_stock)
    hush = partial(aside(bench.voice).live, None)
    close = partial(run.close, end)
    back = partial(to_stock, bench) if go_back else None
    # A command is back in a moment. A user may take an hour to answer: the outcome is not kept waiting for that.
    in_order = (close, hush, back) if bench.hands.kind == "ask" else (back, close, hush)
    with no_interrupts(), ExitStack() as steps:
        for step in reversed(in_order):
            if step is not None:
                steps.callback(step)


def _make(run: RunInHand, load: Load) -> End:
    bench, plan = run.bench, run.plan
    read = bench.apply(plan.setting, f"run {run.run_id}")
    if read is not None:
        # A value that must never be set is refused even when the hardware claims to have it.
        guard(bench.unit, read)
        run.applied(read)
        if wrong := bench.missing(plan.setting, read):
            return End(Outcome.VOID, f"the setting was not there before the run: {'; '.join(wrong)}")
    run.begin(load.exercises())
    session = load.start(plan.planned_minutes)
    try:
        end = watch(run, session.poll)
    finally:
        last = session.stop()
    if end.outcome is Outcome.HELD:
        end = last_word(plan, end, last)
    if load.by_hand and end.outcome is Outcome.HELD:
        bench.voice.live(None)
        told = told_by_the_user(bench.voice, run.title)
        end = End(told.outcome, told.judged_by, {**last.detail, **told.detail})
    ask = run.holding.lost_score
    if end.outcome is Outcome.HELD and ask is not None and (words := ask(run.rates, last.detail)):
        end = End(Outcome.SLOW, words, end.detail)
    return _still_there(bench, plan.setting if read is None else read, _as_logged(run, end))


def _as_logged(run: RunInHand, end: End) -> End:
    """What the system logged while the load ran turns a pass into a failure."""
    faults = run.bench.machine.faults_since(run.began_at)
    if not faults or end.outcome is not Outcome.HELD:
        return end
    outcome, words = faults[0]
    return End(outcome, f"the system's log: {words}", {**end.detail, "logged": [text for _, text in faults]})


def _still_there(bench: Bench, there_before: Setting, end: End) -> End:
    """Read back once more: a run in which the setting vanished proves nothing."""
    if not bench.hands.can_read_back or end.outcome in (Outcome.VOID, Outcome.OVERHEAT):
        return end
    if bench.hands.kind == "ask" and there_before.is_stock:
        return end
    try:
        after = bench.hands.read_back(bench.unit)
    except MachineError as error:
        if end.outcome.is_crash:
            return end
        return End(Outcome.VOID, f"the setting could not be read back after the run: {error.message()}", end.detail)
    wrong = bench.missing(there_before, after)
    if not wrong or end.outcome.is_crash:
        # A driver that was reset drops its offsets; that does not make the failure unseen.
        return end
    return End(Outcome.VOID, f"the setting was no longer there after the run: {'; '.join(wrong)}", end.detail)
