"""Which column becomes which channel: headers, values, corrections and rival claims weighed together."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from surefoot.errors import BadInput
from surefoot.logs import words
from surefoot.logs.cells import Cells
from surefoot.logs.measures import Measure, measure, split_unit
from surefoot.logs.ordinary import UNSURE, Mask, doubt, nothing_measured, reckon, sleeping_zeros
from surefoot.logs.plausible import bare_unit, outside
from surefoot.logs.recognise import TAKE_FROM, Guess, guess
from surefoot.logs.switched import falls, switches
from surefoot.runs import Channel, Floats

IGNORE = "ignore"
TIME_WORDS = ("time", "date")
_CORRECTION = re.compile(r"^(?P<channel>[^\[\]]+?)\s*(?:\[(?P<unit>[^\[\]]+)\])?$")
_WORD = re.compile(r"^[a-z0-9][a-z0-9\-]*$")


@dataclass(frozen=True)
class Column:
    """A column of the file as it was understood.

    ``index``: place in the file, from 0; ``header``: its text; ``unit``: as written, "" when not; ``channel``: the
    canonical channel it became, or None; ``confidence``: 0 to 1; ``how``: in words; ``sample``: some raw cells;
    canonical value = raw value * ``factor`` + ``offset``; ``role``: ``channel``, ``time``, ``ignored`` (asked for or of
    no use) or ``unknown``; ``suggestion``: a channel that it may be, where the confidence was too low to take it.
    """

    index: int
    header: str
    unit: str
    channel: str | None
    confidence: float
    how: str
    sample: tuple[str, ...]
    factor: float = 1.0
    offset: float = 0.0
    role: str = "unknown"
    suggestion: str | None = None


@dataclass
class Claim:
    """A column on its way to a channel."""

    column: Column
    guess: Guess
    values: Floats
    measure: Measure | None
    fixed: bool = False
    gaps: tuple[tuple[float, Mask], ...] = ()


def correction_for(corrections: Mapping[str, str], header: str, name: str) -> str | None:
    """What the user said of a column: its header text, in any case, with or without its unit."""
    wanted = {" ".join(key.split()).lower(): value for key, value in corrections.items()}
    for key in (header, name):
        said = wanted.get(" ".join(key.split()).lower())
        if said is not None:
            return said.strip()
    return None


def parse_correction(text: str, header: str) -> tuple[str, Measure | None]:
    """A correction as (channel, ``ignore``, ``time`` or ``date``; unit or None).

    ``cpu.temperature[°F]`` names a unit, and so does ``time[ms]``.

    Raises BadInput for what is none of these.
    """
    found = _CORRECTION.match(text)
    word = found["channel"].strip() if found else text
    where = f"column {header!r}"
    if word.lower() in (IGNORE, *TIME_WORDS):
        spelled = found["unit"] if found else None
        told = measure(spelled) if spelled else None
        if spelled and (word.lower() != "time" or told is None or told.family != "time"):
            raise BadInput(
                f"{spelled!r} is no unit of time.", where=where, remedy="Give time[s], time[ms] or time[min]."
            )
        return word.lower(), told
    try:
        channel = Channel.parse(word.lower())
    except BadInput as error:
        raise BadInput(
            error.what, where=where, remedy="Give a channel such as cpu.temperature, or ignore, time or date."
        ) from None
    if not _WORD.match(channel.domain) or (channel.part and not _WORD.match(channel.part)):
        raise BadInput(f"{word!r} is not a channel.", where=where, remedy="Parts are letters, digits and '-'.")
    unit = None
    if found and found["unit"]:
        unit = measure(found["unit"])
        if unit is None:
            raise BadInput(f"the unit {found['unit']!r} is not known.", where=where)
    return str(channel), unit


def make_claim(
    index: int, header: str, name: str, unit: str, cells: Cells, sample: tuple[str, ...], said: str | None
) -> Claim:
    """What one column claims to be, by the user's word or by its header, its unit and its values."""
    written = measure(unit) if unit else None
    contradicted = ""
    if written is None and cells.measure is not None and cells.bare:
        contradicted = f"{cells.bare} of its cells have no unit, taken as {cells.measure.unit} as the others"
    if cells.strange and cells.measure is not None:
        contradicted = f"its cells are in {cells.measure.unit}, but also {cells.strange!r}"
    if written is None and cells.measure is not None:
        written, unit = cells.measure, cells.measure.unit
    if written is not None and cells.measure is not None and cells.measure != written:
        # What stands beside the number is nearer to it than what stands above the column.
        contradicted = f"the header says {unit}, the cells {cells.measure.unit}"
        written, unit = cells.measure, cells.measure.unit
    empty = not np.isfinite(cells.values[:64]).any() and not np.isfinite(cells.values).any()
    blank = Column(index, header, unit, None, 0.0, "", sample)
    if said is not None:
        channel, own = parse_correction(said, header)
        if channel == IGNORE:
            return Claim(
                replace(blank, role="ignored", how="ignored, as you said", confidence=1.0),
                Guess(),
                cells.values,
                None,
                True,
            )
        quantity = Channel.parse(channel).quantity
        applied = own or _fitting(written, quantity) or bare_unit(quantity, cells.values)
        column = replace(blank, channel=channel, confidence=1.0, how="as you said", role="channel")
        return Claim(column, Guess(quantity=quantity), cells.values, applied, True)
    if empty:
        why = "words, not numbers" if cells.texts > 0.5 else "no value in it"
        return Claim(
            replace(blank, how=why, role="ignored" if cells.texts <= 0.5 else "unknown"), Guess(), cells.values, None
        )
    found = guess(name, written, boolean=cells.boolean)
    if cells.texts > 0.5:
        return Claim(replace(blank, how="words, not numbers"), replace(found, quantity=""), cells.values, None)
    if not found.quantity:
        return Claim(replace(blank, how=found.how), found, cells.values, None)
    how, confidence = found.how, found.confidence
    switched, to = switches(found.quantity, cells.values, written.factor if written is not None else 1.0)
    if switched.size:
        how, confidence = f"{how}; from one sample to the next its numbers go on as in {to}", min(confidence, UNSURE)
    if contradicted:
        how, confidence = f"{how}; {contradicted}", min(confidence, UNSURE)
    applied = written
    channel_found = Channel.parse(found.channel)
    raw, gaps = _without_sentinels(channel_found, cells.values)
    if written is None and not found.quantity.endswith("-flag"):
        if found.quantity in ("busy", "duty", "charge"):
            applied = bare_unit(found.quantity, raw)
        else:
            reckoned = reckon(channel_found, raw)
            applied = reckoned.measure
            if reckoned.doubt:
                how += f"; {reckoned.doubt}"
                confidence = min(confidence, UNSURE)
            if applied is not None and applied.unit == "%":
                return _as_duty(blank, found, raw, how, confidence)
        if applied is not None and (applied.factor != 1.0 or applied.offset):
            how += f"; no unit written, {applied.unit} by the size of its values"
            confidence -= 0.05
    elif written is not None and written.family == "share" and found.quantity.endswith("-flag"):
        applied = Measure("share", "%", 0.01)
    values = _converted(raw, applied)
    raw, values, more = _without_zeros(channel_found, raw, values)
    gaps += more
    wrong = outside(found.quantity, values)
    share = float(wrong.sum()) / max(1, int(np.isfinite(values).sum())) if wrong.any() else 0.0
    if share > 0.05:
        how += f"; {share:.0%} of its values are not plausible for a {found.quantity}"
        confidence *= 0.4
    else:
        why = falls(values) if found.quantity == "temperature" and channel_found.domain != "room" else ""
        why = why or doubt(channel_found, np.where(wrong, np.nan, values) if share else values)
        if why:
            how += f"; {why}"
            confidence = min(confidence, UNSURE)
    column = replace(blank, channel=found.channel, confidence=round(max(confidence, 0.0), 2), how=how, role="channel")
    return Claim(column, found, raw, applied, gaps=gaps)


def _as_duty(blank: Column, found: Guess, raw: Floats, how: str, confidence: float) -> Claim:
    """A fan whose bare numbers are percent and not revolutions."""
    as_duty = replace(found, quantity="duty")
    column = replace(blank, channel=as_duty.channel, confidence=min(confidence, UNSURE), how=how, role="channel")
    return Claim(column, as_duty, raw, None)


Gaps = tuple[tuple[float, Mask], ...]


def _without_sentinels(channel: Channel, values: Floats) -> tuple[Floats, Gaps]:
    """Raw values without those that say that nothing was measured, and which were taken for gaps."""
    found = tuple(nothing_measured(channel, values))
    for _, at in found:
        values = np.where(at, np.nan, values)
    return values, found


def _without_zeros(channel: Channel, raw: Floats, values: Floats) -> tuple[Floats, Floats, Gaps]:
    if not (raw == 0).any():
        return raw, values, ()
    at = sleeping_zeros(channel, np.where(raw == 0, 0.0, values))
    if at is None:
        return raw, values, ()
    return np.where(at, np.nan, raw), np.where(at, np.nan, values), ((0.0, at),)


def _fitting(written: Measure | None, quantity: str) -> Measure | None:
    if written is None:
        return None
    fits = quantity in words.FAMILY_QUANTITIES.get(written.family, ()) or written.family == "flag"
    if written.family == "share" and quantity.endswith("-flag"):
        return Measure("share", "%", 0.01)
    return written if fits else None


def _converted(values: Floats, applied: Measure | None) -> Floats:
    if applied is None or (applied.factor == 1.0 and applied.offset == 0.0) or applied.family == "flag":
        return values
    return np.asarray(values * applied.factor + applied.offset)


def settle(claims: list[Claim]) -> tuple[list[Column], dict[str, Floats]]:
    """Settle the claims: statistics give way to live readings, rivals get parts. (columns by index, channels)."""
    _statistics(claims)
    _lone_numbers(claims)
    for claim in claims:
        column = claim.column
        if column.channel and not claim.fixed and column.confidence < TAKE_FROM:
            claim.column = replace(
                column,
                channel=None,
                role="unknown",
                suggestion=column.channel,
                how=f"perhaps {column.channel}: {column.how}",
            )
    _rivals(claims)
    columns: list[Column] = []
    channels: dict[str, Floats] = {}
    for claim in claims:
        column = claim.column
        name = column.channel
        if name:
            values = _converted(claim.values, claim.measure)
            if claim.measure is not None and claim.measure.family != "flag":
                column = replace(column, factor=claim.measure.factor, offset=claim.measure.offset)
            channels[name] = values
        columns.append(column)
    return columns, channels


def _statistics(claims: list[Claim]) -> None:
    """Columns of minima, maxima and averages beside a live reading are no readings of their own."""
    live = {claim.guess.base for claim in claims if claim.column.channel and not claim.guess.statistic}
    for claim in claims:
        kind, column = claim.guess.statistic, claim.column
        if not kind or not column.channel or claim.fixed:
            continue
        said = {"min": "minimum", "max": "maximum", "avg": "average"}[kind]
        if claim.guess.base in live:
            claim.column = replace(column, channel=None, role="ignored", how=f"the {said} beside a live reading")
            continue
        there = claim.values[np.isfinite(claim.values)]
        steps = np.diff(there)
        one_way = (kind == "max" and np.all(steps >= 0)) or (kind == "min" and np.all(steps <= 0))
        if there.size > 10 and one_way and np.any(steps != 0):
            claim.column = replace(
                column, channel=None, role="ignored", how=f"a running {said}: it only ever goes one way"
            )
            continue
        part = {"min": "lowest", "max": "highest", "avg": "average"}[kind]
        channel = Channel.parse(column.channel)
        part = f"{channel.part}-{part}" if channel.part else part
        claim.column = replace(
            column,
            channel=str(replace(channel, part=part)),
            confidence=min(round(column.confidence - 0.1, 2), UNSURE),
            how=f"{column.how}; the {said} over its parts",
        )


def _lone_numbers(claims: list[Claim]) -> None:
    """A number that tells nothing apart is dropped: one card, one fan, one processor."""
    numbered = {claim.guess.domain for claim in claims if claim.column.channel and not claim.fixed}
    cards = sorted(domain for domain in numbered if re.fullmatch(r"gpu-[0-9]", domain))
    if "gpu" not in numbered:
        # As the live sensors name them: the first card is gpu, the second gpu-2.
        names = {card: "gpu" if place == 0 else f"gpu-{place + 1}" for place, card in enumerate(cards)}
        for claim in claims:
            if claim.column.channel and not claim.fixed and claim.guess.domain in names:
                channel = replace(Channel.parse(claim.column.channel), domain=names[claim.guess.domain])
                claim.column = replace(claim.column, channel=str(channel))
    by_whole: defaultdict[tuple[str, str], list[Claim]] = defaultdict(list)
    for claim in claims:
        if claim.column.channel:
            channel = Channel.parse(claim.column.channel)
            by_whole[channel.domain, channel.quantity].append(claim)
    for group in by_whole.values():
        if len(group) != 1 or group[0].fixed:
            continue
        claim = group[0]
        channel = Channel.parse(claim.column.channel or "")
        glued = re.fullmatch(r"core-\d+", channel.part) and not words.CORE.search(words.plain(claim.column.header))
        if re.fullmatch(r"fan-\d+", channel.part) or glued:
            claim.column = replace(claim.column, channel=str(replace(channel, part="")))


def _rivals(claims: list[Claim]) -> None:
    """Where two columns claim one channel the surer keeps it; another with the same values is left out, else a part."""
    taken: dict[str, Claim] = {}
    moving = {claim.column.channel for claim in claims if claim.column.channel and not _stands_still(claim)}
    ranked = sorted(
        (claim for claim in claims if claim.column.channel),
        key=lambda claim: (
            not claim.fixed,
            _stands_still(claim) and claim.column.channel in moving,
            round(-claim.column.confidence, 1),
            _strange_words(claim.column.header),
            -claim.column.confidence,
            claim.column.index,
        ),
    )
    for claim in ranked:
        name = claim.column.channel or ""
        winner = taken.get(name)
        if winner is None:
            taken[name] = claim
            continue
        if claim.fixed:
            raise BadInput(
                f"columns {winner.column.header!r} and {claim.column.header!r} are both mapped to {name}.",
                remedy="Give one of them another part, or map it to ignore.",
            )
        if np.array_equal(claim.values, winner.values, equal_nan=True):
            claim.column = replace(
                claim.column, channel=None, role="ignored", how=f"says the same as column {winner.column.header!r}"
            )
            continue
        channel = Channel.parse(name)
        own = _own_words(claim.column.header, winner.column.header)
        if _differ(claim, winner) and (not own or own.isdigit()) and not winner.fixed:
            winner.column = replace(
                winner.column,
                confidence=min(winner.column.confidence, UNSURE),
                how=f"{winner.column.how}; column {claim.column.header!r} says as much and has other values",
            )
            claim.column = replace(claim.column, confidence=min(claim.column.confidence, UNSURE))
        part = "-".join(piece for piece in (channel.part, own) if piece) or "2"
        number = 2
        new = str(replace(channel, part=part))
        while new in taken:
            new = str(replace(channel, part=f"{part}-{number}"))
            number += 1
        claim.column = replace(
            claim.column,
            channel=new,
            how=f"{claim.column.how}; {name} is column {winner.column.header!r}, which fits it better",
        )
        taken[new] = claim


def _stands_still(claim: Claim) -> bool:
    head = claim.values[:64]
    head = head[np.isfinite(head)]
    if np.any(head != head[:1]):
        return False
    there = claim.values[np.isfinite(claim.values)]
    return there.size > 2 and bool(np.all(there == there[0]))


def _differ(claim: Claim, other: Claim) -> bool:
    """Whether two columns say different things, by more than sensors of one part differ."""
    one, two = _converted(claim.values, claim.measure), _converted(other.values, other.measure)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = np.abs(one - two) / np.maximum(np.abs(one), np.abs(two))
    apart = apart[np.isfinite(apart)]
    return bool(apart.size) and float(np.median(apart)) > 0.1


def _strange_words(header: str) -> int:
    """How many words of a header are none that name a part, a quantity or nothing in particular."""
    plain = words.plain(split_unit(header)[0]).split()
    known = [pattern for _, pattern in (*words.DOMAINS, *words.QUANTITIES, *words.PARTS)]
    return sum(
        word not in words.COMMON and not any(p.search(word) for p in known) for word in plain if not word.isdigit()
    )


def _own_words(header: str, other: str) -> str:
    mine = re.split(r"[^a-z0-9]+", words.plain(split_unit(header)[0]))
    theirs = set(re.split(r"[^a-z0-9]+", words.plain(other)))
    own = [word for word in mine if word and word not in theirs and word not in words.COMMON]
    number = re.search(r"\((\d+)\)$", header)
    if not own and number:
        return number.group(1)
    return "-".join(own[:3])
