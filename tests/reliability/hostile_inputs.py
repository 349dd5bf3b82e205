"""Made-up hostile files, one for each number: cards, tables, logs, frame logs, bundles; right in form, then spoilt.

The same kind and number always give the same bytes, so that what was lost can be looked at again.
"""

from __future__ import annotations

import gzip
import io
import json
import lzma
import random
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from functools import lru_cache
from pathlib import Path
from typing import Any

from surefoot.journal import Journal
from surefoot.journal.bundle import _SEAL, _digest, save_bundle
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, LoadCard, Setting, Unit

KNOB = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
UNIT = Unit(name="box", knobs=(KNOB,), loads=(LoadCard(name="own"),))
BOMB_BYTES = 3_000_000_000

TEXTS = (
    "", " ", "a", "box", "\x1b[2J\x1b]0;x\x07", "\x9b31m", "\u202egnp.exe", "\u2066x\u2069", "\u200b", "\ufeff", "\0",
    "\r\n", "=cmd|'/c calc'!A1", "@SUM(1)", "+1", "-1", "<script>alert(1)</script>", "</script><img src=x onerror=x>",
    "[bold]x[/bold]", "[/]", ":smile:", "{0}", "{cpu-core}", "%s%n", "$(touch owned)", "`touch owned`", "; touch owned",
    "../../etc/passwd", "/etc/passwd", "C:\\x", "\\\\host\\x", "~root/x", "file:///etc/passwd",
    "'; DROP TABLE units;--",
    "x" * 81, "x" * 5000, "\U0001f600" * 40, "A\u0300" * 200, "\u0661\u0662", "\u00b2", "\ud800", "日本", "name",
    "null",
)  # fmt: skip
NUMBERS = (
    "0", "-0", "1", "-95", "95", "nan", "-inf", "inf", "1e308", "-1e308", "1e400", "5e-324", "9" * 30, "-" + "9" * 400,
    "9" * 5000, "0x1F", "1_000", "1,5", "1.234,5", "1e9999999", "٣", "½", "--1", "1e", ".", "12:34:56", "24:00:00",
    "99:99:99", "0001-01-01", "9999-12-31 23:59:59", "2026-02-30", "-62135596800", "253402300800", "1e18",
    "9223372036854775808",
)  # fmt: skip


class Made:
    """One hostile file: its bytes, or what is to be done at its place instead (a link)."""

    def __init__(self, data: bytes, link: str = "") -> None:
        self.data, self.link = data, link

    def put(self, file: Path) -> None:
        """Make it be there."""
        if self.link:
            file.symlink_to(self.link)
        else:
            file.write_bytes(self.data)


def text(of: random.Random) -> str:
    return of.choice(TEXTS) if of.random() < 0.8 else "".join(chr(of.randrange(0x20, 0x3000)) for _ in range(9))


def number(of: random.Random) -> str:
    if of.random() < 0.5:
        return of.choice(NUMBERS)
    return repr(of.choice((of.uniform(-300, 300), of.gauss(0, 1e6), float(of.randrange(-10, 4000)))))


def spoilt(of: random.Random, data: bytes) -> bytes:
    """Some of the bytes changed, cut, doubled, or packed; most stay as they are."""
    how = of.randrange(14)
    if not data or how > 6:
        return data
    at = of.randrange(len(data))
    if how == 0:
        return data[:at]
    if how == 1:
        return data[:at] + bytes([of.randrange(256)]) + data[at + 1 :]
    if how == 2:
        return data[:at] + data[at : at + 60] * of.randrange(2, 40) + data[at:]
    if how == 3:
        return data.decode("utf-8", "replace").encode(
            of.choice(("utf-16", "utf-32", "latin-1", "utf-16-be")), "replace"
        )
    if how == 4:
        return gzip.compress(data) if of.random() < 0.5 else lzma.compress(data)
    if how == 5:
        return data[:at] + of.randbytes(of.randrange(1, 200)) + data[at:]
    return data.replace(b"\n", of.choice((b"\r", b"\r\n", b"\n\n", b"\0\n")))


def card(of: random.Random) -> Made:
    """A TOML card, its fields right, wrong, doubled, deep, endless."""
    odd = of.randrange(40)
    if odd == 0:
        return Made(("a = " + "[" * of.choice((50, 2000, 200_000))).encode())
    if odd == 1:
        return Made((".".join("a" for _ in range(of.choice((50, 5000)))) + " = 1").encode())
    if odd == 2:
        return Made(("a = " + "{a=" * of.choice((90, 3000)) + "1" + "}" * of.choice((90, 3000))).encode())
    if odd == 3:
        return Made(b"", link=of.choice(("/etc/passwd", "/dev/null", "nowhere", "..", "loop")))
    if odd == 4:
        return Made(b'notes = "' + b"x" * of.choice((999_000, 2_000_000)) + b'"')
    string = lambda: json.dumps(text(of))  # noqa: E731

    def any_value() -> str:
        many = (f"[{string()}, {string()}]", f"{{a = {string()}}}", "2026-01-01T00:00:00Z")
        return of.choice((string(), number(of), "[]", "{}", "true", *many))

    fields = [
        "name",
        "firmware",
        "driver",
        "cooling",
        "supply_watts",
        "notes",
        "sensors_from",
        "pool",
        "parts.x",
        "odd",
    ]
    lines = [
        f"{name} = {string() if of.random() < 0.6 else any_value()}" for name in of.sample(fields, of.randrange(6))
    ]
    if of.random() < 0.4:
        lines.append(f"[ceilings_celsius]\n{of.choice(('cpu', 'gpu', string()))} = {number(of)}")
    for _ in range(of.choice((0, 1, 1, 2, 3, 200))):
        lines.append("[[knobs]]")
        given = {
            "name": '"cpu-core"',
            "domain": '"cpu"',
            "unit": '"mV"',
            "toward": '"down"',
            "step": "5",
            "limit": "100",
        }
        for name in of.sample(sorted(given), of.choice((0, 0, 1, 2))):
            given[name] = of.choice((string, lambda: number(of), any_value))()
        if of.random() < 0.2:
            given[of.choice(("cores", "linked_to", "load", "odd", "cautious"))] = any_value()
        lines += [f"{name} = {value}" for name, value in given.items() if of.random() < 0.98]
    if of.random() < 0.6:
        hands = of.choice(('"command"', '"ask"', '"documented"', string()))
        lines.append(f"[hands]\nkind = {hands}")
        lines.append(f"apply = [{', '.join(string() for _ in range(of.randrange(4)))}]")
        lines.append(f"read_back = [{string()}]" if of.random() < 0.5 else f"timeout_seconds = {number(of)}")
    for _ in range(of.choice((0, 0, 1, 3))):
        lines.append(
            f"[[loads]]\nname = {string()}\ncommand = [{string()}]\nscore = {string()}\nerror_lines = [{string()}]"
        )
    if of.random() < 0.2:
        lines.append(f"[remote]\nagent = [{string()}]\nswitch_power = [{string()}]")
    if of.random() < 0.2:
        lines.append(f"[goal]\nmttf_hours = {number(of)}\nconfidence = {number(of)}")
    return Made(spoilt(of, "\n".join(lines).encode("utf-8", "surrogatepass")))


def rows(of: random.Random, heads: list[str], cells: Callable[[], str], most: int) -> bytes:
    """A delimited text."""
    split = of.choice((",", ";", "\t", "|", "  "))
    found = [split.join(heads)]
    for _ in range(of.randrange(most)):
        row = [cells() for _ in heads]
        if of.random() < 0.05:
            row = row[: of.randrange(len(row) + 1)] + [text(of)] * of.randrange(3)
        found.append(split.join(f'"{cell}"' if of.random() < 0.1 else cell for cell in row))
    if of.random() < 0.1:
        found.insert(0, text(of))
    return "\n".join(found).encode("utf-8", "surrogatepass")


def table(of: random.Random) -> Made:
    """A hand-kept table of runs."""
    if of.randrange(60) == 0:
        return Made(bomb(of))
    heads = of.sample(
        ["date", "offset", "cpu-core", "mV", "minutes", "time", "result", "outcome", "ok?", "note", "temp", "Ergebnis",
         "room", text(of), text(of), "outcome"], of.randrange(1, 8),
    )  # fmt: skip
    words = (
        "held",
        "crash",
        "not ok",
        "BSOD",
        "ok",
        "nicht stabil",
        "reboot after 5 min",
        "-95",
        "95 mV",
        "1:30",
        "2 h",
        "?",
    )

    def cell() -> str:
        return of.choice(words) if of.random() < 0.6 else number(of) if of.random() < 0.6 else text(of)

    return Made(spoilt(of, rows(of, heads, cell, of.choice((3, 12, 40)))))


def log(of: random.Random) -> Made:
    """A sensor log: delimited, JSON, packed; long lines, wide tables, clocks that jump."""
    odd = of.randrange(60)
    if odd == 0:
        return Made(bomb(of))
    if odd == 1:
        deep = of.choice((100, 3000, 100_000))
        return Made(("[" * deep + "]" * deep).encode())
    if odd == 2:
        return Made(
            json.dumps([{text(of): of.choice((1, None, "x", 1e308, [1], {"a": {}}))} for _ in range(30)]).encode()
        )
    if odd == 3:
        return Made((",".join(f"c{n}" for n in range(of.choice((3000, 20_000)))) + "\n" + "1," * 3000).encode())
    if odd == 4:
        return Made(b"a" * of.choice((100_000, 3_000_000)) + b",b\n1,2\n")
    heads = of.sample(
        ["Time", "Date", "Elapsed [ms]", "CPU Package [°C]", "Core 0 Clock [MHz]", "GPU Power (W)", "Fan [RPM]", "%",
         "Frame time", "Throttling", "CPU [%]", text(of), text(of)], of.randrange(1, 7),
    )  # fmt: skip
    step = [0.0]

    def cell() -> str:
        step[0] += of.choice((1.0, 0.1, 0.0, -5.0, 1e6)) if of.random() < 0.2 else 0.5
        return f"{step[0]:.2f}" if of.random() < 0.75 else number(of) if of.random() < 0.8 else text(of)

    return Made(spoilt(of, rows(of, heads, cell, of.choice((4, 30, 120)))))


def frames(of: random.Random) -> Made:
    """A log of the milliseconds of each frame."""
    heads = of.sample(["FrameTime [ms]", "frametime", "Time", "ms", "fps", "Application", text(of)], of.randrange(1, 5))

    def cell() -> str:
        return f"{of.lognormvariate(2.5, 0.3):.3f}" if of.random() < 0.9 else number(of)

    return Made(spoilt(of, rows(of, heads, cell, of.choice((5, 60, 300)))))


@lru_cache(maxsize=1)
def zeros() -> bytes:
    """Three gigabytes of nothing, packed."""
    packed = io.BytesIO()
    with gzip.GzipFile(fileobj=packed, mode="wb", compresslevel=9, mtime=0) as file:
        for _ in range(BOMB_BYTES // 10_000_000):
            file.write(bytes(10_000_000))
    return packed.getvalue()


def bomb(of: random.Random) -> bytes:
    """What unpacks to far more than it is, or to many files, or to files elsewhere."""
    kind = of.randrange(5)
    if kind == 0:
        return zeros()
    if kind == 1:
        return gzip.compress(gzip.compress(gzip.compress(b"a,b\n1,2\n" * 1000)))
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as file:
        if kind == 2:
            file.writestr(
                of.choice(("../../owned", "/tmp/owned-by-hostile", "..\\owned", "a/../../b")), "Time,CPU\n1,2\n"
            )
        elif kind == 3:
            for place in range(of.choice((2, 3000))):
                file.writestr(f"{place}.csv", "a,b\n")
        else:
            sheet = '<worksheet><sheetData><row><c t="str"><v>=1+1</v></c></row></sheetData></worksheet>'
            entity = (
                '<!DOCTYPE a [<!ENTITY b "ccccccccccccccccc">'
                + "".join(f'<!ENTITY b{n} "{f"&b{n - 1 if n else chr(32).strip()};" * 10}">' for n in range(9))
                + "]>"
            )
            file.writestr(
                "xl/workbook.xml", entity + "<workbook>&b8;</workbook>" if of.random() < 0.5 else "<workbook/>"
            )
            file.writestr("xl/worksheets/sheet1.xml", sheet * of.choice((1, 20_000)))
    return made.getvalue()


VALUES: tuple[Any, ...] = (
    None, 0, -1, 2**63 - 1, -(2**63), 1e308, float("inf"), float("-inf"), "", "x" * 100_000, b"\xff\xfe", b"", "nan",
    "{}", "[]", "null", "[" * 100_000, '{"a":' * 3000,
    '{"name": "box", "knobs": []}', '{"values": {"cpu-core": 1e999}}',
    "\x1b[2J", "\u202e", "0000-00-00", "9999-99-99T99:99:99", "../../x", "2026-01-01T00:00:00.000000+00:00",
)  # fmt: skip


def bundle(of: random.Random, base: Path, work: Path) -> Made:
    """A sealed bundle, its records or its schema changed, sealed anew or not; or its bytes spoilt."""
    if of.random() < 0.25:
        return Made(spoilt(of, base.read_bytes()))
    file = work / "made.sqlite"
    shutil.copyfile(base, file)
    with closing(sqlite3.connect(file, isolation_level=None)) as at:
        at.execute("PRAGMA foreign_keys = OFF")
        triggers = at.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            at.execute(f'DROP TRIGGER "{name}"')
        tables = [
            row[0]
            for row in at.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'")
        ]
        for _ in range(of.randrange(1, 4)):
            named = of.choice(tables)
            columns = [row[1] for row in at.execute(f'PRAGMA table_info("{named}")')]
            try:
                how = of.randrange(6)
                if how < 4:
                    value = of.choice(VALUES) if of.random() < 0.7 else text(of).encode("utf-8", "replace").decode()
                    at.execute(f'UPDATE "{named}" SET "{of.choice(columns)}" = ?', (value,))
                elif how == 4:
                    at.execute(f'DELETE FROM "{named}" WHERE rowid % 2 = ?', (of.randrange(2),))
                else:
                    at.execute(f'INSERT INTO "{named}" SELECT * FROM "{named}"')
            except sqlite3.Error:
                continue
        for _, sql in triggers:
            if of.random() < 0.999:
                at.execute(sql)
        if of.random() < 0.1:
            at.execute("CREATE TRIGGER t AFTER INSERT ON units BEGIN SELECT load_extension('x'); END")
        if of.random() < 0.1:
            at.execute("CREATE VIEW v AS SELECT * FROM v2")
        try:
            if of.random() < 0.8:
                at.execute(f"UPDATE {_SEAL} SET sha256 = ?", (_digest(at),))
            else:
                at.execute(f"DROP TABLE {_SEAL}")
        except sqlite3.Error:
            pass
    data = file.read_bytes()
    file.unlink()
    return Made(data)


def base_bundle(folder: Path) -> Path:
    """A bundle as it should be."""
    file = folder / "base.bundle"
    if not file.exists():
        with Journal.open(folder / "base" / "journal.sqlite") as journal:
            journal.add_unit(UNIT)
            for depth in range(4):
                plan = RunPlan(
                    unit_name="box", setting=Setting(values={"cpu-core": -5.0 * depth}), load="own", planned_minutes=5
                )
                journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=5, judged_by="x", detail={"a": [1, "b"]}))
            journal.amend_run(1, {"minutes": 4.0}, who="me", why="typed wrong")
            save_bundle(journal, "box", file)
    return file


KINDS: dict[str, float] = {"card": 0.25, "table": 0.2, "log": 0.35, "frames": 0.15, "bundle": 0.05}
"""Kind, and its share of the whole."""


def made(kind: str, place: int, folder: Path) -> Made:
    """The file of that number."""
    of = random.Random(f"{kind} {place}")
    if kind == "bundle":
        return bundle(of, base_bundle(folder), folder)
    return {"card": card, "table": table, "log": log, "frames": frames}[kind](of)
