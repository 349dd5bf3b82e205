"""What spoiled logs showed to be taken wrongly without a word, each kind as one designed log (see `mutants.py`)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from designed import CHANNELS, NAMES, ROWS, Case, cells, machine, silently_wrong, stamp, text

from surefoot.errors import BadInput
from surefoot.logs import read_log

Change = Callable[[int, list[str]], list[str]]


def case(change: Change, **more: object) -> Case:
    return Case(text([change(row, list(line)) for row, line in enumerate(cells())]), **more)  # type: ignore[arg-type]


def switched(channel: str, factor: float, offset: float = 0.0) -> Case:
    """From line 25 on in another unit, which is written nowhere."""
    place, values = CHANNELS.index(channel) + 1, machine()[channel]

    def change(row: int, line: list[str]) -> list[str]:
        if row >= 23:
            line[place] = f"{values[row] * factor + offset:.6g}"
        return line

    return case(change)


@pytest.mark.parametrize(
    ("channel", "factor", "offset"),
    [("cpu.clock", 1e-3, 0), ("cpu.clock", 1e3, 0), ("cpu.power", 1e3, 0), ("cpu.temperature", 1.8, 32),
     ("cpu.temperature", 1, 273.15), ("gpu.power", 1e3, 0)],
)  # fmt: skip
def test_a_unit_that_switches_is_asked_about(channel: str, factor: float, offset: float) -> None:
    made = switched(channel, factor, offset)
    assert read_log(made.data).questions
    assert not silently_wrong(made)


def test_columns_of_near_values_that_are_exchanged_show_by_their_decimals() -> None:
    values = machine()
    power = np.round(values["cpu.temperature"] + 1.5, 2)  # W, about as many as degrees
    rows = []
    for row in range(ROWS):
        pair = [f"{values['cpu.temperature'][row]:.1f}", f"{power[row]:.2f}"]
        rows.append([stamp(row), *(pair[::-1] if row >= 20 else pair), f"{values['cpu.clock'][row]:g}"])
    with pytest.raises(BadInput, match="two of its cells are exchanged"):
        read_log(text(rows, ["Time", *NAMES[:1], NAMES[2], NAMES[1]]))


@pytest.mark.parametrize("row", [0, 1, 17, ROWS - 2])
def test_a_row_pushed_on_by_one_cell_is_left_out(row: int) -> None:
    def change(here: int, line: list[str]) -> list[str]:
        return [*line[:4], "", *line[4:6]] if here == row else line

    log = read_log(case(change).data)
    assert log.samples_read == ROWS - 1
    assert any(one.line == row + 2 and "further right" in one.text for one in log.problems), log.problems


def test_a_row_with_a_cell_lost_and_the_end_filled_up_is_left_out_where_its_neighbour_says_nearly_the_same() -> None:
    values = machine()
    rows = [[stamp(row), f"{values['cpu.clock'][row]:g}", f"{47 + row % 3 / 10:.1f}", f"{60 + row % 4 / 10:.1f}"]
            for row in range(ROWS)]  # fmt: skip
    rows[25] = [stamp(25), rows[25][1], rows[25][3], ""]
    log = read_log(text(rows, ["Time", "CPU Clock [MHz]", "CPU Temperature [°C]", "GPU Temperature [°C]"]))
    assert log.samples_read == ROWS - 1 and any(one.line == 27 for one in log.problems)


def test_words_among_numbers_are_no_numbers() -> None:
    def change(row: int, line: list[str]) -> list[str]:
        line[1] = {5: "on", 9: "x", 12: "OK", 20: "off"}.get(row, line[1])
        return line

    log = read_log(case(change).data)
    assert np.isnan(log.trace.channels["cpu.temperature"][[5, 9, 12, 20]]).all()
    assert any("not understood" in one.text and one.count == 4 for one in log.problems)


def in_cells(change: Change) -> bytes:
    units = [name.partition("[")[2].rstrip("]") for name in NAMES]
    lines = []
    for row, line in enumerate(cells()):
        told = [line[0], *(f"{cell} {unit}" for cell, unit in zip(line[1:], units, strict=True))]
        lines.append(change(row, told))
    return text(lines, ["Time", *(name.partition(" [")[0] for name in NAMES)])


def test_a_cell_without_its_unit_is_told_and_many_are_asked_about() -> None:
    def bare(count: int) -> Change:
        return lambda row, line: [line[0], line[1].split()[0], *line[2:]] if row < count else line

    one = read_log(in_cells(bare(1)))
    assert one.problems or one.questions
    assert read_log(in_cells(bare(20))).questions


def test_the_other_unit_in_a_cell_is_brought_to_the_column_s() -> None:
    values = machine()["cpu.power"]

    def change(row: int, line: list[str]) -> list[str]:
        return [*line[:3], f"{values[row] * 1e3:.0f} mW", *line[4:]] if row >= 30 else line

    log = read_log(in_cells(change))
    assert not log.questions
    np.testing.assert_allclose(log.trace.channels["cpu.power"], values, rtol=1e-6)


def test_units_of_two_quantities_in_one_column_are_asked_about() -> None:
    log = read_log(in_cells(lambda row, line: [line[0], line[2], line[1], *line[3:]] if row >= 20 else line))
    assert any("but also" in one.text for one in log.questions)


def test_a_cell_cut_within_its_unit_is_left_out() -> None:
    fahrenheit = [[row[0], f"{float(row[2]):.0f} MHz", f"{float(row[1]) * 1.8 + 32:.1f} °F"] for row in cells()]
    data = text(fahrenheit, ["Time", "CPU Clock", "CPU Temperature"]).rstrip()[:-1]
    log = read_log(data)
    assert np.isnan(log.trace.channels["cpu.temperature"][-1])
    assert any("may be cut off" in one.text for one in log.problems)


@pytest.mark.parametrize(
    ("page", "names"),
    [("gbk", ["时间", "处理器 温度", "处理器 频率"]), ("cp932", ["時刻", "プロセッサ 温度", "プロセッサ 周波数"])],
)
def test_an_east_asian_page_with_a_unit_in_every_cell(page: str, names: list[str]) -> None:
    rows = [[row[0], f"{row[1]} ℃", f"{row[2]} MHz"] for row in cells()]
    log = read_log(text(rows, names).decode().encode(page))
    assert log.encoding == page
    assert set(log.trace.channels) == {"cpu.temperature", "cpu.clock"}


@pytest.mark.parametrize("delimiter", [" ; ", " | ", ", ", "~", "^", " ~ "])
def test_quoted_cells_between_blanks_and_rare_delimiters(delimiter: str) -> None:
    rows = [[f'"{cell}"' for cell in row] for row in [["Time", *NAMES], *cells()]]
    for data in (text(rows[1:], rows[0], delimiter), text(cells(), None, delimiter)):
        assert not silently_wrong(Case(data))
        log = read_log(data)
        assert not log.questions and not log.problems and len(log.trace.channels) == len(NAMES)


def test_one_reading_a_line_with_units_missing_and_of_two_kinds() -> None:
    lines = []
    values = machine()
    for row in range(ROWS):
        lines.append([stamp(row), "CPU Temperature", "N/A" if row == 7 else f"{values['cpu.temperature'][row]}",
                      "" if row == 7 else "°C"])  # fmt: skip
        watts = values["cpu.power"][row]
        lines.append([stamp(row), "CPU Power", *([f"{watts * 1e3:.0f}", "mW"] if row > 20 else [f"{watts}", "W"])])
    log = read_log(text(lines, ["Time", "Sensor", "Value", "Unit"], ";"))
    assert set(log.trace.channels) == {"cpu.temperature", "cpu.power"}
    np.testing.assert_allclose(log.trace.channels["cpu.power"], values["cpu.power"], rtol=1e-6)
    assert np.isnan(log.trace.channels["cpu.temperature"][7])


def test_samples_written_early_and_again_in_their_place_are_kept_once() -> None:
    rows = cells()
    far = [[stamp(row)[:11] + f"{9 + row * 20 // 3600:02d}:{row * 20 // 60 % 60:02d}:{row * 20 % 60:02d}", *line[1:]]
           for row, line in enumerate(rows)]  # fmt: skip
    log = read_log(text([*far[:8], far[31], *far[8:]]))
    np.testing.assert_allclose(log.trace.seconds, np.arange(ROWS) * 20.0)
    assert any("written twice" in note for note in log.notes)


def test_an_impossible_value_that_fits_the_column_beside_it_is_asked_about() -> None:
    rows = [[row[0], row[3], row[6], row[4]] for row in cells()]
    for row in (10, 11):  # just as the load begins, when everything jumps
        rows[row][2:] = ["5", rows[row][2]]
    made = Case(text(rows, ["Time", NAMES[2], NAMES[5], NAMES[3]]))
    assert not silently_wrong(made)


def test_samples_of_one_stamp_with_other_values_are_told() -> None:
    rows = cells()
    rows[12][0] = rows[11][0]
    log = read_log(text(rows))
    assert any("has the stamp of another" in note for note in log.notes)


def test_a_temperature_that_falls_below_a_room_at_once_is_asked_about() -> None:
    log = read_log(case(lambda row, line: [line[0], "6.8", *line[2:]] if row >= 30 else line).data)
    assert any("falls from" in one.text for one in log.questions)


def test_quoted_decimal_commas_between_rare_delimiters() -> None:
    rows = [[f'"{cell}"'.replace(".", ",") for cell in row[:3]] for row in cells()]
    data = text(rows, ['"Time"', '"CPU Temperature, °C"', '"CPU Clock, MHz"'], "~")
    for some in (data, data.replace(b"~", b" ~  ")):
        log = read_log(some)
        assert log.delimiter == "~" and log.decimal == ","
        assert not silently_wrong(Case(some))
