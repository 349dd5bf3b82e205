"""Logs designed to be misread: each with the truth, so that anything taken wrongly without a word is seen.

Generated, every one, from one made-up machine; no logger's format is imitated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from surefoot.errors import SurefootError
from surefoot.logs import ASK_BELOW, read_log

ROWS = 40
NAMES = (
    "CPU Temperature [°C]",
    "CPU Clock [MHz]",
    "CPU Power [W]",
    "GPU Temperature [°C]",
    "GPU Power [W]",
    "CPU Fan [rpm]",
)
CHANNELS = ("cpu.temperature", "cpu.clock", "cpu.power", "gpu.temperature", "gpu.power", "cpu.fan")


def machine(rows: int = ROWS, seed: int = 5) -> dict[str, np.ndarray[Any, Any]]:
    """What a made-up machine's sensors said, a sample a second: idle, then a load that warms it."""
    random = np.random.default_rng(seed)
    at = np.arange(rows)
    load = (at >= rows // 4).astype(float)
    rise = load * (1 - np.exp(-np.maximum(at - rows // 4, 0) / 8))
    return {
        "cpu.temperature": np.round(44 + 27 * rise + random.normal(0, 0.3, rows), 1),
        "cpu.clock": np.round(3410 - 180 * rise + random.normal(0, 4, rows), 0),
        "cpu.power": np.round(11.3 + 29 * load + random.normal(0, 0.4, rows), 2),
        "gpu.temperature": np.round(39 + 22 * rise + random.normal(0, 0.3, rows), 1),
        "gpu.power": np.round(17.4 + 88 * load + random.normal(0, 0.8, rows), 2),
        "cpu.fan": np.round(910 + 640 * rise + random.normal(0, 5, rows), 0),
    }


@dataclass
class Case:
    """``truth``: channel to its right values at ``seconds``; a channel not named may not be there, unless ``free``."""

    data: bytes
    truth: dict[str, np.ndarray[Any, Any]] = field(default_factory=machine)
    seconds: np.ndarray[Any, Any] | None = None
    free: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    asks: bool | None = None
    options: dict[str, Any] = field(default_factory=dict)


def stamp(row: int) -> str:
    return f"2031-05-04 09:{row // 60:02d}:{row % 60:02d}"


def cells(values: dict[str, np.ndarray[Any, Any]] | None = None) -> list[list[str]]:
    """The machine's samples as cells, the stamp first."""
    values = machine() if values is None else values
    count = len(next(iter(values.values())))
    return [[stamp(row), *(f"{column[row]:g}" for column in values.values())] for row in range(count)]


def text(rows: Sequence[Sequence[str]], header: Sequence[str] | None = None, delimiter: str = ",") -> bytes:
    top = ["Time", *NAMES] if header is None else header
    return ("\n".join(delimiter.join(row) for row in [top, *rows]) + "\n").encode()


def silently_wrong(case: Case) -> list[str]:
    """What a reader would store that is not true, and say nothing of. Empty when all is right, asked or refused."""
    try:
        log = read_log(case.data, **case.options)
    except SurefootError:
        return []
    if log.questions:
        return []
    wrong = []
    seconds = np.arange(len(next(iter(case.truth.values())))) if case.seconds is None else case.seconds
    seconds = np.asarray(seconds, dtype=float)
    sure = {column.channel for column in log.columns if column.channel and column.confidence >= ASK_BELOW}
    shift = 0.0
    started = log.trace.started_at
    if started is not None and case.seconds is None:
        shift = started.hour * 3600 + started.minute * 60 + started.second - 9 * 3600.0
    for channel, values in log.trace.channels.items():
        if channel not in case.truth:
            if channel not in case.free and np.isfinite(values).any():
                wrong.append(f"{channel} is not there")
            continue
        if channel not in sure:
            continue
        for moment, value in zip(log.trace.seconds + shift, values, strict=True):
            if np.isnan(value):
                continue
            place = np.flatnonzero(np.abs(seconds - moment) < 1e-3)
            if not place.size:
                wrong.append(f"{channel}: no sample at {moment}")
                break
            true = case.truth[channel][place]
            if not np.any(np.isclose(true, value, rtol=1e-4, atol=1e-6)):
                wrong.append(f"{channel} at {moment:g} s: {value:g}, in truth {true}")
                break
    return wrong


CASES: dict[str, Callable[[], Case]] = {}


def case(make: Callable[[], Case]) -> Callable[[], Case]:
    CASES[make.__name__] = make
    return make


def each(kind: str, makes: dict[str, Callable[[], Case]]) -> None:
    """Several cases of a kind."""
    for name, make in makes.items():
        CASES[f"{kind}: {name}"] = make


# --- rows that are no longer under their header ---


def _commas(places: int, keep_whole: bool) -> Case:
    values = machine()
    rows = [
        [stamp(row), *(f"{column[row]:.{places}f}".replace(".", ",") for column in values.values())]
        if not keep_whole
        else [stamp(row), *(f"{column[row]:g}".replace(".", ",") for column in values.values())]
        for row in range(ROWS)
    ]
    return Case(text(rows), values)


def _header_with_commas() -> Case:
    values = {name: machine()[name] for name in ("cpu.temperature", "cpu.power")}
    rows = [[str(row), *(f"{column[row]:.1f}".replace(".", ",") for column in values.values())] for row in range(ROWS)]
    return Case(text(rows, ["Elapsed [s]", "CPU temperature, °C", "CPU power, W"]), values, np.arange(ROWS))


each(
    "unquoted decimal commas",
    {
        "one place": lambda: _commas(1, False),
        "two places": lambda: _commas(2, False),
        "whole numbers without": lambda: _commas(1, True),
        "commas in the header too": _header_with_commas,
    },
)


def _changed(change: Callable[[int, list[str]], list[str]], **more: Any) -> Case:
    rows = [change(row, cell) for row, cell in enumerate(cells())]
    return Case(text(rows), **more)


def _insert(at: int, what: str, keep_width: bool = False) -> Callable[[list[str]], list[str]]:
    def change(row: list[str]) -> list[str]:
        new = [*row[:at], what, *row[at:]]
        return new[: len(row)] if keep_width else new

    return change


def _drop(at: int, pad: bool = False) -> Callable[[list[str]], list[str]]:
    def change(row: list[str]) -> list[str]:
        new = [*row[:at], *row[at + 1 :]]
        return [*new, ""] if pad else new

    return change


def _where(
    which: Callable[[int], bool], change: Callable[[list[str]], list[str]], row: int, cell: list[str]
) -> list[str]:
    return change(cell) if which(row) else cell


for _name, _which in {
    "one row": lambda row: row == 17,
    "the first row": lambda row: row == 0,
    "the last row": lambda row: row == ROWS - 1,
    "two rows": lambda row: row in (11, 29),
    "a block": lambda row: 20 <= row < 26,
    "from half way on": lambda row: row >= 20,
    "from the third on": lambda row: row >= 3,
    "all but a few": lambda row: row < 36,
    "every row": lambda row: True,
    "every other row": lambda row: row % 2 == 1,
}.items():
    for _how, _change in {
        "a cell inserted": _insert(3, "27.5"),
        "an empty cell inserted": _insert(2, ""),
        "a cell inserted after the time": _insert(1, "0"),
        "a word inserted": _insert(4, "idle"),
        "shifted right, the end lost": _insert(1, "", keep_width=True),
        "shifted right half way, the end lost": _insert(3, "5", keep_width=True),
        "a cell lost": _drop(2),
        "a cell lost, filled up": _drop(2, pad=True),
        "the first value lost, filled up": _drop(1, pad=True),
    }.items():
        CASES[f"{_how}: {_name}"] = partial(_changed, partial(_where, _which, _change))


@case
def two_columns_swapped_half_way_without_a_header() -> Case:
    return _changed(lambda row, cell: [cell[0], cell[2], cell[1], *cell[3:]] if row >= 20 else cell)


@case
def inserted_in_lines_that_end_in_their_delimiter() -> Case:
    return _changed(lambda row, cell: [*(_insert(3, "27.5")(cell) if row == 17 else cell), ""])


@case
def header_with_a_name_too_many() -> Case:
    return Case(text(cells(), ["Time", "Date", *NAMES]))


@case
def header_with_a_name_too_few() -> Case:
    return Case(text(cells(), ["Time", *NAMES[1:]]))


@case
def rows_numbered_without_a_name() -> Case:
    return Case(text([[str(place), *row] for place, row in enumerate(cells())]))


# --- a second header in the middle ---


def _second(order: Sequence[int], extra: tuple[str, str] | None = None, again: bool = False) -> Case:
    rows = cells()

    def turned(row: list[str]) -> list[str]:
        new = [row[0], *(row[1 + place] for place in order)]
        return [*new, extra[1]] if extra else new

    top = ["Time", *(NAMES[place] for place in order), *([extra[0]] if extra else [])]
    body = [*rows[:20], top, *(turned(row) for row in rows[20 : 30 if again else ROWS])]
    if again:
        body += [["Time", *NAMES], *rows[30:]]
    return Case(text(body), free=("room.temperature", "gpu.clock"))


each(
    "a second header",
    {
        "two columns swapped": lambda: _second([1, 0, 2, 3, 4, 5]),
        "the parts swapped": lambda: _second([3, 1, 4, 0, 2, 5]),
        "turned round": lambda: _second([5, 4, 3, 2, 1, 0]),
        "a column more": lambda: _second([0, 1, 2, 3, 4, 5], ("Room temperature [°C]", "22.5")),
        "a column more and swapped": lambda: _second([2, 1, 0, 4, 3, 5], ("GPU Clock [MHz]", "1500")),
        "a column less": lambda: _second([0, 1, 2, 3, 4]),
        "the first less": lambda: _second([1, 2, 3, 4, 5]),
        "and the first again": lambda: _second([1, 0, 4, 3, 2, 5], again=True),
    },
)


# --- rivals for one channel: the meaning decides ---

_RIVALS = {
    "power": (
        "cpu.power", "W", [
            "CPU Power Set Point [W]", "CPU Power Setpoint [W]", "CPU Rated Power [W]", "CPU Power Limit [W]",
            "CPU Average Power [W]", "CPU Power Max [W]", "CPU Peak Power [W]", "CPU TDP [W]", "CPU Nominal Power [W]",
            "CPU Power Budget [W]", "CPU Power Target [W]", "CPU Power Cap [W]", "CPU Power (15 s avg) [W]",
            "CPU Design Power [W]", "CPU Power Threshold [W]", "CPU Requested Power [W]", "CPU Default Power [W]",
            "CPU Power ceiling [W]", "CPU Nennleistung [W]", "CPU Leistung Sollwert [W]", "CPU Leistung Mittelwert [W]",
            "CPU Leistungsgrenze [W]", "CPU Puissance moyenne [W]", "CPU Puissance consigne [W]",
            "CPU Power Previous [W]",
            "CPU Power Smoothed [W]", "CPU Power 95th percentile [W]", "CPU Forecast Power [W]", "CPU Low Power [W]",
            "CPU Power Allowed [W]", "CPU Power Alarm [W]", "CPU Power Rolling Mean [W]",
        ],
    ),
    "temperature": (
        "cpu.temperature", "°C", [
            "CPU Temperature Limit [°C]", "CPU Critical Temperature [°C]", "CPU Target Temperature [°C]",
            "CPU Temperature Max [°C]", "CPU Shutdown Temperature [°C]", "CPU Warning Temperature [°C]",
            "CPU Throttle Temperature Threshold [°C]", "CPU Temperature Average [°C]", "CPU Temperature setpoint [°C]",
            "CPU Solltemperatur [°C]", "CPU Température limite [°C]", "CPU Max Operating Temperature [°C]",
            "CPU TjMax [°C]", "CPU Temperature Margin [°C]", "CPU Temperature Offset [°C]",
            "CPU Temperatura media [°C]",
        ],
    ),
    "clock": (
        "cpu.clock", "MHz", [
            "CPU Clock Limit [MHz]", "CPU Base Clock [MHz]", "CPU Rated Clock [MHz]", "CPU Clock Target [MHz]",
            "CPU Clock Max [MHz]", "CPU Average Clock [MHz]", "CPU Nominal Frequency [MHz]",
            "CPU Requested Clock [MHz]",
            "CPU Clock Set [MHz]", "CPU Default Clock [MHz]", "CPU Takt Vorgabe [MHz]", "CPU Frequency cap [MHz]",
        ],
    ),
    "fan": ("cpu.fan", "rpm", ["CPU Fan Target [rpm]", "CPU Fan Max [rpm]", "CPU Fan Setpoint [rpm]",
    "CPU Fan Limit [rpm]"]),
}  # fmt: skip


def _rival(channel: str, header: str, before: bool, kind: str) -> Case:
    values = machine()
    place = CHANNELS.index(channel)
    rows = cells(values)
    random = np.random.default_rng(9)
    top = float(values[channel].max()) * 1.2
    other = np.full(ROWS, round(top, 1)) if kind == "constant" else np.round(top + random.normal(0, top / 50, ROWS), 1)
    at = place + 1 if before else len(NAMES) + 1
    rows = [[*row[:at], f"{other[number]:g}", *row[at:]] for number, row in enumerate(rows)]
    names = ["Time", *NAMES]
    return Case(text(rows, [*names[:at], header, *names[at:]]), values, free=tuple(_not_live(channel)))


def _not_live(channel: str) -> list[str]:
    kinds = ("average", "highest", "lowest", "hot")
    return [f"{channel}-limit", *(f"{channel}.{kind}" for kind in kinds)]


for _channel, _unit, _headers in _RIVALS.values():
    for _header in _headers:
        for _before in (True, False):
            for _kind in ("constant", "moving"):
                CASES[f"rival: {_header}, {'before' if _before else 'after'}, {_kind}"] = partial(
                    _rival, _channel, _header, _before, _kind
                )


# --- elapsed time without a unit, or with the wrong one ---


def _elapsed(header: str, factor: float, step: float = 1.0, form: str = ":g") -> Case:
    values = machine()
    rows = cells(values)
    for place, row in enumerate(rows):
        row[0] = f"{{{form}}}".format(place * step * factor)
    return Case(text(rows, [header, *NAMES]), values, np.arange(ROWS) * step)


for _header in ("Elapsed", "Zeit"):
    for _unit, _factor in {"s": 1.0, "ms": 1e3, "min": 1 / 60, "h": 1 / 3600, "us": 1e6}.items():
        for _step in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 60.0):
            CASES[f"elapsed: {_header} in {_unit} every {_step} s"] = partial(_elapsed, _header, _factor, _step, ":.7g")

each(
    "elapsed, its unit a slip",
    {
        "ms called s": lambda: _elapsed("Elapsed [s]", 1e3),
        "s called ms": lambda: _elapsed("Elapsed [ms]", 1.0),
        "s called min": lambda: _elapsed("Elapsed [h]", 1.0),
    },
)


# --- units that are not written ---


def _bare(header: str, channel: str, factor: float, offset: float = 0.0, scale: float = 1.0, form: str = ".5g") -> Case:
    values = machine()
    values[channel] = np.round(values[channel] * scale, 4)
    place = CHANNELS.index(channel)
    rows = cells(values)
    for row, row_cells in enumerate(rows):
        row_cells[1 + place] = f"{values[channel][row] * factor + offset:{form}}"
    names = [*NAMES]
    names[place] = header
    truth = {**values, channel: np.array([(float(row[1 + place]) - offset) / factor for row in rows])}
    return Case(text(rows, ["Time", *names]), truth)


for _scale in (0.01, 0.03, 0.1, 0.3, 1.0, 3.0):
    for _factor in (1.0, 1e3, 1e6):
        if _scale * _factor == 10:
            continue  # where the unit is written a slip of it that gives ordinary watts cannot be seen
        for _header, _channel in (
            ("CPU power", "cpu.power"),
            ("GPU power", "gpu.power"),
            ("CPU Power [W]", "cpu.power"),
        ):
            CASES[f"bare: {_header} times {_factor:g} at {_scale:g} of the load"] = partial(
                _bare, _header, _channel, _factor, 0.0, _scale, ".7g"
            )
for _scale in (0.1, 0.3, 1.0, 1.5):
    for _factor in (1e-3, 1.0, 1e3, 1e6):
        for _header in ("CPU clock", "CPU frequency", "CPU Clock [MHz]"):
            CASES[f"bare: {_header} times {_factor:g} at {_scale:g} of the load"] = partial(
                _bare, _header, "cpu.clock", _factor, 0.0, _scale, ".7g"
            )
for _name, _factor, _offset in (
    ("Fahrenheit", 1.8, 32.0), ("kelvin", 1.0, 273.15), ("tenths", 10.0, 0.0), ("millidegrees", 1e3, 0.0),
):  # fmt: skip
    for _scale in (0.5, 0.8, 1.0, 1.3):
        for _header in ("CPU temperature", *(["CPU Temperature [°C]"] if _name != "Fahrenheit" else [])):
            CASES[f"bare: {_header} in {_name} at {_scale:g}"] = partial(
                _bare, _header, "cpu.temperature", _factor, _offset, _scale, ".6g"
            )


# --- sentinels ---


def _sentinel(channel: str, what: str, rows: Sequence[int], header: str = "") -> Case:
    values = machine()
    place = CHANNELS.index(channel)
    written = cells(values)
    for row in rows:
        written[row][1 + place] = what
        values[channel][row] = np.nan
    return Case(text(written), values, said=(NAMES[place].split(" [")[0],))


for _channel in CHANNELS:
    for _what in ("-1", "-1.0", "-999", "65535", "-127", "-273.15", "4294967295"):
        for _name, _rows in {
            "once": (23,),
            "some": (5, 6, 7, 8, 30),
            "at first": (0, 1, 2),
            "most": tuple(range(4, 36)),
        }.items():
            CASES[f"sentinel: {_what} of {_channel} {_name}"] = partial(_sentinel, _channel, _what, _rows)
for _channel in CHANNELS[:5]:
    for _name, _rows in {"once": (23,), "some": (5, 6, 7, 8, 30), "asleep half the time": tuple(range(20))}.items():
        CASES[f"sentinel: 0 of {_channel} {_name}"] = partial(_sentinel, _channel, "0", _rows)


@case
def a_card_that_sleeps() -> Case:
    values = machine()
    rows = cells(values)
    for row in range(6, 20):
        rows[row][4] = rows[row][5] = "0"
        values["gpu.temperature"][row] = values["gpu.power"][row] = np.nan
    return Case(text(rows), values, said=("GPU Temperature",))


@case
def blanks_are_no_no() -> Case:
    values = machine()
    flag = np.array([1.0 if row > 30 else np.nan for row in range(ROWS)])
    rows = [[*row, "Yes" if flag[place] == 1 else ""] for place, row in enumerate(cells(values))]
    return Case(
        text(rows, ["Time", *NAMES, "CPU Thermal Throttling"]), {**values, "cpu.thermal-flag": flag}, said=("Thermal",)
    )


# --- a garbage last row of a cut file ---


def _last(row: str, end: str = "") -> Case:
    """The last row replaced by what a cut or a crash leaves of it; ``{i}`` is its i-th true cell."""
    row = row.format(*cells()[-1])
    return Case(text(cells()[:-1]) + (row + end).encode("utf-8", "surrogateescape"))


each(
    "the last row",
    {
        "half a stamp": lambda: _last("2031-05-04 09:0"),
        "half a stamp that reads": lambda: _last("2031-05-04 09:00:3"),
        "half a row": lambda: _last("{0},{1},32"),
        "half the last cell": lambda: _last("{0},{1},{2},{3},{4},{5},1"),
        "garbage": lambda: _last("\x8f\x02,k,,,7,\x01,2"),
        "a stamp and garbage": lambda: _last("2031-05-04 09:00:39,7k,,,@7,#,2"),
        "two rows run together": lambda: _last("2031-05-04 09:00:39,70.6,32292031-05-04 09:00:40,3229,40.1,61.2,105.3"),
        "an older row's end": lambda: _last("2031-05-04 09:00:39,70.6,3229,40.1,61.2,105.3,1545.3,1511", "\n"),
        "a row written over": lambda: _last("2031-05-04 09:00:39,70.6,3229,4005.3,1545", "\n"),
        "numbers gone wild": lambda: _last("2031-05-04 09:00:39,9e9,-9e9,1e7,9e9,1e7,9e9", "\n"),
        "zeros": lambda: _last("2031-05-04 09:00:39,0,0,0,0,0,0", "\n"),
    },
)


@case
def commas_before_three_digits() -> Case:
    values = machine()
    rows = [
        [stamp(row), f"{values['cpu.temperature'][row]:.0f}", f"{values['cpu.clock'][row]:,.0f}"] for row in range(ROWS)
    ]
    truth = {"cpu.temperature": np.round(values["cpu.temperature"], 0), "cpu.clock": values["cpu.clock"]}
    return Case(text(rows, ["Time", *NAMES[:2]], ";"), truth)


@case
def two_columns_of_one_name_that_differ() -> Case:
    values = machine()
    rows = [[*row[:3], "180.5", *row[3:]] for row in cells(values)]
    return Case(text(rows, ["Time", *NAMES[:2], NAMES[2], *NAMES[2:]]), values)
