"""A second process that writes a log in a format which its seed invents: odd_logger.py FILE TRUTH SEED [HOT_AFTER].

TRUTH gets first what each heading means (channel by heading), then for each line the true values: °C, MHz, W. Headings,
languages, units of measure, delimiters, decimals, times, encodings, preambles and fillers are drawn; nothing of it is
any program's own format. HOT_AFTER: lines after which the processor passes 110 °C.
"""

from __future__ import annotations

import json
import math
import random
import sys
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

LINES_A_SECOND = 20
Say = Callable[[float], float]

TEMPERATURE: list[tuple[str, Say]] = [
    ("CPU package temperature [°C]", lambda c: c),
    ("Prozessor Temperatur (°C)", lambda c: c),
    ("Température CPU / °C", lambda c: c),
    ("cpu_temp_f [°F]", lambda c: c * 9 / 5 + 32),
    ("cpu die temperature (K)", lambda c: c + 273.15),
    ("Temp. procesador [°C]", lambda c: c),
]
CLOCK: list[tuple[str, Say]] = [
    ("CPU clock [MHz]", lambda mhz: mhz),
    ("Prozessortakt (GHz)", lambda mhz: mhz / 1e3),
    ("cpu core frequency / kHz", lambda mhz: mhz * 1e3),
    ("CPU Frequenz [Hz]", lambda mhz: mhz * 1e6),
]
POWER: list[tuple[str, Say]] = [
    ("CPU power [W]", lambda w: w),
    ("Prozessor Leistung (mW)", lambda w: w * 1e3),
    ("cpu package power / W", lambda w: w),
]
FILLERS = ["note", "seq", "Bemerkung", "checksum", "operator", "bay"]


class Format:
    """What a seed invents."""

    def __init__(self, seed: int) -> None:
        draw = random.Random(seed)
        self.comma = draw.random() < 0.4
        self.delimiter = draw.choice([";", "\t", "|", "~", " ; "] if self.comma else [";", "\t", "|", "~", ",", " | "])
        self.encoding = draw.choice(["utf-8", "utf-8-sig", "utf-16"])
        self.end = draw.choice(["\n", "\r\n"])
        self.columns = [
            (*draw.choice(TEMPERATURE), "cpu.temperature"),
            (*draw.choice(CLOCK), "cpu.clock"),
            (*draw.choice(POWER), "cpu.power"),
        ]
        draw.shuffle(self.columns)
        self.fillers = draw.sample(FILLERS, draw.randint(0, 2))
        self.preamble = draw.sample(["# made on the bench", "session 12, second try", "logger 0.3"], draw.randint(0, 2))
        self.time, self.stamp = draw.choice(
            [
                ("time", lambda at, _: at.strftime("%Y-%m-%d %H:%M:%S.%f")[:-3]),
                ("Zeit", lambda at, _: at.strftime("%d.%m.%Y %H:%M:%S")),
                ("elapsed [s]", lambda _, seconds: self.number(seconds)),
                ("t_ms [ms]", lambda _, seconds: f"{seconds * 1e3:.0f}"),
                ("timestamp", lambda at, _: self.number(at.timestamp())),
                ("heure", lambda at, _: at.strftime("%H:%M:%S.%f")[:-3]),
            ]
        )
        self.quoted = draw.random() < 0.3 and not self.comma

    def number(self, value: float) -> str:
        text = f"{value:.3f}"
        return text.replace(".", ",") if self.comma else text

    def header(self) -> list[str]:
        names = [self.time, *(name for name, _, _ in self.columns), *self.fillers]
        joined = self.delimiter.join(f'"{name}"' if self.quoted else name for name in names)
        return [*self.preamble, joined]

    def line(self, seconds: float, at: datetime, truth: dict[str, float]) -> str:
        cells = [self.stamp(at, seconds)]
        cells += [self.number(say(truth[channel])) for _, say, channel in self.columns]
        cells += [f"x{round(seconds)}" for _ in self.fillers]
        return self.delimiter.join(cells)


def main() -> None:
    path, told, seed = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
    hot_after = int(sys.argv[4]) if len(sys.argv) > 4 else 10**9
    made = Format(seed)
    draw = random.Random(seed + 1)
    began = datetime(2031, 5, 4, 9, 0)
    with path.open("w", encoding=made.encoding, newline="") as log, told.open("w", encoding="utf-8") as truths:
        truths.write(json.dumps({name: channel for name, _, channel in made.columns}) + "\n")
        log.write("".join(line + made.end for line in made.header()))
        for number in range(10**6):
            seconds = number / LINES_A_SECOND
            heat = 115.0 if number > hot_after else 58 + 4 * math.sin(seconds) + draw.random()
            truth = {
                "cpu.temperature": round(heat, 2),
                "cpu.clock": 3600.0 + number % 50,
                "cpu.power": 24.5 + number % 7,
            }
            line = made.line(seconds, began + timedelta(seconds=seconds), truth) + made.end
            truths.write(json.dumps(truth) + "\n")
            truths.flush()
            # In two writes: a reader meets half a line now and then.
            log.write(line[: len(line) // 2])
            log.flush()
            log.write(line[len(line) // 2 :])
            log.flush()
            time.sleep(1 / LINES_A_SECOND)


if __name__ == "__main__":
    main()
