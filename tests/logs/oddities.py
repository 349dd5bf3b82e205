"""Small generated logs, one oddity each, with the values that are right.

Every log says the same twelve samples of one machine, in its own way: the truth is in `TRUTH`, and each oddity states
what of it can be had from its file. No real logger's format is imitated.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

NAN = float("nan")
COUNT = 12
START = datetime(2026, 3, 4, 22, 15, 30)
TEMPERATURE = [41.5, 44.25, 47.0, 52.5, 58.75, 63.0, 66.5, 69.25, 71.0, 72.5, 73.25, 74.0]
CLOCK = [3600.0, 3550.0, 3500.5, 3450.0, 3400.0, 3350.0, 3300.0, 3275.0, 3250.0, 3225.0, 3210.0, 3200.0]
POWER = [12.5, 21.0, 27.25, 33.0, 39.5, 44.0, 48.25, 50.0, 51.5, 52.0, 52.25, 52.5]
FAN = [1200.0, 1210.0, 1300.0, 1450.0, 1600.0, 1800.0, 2000.0, 2200.0, 2400.0, 2500.0, 2600.0, 2650.0]
TRUTH: dict[str, list[float]] = {
    "cpu.temperature": TEMPERATURE,
    "cpu.clock": CLOCK,
    "cpu.power": POWER,
    "cpu.fan": FAN,
}
SECONDS = [float(second) for second in range(COUNT)]
HEADER = ["Time", "CPU Package Temperature [°C]", "CPU Core Clock [MHz]", "CPU Package Power [W]", "CPU Fan [rpm]"]


@dataclass(frozen=True)
class Oddity:
    """A log and what is right of it.

    ``notes``, ``problems``: pieces of text that must be said; ``lines``: lines that problems must name; ``quiet``: no
    problem may be told.
    """

    data: bytes
    seconds: Sequence[float] = field(default_factory=lambda: SECONDS)
    channels: Mapping[str, Sequence[float]] = field(default_factory=lambda: dict(TRUTH))
    started_at: datetime | None = START
    encoding: str | None = None
    options: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    lines: tuple[int, ...] = ()
    quiet: bool = True
    tolerance: float = 1e-9


ODDITIES: dict[str, Callable[[], Oddity]] = {}


def oddity(make: Callable[[], Oddity]) -> Callable[[], Oddity]:
    """Register a generator under its name."""
    ODDITIES[make.__name__] = make
    return make


def iso(row: int, step: float = 1.0) -> str:
    return str(START + timedelta(seconds=row * step))


def number(value: float, decimal: str = ".") -> str:
    return f"{value:.2f}".replace(".", decimal)


def rows(
    stamp: Callable[[int], str] = iso, decimal: str = ".", cell: Callable[[int, int, float], str] | None = None
) -> list[list[str]]:
    """The twelve samples as cells. ``cell(row, column, value)`` may write a value in its own way."""
    table = []
    for row in range(COUNT):
        values = [TRUTH[name][row] for name in TRUTH]
        written = [cell(row, place, value) if cell else number(value, decimal) for place, value in enumerate(values)]
        table.append([stamp(row), *written])
    return table


def text(
    table: Sequence[Sequence[str]], delimiter: str = ",", header: Sequence[str] | None = None, end: str = "\n"
) -> str:
    lines = [delimiter.join(header or HEADER)] + [delimiter.join(row) for row in table]
    return end.join(lines) + end


def plain(**changes: Any) -> Oddity:
    return Oddity(text(rows()).encode(), **changes)


@oddity
def nothing_odd() -> Oddity:
    return plain(encoding="utf-8")


@oddity
def utf8_with_mark() -> Oddity:
    return Oddity(b"\xef\xbb\xbf" + text(rows()).encode(), encoding="utf-8")


@oddity
def utf16_little_with_mark() -> Oddity:
    return Oddity(b"\xff\xfe" + text(rows()).encode("utf-16-le"), encoding="utf-16-le")


@oddity
def utf16_big_with_mark() -> Oddity:
    return Oddity(b"\xfe\xff" + text(rows()).encode("utf-16-be"), encoding="utf-16-be")


@oddity
def utf16_without_mark() -> Oddity:
    return Oddity(text(rows()).encode("utf-16-le"), encoding="utf-16-le")


@oddity
def windows_code_page() -> Oddity:
    header = ["Zeit", "Prozessortemperatur [°C]", "CPU-Takt [MHz]", "CPU-Leistung [W]", "CPU-Lüfter [U/min]"]
    return Oddity(text(rows(), header=header).encode("cp1252"), encoding="cp1252")


@oddity
def cyrillic_code_page() -> Oddity:
    header = ["Time", "Температура CPU [°C]", "CPU Core Clock [MHz]", "CPU Package Power [W]", "CPU Fan [rpm]"]
    return Oddity(text(rows(), header=header).encode("cp1251"), encoding="cp1251")


@oddity
def dos_code_page() -> Oddity:
    header = ["Zeit", "Prozessortemperatur [°C]", "CPU-Takt [MHz]", "CPU-Leistung [W]", "CPU-Lüfter [U/min]"]
    return Oddity(text(rows(), header=header).encode("cp437"))


@oddity
def semicolons_and_decimal_commas() -> Oddity:
    return Oddity(text(rows(decimal=","), ";").encode())


@oddity
def tabs() -> Oddity:
    return Oddity(text(rows(), "\t").encode())


@oddity
def pipes_with_blanks_around() -> Oddity:
    return Oddity(text(rows(), " | ").encode())


@oddity
def quoted_decimal_commas_between_commas() -> Oddity:
    table = [[f'"{cell}"' for cell in row] for row in rows(decimal=",")]
    return Oddity(text(table, header=[f'"{name}"' for name in HEADER]).encode())


@oddity
def thousands_by_comma() -> Oddity:
    return Oddity(text(rows(cell=lambda _r, _c, value: f'"{value:,.2f}"')).encode())


@oddity
def thousands_by_point() -> Oddity:
    def cell(_row: int, _column: int, value: float) -> str:
        return f"{value:,.2f}".replace(",", "_").replace(".", ",").replace("_", ".")

    return Oddity(text(rows(cell=cell), ";").encode())


@oddity
def thousands_by_narrow_blank() -> Oddity:
    def cell(_row: int, _column: int, value: float) -> str:
        return f"{value:,.2f}".replace(",", "\u202f").replace(".", ",")

    return Oddity(text(rows(cell=cell), ";").encode())


@oddity
def preamble_before_the_header() -> Oddity:
    before = "Sensor log of the bench\nMachine: on the left, by the window\n\nInterval: 1 s, all sensors\n\n"
    return Oddity((before + text(rows())).encode(), notes=("lines 1 to 2, 4 before the samples",))


@oddity
def units_in_a_row_of_their_own() -> Oddity:
    names = ["Time", "CPU Package Temperature", "CPU Core Clock", "CPU Package Power", "CPU Fan"]
    units = ["", "°C", "MHz", "W", "rpm"]
    return Oddity(text([units, *rows()], header=names).encode())


@oddity
def groups_above_the_names() -> Oddity:
    groups = ["", "CPU", "", "", ""]
    names = ["Time", "Package Temperature [°C]", "Core Clock [MHz]", "Package Power [W]", "Fan [rpm]"]
    return Oddity(text([names, *rows()], header=groups).encode())


@oddity
def header_repeated_in_the_middle() -> Oddity:
    table = rows()
    return Oddity(text([*table[:5], HEADER, *table[5:9], HEADER, *table[9:]]).encode(), notes=("lines 7, 12",))


@oddity
def duplicate_names() -> Oddity:
    header = ["Time", "Temperature [°C]", "Temperature [°C]", "CPU Core Clock [MHz]"]
    table = [[row[0], row[1], number(TEMPERATURE[place] - 10), row[2]] for place, row in enumerate(rows())]
    channels = {
        "cpu.temperature": TEMPERATURE,
        "cpu.temperature.2": [value - 10 for value in TEMPERATURE],
        "cpu.clock": CLOCK,
    }
    return Oddity(text(table, header=header).encode(), channels=channels)


@oddity
def footer_rows() -> Oddity:
    footer = [["Average", "60.00", "3300.00", "35.00", "2000.00"], ["Maximum", "74.00", "3600.00", "52.50", "2650.00"]]
    return Oddity(
        (text([*rows(), *footer]) + "End of log\n").encode(), quiet=False, notes=("lines 14 to 15",), lines=(16,)
    )


@oddity
def trailing_delimiters() -> Oddity:
    return Oddity(text([[*row, ""] for row in rows()], ";").encode())


@oddity
def trailing_delimiters_in_the_header_too() -> Oddity:
    return Oddity(text([[*row, ""] for row in rows()], ",", header=[*HEADER, ""]).encode())


@oddity
def missing_values() -> Oddity:
    spelled = ["", "N/A", "-", "NaN", "null", "n/a", "--", "?", "#N/A", "None", "-1.#IND", "k.A."]

    def cell(row: int, column: int, value: float) -> str:
        return spelled[row] if column == 1 and row % 2 else number(value)

    clock = [NAN if row % 2 else value for row, value in enumerate(CLOCK)]
    return Oddity(text(rows(cell=cell)).encode(), channels={**TRUTH, "cpu.clock": clock})


@oddity
def units_inside_the_cells() -> Oddity:
    units = [" °C", " MHz", " W", "rpm"]
    header = ["Time", "CPU Package Temperature", "CPU Core Clock", "CPU Package Power", "CPU Fan"]
    return Oddity(text(rows(cell=lambda _r, c, value: number(value) + units[c]), header=header).encode())


@oddity
def units_inside_the_cells_that_change() -> Oddity:
    def cell(row: int, column: int, value: float) -> str:
        if column == 1:
            return f"{value / 1000:.4f} GHz" if row < 8 else f"{value:.1f} MHz"
        return number(value)

    header = ["Time", "CPU Package Temperature [°C]", "CPU Core Clock", "CPU Package Power [W]", "CPU Fan [rpm]"]
    return Oddity(text(rows(cell=cell), header=header).encode())


@oddity
def booleans_in_words() -> Oddity:
    header = ["Time", "CPU Package [°C]", "Thermal Throttling", "Power Limit Exceeded", "CPU gedrosselt (Ja/Nein)"]
    flags = [float(row >= 8) for row in range(COUNT)]
    limits = [float(row % 3 == 0) for row in range(COUNT)]
    table = [
        [iso(row), number(TEMPERATURE[row]), "Yes" if flags[row] else "No", "TRUE" if limits[row] else "FALSE",
         "Ja" if flags[row] else "Nein"]
        for row in range(COUNT)
    ]  # fmt: skip
    channels = {
        "cpu.temperature": TEMPERATURE,
        "cpu.thermal-flag": flags,
        "cpu.power-flag": limits,
        "cpu.throttle-flag": flags,
    }
    return Oddity(text(table, header=header).encode(), channels=channels)


@oddity
def quoted_fields_with_delimiters_inside() -> Oddity:
    header = [
        "Time",
        '"CPU, package, temperature [°C]"',
        '"CPU ""core"" clock [MHz]"',
        "CPU Power [W]",
        "CPU Fan [rpm]",
    ]
    return Oddity(text(rows(), header=header).encode())


@oddity
def carriage_returns() -> Oddity:
    return Oddity(text(rows(), end="\r\n").encode())


@oddity
def old_line_ends() -> Oddity:
    return Oddity(text(rows(), end="\r").encode())


def _utc(moment: datetime) -> datetime:
    return moment.replace(tzinfo=UTC)


@oddity
def epoch_seconds() -> Oddity:
    first = int(_utc(START).timestamp())
    return Oddity(text(rows(lambda row: str(first + row))).encode(), started_at=_utc(START))


@oddity
def epoch_milliseconds() -> Oddity:
    first = int(_utc(START).timestamp()) * 1000
    return Oddity(text(rows(lambda row: str(first + row * 1000))).encode(), started_at=_utc(START))


@oddity
def epoch_microseconds() -> Oddity:
    first = int(_utc(START).timestamp()) * 1_000_000
    return Oddity(text(rows(lambda row: str(first + row * 1_000_000))).encode(), started_at=_utc(START))


@oddity
def iso_with_zone() -> Oddity:
    stamps = rows(lambda row: (START + timedelta(seconds=row)).isoformat() + "+01:00")
    return Oddity(text(stamps).encode(), started_at=_utc(START - timedelta(hours=1)))


@oddity
def iso_with_fractions() -> Oddity:
    stamps = rows(lambda row: (START + timedelta(milliseconds=250 * row)).isoformat(timespec="milliseconds"))
    return Oddity(text(stamps).encode(), seconds=[0.25 * row for row in range(COUNT)])


@oddity
def date_and_time_in_two_columns() -> Oddity:
    table = [[*row[0].split(" "), *row[1:]] for row in rows()]
    return Oddity(text(table, header=["Date", *HEADER]).encode())


@oddity
def local_day_first() -> Oddity:
    moment = datetime(2026, 3, 14, 22, 15, 30)
    stamps = rows(lambda row: f"{moment + timedelta(seconds=row):%d/%m/%Y %H:%M:%S}")
    return Oddity(text(stamps).encode(), started_at=moment)


@oddity
def local_month_first_twelve_hours() -> Oddity:
    moment = datetime(2026, 3, 14, 11, 59, 55)
    stamps = rows(lambda row: f"{moment + timedelta(seconds=row):%m/%d/%Y %I:%M:%S %p}")
    return Oddity(text(stamps).encode(), started_at=moment)


@oddity
def local_dates_that_could_be_either() -> Oddity:
    stamps = rows(lambda row: f"{START + timedelta(seconds=row):%d/%m/%Y %H:%M:%S}")
    return Oddity(text(stamps).encode(), notes=("could be d/m/y or m/d/y",))


@oddity
def local_dates_that_the_user_settles() -> Oddity:
    stamps = rows(lambda row: f"{START + timedelta(seconds=row):%m/%d/%Y %H:%M:%S}")
    return Oddity(text(stamps).encode(), options={"day_first": False})


@oddity
def month_names() -> Oddity:
    stamps = rows(lambda row: f"{START + timedelta(seconds=row):%d %b %Y %H:%M:%S}")
    return Oddity(text(stamps).encode())


@oddity
def time_of_day_only() -> Oddity:
    stamps = rows(lambda row: f"{START + timedelta(seconds=row):%H:%M:%S}")
    return Oddity(text(stamps).encode(), started_at=None)


@oddity
def time_of_day_set_apart_by_points() -> Oddity:
    stamps = rows(lambda row: f"{START + timedelta(seconds=row):%H.%M.%S}")
    return Oddity(text(stamps).encode(), started_at=None)


@oddity
def time_of_day_with_the_date_in_the_preamble() -> Oddity:
    stamps = rows(lambda row: f"{START + timedelta(seconds=row):%H:%M:%S}")
    return Oddity(("Log begun 2026-03-04 by hand\n" + text(stamps)).encode())


@oddity
def elapsed_seconds() -> Oddity:
    return Oddity(text(rows(lambda row: f"{row:.3f}"), header=["Elapsed [s]", *HEADER[1:]]).encode(), started_at=None)


@oddity
def elapsed_milliseconds() -> Oddity:
    return Oddity(
        text(rows(lambda row: str(row * 1000)), header=["Elapsed (ms)", *HEADER[1:]]).encode(), started_at=None
    )


@oddity
def elapsed_hours_minutes_seconds() -> Oddity:
    stamps = rows(lambda row: f"00:{(55 + row * 7) // 60:02d}:{(55 + row * 7) % 60:02d}")
    data = text(stamps, header=["Elapsed time", *HEADER[1:]]).encode()
    return Oddity(data, started_at=None, seconds=[7.0 * row for row in range(COUNT)])


@oddity
def over_midnight() -> Oddity:
    moment = datetime(2026, 3, 4, 23, 59, 55)
    stamps = rows(lambda row: f"{moment + timedelta(seconds=row):%H:%M:%S}")
    return Oddity(text(stamps).encode(), started_at=None, notes=("midnight at line 7",))


@oddity
def over_midnight_with_dates() -> Oddity:
    moment = datetime(2026, 3, 31, 23, 59, 55)
    stamps = rows(lambda row: f"{moment + timedelta(seconds=row):%d.%m.%y %H:%M:%S}")
    return Oddity(text(stamps, ";").encode(), started_at=moment)


@oddity
def daylight_saving_ends() -> Oddity:
    before = datetime(2026, 10, 25, 2, 59, 54)
    stamps = rows(lambda row: str(before + timedelta(seconds=row - (3600 if row >= 6 else 0))))
    return Oddity(text(stamps).encode(), started_at=before, notes=("line 8", "daylight saving"))


@oddity
def daylight_saving_ends_with_the_zone_told() -> Oddity:
    before = datetime(2026, 10, 25, 2, 59, 54)
    stamps = rows(lambda row: str(before + timedelta(seconds=row - (3600 if row >= 6 else 0))))
    utc = datetime(2026, 10, 25, 0, 59, 54, tzinfo=UTC)
    return Oddity(text(stamps).encode(), started_at=utc, options={"timezone": "Europe/Berlin"})


@oddity
def daylight_saving_begins_with_the_zone_told() -> Oddity:
    before = datetime(2026, 3, 29, 1, 59, 54)
    stamps = rows(lambda row: str(before + timedelta(seconds=row + (3600 if row >= 6 else 0))))
    utc = datetime(2026, 3, 29, 0, 59, 54, tzinfo=UTC)
    return Oddity(text(stamps).encode(), started_at=utc, options={"timezone": "Europe/Berlin"})


@oddity
def a_gap_forward() -> Oddity:
    stamps = rows(lambda row: iso(row + (1000 if row >= 4 else 0)))
    seconds = [float(row + (1000 if row >= 4 else 0)) for row in range(COUNT)]
    return Oddity(text(stamps).encode(), seconds=seconds, notes=("gap of 1001 s before line 6",))


@oddity
def clock_set_back() -> Oddity:
    stamps = rows(lambda row: iso(row - (5 if row >= 6 else 0)))
    return Oddity(text(stamps).encode(), notes=("goes back by 4 s at line 8",))


@oddity
def log_started_again() -> Oddity:
    table = rows(lambda row: str(row if row < 7 else row - 7))
    return Oddity(text(table, header=["Elapsed [s]", *HEADER[1:]]).encode(), started_at=None, notes=("line 9",))


@oddity
def samples_out_of_order() -> Oddity:
    table = rows()
    mixed = [table[place] for place in (0, 1, 2, 4, 5, 3, 6, 8, 7, 9, 10, 11)]
    return Oddity(text(mixed).encode(), notes=("2 samples out of order, at lines 7, 10",))


@oddity
def newest_first() -> Oddity:
    return Oddity(text(rows()[::-1]).encode(), notes=("newest sample comes first",))


@oddity
def samples_doubled() -> Oddity:
    table = rows()
    twice = [*table[:4], table[3], *table[4:9], *table[6:9], *table[9:]]
    return Oddity(text(twice).encode(), notes=("4 samples written twice",))


@oddity
def one_wrong_time() -> Oddity:
    stamps = rows(lambda row: "2031-01-01 00:00:00" if row == 5 else iso(row))
    return Oddity(text(stamps).encode(), quiet=False, problems=("does not fit its neighbours",), lines=(7,))


@oddity
def coarse_stamps() -> Oddity:
    stamps = rows(lambda row: iso(row // 4))
    return Oddity(text(stamps).encode(), seconds=[0.25 * row for row in range(COUNT)], notes=("spread evenly",))


@oddity
def cut_off_in_a_line() -> Oddity:
    data = text(rows()).encode()
    cut = data[: data.rindex(b",") - 2]  # in the middle of the last sample's power
    channels = {name: list(values) for name, values in TRUTH.items()}
    channels["cpu.power"][-1] = channels["cpu.fan"][-1] = NAN
    return Oddity(cut, channels=channels, quiet=False, problems=("cut off",), lines=(13,))


@oddity
def no_last_line_end() -> Oddity:
    return Oddity(text(rows()).encode().rstrip(b"\n"))


@oddity
def nul_run_at_the_end() -> Oddity:
    return Oddity(text(rows()).encode() + b"\0" * 4096, notes=("4096 NUL bytes", "power loss"))


@oddity
def nul_run_in_the_middle() -> Oddity:
    data = text(rows()).encode()
    place = data.index(b"\n", 400) + 1
    return Oddity(data[:place] + b"\0" * 512 + data[place:], quiet=False, problems=("512 NUL bytes",))


@oddity
def bytes_that_are_no_utf8() -> Oddity:
    table = [[*row, "Bank µ°" if place != 3 else "?"] for place, row in enumerate(rows())]
    data = text(table, header=[*HEADER, "Ort"]).encode().replace(b",?\n", b",\xff\n")
    return Oddity(data, quiet=False, problems=("not valid UTF-8", "column not taken"))


@oddity
def cells_that_are_no_numbers() -> Oddity:
    def cell(row: int, column: int, value: float) -> str:
        return "error" if column == 2 and row in (3, 7) else number(value)

    power = [NAN if row in (3, 7) else value for row, value in enumerate(POWER)]
    return Oddity(
        text(rows(cell=cell)).encode(), channels={**TRUTH, "cpu.power": power}, quiet=False,
        problems=("cells not understood (2 times, at lines 5, 9, first 'error')",), lines=(5,),
    )  # fmt: skip


@oddity
def lines_that_are_no_samples() -> Oddity:
    lines = text(rows()).splitlines()
    lines.insert(5, "*** driver reloaded ***")
    lines.insert(9, "1,2,3,4,5,6,7,8")
    return Oddity(
        ("\n".join(lines) + "\n").encode(), quiet=False, problems=("not a sample", "more than 5 cells"), lines=(6, 10)
    )


@oddity
def blank_lines() -> Oddity:
    lines = text(rows()).splitlines()
    return Oddity(("\n\n".join(lines) + "\n\n").encode())


@oddity
def fahrenheit_gigahertz_milliwatts() -> Oddity:
    factors = [lambda v: v * 9 / 5 + 32, lambda v: v / 1000, lambda v: v * 1000, lambda v: v]
    header = ["Time", "CPU Package Temperature [°F]", "CPU Core Clock [GHz]", "CPU Package Power [mW]", "CPU Fan [rpm]"]
    data = text(rows(cell=lambda _r, c, value: f"{factors[c](value):.5f}"), header=header).encode()
    return Oddity(data, tolerance=1e-4)


@oddity
def kelvin_hertz_without_units_written() -> Oddity:
    factors = [lambda v: v + 273.15, lambda v: v * 1e6, lambda v: v * 1e6, lambda v: v]
    header = ["Time", "CPU temperature", "CPU frequency", "CPU power", "CPU fan"]
    data = text(rows(cell=lambda _r, c, value: f"{factors[c](value):.2f}"), header=header).encode()
    return Oddity(data, tolerance=1e-6)


@oddity
def minima_and_maxima_beside_the_live_value() -> Oddity:
    header = ["Time"]
    for name, unit in (("CPU Package Temperature", "°C"), ("CPU Core Clock", "MHz")):
        header += [f"{name} [{unit}]", f"{name} Min [{unit}]", f"{name} Max [{unit}]", f"{name} Avg [{unit}]"]
    table = []
    for row in range(COUNT):
        cells = [iso(row)]
        for values in (TEMPERATURE, CLOCK):
            so_far = values[: row + 1]
            cells += [number(value) for value in (values[row], min(so_far), max(so_far), float(np.mean(so_far)))]
        table.append(cells)
    return Oddity(text(table, header=header).encode(), channels={"cpu.temperature": TEMPERATURE, "cpu.clock": CLOCK})


@oddity
def many_cores_and_two_cards() -> Oddity:
    header = ["Time", "Core 0 Clock [MHz]", "Core 1 Clock [MHz]", "Core 0 [°C]", "GPU0 Temperature [°C]",
              "GPU1 Temperature [°C]", "GPU0 Hot Spot [°C]", "GPU0 Memory Clock [MHz]"]  # fmt: skip
    columns = {
        "cpu.clock.core-0": CLOCK,
        "cpu.clock.core-1": [value - 100 for value in CLOCK],
        "cpu.temperature.core-0": TEMPERATURE,
        "gpu.temperature": [value + 2 for value in TEMPERATURE],
        "gpu-2.temperature": [value + 3 for value in TEMPERATURE],
        "gpu.temperature.hotspot": [value + 12 for value in TEMPERATURE],
        "gpu.clock.memory": [value * 2 for value in CLOCK],
    }
    table = [[iso(row), *(number(values[row]) for values in columns.values())] for row in range(COUNT)]
    return Oddity(text(table, header=header).encode(), channels=dict(columns))


@oddity
def two_columns_for_one_channel() -> Oddity:
    header = ["Time", "CPU Tctl/Tdie [°C]", "CPU Package Temperature [°C]", "CPU Temperature (copy) [°C]"]
    table = [[row[0], number(TEMPERATURE[place] + 5), row[1], row[1]] for place, row in enumerate(rows())]
    channels = {"cpu.temperature": TEMPERATURE, "cpu.temperature.tctl-tdie": [value + 5 for value in TEMPERATURE]}
    return Oddity(text(table, header=header).encode(), channels=channels)


@oddity
def values_that_no_sensor_says() -> Oddity:
    def cell(row: int, column: int, value: float) -> str:
        return "-273.00" if column == 0 and row == 4 else "65535000" if column == 3 and row == 6 else number(value)

    rows_by_name = {name: list(values) for name, values in TRUTH.items()}
    rows_by_name["cpu.temperature"][4] = rows_by_name["cpu.fan"][6] = NAN
    data = text([*rows(cell=cell), *rows(lambda row: iso(row + COUNT))]).encode()
    channels = {name: [*values, *TRUTH[name]] for name, values in rows_by_name.items()}
    seconds = [float(row) for row in range(2 * COUNT)]
    return Oddity(data, seconds=seconds, channels=channels, quiet=False, problems=("not plausible",), lines=(6, 8))


@oddity
def frame_times_and_no_clock() -> Oddity:
    frames = [16.0, 17.0, 16.5, 16.25, 33.0, 16.0, 16.0, 17.5, 16.0, 16.0, 15.75, 16.0]
    table = [[str(row), number(frame), f"{1000 / frame:.1f}"] for row, frame in enumerate(frames)]
    seconds = [sum(frames[:row]) / 1000 for row in range(COUNT)]
    return Oddity(
        text(table, header=["Frame", "Frame time (ms)", "FPS"]).encode(), seconds=seconds, started_at=None,
        channels={"frame.frame-time": frames}, quiet=False, problems=("a frame rate",), notes=("added up",),
    )  # fmt: skip


@oddity
def no_time_but_an_interval() -> Oddity:
    table = [row[1:] for row in rows()]
    return Oddity(
        text(table, header=HEADER[1:]).encode(), seconds=[0.5 * row for row in range(COUNT)], started_at=None,
        options={"interval_seconds": 0.5}, notes=("every 0.5 s",),
    )  # fmt: skip


@oddity
def french_words() -> Oddity:
    header = ["Heure", "Température processeur (°C)", "Fréquence processeur (MHz)", "Puissance processeur (W)",
              "Ventilateur CPU (tr/min)"]  # fmt: skip
    return Oddity(text(rows(decimal=","), ";", header=header).encode("cp1252"))


@oddity
def spanish_words() -> Oddity:
    header = [
        "Fecha",
        "Temperatura del procesador (°C)",
        "Frecuencia CPU (MHz)",
        "Potencia CPU (W)",
        "Ventilador CPU (rpm)",
    ]
    return Oddity(text(rows(decimal=","), ";", header=header).encode())


@oddity
def names_without_blanks() -> Oddity:
    header = ["timestamp", "cpu_temp_c", "cpuClockMHz", "cpu_power_w", "cpu_fan_rpm"]
    return Oddity(text(rows(), header=header).encode())


@oddity
def corrected_by_the_user() -> Oddity:
    header = ["Time", "T1", "F1 [MHz]", "P1", "Speed"]
    options = {"corrections": {"T1": "cpu.temperature", "f1": "cpu.clock", "#4": "cpu.power", "Speed": "cpu.fan[rpm]"}}
    return Oddity(text(rows(), header=header).encode(), options=options)


@oddity
def throttle_and_limits() -> Oddity:
    header = [
        "Time",
        "CPU Package Power [W]",
        "PL1 Power Limit [W]",
        "Throttle reasons",
        "GPU Voltage [mV]",
        "Battery [%]",
    ]
    table = [
        [iso(row), number(POWER[row]), "52.00", f"0x{0x20 if row > 6 else 0x4:02X}", "875.0", "80"]
        for row in range(COUNT)
    ]
    channels = {
        "cpu.power": POWER,
        "cpu.power-limit": [52.0] * COUNT,
        "gpu.reasons": [32.0 if row > 6 else 4.0 for row in range(COUNT)],
        "gpu.voltage": [0.875] * COUNT,
        "battery.charge": [80.0] * COUNT,
    }
    return Oddity(text(table, header=header).encode(), channels=channels)
