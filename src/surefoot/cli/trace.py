"""`surefoot trace`: what the sensors of a run say, drawn and in words, and what to expect of a change."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli import trace_compare, trace_heat, trace_import
from surefoot.cli.common import JsonFlag, open_journal, show
from surefoot.cli.trace_of_run import run_with_trace, width_here
from surefoot.errors import BadInput
from surefoot.harmless import for_eyes

if TYPE_CHECKING:
    from surefoot.runs import Trace
    from surefoot.thermal.asked import Judged
    from surefoot.thermal.explain import Explanation
    from surefoot.thermal.forecast import Forecast

traces = typer.Typer(no_args_is_help=True, help="Sensor traces: import, draw, explain, compare, forecast.")

RunId = Annotated[int, typer.Argument(metavar="RUN", help="Id of the run, as `surefoot runs` shows it.")]
DomainOption = Annotated[str, typer.Option("--domain", help="The part asked about: cpu or gpu.")]


def register(app: typer.Typer) -> None:
    """Add the sub-commands of `trace`."""
    app.add_typer(traces, name="trace")


trace_import.register(traces)
trace_heat.register(traces)
trace_compare.register(traces)


@traces.command("show")
def show_trace(
    run: RunId,
    channel: Annotated[
        list[str] | None, typer.Option("--channel", help="Channel to draw, as cpu.temperature; repeat for several.")
    ] = None,
    rows: Annotated[int, typer.Option("--rows", min=2, max=20, help="Lines a channel.")] = 5,
    plain: Annotated[bool, typer.Option("--plain", help="Draw with plain characters only.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Draw the trace of a run in the terminal."""
    from surefoot.cli.trace_views import drawn
    from surefoot.thermal.picture import usual_channels

    with open_journal() as journal:
        found, card, trace = run_with_trace(journal, run)
        thinnings = journal.thinnings(run)
    names = channel or usual_channels(trace)
    if as_json:
        show({**_samples(run, trace, names), "thinnings": thinnings}, list, True)
        return
    for made in thinnings:
        typer.echo(
            for_eyes(
                f"Thinned on {made.at.astimezone():%Y-%m-%d} by {made.who}: one sample each {made.every_seconds:g} s, "
                f"and every highest and lowest; {made.samples_after:,} of {made.samples_before:,} samples are left."
            )
        )
    for line in drawn(found, card, trace, names, rows=rows, plain=plain, width=width_here()):
        typer.echo(for_eyes(line))


@traces.command("explain")
def explain_trace(run: RunId, as_json: JsonFlag = False) -> None:
    """Say what held the clocks, whether temperatures settled, and how heat leaves."""
    from surefoot.cli.trace_views import explanation
    from surefoot.thermal.explain import explain

    with open_journal() as journal:
        found, card, trace = run_with_trace(journal, run)
    said: Explanation = explain(trace, card, found.plan.conditions)
    record = {"run": run, "unit": card.name, "setting": found.setting.values, **said.as_record()}
    show(record, lambda: explanation(found, card, said), as_json)


@traces.command("forecast")
def forecast(
    run: RunId,
    offset_mv: Annotated[
        float | None, typer.Option("--offset-mv", help="Voltage offset the knob would stand at, in mV, 0 or below.")
    ] = None,
    offset_mhz: Annotated[
        float | None, typer.Option("--offset-mhz", help="Clock offset the knob would stand at, in MHz.")
    ] = None,
    power_limit: Annotated[float | None, typer.Option("--power-limit", help="Power limit in W.")] = None,
    room: Annotated[float | None, typer.Option("--ambient", help="Room temperature in °C.")] = None,
    cooling_factor: Annotated[
        float | None, typer.Option("--cooling-factor", help="Thermal resistance times this: 0.9 is a tenth less.")
    ] = None,
    domain: DomainOption = "cpu",
    as_json: JsonFlag = False,
) -> None:
    """Forecast power, temperature and clock after a change, from a run; the forecast is kept to be judged."""
    from surefoot.cli.trace_views import forecast_view
    from surefoot.thermal.asked import Question, forecast_from, record_of

    _checked_domain(domain)
    question = Question(domain, offset_mv, offset_mhz, power_limit, room, cooling_factor)
    with open_journal() as journal:
        found, card, trace = run_with_trace(journal, run)
        made: Forecast = forecast_from(trace, card, found.setting, found.plan.conditions, question)
        record = record_of(made, card, found.setting)
        number = journal.add_forecast(card.name, record, run_id=run)
    show({"id": number, "run": run, "unit": card.name, **record}, lambda: forecast_view(run, made, number), as_json)


@traces.command("judge")
def judge(
    before: Annotated[int, typer.Argument(metavar="RUN_BEFORE", help="The run that the forecast was made from.")],
    after: Annotated[int, typer.Argument(metavar="RUN_AFTER", help="The run after the change was made.")],
    domain: Annotated[str | None, typer.Option("--domain", help="The part judged: cpu or gpu.")] = None,
    as_json: JsonFlag = False,
) -> None:
    """Say how good the forecast from one run was, by what another run measured."""
    from surefoot.cli.trace_views import judged_view
    from surefoot.thermal.asked import judge_runs

    if domain is not None:
        _checked_domain(domain)
    with open_journal() as journal:
        first, card, trace_before = run_with_trace(journal, before)
        second, other, trace_after = run_with_trace(journal, after)
        if other.name != card.name:
            raise BadInput(
                f"run {before} is of {card.name!r}, run {after} of {other.name!r}.",
                remedy="Judge two runs of one unit.",
            )
        records = [entry.forecast for entry in journal.forecasts(card.name) if entry.run_id == before]
    judged: Judged = judge_runs(
        (trace_before, first.setting, first.plan.conditions),
        (trace_after, second.setting, second.plan.conditions),
        card,
        records,
        domain,
    )
    result = {"before": before, "after": after, "made": judged.made, "notes": judged.notes, "verdict": judged.verdict}
    show(result, lambda: judged_view(before, after, judged), as_json)


def _checked_domain(domain: str) -> None:
    if domain not in ("cpu", "gpu"):
        raise BadInput(f"{domain!r} is no part that is judged.", where="--domain", remedy="Allowed: cpu, gpu.")


def _samples(run: int, trace: Trace, names: list[str]) -> dict[str, Any]:
    """The channels asked for, as they are. Raises BadInput for one that is not there."""
    from surefoot.thermal.picture import series

    return {
        "run": run,
        "started_at": trace.started_at,
        "seconds": trace.seconds,
        "channels": {name: series(trace, name) for name in names},
    }
