"""One machine's log in many formats: each reads to the same samples, or says what was seen and what to give."""

from __future__ import annotations

import bz2
import gzip
import io
import json
import lzma
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from designed import CHANNELS, NAMES, cells, machine, stamp, text

from surefoot.errors import BadInput
from surefoot.logs import ImportedLog, packed, read_log

VALUES = machine()
PLAIN = text(cells())
TOP = ["Time", *NAMES]
START = datetime(2031, 5, 4, 9, 0, 0)


def same(log: ImportedLog, started: datetime | None = START) -> None:
    """The log is the machine's, nothing in doubt."""
    assert not log.questions, log.questions
    assert set(log.trace.channels) == set(CHANNELS)
    np.testing.assert_allclose(log.trace.seconds, np.arange(40), atol=1e-6)
    for channel in CHANNELS:
        np.testing.assert_allclose(log.trace.channels[channel], VALUES[channel], rtol=1e-6)
    assert log.started_at == started


def zipped(**files: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


@pytest.mark.parametrize(
    "data",
    [gzip.compress(PLAIN), bz2.compress(PLAIN), lzma.compress(PLAIN), zipped(log=PLAIN),
     gzip.compress(zipped(log=PLAIN)),
     gzip.compress(PLAIN[:500]) + gzip.compress(PLAIN[500:])],
    ids=["gzip", "bzip2", "xz", "zip", "zip in gzip", "two gzip members"],
)  # fmt: skip
def test_compressed(data: bytes) -> None:
    log = read_log(data)
    same(log)
    assert any("unpacked" in note for note in log.notes)


def test_a_compressed_log_that_was_cut_gives_what_is_there() -> None:
    random = np.random.default_rng(1).normal(50, 3, 3000)
    long = text([[stamp(0)[:11] + f"{9 + row // 3600:02d}:{row // 60 % 60:02d}:{row % 60:02d}", f"{value:.3f}"]
                 for row, value in enumerate(random)], TOP[:2])  # fmt: skip
    log = read_log(gzip.compress(long)[:-4000])
    assert 100 < len(log.trace) < 3000
    np.testing.assert_allclose(log.trace.channels["cpu.temperature"][:-1], np.round(random, 3)[: len(log.trace) - 1])


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (zipped(a=PLAIN, b=PLAIN), "2 files"),
        (zipped(), "0 files"),
        (b"\x1f\x8b" + b"rubbish" * 9, "cannot be unpacked"),
        (b"PK\x03\x04rubbish", "cannot be unpacked"),
        (b"PAR1rubbish", "cannot be read"),
        (b"7z\xbc\xaf\x27\x1c rest", "an archive"),
        (b"{not json\n at all}\n", "begins as JSON"),
        (b'{"a": 1, "b": 2}', "no column tells the time"),
        (b"[1, 2, 3]", "no records"),
        (b"hello there\nhow are you\n", "hello there"),
    ],
)
def test_what_cannot_be_read_says_what_was_seen(data: bytes, said: str) -> None:
    with pytest.raises(BadInput) as raised:
        read_log(data)
    assert said in raised.value.message() and raised.value.remedy


@pytest.mark.parametrize("pack", [gzip.compress, bz2.compress, lzma.compress, lambda data: zipped(a=data)])
def test_a_file_that_unpacks_to_too_much_is_refused(
    pack: Callable[[bytes], bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(packed, "LARGEST_BYTES", 1 << 20)
    with pytest.raises(BadInput, match="more than 1 MiB"):
        read_log(pack(b"0" * (3 << 20)))


@pytest.mark.parametrize("pack", [gzip.compress, bz2.compress, lzma.compress, lambda data: zipped(a=data)])
def test_what_unpacks_to_far_too_many_times_its_size_is_refused_early(
    pack: Callable[[bytes], bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(packed, "PLENTY_BYTES", 1 << 20)
    with pytest.raises(BadInput, match="unpacks to more than"):
        read_log(pack(b"0" * (12 << 20)))


def records() -> list[dict[str, Any]]:
    return [dict(zip(TOP, [row[0], *map(float, row[1:])], strict=True)) for row in cells()]


def nested() -> list[dict[str, Any]]:
    return [
        {"Time": row[0], "CPU": {"Temperature [°C]": float(row[1]), "Clock [MHz]": float(row[2]),
                                 "Power [W]": float(row[3]),
                                 "Fan [rpm]": float(row[6])},
         "GPU": {"Temperature [°C]": float(row[4]), "Power [W]": float(row[5])}}
        for row in cells()
    ]  # fmt: skip


def lines(of: list[dict[str, Any]]) -> bytes:
    return ("\n".join(json.dumps(one) for one in of) + "\n").encode()


@pytest.mark.parametrize(
    "data",
    [lines(records()), json.dumps(records()).encode(), json.dumps(records(), indent=2).encode(), lines(nested()),
     json.dumps({"machine": "bench", "samples": records()}).encode(),
     json.dumps({name: [one[name] for one in records()] for name in TOP}).encode(),
     json.dumps([TOP, *cells()]).encode(), gzip.compress(lines(records()))],
    ids=["lines", "array", "indented", "nested", "inside an object", "columns", "rows", "lines in gzip"],
)  # fmt: skip
def test_json(data: bytes) -> None:
    same(read_log(data))


def test_json_lines_keep_their_numbers() -> None:
    data = lines(records()).split(b"\n")
    data[4] = b'{"Time": "2031'
    data[9] = data[9].replace(b"44.", b'"x" , "y": 4.')
    log = read_log(b"\n".join(data[:-1]) + b'\n{"Time": "2031-05-')
    assert {5, 41} <= {problem.line for problem in log.problems}
    assert log.samples_read == 39


def test_parquet() -> None:
    pandas = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    frame = pandas.DataFrame(VALUES)
    frame.columns = list(NAMES)
    frame.insert(0, "Time", [START + timedelta(seconds=row) for row in range(40)])
    out = io.BytesIO()
    frame.to_parquet(out)
    same(read_log(out.getvalue()))


def book(*sheets: list[list[Any]]) -> bytes:
    openpyxl = pytest.importorskip("openpyxl")
    made = openpyxl.Workbook()
    made.remove(made.active)
    for place, rows in enumerate(sheets):
        sheet = made.create_sheet(f"sheet {place}")
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def test_a_spreadsheet() -> None:
    rows = [[START + timedelta(seconds=place), *map(float, row[1:])] for place, row in enumerate(cells())]
    same(read_log(book([TOP, *rows], [])))
    with pytest.raises(BadInput, match="2 sheets"):
        read_log(book([TOP, *rows], [TOP, *rows]))


def aligned(header: list[str], rows: list[list[str]], gap: int, right: bool) -> bytes:
    widths = [max(len(row[place]) for row in [header, *rows]) + gap for place in range(len(header))]
    set_in = str.rjust if right else str.ljust
    written = [
        "".join(set_in(cell, width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in [header, *rows]
    ]
    return ("\n".join(written) + "\n").encode()


@pytest.mark.parametrize("gap", [1, 2, 4])
@pytest.mark.parametrize("right", [True, False])
@pytest.mark.parametrize(
    "names", [TOP, ["Time", "cpu_temp_c", "cpu_clock_mhz", "cpu_power_w", "gpu_temp_c", "gpu_power_w", "cpu_fan_rpm"]]
)
def test_columns_set_apart_by_blanks(gap: int, right: bool, names: list[str]) -> None:
    try:
        log = read_log(aligned(names, cells(), gap, right))
    except BadInput as error:
        # Names of several words one blank apart cannot be told from each other.
        assert gap == 1 and names is TOP and error.remedy
        return
    if gap > 1 or names is not TOP:
        same(log)
    else:
        assert log.questions or set(log.trace.channels) <= set(CHANNELS)


def test_a_cell_missing_between_blanks_is_a_gap() -> None:
    rows = cells()
    rows[7][2] = ""
    log = read_log(aligned(TOP, rows, 3, True))
    assert np.isnan(log.trace.channels["cpu.clock"][7])
    np.testing.assert_allclose(log.trace.channels["cpu.power"], VALUES["cpu.power"])


def stamped(make: Callable[[datetime], str]) -> bytes:
    return text([[make(START + timedelta(seconds=place)), *row[1:]] for place, row in enumerate(cells())])


@pytest.mark.parametrize(
    ("form", "started"),
    [
        ("%a %b %e %H:%M:%S %Y", START),
        ("%a %b %e %H:%M:%S CEST %Y", START.replace(tzinfo=UTC) - timedelta(hours=2)),
        ("%Y-%m-%d %H:%M:%S CET", START.replace(tzinfo=UTC) - timedelta(hours=1)),
        ("%Y-%m-%d %H:%M:%S PDT", START.replace(tzinfo=UTC) + timedelta(hours=7)),
        ("%d %b %Y %H:%M:%S JST", START.replace(tzinfo=UTC) - timedelta(hours=9)),
        ("%Y-%m-%d %H:%M:%S Europe/Berlin", START.replace(tzinfo=UTC) - timedelta(hours=2)),
    ],
)
def test_asctime_and_zone_names(form: str, started: datetime) -> None:
    same(read_log(stamped(lambda moment: moment.strftime(form))), started)


def test_minutes() -> None:
    rows = [[f"{place / 60:.6f}", *row[1:]] for place, row in enumerate(cells())]
    for header in ("Elapsed [min]", "Elapsed minutes", "Minutes"):
        log = read_log(text(rows, [header, *NAMES]))
        np.testing.assert_allclose(log.trace.seconds, np.arange(40), atol=1e-3)


@pytest.mark.parametrize("unit", [True, False])
@pytest.mark.parametrize(
    "names",
    [
        ("Time", "Sensor", "Value", "Unit"),
        ("timestamp", "metric", "reading", "unit"),
        ("Zeit", "Kanal", "Wert", "Einheit"),
    ],
)
def test_one_reading_a_line(unit: bool, names: tuple[str, ...]) -> None:
    rows = []
    for row in cells():
        for name, value in zip(NAMES, row[1:], strict=True):
            plain, _, spelled = name.partition(" [")
            rows.append([row[0], plain, value, spelled.rstrip("]")] if unit else [row[0], name, value])
    data = text(rows, names if unit else names[:3])
    log = read_log(data)
    same(log)
    assert any("one reading a line" in note for note in log.notes)


@pytest.mark.parametrize(
    ("encoding", "header"),
    [
        ("cp1251", ["Время", "Температура процессора, °C", "Частота процессора, MHz", "Мощность процессора, W",
                    "Температура видеокарты, °C", "Мощность видеокарты, W", "Вентилятор процессора, rpm"]),
        ("cp932", ["時刻", "プロセッサ温度 [℃]", "プロセッサクロック [MHz]", "プロセッサ電力 [W]",
                   "グラフィック温度 [℃]",
                   "グラフィック電力 [W]", "プロセッサファン [rpm]"]),
        ("gbk", ["时间", "处理器温度 [℃]", "处理器频率 [MHz]", "处理器功率 [W]", "显卡温度 [℃]", "显卡功率 [W]",
                 "处理器风扇 [rpm]"]),
    ],
)  # fmt: skip
def test_headers_in_other_scripts(encoding: str, header: list[str]) -> None:
    same(read_log(text(cells(), header, ";").decode().encode(encoding)))
    same(read_log(text(cells(), header, ";")))


def test_a_spreadsheet_with_a_title_and_date_and_time_in_two_columns() -> None:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["An evening at the bench"])
    sheet.append(["Date", *TOP])
    for row, line in enumerate(cells()):
        moment = START + timedelta(seconds=row)
        sheet.append([moment.date(), moment.time(), *map(float, line[1:])])
    out = io.BytesIO()
    book.save(out)
    same(read_log(out.getvalue()))
