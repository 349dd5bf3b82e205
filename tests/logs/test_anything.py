"""Whatever the bytes, the importer gives a trace or an error of the family; a cut log gives every whole line."""

from __future__ import annotations

import string

import numpy as np
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from how_many import examples
from surefoot.errors import SurefootError
from surefoot.logs import ImportedLog, read_log, read_table
from surefoot.runs import Channel

MANY = settings(
    max_examples=examples(150), deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)

NUMBERS = st.one_of(
    st.floats(-1e6, 1e6).map(lambda value: f"{value:.3f}"),
    st.integers(-10, 10**13).map(str),
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.sampled_from(
        ["1.234,5", "1,234.5", "45.2 °C", "3600 MHz", "0x1F", "-", "N/A", "", "Yes", "no", "1e400", "٣", "²"]
    ),
)
STAMPS = st.one_of(
    st.datetimes().map(str),
    st.times().map(str),
    st.dates().map(lambda day: f"{day:%d/%m/%y}"),
    st.sampled_from(
        ["24:00:00", "12:00:00 AM", "99:99:99", "00:61:00", "2026-02-30 10:00:00", "0001-01-01", "9999-12-31 23:59:59"]
    ),
    st.integers(0, 5 * 10**18).map(str),
)
NAMES = st.one_of(
    st.sampled_from(
        ["Time", "Date", "Elapsed [ms]", "CPU Package [°C]", "Core 0 Clock", "GPU Power (W)", "Frame time",
         "CPU Max [°C]", "Throttling", "Fan", "%", "[]", "()", "CPU [%]", "Index", "sep=;", "", " "]
    ),
    st.text(max_size=12),
)  # fmt: skip
CELLS = st.one_of(
    NUMBERS, STAMPS, st.text(max_size=8), st.sampled_from(['"', '""', '"a', "a\nb", "\r", "\0", "#", "\ufeff"])
)


@st.composite
def tables(draw: st.DrawFn) -> bytes:
    width = draw(st.integers(1, 6))
    delimiter = draw(st.sampled_from([",", ";", "\t", "|", " ", ", "]))
    names = draw(st.lists(NAMES, min_size=width, max_size=width))
    kinds = draw(st.lists(st.sampled_from([NUMBERS, STAMPS, CELLS]), min_size=width, max_size=width))
    lines = [delimiter.join(names)]
    for _ in range(draw(st.integers(0, 12))):
        row = [draw(kind) for kind in kinds]
        if draw(st.integers(0, 9)) == 0:
            row = row[: draw(st.integers(0, width))] + draw(st.lists(CELLS, max_size=2))
        lines.append(delimiter.join(row))
    text = draw(st.sampled_from(["", "a preamble\n", "Begun: 2026-03-04 10:00\n\n"]))
    text += draw(st.sampled_from(["\n", "\r\n", "\r"])).join(lines) + draw(st.sampled_from(["", "\n", "\n\n"]))
    data = text.encode(draw(st.sampled_from(["utf-8", "utf-16", "utf-16-le", "cp1252"])), errors="replace")
    return data[: draw(st.integers(len(data) // 2, len(data)))] if draw(st.booleans()) else data


def holds(log: ImportedLog) -> None:
    """What must be true of every log that is understood."""
    assert len(log.trace) >= 1
    assert np.isfinite(log.trace.seconds).all()
    assert (np.diff(log.trace.seconds) >= 0).all()
    assert log.trace.seconds[0] == 0
    taken = [column.channel for column in log.columns if column.channel]
    assert sorted(taken) == sorted(log.trace.channels)
    for name, values in log.trace.channels.items():
        Channel.parse(name)
        assert values.shape == log.trace.seconds.shape
        assert not np.isinf(values).any()
    for column in log.columns:
        assert 0 <= column.confidence <= 1
        assert column.how


def reads(data: bytes, **options: object) -> None:
    try:
        log = read_log(data, **options)  # type: ignore[arg-type]
    except SurefootError as error:
        assert error.exit_code == 2
        return
    holds(log)


@MANY
@given(st.binary(max_size=400))
@example(b"\xff\xfe")
@example(b"\xff\xfe\x00")
@example(b"a,b\n\xff,\xfe\n")
@example(b'"\n"\n"')
@example(b",\n,\n")
@example(b"sep=,\n")
def test_any_bytes_give_a_trace_or_an_error(data: bytes) -> None:
    reads(data)


@MANY
@given(tables())
def test_any_table_gives_a_trace_or_an_error(data: bytes) -> None:
    reads(data)
    reads(data, interval_seconds=0.5)


@MANY
@given(st.text(alphabet=string.digits + ".,;:-/ \t\n\r\"'|TZapm°CMHzW%", max_size=300))
def test_any_text_of_a_log_s_characters_gives_a_trace_or_an_error(text: str) -> None:
    reads(text.encode(), interval_seconds=1.0)


@MANY
@given(tables(), st.sampled_from(["Europe/Berlin", "UTC", "Asia/Kathmandu"]), st.booleans())
def test_any_table_in_any_zone(data: bytes, zone: str, day_first: bool) -> None:
    reads(data, timezone=zone, day_first=day_first)


@MANY
@given(tables())
def test_any_table_reads_as_a_table_or_an_error(data: bytes) -> None:
    try:
        table = read_table(data)
    except SurefootError as error:
        assert error.exit_code == 2
        return
    assert len(set(table.header)) == len(table.header)
    assert len(table.lines) == len(table.rows) >= 1
    assert all(len(row) == len(table.header) for row in table.rows)


@MANY
@given(
    st.lists(st.tuples(st.floats(20, 100), st.floats(400, 5000), st.floats(1, 200)), min_size=3, max_size=40),
    st.sampled_from([(",", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", ".")]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    st.integers(1, 3),
)
def test_what_was_written_is_what_is_read(
    samples: list[tuple[float, float, float]], dialect: tuple[str, str], encoding: str, places: int
) -> None:
    delimiter, decimal = dialect
    lines = [delimiter.join(["Elapsed [s]", "CPU Package [°C]", "CPU Clock [MHz]", "CPU Power [W]"])]
    for second, values in enumerate(samples):
        cells = [f"{second}", *(f"{value:.{places}f}".replace(".", decimal) for value in values)]
        lines.append(delimiter.join(cells))
    log = read_log(("\n".join(lines) + "\n").encode(encoding))
    assert not log.problems
    np.testing.assert_array_equal(log.trace.seconds, np.arange(len(samples)))
    for place, channel in enumerate(("cpu.temperature", "cpu.clock", "cpu.power")):
        written = [float(f"{values[place]:.{places}f}") for values in samples]
        np.testing.assert_allclose(log.trace.channels[channel], written, rtol=1e-12)


HEADER = "Time,CPU Package [°C],CPU Clock [MHz],CPU Power [W]"
ROWS = [f"2026-03-04 10:00:{row:02d},{40 + row / 2:.1f},{3600 - 13 * row},{20 + row:.2f}" for row in range(8)]


def test_a_log_cut_at_any_byte_gives_every_whole_line() -> None:
    data = ("\n".join([HEADER, *ROWS]) + "\n").encode()
    for end in range(len(data) + 1):
        cut = data[:end]
        whole = max(0, cut.count(b"\n") - 1)
        try:
            log = read_log(cut)
        except SurefootError as error:
            assert error.exit_code == 2
            assert whole == 0, f"{end}: {error}"
            continue
        assert len(log.trace) in (whole, whole + 1), end
        for channel, of_row in (
            ("cpu.temperature", lambda row: 40 + row / 2),
            ("cpu.clock", lambda row: 3600 - 13 * row),
            ("cpu.power", lambda row: 20 + row),
        ):
            if channel not in log.trace.channels:
                assert whole <= 1, f"{end}: {channel}"
                continue
            found = log.trace.channels[channel]
            expected = np.array([of_row(row) for row in range(len(found))], dtype=float)
            if whole == 0 and channel == "cpu.power":
                continue  # one line, cut in its last cell: nothing before it tells how long the cell should be
            np.testing.assert_allclose(found[:whole], expected[:whole], err_msg=str(end))
            # Of the line that was cut a value is right or missing, never half.
            assert len(found) == whole or np.isnan(found[-1]) or found[-1] == expected[-1], f"{end}: {channel}"
        if cut and not cut.endswith(b"\n") and len(cut) > len(HEADER.encode()) + 2 and len(log.trace) == whole:
            assert log.problems, end
