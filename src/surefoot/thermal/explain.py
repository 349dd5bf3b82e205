"""A trace in words: what held the clock, whether temperatures settled, how heat leaves, and what to mind."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from typing import Any

from surefoot.errors import BadInput
from surefoot.runs import Trace
from surefoot.thermal.channels import DOMAINS, has_domain, sample_weights, weighted_mean, whole
from surefoot.thermal.doubts import doubts
from surefoot.thermal.fan import Fan, fan_series, fans
from surefoot.thermal.figures import Figures, figures
from surefoot.thermal.heat import Coupling, Resistance, coupling, last_stretch_mean, resistance, room_celsius
from surefoot.thermal.labels import CODE, LABEL_SAYS, sureness
from surefoot.thermal.limiter import LimiterReport, limiters
from surefoot.thermal.limits import Limits
from surefoot.thermal.steady import SteadyState, steady_state
from surefoot.thermal.stretches import heat_points
from surefoot.units import Conditions, Unit


@dataclass(frozen=True, eq=False)
class DomainExplanation:
    """One part: its limiter, where its temperature goes, its thermal resistance, and means over the trace.

    ``figures``: peaks, energy, clock per watt, episodes, spread between cores; ``steady``: None when temperature was
    not measured; ``resistance``: None when it cannot be formed, ``no_resistance`` then says why; ``watts`` and
    ``clock_mhz``: means of the last stretch, None when not measured.
    """

    domain: str
    limiter: LimiterReport
    steady: SteadyState | None
    resistance: Resistance | None
    no_resistance: str
    watts: float | None
    clock_mhz: float | None
    figures: Figures
    sentences: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Explanation:
    """What the sensors of a run say.

    ``domains``: by name; ``coupling``: of CPU and GPU on a shared heatsink where the trace loads them in turn, else
    None; ``fans``: every fan; ``warnings``: what makes the numbers doubtful; ``sentences``: the whole in words, in
    order of interest; ``cannot_judge``: what is missing, and what could not be told without it.
    """

    minutes: float
    samples: int
    channels: tuple[str, ...]
    room_celsius: float | None
    domains: dict[str, DomainExplanation]
    coupling: Coupling | None
    warnings: tuple[str, ...]
    sentences: tuple[str, ...]
    cannot_judge: tuple[str, ...] = ()
    fans: tuple[Fan, ...] = ()

    def as_record(self) -> dict[str, Any]:
        """In JSON's own types: everything but the labels by sample and the draws behind the coupling's intervals."""
        return {
            "minutes": self.minutes,
            "samples": self.samples,
            "channels": list(self.channels),
            "room_celsius": self.room_celsius,
            "domains": {name: _domain_record(part) for name, part in self.domains.items()},
            "coupling": None if self.coupling is None else _coupling_record(self.coupling),
            "warnings": list(self.warnings),
            "sentences": list(self.sentences),
            "cannot_judge": list(self.cannot_judge),
            "fans": [asdict(fan) for fan in self.fans],
        }


def explain(trace: Trace, unit: Unit | None = None, conditions: Conditions | None = None) -> Explanation:
    """Explain a trace. ``unit``: its card gives the limits; ``conditions``: give the room where no sensor does.

    A trace without samples, or without any channel of CPU or GPU, is explained as just that. No errors of its own.
    """
    limits = Limits() if unit is None else Limits.of(unit)
    room = room_celsius(trace, None if conditions is None else conditions.ambient_celsius)
    reports = limiters(trace, limits)
    shared = _coupling(trace, room)
    domains = {
        domain: _explain_domain(trace, domain, reports[domain], room, shared)
        for domain in DOMAINS
        if has_domain(trace, domain)
    }
    warnings = [*doubts(trace, limits)]
    if room is None and domains:
        warnings.append("the room temperature is not known: no thermal resistance, and no comparison with another day")
    sentences = [text for part in domains.values() for text in part.sentences]
    if shared is not None:
        sentences += _coupling_sentences(shared)
    if not len(trace):
        sentences = ["The trace has no samples."]
    elif not domains:
        sentences = ["The trace has no channel of the CPU or the GPU: there is no limiter or heat to judge."]
    return Explanation(
        minutes=trace.duration_minutes,
        samples=len(trace),
        channels=tuple(sorted(trace.channels)),
        room_celsius=room,
        domains=domains,
        coupling=shared,
        warnings=tuple(warnings),
        sentences=tuple(sentences),
        cannot_judge=tuple(
            f"{name.upper()}: {text}" for name, part in domains.items() for text in part.limiter.cannot_judge
        ),
        fans=fans(trace),
    )


def _explain_domain(
    trace: Trace, domain: str, report: LimiterReport, room: float | None, shared: Coupling | None
) -> DomainExplanation:
    celsius = whole(trace, domain, "temperature")
    state = None if celsius is None else steady_state(trace.seconds, celsius, fan_series(trace))
    watts = _last_mean(trace, domain, "power", state)
    clock = _last_mean(trace, domain, "clock", state)
    found, why = _resistance(state, room, watts)
    others = [_last_mean(trace, other, "power", state) or 0.0 for other in DOMAINS if other != domain]
    if found is not None and sum(others) > _OTHER_WATTS:
        found, why = _own(found, domain, shared, sum(others))
    read = figures(trace, domain, report.labels)
    return DomainExplanation(
        domain=domain,
        limiter=report,
        steady=state,
        resistance=found,
        no_resistance=why,
        watts=watts,
        clock_mhz=clock,
        figures=read,
        sentences=_domain_sentences(domain, report, state, found, why, watts, clock, read),
    )


_OTHER_WATTS = 4.0  # of another source: what it adds to this one's temperature is no longer nothing


def _own(found: Resistance, domain: str, shared: Coupling | None, others: float) -> tuple[Resistance | None, str]:
    """Not to the room while another source heats the same sink: the part's own entry of the coupling, where known."""
    if shared is None:
        return None, (
            f"another source drew {others:.0f} W on what may be the same heatsink: load each alone and both together, "
            "and its own can be told"
        )
    place = shared.sources.index(domain)
    value, low, high = (float(table[place, place]) for table in (shared.matrix, shared.low, shared.high))
    own = replace(found, kelvin_per_watt=value, low=low, high=high, coupled=True)
    return own, ""


def _last_mean(trace: Trace, domain: str, quantity: str, state: SteadyState | None) -> float | None:
    values = whole(trace, domain, quantity)
    if values is None:
        return None
    if state is not None and state.known:
        mean = last_stretch_mean(trace, values, state)
    else:
        mean = weighted_mean(values, sample_weights(trace.seconds))
    return mean if math.isfinite(mean) else None


def _resistance(state: SteadyState | None, room: float | None, watts: float | None) -> tuple[Resistance | None, str]:
    if state is None:
        return None, "its temperature was not measured"
    if room is None:
        return None, "the room temperature is not known"
    if watts is None:
        return None, "its power was not measured"
    if not state.known or state.half_width > 10.0:
        return None, "its temperature did not settle and its end cannot be told"
    if watts < 2.0:
        return None, "it drew next to no power"
    try:
        return resistance(state, room, watts), ""
    except BadInput as error:
        return None, error.what


def _domain_sentences(
    domain: str,
    report: LimiterReport,
    state: SteadyState | None,
    found: Resistance | None,
    why: str,
    watts: float | None,
    clock: float | None,
    read: Figures,
) -> tuple[str, ...]:
    name = domain.upper()
    said = [report.sentence]
    if report.main not in ("unknown", "idle"):
        said.append(f"{name}: {LABEL_SAYS[report.main]} because {report.rule}.")
    if report.boost is not None:
        said.append(f"{name}: {report.boost.sentence}.")
    said += [f"{name}: {one.sentence}." for one in read.episodes]
    said += [f"{name}: {text}." for text in report.contradicted]
    said += [f"{name}, for the card: {one.sentence}." for one in report.found if not one.known]
    if len(report.plateaus) > 1:
        levels = ", then ".join(
            f"{level.watts:.0f} W ({level.kind}, from minute {level.from_minutes:.1f})" for level in report.plateaus
        )
        said.append(f"{name}: power was held at {levels}.")
    if state is not None:
        if _holds_itself(report) and not state.reached:
            said.append(
                f"{name} temperature kept at {state.now_celsius:.1f} °C by the part itself: that is where it stays, "
                "and what gives way is its clock."
            )
        else:
            said.append(f"{name} temperature {state.reason}.")
        if state.reached and state.stop_minutes is not None and state.stop_minutes < state.minutes - 0.5:
            said.append(f"{name}: {state.stop_minutes:.0f} minutes would have been enough to know that end to 1 °C.")
    at = [f"{watts:.1f} W" if watts is not None else "", f"{clock:.0f} MHz" if clock is not None else ""]
    if any(at):
        said.append(f"{name} at the end: " + " and ".join(text for text in at if text) + ".")
    if found is not None:
        to = "thermal resistance" if found.coupled else "thermal resistance to the room"
        said.append(f"{name} {to}: {found.sentence}.")
    elif state is not None:
        said.append(f"{name}: no thermal resistance, for {why}.")
    return tuple(said)


def _holds_itself(report: LimiterReport) -> bool:
    """Whether temperature is what is kept at the end: over the last tenth, and one minute at least of a usual trace."""
    last = report.labels[-max(60, report.labels.size // 10) :]
    return bool(last.size and (last == CODE["thermal"]).mean() > 0.8)


def _coupling(trace: Trace, room: float | None) -> Coupling | None:
    if not all(whole(trace, domain, "power") is not None for domain in DOMAINS):
        return None
    try:
        return coupling(heat_points(trace, room))
    except BadInput:
        return None


def _coupling_sentences(shared: Coupling) -> list[str]:
    said = []
    for row, warmed in enumerate(shared.sources):
        for column, source in enumerate(shared.sources):
            if row != column:
                value, low, high = shared.matrix[row, column], shared.low[row, column], shared.high[row, column]
                said.append(
                    f"Each watt of the {source.upper()} warms the {warmed.upper()} by {value:.2f} °C "
                    f"(95 %: {low:.2f} to {high:.2f})."
                )
    if "fans turned" in shared.assumption:
        said.append(f"Heatsink: {shared.assumption}.")
    gains = shared.what_if({shared.sources[-1]: -20.0})
    changes = ", ".join(f"{name.upper()} {change.celsius:+.1f} °C" for name, change in gains.items())
    said.append(f"If the {shared.sources[-1].upper()} drew 20 W less: {changes}.")
    return said


def _domain_record(part: DomainExplanation) -> dict[str, Any]:
    report = {name: value for name, value in vars(part.limiter).items() if name != "labels"}
    report["sure"] = part.limiter.sure
    report["rule"] = part.limiter.rule
    report["rules"] = [{**asdict(use), "sure": sureness(use.confidence)} for use in part.limiter.rules]
    report["plateaus"] = [asdict(level) for level in part.limiter.plateaus]
    report["found"] = [{**asdict(one), "sentence": one.sentence} for one in part.limiter.found]
    boost = part.limiter.boost
    report["boost"] = None if boost is None else {**asdict(boost), "seconds": boost.seconds}
    return {
        "limiter": report,
        "steady": None if part.steady is None else asdict(part.steady),
        "resistance": None if part.resistance is None else asdict(part.resistance),
        "no_resistance": part.no_resistance,
        "watts": part.watts,
        "clock_mhz": part.clock_mhz,
        "figures": {**asdict(part.figures), "first_throttled_minute": part.figures.first_throttled_minute},
        "sentences": list(part.sentences),
    }


def _coupling_record(shared: Coupling) -> dict[str, Any]:
    return {
        "sources": list(shared.sources),
        "kelvin_per_watt": shared.matrix.tolist(),
        "low": shared.low.tolist(),
        "high": shared.high.tolist(),
        "reference_celsius": shared.reference_celsius,
        "residual_celsius": shared.residual_celsius,
        "points": shared.points,
        "assumption": shared.assumption,
        "gpu_20_watts_less": {name: asdict(change) for name, change in shared.what_if({"gpu": -20.0}).items()},
    }
