"""Tables that are no delimited text (JSON, Parquet, spreadsheets), rendered as such, so that all is read one way."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from surefoot.errors import BadInput
from surefoot.logs.packed import MemoryFile, is_spreadsheet
from surefoot.logs.problems import Ledger

_MOST_COLUMNS = 4000


@dataclass(frozen=True)
class Rendered:
    """``text``: with a header line and a tab between cells; ``first_line``: the line of the file that the header stands
    for, so that every sample has its own line's number."""

    text: bytes
    first_line: int


class _Sink(list[str]):
    def write(self, text: str) -> None:
        self.append(text)


def as_text(header: Sequence[str], rows: Iterable[Sequence[str] | None]) -> bytes:
    """A table as tab-delimited text; None is an empty line."""
    sink = _Sink()
    writer = csv.writer(sink, delimiter="\t", lineterminator="\n")
    writer.writerow([" ".join(name.split()) for name in header])
    for row in rows:
        if row is None:
            sink.append("\n")
        else:
            writer.writerow(row)
    return "".join(sink).encode("utf-8", errors="replace")


def cell(value: Any) -> str:
    """A value of another format as a cell would say it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return "" if value != value else repr(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat(sep=" ") if isinstance(value, datetime) else value.isoformat()
    return " ".join(str(value).split())


def binary_table(data: bytes, ledger: Ledger) -> Rendered | None:
    """A Parquet file or a spreadsheet as text; None when it is neither. Raises BadInput for what must be installed."""
    if data.startswith(b"PAR1"):
        ledger.note("read from a Parquet file; line 2 is its first row.")
        return Rendered(_parquet(data), 1)
    if is_spreadsheet(data):
        return Rendered(_spreadsheet(data, ledger), 1)
    return None


def _parquet(data: bytes) -> bytes:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise BadInput(
            "this is a Parquet file, and pyarrow is not installed.",
            remedy="pip install 'surefoot[tables]', or give CSV.",
        ) from None
    try:
        table = pyarrow.parquet.read_table(pyarrow.BufferReader(data))
    except (pyarrow.ArrowException, OSError, ValueError) as error:
        raise BadInput(f"the Parquet file cannot be read: {error}.", remedy="Write it again, or give CSV.") from None
    columns = [column.to_pylist() for column in table.columns]
    return as_text(list(table.column_names), ([cell(value) for value in row] for row in zip(*columns, strict=True)))


def _spreadsheet(data: bytes, ledger: Ledger) -> bytes:
    try:
        import openpyxl
    except ImportError:
        raise BadInput(
            "this is a spreadsheet, and openpyxl is not installed.",
            remedy="pip install 'surefoot[tables]', or save it as CSV.",
        ) from None
    source: Any = MemoryFile(data)
    try:
        book = openpyxl.load_workbook(source, read_only=True, data_only=True)
        sheets = [(sheet.title, [list(row) for row in sheet.iter_rows(values_only=True)]) for sheet in book.worksheets]
    except Exception as error:  # noqa: BLE001 - a damaged workbook fails in many ways
        raise BadInput(f"the spreadsheet cannot be read: {error}.", remedy="Save it again, or as CSV.") from None
    filled = [(title, rows) for title, rows in sheets if sum(any(v is not None for v in row) for row in rows) > 1]
    if not filled:
        raise BadInput("the spreadsheet holds no table.", remedy="Give one with a line of names and lines of numbers.")
    if len(filled) > 1:
        names = ", ".join(repr(title) for title, _ in filled[:6])
        raise BadInput(
            f"the spreadsheet has {len(filled)} sheets with tables: {names}.", remedy="Save the one you mean."
        )
    ledger.note(f"read from the sheet {filled[0][0]!r} of a spreadsheet.")
    rows = [[cell(value) for value in row] for row in filled[0][1]]
    return as_text(rows[0], rows[1:])


def json_table(utf8: bytes, ledger: Ledger) -> Rendered | None:
    """JSON lines, an array of objects or of rows, or an object of columns, as text; None when it is no JSON."""
    start = utf8.lstrip()[:1]
    if start not in (b"{", b"["):
        return None
    whole = _loaded(utf8)
    if whole is None or isinstance(whole, dict):
        of_one = isinstance(whole, dict) and not any(isinstance(value, list) for value in whole.values())
        lines = _json_lines(utf8, ledger) if whole is None or of_one else None
        if lines is not None:
            return lines
    if whole is None:
        raise BadInput(
            "this begins as JSON and is none.", remedy="Give one object a line, or one array of objects, or CSV."
        )
    ledger.note("read from JSON; line 2 is its first record.")
    return Rendered(_of_records(_records(whole)), 1)


def _loaded(utf8: bytes) -> Any:
    try:
        return json.loads(utf8)
    except (ValueError, RecursionError):
        return None


def _json_lines(utf8: bytes, ledger: Ledger) -> Rendered | None:
    records: list[dict[str, str] | None] = []
    lines = utf8.split(b"\n")
    good = 0
    broken: list[int] = []
    for number, line in enumerate(lines, start=1):
        found = _loaded(line.strip().rstrip(b",")) if line.strip() else None
        if isinstance(found, dict):
            records.append(_flat(found))
            good += 1
        else:
            records.append(None)
            if line.strip():
                broken.append(number)
    if not good or good < len(broken):
        return None
    if broken and broken[-1] == len(lines):
        ledger.problem("the last line was cut off and was left out.", line=broken.pop())
    ledger.many("no JSON: the line was left out", broken)
    names = _names(record for record in records if record is not None)
    rows = ([record.get(name, "") for name in names] if record is not None else None for record in records)
    # The header stands for no line of the file: the first record keeps its number 1.
    return Rendered(as_text(names, rows), 0)


def _is_columns(whole: dict[str, Any]) -> bool:
    sizes = {len(value) for value in whole.values() if isinstance(value, list)}
    return len(whole) > 1 and len(sizes) == 1 and all(isinstance(value, list) for value in whole.values())


def _records(whole: Any) -> list[Any]:
    if isinstance(whole, dict):
        if _is_columns(whole):
            names = list(whole)
            return [dict(zip(names, row, strict=True)) for row in zip(*whole.values(), strict=True)]
        lists = [value for value in whole.values() if isinstance(value, list) and value]
        if len(lists) == 1:
            return _records(lists[0])
        raise BadInput(
            f"the JSON object has {', '.join(map(repr, list(whole)[:6]))}, and no one list of records in it.",
            remedy="Give an array of objects, one for each sample.",
        )
    if not whole or not all(isinstance(one, dict | list) for one in whole):
        raise BadInput("the JSON array holds no records.", remedy="Give an array of objects, one for each sample.")
    return list(whole)


def _of_records(records: list[Any]) -> bytes:
    if all(isinstance(one, list) for one in records):
        return as_text([cell(value) for value in records[0]], ([cell(v) for v in row] for row in records[1:]))
    flat = [_flat(one) for one in records if isinstance(one, dict)]
    names = _names(flat)
    return as_text(names, ([one.get(name, "") for name in names] for one in flat))


def _names(records: Iterable[dict[str, str]]) -> list[str]:
    names = list(dict.fromkeys(name for record in records for name in record))
    if len(names) > _MOST_COLUMNS:
        raise BadInput(f"the records have {len(names)} different names.", remedy="Give one name for each sensor.")
    return names


def _flat(record: dict[str, Any], above: str = "", depth: int = 0) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in record.items():
        name = f"{above} {key}".strip()
        if isinstance(value, dict) and depth < 6:
            found.update(_flat(value, name, depth + 1))
        elif isinstance(value, list) and depth < 6:
            found.update(_flat({str(place): one for place, one in enumerate(value)}, name, depth + 1))
        else:
            found[name] = cell(value)
    return found
