"""What headers are taken for: quantities and parts by trade words, in four languages (common practice, no source)."""

from __future__ import annotations

import pytest

from surefoot.errors import BadInput
from surefoot.logs import ASK_BELOW, Column, read_log


def _ordinary(header: str) -> float:
    """A number that a sensor of the header's unit may well say."""
    for unit, value in (("[MHz]", 2400.0), ("[V]", 0.9), ("[rpm]", 1400.0), ("[ms]", 16.0)):
        if header.endswith(unit):
            return value
    return 26.0 if any(word in header for word in ("Ambient", "ambiente", "Raum")) else 40.5


def taken(header: str, *cells: str, **options: object) -> Column:
    """The column of a header beside a column of elapsed seconds."""
    shown = cells or tuple(f"{_ordinary(header) * (1 + row % 7 / 40):.3f}" for row in range(20))
    lines = [f"Elapsed [s];{header}", *(f"{row};{cell}" for row, cell in enumerate(shown))]
    return read_log(("\n".join(lines) + "\n").encode(), **options).columns[1]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("header", "channel"),
    [
        ("CPU Package [°C]", "cpu.temperature"),
        ("CPU temp (C)", "cpu.temperature"),
        ("Current CPU Temperature [°C]", "cpu.temperature"),
        ("CPU (Tctl/Tdie) [°C]", "cpu.temperature"),
        ("Core 3 [°C]", "cpu.temperature.core-3"),
        ("P-core 2 Clock [MHz]", "cpu.clock.core-2"),
        ("GPU Temperature [°C]", "gpu.temperature"),
        ("GPU Hot Spot Temperature [°C]", "gpu.temperature.hotspot"),
        ("GPU Memory Junction Temperature [°C]", "gpu.temperature.hotspot-memory"),
        ("GPU Clock [MHz]", "gpu.clock"),
        ("CPU Package Power [W]", "cpu.power"),
        ("GPU Power, W", "gpu.power"),
        ("IA Cores Power [W]", "cpu.power.cores"),
        ("CPU Core Voltage [V]", "cpu.voltage"),
        ("CPU VID [V]", "cpu.voltage.vid"),
        ("CPU Fan [rpm]", "cpu.fan"),
        ("GPU Fan [%]", "gpu.duty"),
        ("Total CPU Usage [%]", "cpu.busy"),
        ("GPU Utilization [%]", "gpu.busy"),
        ("Battery [%]", "battery.charge"),
        ("Charge rate of battery [W]", "battery.power"),
        ("Ambient [°C]", "room.temperature"),
        ("Frame time [ms]", "frame.frame-time"),
        ("PL1 limit [W]", "cpu.power-limit"),
        ("CPU current [A]", "cpu.current"),
        ("SSD temperature [°C]", "ssd.temperature"),
        ("Prozessortemperatur [°C]", "cpu.temperature"),
        ("Grafikkarte Leistung [W]", "gpu.power"),
        ("Raumtemperatur [°C]", "room.temperature"),
        ("CPU-Auslastung [%]", "cpu.busy"),
        ("Température du processeur [°C]", "cpu.temperature"),
        ("Puissance GPU [W]", "gpu.power"),
        ("Temperatura ambiente [°C]", "room.temperature"),
        ("Consumo GPU [W]", "gpu.power"),
    ],
)
def test_a_header_names_a_channel(header: str, channel: str) -> None:
    column = taken(header)
    assert column.channel == channel, column
    assert column.confidence >= ASK_BELOW


@pytest.mark.parametrize(
    ("header", "channel"),
    [
        ("CPU Thermal Throttling", "cpu.thermal-flag"),
        ("CPU Power Limit Exceeded", "cpu.power-flag"),
        ("GPU Performance Limit - Current Limit", "gpu.current-flag"),
        ("GPU throttled", "gpu.throttle-flag"),
        ("CPU Leistungslimit (Ja/Nein)", "cpu.power-flag"),
    ],
)
def test_words_for_yes_and_no_are_flags(header: str, channel: str) -> None:
    assert taken(header, *("No", "Yes", "No", "No")).channel == channel


@pytest.mark.parametrize(
    "header",
    ["Distance to TjMax [°C]", "CPU ratio [x]", "FPS", "Framerate [fps]", "GPU Memory Used [MB]", "Noise [dB(A)]",
     "GPU Power [% of TDP]", "Voltage offset [mV]", "Something else"],
)  # fmt: skip
def test_what_is_no_reading_is_not_taken_and_told(header: str) -> None:
    column = taken(header)
    assert column.channel is None
    assert column.how


@pytest.mark.parametrize(
    ("header", "cells", "value"),
    [
        ("CPU temperature [°F]", ("212", "212"), 100.0),
        ("CPU temperature [K]", ("373.15", "373.15"), 100.0),
        ("CPU temperature", ("45000", "45000"), 45.0),
        ("CPU clock", ("3.6", "3.7"), 3600.0),
        ("CPU clock [kHz]", ("3600000", "3600000"), 3600.0),
        ("CPU power [mW]", ("45000", "45000"), 45.0),
        ("CPU voltage [mV]", ("875", "875"), 0.875),
        ("Frame time [s]", ("0.016", "0.016"), 16.0),
        ("CPU load", ("0.25", "0.5"), 25.0),
    ],
)
def test_units_become_canonical(header: str, cells: tuple[str, ...], value: float) -> None:
    lines = [f"Elapsed [s];{header}", *(f"{row};{cell}" for row, cell in enumerate(cells))]
    log = read_log(("\n".join(lines) + "\n").encode())
    (values,) = log.trace.channels.values()
    assert values[0] == pytest.approx(value)


def test_values_that_do_not_fit_lower_the_confidence() -> None:
    good = taken("CPU temperature [°C]")
    odd = taken("CPU temperature [°C]", *(str(900 + row) for row in range(20)))
    assert odd.confidence < good.confidence / 2
    assert "not plausible" in odd.how


def test_a_header_without_a_part_is_not_sure() -> None:
    assert taken("Temperature [°C]").confidence < ASK_BELOW


def test_a_correction_may_name_the_unit() -> None:
    lines = b"Elapsed [s];T\n0;212\n1;32\n"
    log = read_log(lines, corrections={"T": "cpu.temperature[\xb0F]"})
    assert log.trace.channels["cpu.temperature"].tolist() == pytest.approx([100.0, 0.0])


@pytest.mark.parametrize("said", ["cpu", "cpu.wisdom", "cpu.clock[furlong]", "CPU temp.clock", ""])
def test_a_correction_that_is_no_channel_is_refused(said: str) -> None:
    with pytest.raises(BadInput):
        read_log(b"Elapsed [s];T\n0;212\n1;32\n", corrections={"T": said})
