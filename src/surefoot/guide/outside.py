"""Runs that were made without the tool: one told on the command line, or a hand-kept table with its own headings."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from surefoot.errors import BadInput
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Conditions, Knob, Setting, Unit, validated

UNKNOWN_LOAD: Final = "unknown"

# What people write in such tables, in plain words (common practice, no source). The first that is found counts, so
# the failures that say more stand before those that say less.
OUTCOME_WORDS: Final[Sequence[tuple[Outcome, tuple[str, ...]]]] = (
    (Outcome.DRIVER_RESET, ("driver",)),
    (Outcome.OVERHEAT, ("overheat", "too hot", "ceiling")),
    (Outcome.MISCOMPUTE, ("miscompute", "wrong", "error", "artifact", "artefact", "invalid", "rounding")),
    (Outcome.CORRECTED, ("corrected", "whea", "ecc", "machine check")),
    (Outcome.HANG, ("hang", "hung", "freez", "froze", "stuck", "not respond")),
    (Outcome.RESET, ("crash", "reset", "reboot", "restart", "blue screen", "bsod", "black screen", "panic", "shut")),
    (Outcome.SLOW, ("slow", "score fell", "lost score")),
    (Outcome.VOID, ("void", "abort", "interrupt", "cancel", "skipped", "n/a")),
    (Outcome.RESET, ("unstable", "not stable", "fail", "no", "nok", "bad", "x")),
    (Outcome.HELD, ("held", "pass", "stable", "ok", "okay", "good", "yes", "fine", "done", "y")),
)

FIELD_WORDS: Final[Mapping[str, tuple[str, ...]]] = {
    "minutes": ("minutes", "minute", "min", "mins", "duration", "time under load", "runtime", "length"),
    "hours": ("hours", "hour", "hrs", "h"),
    "outcome": ("outcome", "result", "status", "stable", "verdict", "pass", "held"),
    "when": ("when", "date", "day", "timestamp", "started", "datetime"),
    "load": ("load", "test", "workload", "stress", "program"),
    "note": ("note", "notes", "comment", "comments", "remark", "remarks"),
    "ambient": ("ambient", "room", "room temperature"),
    "mode": ("mode", "power mode", "profile"),
}
IGNORED: Final = "ignore"
YEARS: Final = range(1980, 2200)
TIME_FORMATS: Final = ("%Y-%m-%d", "%Y/%m/%d", "%d.%m.%Y", "%d.%m.%Y %H:%M", "%Y/%m/%d %H:%M")


@dataclass(frozen=True, slots=True)
class Told:
    """A run made elsewhere, ready to be logged."""

    plan: RunPlan
    closing: Closing
    at: datetime | None


def told(
    unit: Unit,
    values: Mapping[str, float],
    outcome: Outcome,
    minutes: float,
    *,
    load: str = UNKNOWN_LOAD,
    at: datetime | None = None,
    note: str = "",
    ambient_celsius: float | None = None,
    power_mode: str | None = None,
    timed: bool = True,
    where: str = "the run",
) -> Told:
    """A run that the user tells of. Linked knobs that are not named move with their leader.

    Raises BadInput for an unknown knob, a value above stock or on the wrong side, or minutes that cannot be.
    """
    if not minutes >= 0 or minutes > 60 * 24 * 366:
        raise BadInput(f"{minutes!r} minutes cannot be.", where=where)
    followed = {
        follower.name: follower.value_at(min(unit.knob(name).depth_of(value), follower.deepest))
        for name, value in values.items()
        for follower in unit.followers(unit.knob(name).name)
        if follower.name not in values
    }
    setting = Setting(values={**values, **followed})
    unit.depths(setting)
    plan = RunPlan(
        unit_name=unit.name,
        setting=setting,
        load=load or UNKNOWN_LOAD,
        planned_minutes=minutes,
        purpose="log",
        source="hand",
        note=note,
        conditions=validated(
            Conditions,
            {
                "ambient_celsius": ambient_celsius,
                "power_mode": power_mode or unit.power_mode,
                "cooling": unit.cooling,
                "supply": unit.supply,
                "firmware": unit.firmware,
                "driver": unit.driver,
            },
            where,
        ),
    )
    return Told(plan, Closing(outcome=outcome, minutes=minutes, judged_by="told by the user", timed=timed), at)


def outcome_of(text: str) -> Outcome | None:
    """The outcome that a word or phrase means, or None when it is not understood."""
    said = text.strip().lower()
    if not said:
        return None
    try:
        return Outcome(said.replace("_", "-").replace(" ", "-"))
    except ValueError:
        pass
    for outcome, words in OUTCOME_WORDS:
        if any(said == word or (len(word) > 3 and word in said) for word in words):
            return outcome
    return None


def match_columns(unit: Unit, header: Sequence[str], given: Mapping[str, str]) -> dict[str, str]:
    """Which column holds what: header text to a knob's name, a field, or ``ignore``.

    ``given`` decides first. A knob is found by its name's words, then by its domain with its unit. Raises BadInput for
    a header or a meaning that is not known.
    """
    meanings = {knob.name for knob in unit.knobs} | set(FIELD_WORDS) | {IGNORED}
    for name, meaning in given.items():
        if name not in header:
            raise BadInput(f"there is no column {name!r}.", where="--map", remedy=f"Columns: {', '.join(header)}.")
        if meaning not in meanings:
            raise BadInput(
                f"{meaning!r} is nothing a column can hold.",
                where="--map",
                remedy=f"Known: {', '.join(sorted(meanings))}.",
            )
    matched = dict(given)
    taken = set(given.values()) - {IGNORED}
    for name in header:
        if name in matched:
            continue
        found = _knob_named(unit, name, taken) or _field_named(name, taken)
        matched[name] = found or IGNORED
        if found:
            taken.add(found)
    return matched


def outcome_named(text: str) -> Outcome:
    """The outcome that a word means. Raises BadInput naming those there are."""
    found = outcome_of(text)
    if found is None:
        allowed = ", ".join(outcome.value for outcome in Outcome)
        raise BadInput(f"{text!r} is not an outcome.", where="--outcome", remedy=f"Allowed: {allowed}.")
    return found


def values_of(unit: Unit, texts: Mapping[str, str]) -> dict[str, float]:
    """Signed offsets by knob from what was typed. Raises BadInput for an unknown knob or a value that cannot be."""
    return {name: _signed(unit.knob(name), text, f"knob {name!r}") for name, text in texts.items()}


def rows_told(
    unit: Unit,
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    columns: Mapping[str, str],
    lines: Sequence[int] | None = None,
) -> tuple[list[Told], list[str]]:
    """The runs of a table and, in words, what could not be understood, with its line. Nothing is silently dropped.

    ``lines``: the line of each row in its file; counted from 2 when not given.

    Raises BadInput when the table has no column for an outcome, or none for any knob.
    """
    meanings = set(columns.values())
    if "outcome" not in meanings:
        raise BadInput(
            "no column says how the runs ended.", where="the table", remedy="Name it: --map 'HEADER=outcome'."
        )
    if not meanings & {knob.name for knob in unit.knobs}:
        raise BadInput(
            "no column holds the value of a knob.", where="the table", remedy="Name it: --map 'HEADER=KNOB-NAME'."
        )
    found: list[Told] = []
    problems: list[str] = []
    for line, row in zip(lines or range(2, len(rows) + 2), rows, strict=True):
        cells = {columns[name]: text for name, text in zip(header, row, strict=False) if columns[name] != IGNORED}
        if not any(text.strip() for text in cells.values()):
            continue
        try:
            found.append(_row_told(unit, cells, f"line {line}"))
        except BadInput as error:
            said = error.message()
            problems.append(said if said.startswith(f"line {line}:") else f"line {line}: {said}")
    return found, problems


def _row_told(unit: Unit, cells: Mapping[str, str], where: str) -> Told:
    outcome = outcome_of(cells["outcome"])
    if outcome is None:
        raise BadInput(f"the outcome {cells['outcome']!r} is not understood.", where=where)
    values = {
        knob.name: _signed(knob, cells[knob.name], where) for knob in unit.knobs if cells.get(knob.name, "").strip()
    }
    minutes = _number(cells["minutes"], where) if cells.get("minutes", "").strip() else None
    if minutes is None and cells.get("hours", "").strip():
        minutes = 60 * _number(cells["hours"], where)
    if minutes is None:
        if outcome is Outcome.HELD:
            raise BadInput("it held, but for how long is not said.", where=where)
        raise BadInput("when it failed is not said.", where=where, remedy="Give the minutes that it ran at most.")
    return told(
        unit,
        values,
        outcome,
        minutes,
        load=cells.get("load", "").strip() or UNKNOWN_LOAD,
        at=moment_of(cells.get("when", ""), where),
        note=cells.get("note", "").strip(),
        ambient_celsius=_number(cells["ambient"], where) if cells.get("ambient", "").strip() else None,
        power_mode=cells.get("mode", "").strip() or None,
        # A hand-kept table says how long the run was given, seldom the moment it failed.
        timed=outcome is Outcome.HELD,
        where=where,
    )


def _signed(knob: Knob, text: str, where: str) -> float:
    """A value as people write it: ``-95``, ``95`` of an undervolt, ``-95 mV``, ``stock``."""
    if text.strip().lower() in ("stock", "default", "none", "-"):
        return 0.0
    value = _number(text, where)
    explicit = text.strip()[:1] in "+-\u2212"
    if knob.toward == "down" and value > 0 and not explicit:
        value = -value
    knob.depth_of(value)
    return value


def _number(text: str, where: str) -> float:
    cleaned = text.strip().replace("\u2212", "-")
    match = re.match(r"[-+]?\d+(?:[.,]\d+)?", cleaned)
    if match is None or re.match(r"[\d.,]", cleaned[match.end() :]):
        raise BadInput(f"{text!r} is not a number.", where=where)
    return float(match.group().replace(",", "."))


def moment_of(text: str, where: str) -> datetime | None:
    """A date and time as people write it, in local time when it names no zone; None for an empty text."""
    text = text.strip()
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        for form in TIME_FORMATS:
            try:
                moment = datetime.strptime(text, form)
                break
            except ValueError:
                continue
        else:
            raise BadInput(
                f"the date {text!r} is not understood.",
                where=where,
                remedy="Write it as 2026-11-25 or 2026-11-25 14:30.",
            ) from None
    if moment.year not in YEARS:
        raise BadInput(
            f"the year of {text!r} cannot be.", where=where, remedy=f"Allowed: {YEARS.start} to {YEARS.stop - 1}."
        )
    return moment.astimezone(UTC)


def _words(text: str) -> list[str]:
    return re.findall(r"[a-zµ]+", text.lower())


def _knob_named(unit: Unit, header: str, taken: set[str]) -> str | None:
    said = set(_words(header))
    named = [knob for knob in unit.knobs if knob.name not in taken and set(_words(knob.name)) <= said]
    if named:
        return max(named, key=lambda knob: len(_words(knob.name))).name
    quantity = {"offset", "undervolt", "overclock", "voltage", "clock"}
    by_unit = [
        knob
        for knob in unit.leaders()
        if knob.name not in taken and knob.unit.lower() in said and (knob.domain.lower() in said or said & quantity)
    ]
    return by_unit[0].name if len(by_unit) == 1 else None


def _field_named(header: str, taken: set[str]) -> str | None:
    said = " ".join(_words(header))
    for field, names in FIELD_WORDS.items():
        if field not in taken and said in names:
            return field
    for field, names in FIELD_WORDS.items():
        if field not in taken and any(len(name) > 2 and name in said.split() for name in names):
            return field
    return None
