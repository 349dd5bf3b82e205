"""Spellings of units, and what brings each to the canonical unit of its quantity."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Measure:
    """A unit as written. ``family``: what kind of quantity it measures; canonical = value * factor + offset.

    Canonical units by family: temperature Celsius, clock MHz, power W, energy J, voltage V, current A, speed rpm,
    share percent, time ms. Other families (``rate``, ``size``, ``level``, ``times``, ``flag``) have no channel or no
    conversion.
    """

    family: str
    unit: str
    factor: float = 1.0
    offset: float = 0.0


_FAHRENHEIT = (5.0 / 9.0, -160.0 / 9.0)

# Written in lower case; what depends on case (mW and MW) is settled in `measure`.
_SPELLINGS: dict[str, Measure] = {}


def _spell(family: str, unit: str, factor: float, offset: float, *spellings: str) -> None:
    for spelling in spellings:
        _SPELLINGS[spelling] = Measure(family, unit, factor, offset)


_spell("temperature", "°C", 1, 0, "°c", "c", "degc", "deg c", "deg. c", "celsius", "grad", "grad c", "grad celsius")
_spell("temperature", "°C", 1, 0, "degrees c", "degrees celsius", "degree celsius", "ºc", "\ufffdc", "?c", "â°c", "℃")
_spell("temperature", "°C", 1, 0, "°", "deg", "degrees", "┬░c", "в°c", "grados", "degrés", "degres")
_spell("temperature", "°F", *_FAHRENHEIT, "°f", "f", "degf", "deg f", "fahrenheit", "ºf", "\ufffdf", "?f", "â°f", "℉")
_spell("temperature", "°F", *_FAHRENHEIT, "degrees f", "degrees fahrenheit", "grad fahrenheit")
_spell("temperature", "K", 1, -273.15, "k", "kelvin", "°k", "degk")
_spell("temperature", "m°C", 1e-3, 0, "m°c", "mdegc", "millidegc", "millidegrees", "millidegree", "millicelsius", "mc")
_spell("clock", "MHz", 1, 0, "mhz", "megahertz")
_spell("clock", "GHz", 1e3, 0, "ghz", "gigahertz")
_spell("clock", "kHz", 1e-3, 0, "khz", "kilohertz")
_spell("clock", "Hz", 1e-6, 0, "hz", "hertz")
_spell("power", "W", 1, 0, "w", "watt", "watts")
_spell("power", "mW", 1e-3, 0, "mw", "milliwatt", "milliwatts")
_spell("power", "kW", 1e3, 0, "kw", "kilowatt", "kilowatts")
_spell("power", "µW", 1e-6, 0, "uw", "µw", "microwatt", "microwatts")
_spell("energy", "J", 1, 0, "j", "joule", "joules", "ws")
_spell("energy", "mJ", 1e-3, 0, "mj", "millijoule", "millijoules")
_spell("energy", "kJ", 1e3, 0, "kj")
_spell("energy", "µJ", 1e-6, 0, "uj", "µj", "microjoule", "microjoules")
_spell("energy", "Wh", 3600, 0, "wh", "watt hours", "watthours")
_spell("energy", "mWh", 3.6, 0, "mwh")
_spell("energy", "kWh", 3.6e6, 0, "kwh")
_spell("voltage", "V", 1, 0, "v", "volt", "volts", "vdc")
_spell("voltage", "mV", 1e-3, 0, "mv", "millivolt", "millivolts")
_spell("voltage", "µV", 1e-6, 0, "uv", "µv", "microvolt", "microvolts")
_spell("current", "A", 1, 0, "a", "amp", "amps", "ampere", "amperes")
_spell("current", "mA", 1e-3, 0, "ma", "milliamp", "milliamps", "milliampere")
_spell("current", "µA", 1e-6, 0, "ua", "µa", "microamp", "microamps")
_spell("speed", "rpm", 1, 0, "rpm", "r/min", "rev/min", "1/min", "min-1", "min^-1", "u/min", "upm", "tr/min", "r.p.m.")
_spell("share", "%", 1, 0, "%", "percent", "pct", "prozent", "pourcent", "por ciento", "%rh")
_spell("time", "s", 1e3, 0, "s", "sec", "secs", "second", "seconds", "sek", "sekunden", "secondes", "segundos")
_spell("time", "ms", 1, 0, "ms", "msec", "millis", "millisecond", "milliseconds", "millisekunden", "milisegundos")
_spell("time", "µs", 1e-3, 0, "us", "µs", "usec", "microsecond", "microseconds", "mikrosekunden")
_spell("time", "ns", 1e-6, 0, "ns", "nsec", "nanosecond", "nanoseconds")
_spell("time", "min", 60e3, 0, "min", "mins", "minute", "minutes", "minuten")
_spell("time", "h", 3600e3, 0, "h", "hr", "hrs", "hour", "hours", "std", "stunden")
_spell("rate", "fps", 1, 0, "fps", "frames/s", "frames per second", "bilder/s", "gt/s", "mb/s", "gb/s", "kb/s", "mib/s")
_spell("size", "MB", 1, 0, "mb", "gb", "kb", "tb", "mib", "gib", "kib", "bytes", "byte", "mbyte", "gbyte")
_spell("level", "dB", 1, 0, "db", "dba", "db(a)", "lux")
_spell("times", "x", 1, 0, "x", "×")
_spell("flag", "yes/no", 1, 0, "yes/no", "ja/nein", "oui/non", "sí/no", "si/no", "on/off", "true/false", "0/1", "bool")
_spell("flag", "yes/no", 1, 0, "y/n", "flag", "boolean", "an/aus")
_spell("capacity", "mAh", 1, 0, "mah", "ah")

# Symbols in which capital M is mega and small m is milli.
_MEGA = {"MW": ("power", 1e6), "MV": ("voltage", 1e6), "MJ": ("energy", 1e6), "MA": ("current", 1e6)}


def measure(text: str) -> Measure | None:
    """The unit that a text spells, or None. Brackets and blanks around it do not matter."""
    plain = text.strip().strip("[](){}<>").strip().rstrip(".").replace("\u00b5", "µ").replace("\u03bc", "µ")
    if not plain or len(plain) > 20:
        return None
    if plain in _MEGA:
        family, factor = _MEGA[plain]
        return Measure(family, plain, factor)
    lower = plain.lower().replace("\u00a0", " ").replace("µ", "µ")
    lower = re.sub(r"^°\s+", "°", lower)
    return _SPELLINGS.get(lower)


_BRACKET = re.compile(r"[\[({<]\s*([^\[\](){}<>]*(?:\([^()]*\))?)\s*[\])}>]")
_AFTER = re.compile(r"^(?P<name>.*?\S)\s*(?:,|;|/|\||\bin\b|:)\s*(?P<unit>[^\s,;/|][^,;|]{0,19})$")
_TAIL = re.compile(r"^(?P<name>.*\S)(?P<gap>[\s_.\-]+)(?P<unit>[^\s_.\-]{1,12})$")
_NEEDS_A_SIGN = frozenset("cfkvawsjhx") | {"min", "deg", "std", "grad", "mc", "flag", "ma", "mv", "a"}


def split_unit(header: str) -> tuple[str, str]:
    """A header text taken apart: (name, unit text); unit text is "" where none is written.

    Known ways: ``Name [W]``, ``Name (W)``, ``Name, W``, ``Name / W``, ``Name in W``, ``name_mhz``, ``Name MHz``.
    A single letter counts only in brackets, after a sign, after ``_``, or as the capital symbol of its unit.
    """
    text = header.strip()
    for match in reversed(list(_BRACKET.finditer(text))):
        inner = match.group(1).strip()
        if measure(inner):
            return (text[: match.start()] + " " + text[match.end() :]).strip(), inner
    match_after = _AFTER.match(text)
    if match_after and measure(match_after["unit"]):
        return match_after["name"].strip(), match_after["unit"].strip()
    if text.endswith("%") and len(text) > 1:
        return text[:-1].strip(" _-,"), "%"
    tail = _TAIL.match(text)
    if tail and measure(tail["unit"]):
        unit = tail["unit"]
        bare_letter = unit.lower() in _NEEDS_A_SIGN
        if not bare_letter or "_" in tail["gap"] or unit in ("W", "V", "C", "F", "A", "mV", "mA"):
            return tail["name"].strip(" _-,"), unit
    return text, ""
