"""A unit's card as a TOML file, read and written."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from surefoot.errors import BadInput
from surefoot.units import Unit, validated

LARGEST_BYTES = 1_000_000
_TABLES = ("parts", "ceilings_celsius", "power_limits_watts", "throttle_celsius", "goal", "hands", "remote")
_LISTS = ("knobs", "loads")


def read_card(path: str | Path, name: str, *, rename: bool = True) -> Unit:
    """The card in a TOML file as the unit ``name``. See `card_of_text` for ``rename`` and what is raised."""
    file = Path(path).expanduser()
    try:
        if file.stat().st_size > LARGEST_BYTES:
            raise BadInput("this is too large to be a unit's card.", where=str(file))
        data = file.read_bytes()
    except OSError as error:
        raise BadInput(f"the card cannot be read: {error.strerror or error}.", where=str(file)) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput("a card is a text in UTF-8.", where=str(file)) from None
    return card_of_text(text, name, where=str(file), rename=rename)


def card_of_text(text: str, name: str, *, where: str, rename: bool = True) -> Unit:
    """The card in a TOML text as the unit ``name``; without ``rename`` another name in the text is refused.

    Raises BadInput naming the line for what is not TOML, and the field for what no card has or is out of range.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"this is not TOML: {error}.", where=where) from None
    except RecursionError:
        raise BadInput("this is nested too deeply to be a unit's card.", where=where) from None
    except ValueError:
        # Python reads no whole number of more than 4,300 digits.
        raise BadInput("a whole number on the card is too long.", where=where) from None
    told = data.get("name", name)
    if not rename and told != name:
        raise BadInput(
            f"the card is named {told!r}, the unit {name!r}; a unit keeps its name.",
            where=where,
            remedy="Leave `name` out, or add the card as a unit of its own.",
        )
    data["name"] = name
    return validated(Unit, data, where)


def card_text(unit: Unit, *, with_name: bool = True) -> str:
    """A card as TOML. Fields at their default are left out; reading it gives the same card."""
    import tomli_w

    data = unit.model_dump()
    told: dict[str, Any] = {"name": unit.name} if with_name else {}
    for key, field in Unit.model_fields.items():
        if key not in ("name", *_TABLES, *_LISTS) and data[key] != field.default:
            told[key] = data[key]
    for key in _TABLES:
        own = getattr(unit, key)
        table = own.model_dump(exclude_defaults=True) if isinstance(own, BaseModel) else own
        if table:
            told[key] = table
    told["knobs"] = [{key: value for key, value in knob.items() if value is not None} for knob in data["knobs"]]
    told["loads"] = [load.model_dump(exclude_defaults=True) for load in unit.loads]
    # TOML writes what is not seen as JSON does, but for the halves that JSON makes of what is beyond the first plane.
    text = tomli_w.dumps({key: _plain(value) for key, value in told.items() if key not in _LISTS or value})
    return "".join(one if one.isprintable() or one == "\n" else _written(ord(one)) for one in text)


def _written(number: int) -> str:
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"


def _plain(value: Any) -> Any:
    """A value as a card shows it: 5 and not 5.0, lists and not tuples."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value
