"""What is tuned: the unit with its card, its knobs, a setting, and the conditions of a run."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from functools import wraps
from typing import Annotated, Any, Final, Literal, Self, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator
from pydantic.dataclasses import dataclass

from surefoot.errors import BadInput

VOLTAGE_UNITS = frozenset({"mV", "V", "uV", "µV"})
_VOLTS = frozenset({"v", "mv", "uv", "µv", "μv", "volt", "volts", "millivolt", "millivolts", "microvolt", "microvolts"})
"""A voltage however it is spelt: what may never go up must not do so for a small letter."""
CLOCK_UNITS = frozenset({"MHz", "GHz", "kHz"})
POWER_UNITS = frozenset({"W", "mW"})

Toward = Literal["down", "up"]


CHECKED: Final = ConfigDict(extra="forbid", str_strip_whitespace=True)
"""How every model of a card is checked: no field that is not known, no blanks around texts."""

Depth = Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)]
Processor = Annotated[int, Field(strict=True, ge=0)]


MadeT = TypeVar("MadeT")


def _said_in_words(model: type[MadeT]) -> type[MadeT]:
    """Let a model that is made by itself raise BadInput in words, as one that is read from a card does."""
    check = model.__init__

    @wraps(check)
    def init(self: MadeT, *places: Any, **fields: Any) -> None:
        try:
            check(self, *places, **fields)
        except ValidationError as error:
            name = fields.get("name", places[0] if places else "")
            raise BadInput("; ".join(_complaints(error)), where=f"{model.__name__.lower()} {name!r}") from None

    model.__init__ = init  # type: ignore[assignment, method-assign]
    return model


def _printable(text: str) -> str:
    if not text or not text.isprintable():
        raise ValueError(f"it must be a printable text, got {text!r}")
    return text


Word = Annotated[str, AfterValidator(_printable)]


@_said_in_words
@dataclass(frozen=True, config=CHECKED)
class Knob:
    """One quantity that may be changed on a unit, seen by the search as a depth.

    ``name``: what the user calls it; ``domain``: the part it belongs to (``cpu``, ``gpu``, ...); ``unit``: ``mV``,
    ``MHz``, ``W``; ``toward``: the risky side, ``down`` or ``up``; ``step``: the distance between two settings that
    the hardware takes, and ``limit``: the deepest that may ever be proposed, both positive, as depth in ``unit``.
    ``load``: name of the load that exercises it (None: the domain's default). ``linked_to``: name of the knob that
    this one must move with (a shared rail), or None. ``cores``: numbers of the logical processors that it governs,
    where a card has one offset for each core or pair; () for a knob of the whole part.

    Checked like every model of the card; made by itself it raises BadInput when a field is out of range, and for a
    voltage knob whose risky side is up: a voltage above stock is never tried.
    """

    name: Word
    domain: Word
    unit: Word
    toward: Toward
    step: Depth
    limit: Depth
    load: str | None = None
    linked_to: str | None = None
    cores: tuple[Processor, ...] = ()

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        if len(set(self.cores)) != len(self.cores):
            raise ValueError("cores names a processor twice")
        if self.limit < self.step:
            raise ValueError(f"limit {self.limit:g} is less than one step of {self.step:g} {self.unit}")
        if self.toward == "up" and self.is_voltage:
            raise ValueError(
                "a voltage knob may only go down: Surefoot never sets a voltage above stock; set toward to 'down'"
            )
        if self.linked_to == self.name:
            raise ValueError("linked_to names the knob itself")
        return self

    @property
    def is_voltage(self) -> bool:
        """Whether the knob is a voltage offset."""
        return self.unit.strip().casefold() in _VOLTS

    @property
    def is_clock(self) -> bool:
        """Whether the knob is a clock offset, for which a lost score (`slow`) is a failure."""
        return self.unit in CLOCK_UNITS

    @property
    def sign(self) -> int:
        """-1 where the risky side is down, +1 where it is up."""
        return -1 if self.toward == "down" else 1

    @property
    def deepest(self) -> float:
        """The deepest whole step that does not pass the limit, as depth."""
        return self.whole(self.limit)

    def value_at(self, depth: float) -> float:
        """The signed offset at a depth: depth 95 of a knob toward down is -95. Raises BadInput for a depth < 0."""
        if not math.isfinite(depth) or depth < 0:
            raise BadInput(f"a depth is a number of at least 0, got {depth!r}.", where=f"knob {self.name!r}")
        return self.sign * depth if depth else 0.0

    def depth_of(self, value: float) -> float:
        """The depth of a signed offset. Raises BadInput for one on the safe side of stock or not a number."""
        if not math.isfinite(value):
            raise BadInput(f"{value!r} is not a number.", where=f"knob {self.name!r}")
        depth = self.sign * value
        if depth < 0:
            why = "above stock; Surefoot never sets that" if self.is_voltage else "on the far side of stock"
            raise BadInput(
                f"{value:+g} {self.unit} is {why}.",
                where=f"knob {self.name!r}",
                remedy=f"Allowed: from 0 to {self.value_at(self.limit):+g} {self.unit}.",
            )
        return depth if depth else 0.0

    def whole(self, depth: float) -> float:
        """The deepest whole step that is no deeper than a depth, not below stock."""
        return max(math.floor(depth / self.step + 1e-9), 0) * self.step

    def shallower(self, depth: float) -> float:
        """The deepest whole step that is shallower than a depth, not below stock."""
        return max(math.ceil(depth / self.step - 1e-9) - 1, 0) * self.step

    def nearest(self, depth: float) -> float:
        """The whole step nearest to a depth, within the limit."""
        return min(max(math.floor(depth / self.step + 0.5), 0) * self.step, self.deepest)

    def describe(self, depth: float) -> str:
        """A depth as a tester says it: ``-95 mV``, ``+120 MHz``, ``stock``."""
        return "stock" if depth == 0 else f"{self.value_at(depth):+g} {self.unit}"


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, **CHECKED)


class Setting(_Frozen):
    """A value for every knob, as signed offsets from stock by knob name; a knob left out is at stock.

    Zeros are dropped, so that equal settings compare equal and `Setting()` is stock.
    """

    values: dict[str, float] = Field(default_factory=dict)

    @field_validator("values")
    @classmethod
    def _drop_zeros(cls, values: dict[str, float]) -> dict[str, float]:
        for name, value in values.items():
            if not math.isfinite(value):
                raise ValueError(f"the value of {name!r} is {value!r}; it must be a finite number")
        return {name: float(values[name]) for name in sorted(values) if values[name] != 0}

    def __hash__(self) -> int:
        return hash(self.key)

    @property
    def key(self) -> tuple[tuple[str, float], ...]:
        """Hashable identity, sorted by knob name; () is stock."""
        return tuple(self.values.items())

    @property
    def is_stock(self) -> bool:
        """Whether every knob is at zero."""
        return not self.values

    def value(self, knob: str) -> float:
        """The signed offset of a knob; 0 when it is not named."""
        return self.values.get(knob, 0.0)

    def with_values(self, changes: Mapping[str, float]) -> Setting:
        """A copy with some values replaced."""
        return Setting(values={**self.values, **changes})

    def describe(self, unit: Unit | None = None) -> str:
        """``cpu-core -95 mV, gpu-core +120 MHz``, or ``stock``."""
        if self.is_stock:
            return "stock"
        units = {knob.name: knob.unit for knob in unit.knobs} if unit else {}
        return ", ".join(f"{name} {value:+g} {units.get(name, '')}".rstrip() for name, value in self.values.items())


class Conditions(_Frozen):
    """What else bears on a result. Every field may be None: not known."""

    ambient_celsius: Annotated[float, Field(ge=-30, le=60)] | None = None
    power_mode: str | None = None
    cooling: str | None = None
    supply: str | None = None
    firmware: str | None = None
    driver: str | None = None
    operating_system: str | None = None


class HandsCard(_Frozen):
    """Who applies a setting on this unit.

    ``kind`` ``ask``: the user sets it and confirms; ``command``: ``apply`` is an argument list in which ``{knob-name}``
    stands for the signed offset of that knob (no shell), and ``read_back``, where there is one, an argument list that
    prints ``knob-name value`` or ``knob-name=value`` lines, or the bare value when the unit has one knob;
    ``documented``: ``doors`` gives each knob the interface that sets it, as `surefoot knobs` lists them; ``elevate``
    names the system's own means by which a small helper gets the administrator's rights for what is closed.
    """

    kind: str = "ask"
    apply: tuple[str, ...] = ()
    read_back: tuple[str, ...] = ()
    doors: dict[str, str] = Field(default_factory=dict)
    elevate: Literal["", "sudo", "pkexec", "runas"] = ""
    timeout_seconds: Annotated[float, Field(gt=0, le=600)] = 30.0

    @model_validator(mode="after")
    def _complete(self) -> HandsCard:
        if self.kind == "command" and not self.apply:
            raise ValueError("hands of kind 'command' need 'apply', a list of arguments")
        if self.elevate and self.kind != "documented":
            raise ValueError("'elevate' is for hands of kind 'documented' alone")
        return self


def _expression(text: str) -> re.Pattern[str]:
    try:
        return re.compile(text)
    except re.error as error:
        raise ValueError(f"{text!r} is no regular expression: {error}") from None


class LoadCard(_Frozen):
    """A load of the user's own: a command (argument list, no shell), or a task done by hand when ``command`` is empty.

    ``exercises``: the knob or domain names it bears on. ``ok_exit``: exit codes that mean the work was right.
    ``soft``: whether a failure is likely to show as a wrong result (cheap) and not as a crash. ``score``: a regular
    expression whose first group is a number in a line of the command's output, with ``score_unit`` and
    ``higher_is_better``; ``error_lines``: regular expressions of lines that mean that the work was wrong, whatever the
    exit code; ``pass_minutes``: the longest that one pass may take, more being a hang.
    """

    name: str
    command: tuple[str, ...] = ()
    instructions: str = ""
    exercises: tuple[str, ...] = ()
    ok_exit: tuple[int, ...] = (0,)
    soft: bool = False
    score: str = ""
    score_unit: str = "points"
    higher_is_better: bool = True
    error_lines: tuple[str, ...] = ()
    pass_minutes: Annotated[float, Field(gt=0, le=10_000)] | None = None

    @field_validator("score")
    @classmethod
    def _one_group(cls, score: str) -> str:
        if score and _expression(score).groups < 1:
            raise ValueError(f"{score!r} has no group; put the number in brackets, as in 'score: ([0-9.]+)'")
        return score

    @field_validator("error_lines")
    @classmethod
    def _expressions(cls, error_lines: tuple[str, ...]) -> tuple[str, ...]:
        for text in error_lines:
            if _expression(text).match(""):
                raise ValueError(f"{text!r} fits an empty line, so that every line would be an error")
        return error_lines


class GoalCard(_Frozen):
    """What "stable" must mean for this unit: MTTF of at least ``mttf_hours`` hours of load, at ``confidence``.

    ``effort``: how much bench time and risk its owner gives a search for depth.
    """

    mttf_hours: Annotated[float, Field(gt=0, le=100_000)] = 100.0
    confidence: Annotated[float, Field(ge=0.5, lt=1)] = 0.90
    effort: Literal["quick", "usual", "thorough"] = "usual"


class RemoteCard(_Frozen):
    """A unit that is worked on from another machine (``--on``), as argument lists, no shell.

    ``agent``: what is run on the unit to serve the line; ``switch_power``: run at the bench when the unit does not come
    back by itself, switches its power off and on.
    """

    agent: Annotated[tuple[str, ...], Field(min_length=1)] = ("surefoot", "agent")
    switch_power: tuple[str, ...] = ()


class Unit(_Frozen):
    """The one machine under test, with its card: parts, firmware, cooling, knobs, limits.

    ``sensors_from``: a log that another program keeps writing on this machine, followed as a live sensor; ``pool``:
    a file of evidence of such units, of which the search is lent a prior.
    """

    name: str
    parts: dict[str, str] = Field(default_factory=dict)
    firmware: str | None = None
    driver: str | None = None
    cooling: str | None = None
    power_mode: str | None = None
    supply: str | None = None
    supply_watts: Annotated[float, Field(gt=0, le=5000)] | None = None
    ceilings_celsius: dict[str, Annotated[float, Field(ge=30, le=120)]] = Field(default_factory=dict)
    power_limits_watts: dict[str, Annotated[float, Field(gt=0, le=2000)]] = Field(default_factory=dict)
    throttle_celsius: dict[str, Annotated[float, Field(ge=30, le=120)]] = Field(default_factory=dict)
    knobs: tuple[Knob, ...] = ()
    hands: HandsCard = HandsCard()
    sensors_from: str = ""
    pool: str = ""
    remote: RemoteCard = RemoteCard()
    loads: tuple[LoadCard, ...] = ()
    goal: GoalCard = GoalCard()
    notes: str = ""

    @field_validator("name")
    @classmethod
    def _named(cls, name: str) -> str:
        if not name or len(name) > 80 or not name.isprintable():
            raise ValueError("a unit's name is 1 to 80 printable characters on one line")
        return name

    @model_validator(mode="after")
    def _consistent(self) -> Unit:
        names = [knob.name for knob in self.knobs]
        if len(set(names)) != len(names):
            raise ValueError("two knobs have the same name")
        by_name = {knob.name: knob for knob in self.knobs}
        owners: dict[tuple[str, int], str] = {}
        for knob in self.knobs:
            for core in knob.cores:
                other = owners.setdefault((knob.domain, core), knob.name)
                if other not in (knob.name, knob.linked_to) and by_name[other].linked_to != knob.name:
                    raise ValueError(f"knobs {other!r} and {knob.name!r} both govern processor {core}")
        for knob in self.knobs:
            if knob.linked_to is None:
                continue
            leader = by_name.get(knob.linked_to)
            if leader is None:
                raise ValueError(f"knob {knob.name!r} is linked to {knob.linked_to!r}, which is not on the card")
            if leader.linked_to is not None:
                raise ValueError(f"knob {knob.name!r} is linked to {leader.name!r}, which is itself linked")
            if (leader.unit, leader.toward) != (knob.unit, knob.toward):
                raise ValueError(f"knob {knob.name!r} is linked to {leader.name!r} but has another unit or side")
        return self

    def knob(self, name: str) -> Knob:
        """The knob of that name. Raises BadInput naming the knobs there are."""
        for knob in self.knobs:
            if knob.name == name:
                return knob
        there = ", ".join(knob.name for knob in self.knobs) or "none"
        raise BadInput(f"there is no knob {name!r}.", where=f"unit {self.name!r}", remedy=f"Its knobs: {there}.")

    def leaders(self) -> tuple[Knob, ...]:
        """The knobs that are searched: those not linked to another."""
        return tuple(knob for knob in self.knobs if knob.linked_to is None)

    def followers(self, leader: str) -> tuple[Knob, ...]:
        """The knobs that move with a leader."""
        return tuple(knob for knob in self.knobs if knob.linked_to == leader)

    def setting_at(self, depths: Mapping[str, float]) -> Setting:
        """The setting with each named leader at a depth, its linked knobs moved along (no deeper than their limit)."""
        values: dict[str, float] = {}
        for name, depth in depths.items():
            knob = self.knob(name)
            values[name] = knob.value_at(depth)
            for follower in self.followers(name):
                values[follower.name] = follower.value_at(min(depth, follower.deepest))
        return Setting(values=values)

    def depths(self, setting: Setting) -> dict[str, float]:
        """The depth of every knob of the unit at a setting. Raises BadInput for an unknown knob or a wrong side."""
        for name in setting.values:
            self.knob(name)
        return {knob.name: knob.depth_of(setting.value(knob.name)) for knob in self.knobs}


ModelT = TypeVar("ModelT", bound=BaseModel)


def validated(model: type[ModelT], data: Any, where: str) -> ModelT:
    """Build a model from untrusted data. Raises BadInput with every complaint in words, never pydantic's own error."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise BadInput("; ".join(_complaints(error)), where=where) from None


def _complaints(error: ValidationError) -> Iterator[str]:
    for item in error.errors(include_url=False):
        place = ".".join(str(part) for part in item["loc"])
        text = item["msg"].removeprefix("Value error, ")
        if item["type"] in ("extra_forbidden", "unexpected_keyword_argument"):
            text = "this field is not known"
        elif item["type"] in ("missing", "missing_argument"):
            text = "this field is missing"
        elif item["type"] in ("dataclass_type", "model_type"):
            text = "it must be a table of fields"
        yield f"{place}: {text}" if place else text
