"""What a bundle does not carry unless it is asked for: who you are and what your machine and its folders are called.

Names of users and of this host, paths, addresses and serial numbers are taken out of the records as they are copied,
and with them whatever only works where they are: commands with such a word in them, the other machine's section, files
that the card names. Numbers, settings, outcomes, times and traces are never touched. What a free text calls somebody in
words that no rule knows cannot be found; the texts are short, read them.
"""

from __future__ import annotations

import getpass
import json
import platform
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from surefoot.units import HandsCard, RemoteCard, Unit

LEFT_OUT: Final = "(left out)"

# "/home/ann/notes.txt", "~/notes", "C:\Users\Ann\notes", "\\shelf\notes"; not "km/h", "n/a" or "and / or".
_PATH: Final = re.compile(
    r"file://\S+"
    r"|(?<![\w.:/\\~])~[\w.-]*/[^\s'\"<>|;,()\[\]]*"
    r"|(?<![\w.:/\\~])/[\w.~@+-]+/[^\s'\"<>|;,()\[\]]*"
    r"|\b[A-Za-z]:[\\/](?:[^\\/:*?\"<>|\r\n]+[\\/])*[^\\/:*?\"<>|\s]*"
    r"|\\\\[\w.$-]+\\[^\s'\"<>|]*"
)
_ROOTED: Final = re.compile(r"^(?:/|~|[A-Za-z]:[\\/]|\\\\)")
_ADDRESS: Final = re.compile(r"\b[\w.+-]+@[\w-][\w.-]*|\b(?:[0-9A-Fa-f]{2}[:-]){5}[0-9A-Fa-f]{2}\b")
_SERIAL: Final = re.compile(
    r"(?i)\b(serial(?:\s*(?:number|no\.?|nr\.?|#))?|s/n|service\s*tag|asset\s*(?:tag|number|no\.?))"
    r"(\s*[:=#]?\s*)(?=[\w-]*\d)[A-Z0-9][\w-]{3,}"
)
_SERIAL_PART: Final = re.compile(r"(?i)serial|^s[/_ -]?n$|service.?tag|asset|imei|uuid|^mac\b|owner|customer|host|user")
_NOBODY: Final = frozenset({"root", "user", "admin", "administrator", "localhost", "unknown", "linux", "windows"})
_LEAST_LETTERS: Final = 3

_TEXTS: Final = {
    "runs": ("note",),
    "closings": ("note", "judged_by"),
    "corrections": ("why",),
    "scores": ("note",),
    "readings": ("note",),
    "trial_ends": ("why",),
    "standings": ("why",),
    "exceptions": ("rule",),
}
_NESTED: Final = {"closings": "detail", "corrections": "changes", "forecasts": "forecast"}


@dataclass(frozen=True)
class Own:
    """The words that this user and this machine go by."""

    user: str = ""
    host: str = ""

    @classmethod
    def here(cls) -> Own:
        """Of this process."""
        try:
            user = getpass.getuser()
        except (KeyError, OSError, ImportError):
            user = Path.home().name
        return cls(user, platform.node().split(".")[0])


class LeavingOut:
    """Takes it out of records, and counts what it took."""

    def __init__(self, own: Own | None = None) -> None:
        mine = own if own is not None else Own.here()
        self._names = [
            (what, re.compile(rf"(?i)(?<!\w){re.escape(name)}(?!\w)"))
            for what, name in (("user names", mine.user), ("host names", mine.host))
            if len(name) >= _LEAST_LETTERS and name.lower() not in _NOBODY
        ]
        self._taken: Counter[str] = Counter()

    def words(self) -> tuple[str, ...]:
        """What was left out, with how often; () when nothing was."""
        return tuple(f"{what} ({count})" for what, count in self._taken.items())

    def __call__(self, table: str, values: dict[str, Any]) -> dict[str, Any]:
        """A record without it."""
        made = dict(values)
        for column in _TEXTS.get(table, ()):
            if isinstance(made.get(column), str):
                made[column] = self.text(made[column])
        nested = _NESTED.get(table)
        if nested and isinstance(made.get(nested), str):
            made[nested] = json.dumps(self._deep(json.loads(made[nested])))
        if table in ("corrections", "thinnings"):
            self._taken["who corrected runs" if table == "corrections" else "who thinned traces"] += 1
            made["who"] = LEFT_OUT
        if table == "cards" and made.get("card") is not None:
            made["card"] = self.card(Unit.model_validate_json(made["card"])).model_dump_json()
        return made

    def text(self, text: str) -> str:
        """A text with each such word put as left out."""
        for what, pattern in (("paths", _PATH), ("addresses", _ADDRESS), *self._names):
            text, count = pattern.subn(LEFT_OUT, text)
            if count:
                self._taken[what] += count
        text, count = _SERIAL.subn(rf"\1\2{LEFT_OUT}", text)
        if count:
            self._taken["serial numbers"] += count
        return text

    def card(self, unit: Unit) -> Unit:
        """A card without it; what cannot work without such words is left out whole."""
        changed: dict[str, Any] = {"notes": self.text(unit.notes), "parts": self._parts(unit.parts)}
        if unit.hands.kind == "command" and self._tells(*unit.hands.apply, *unit.hands.read_back):
            self._taken["the commands that apply settings, in the card's states"] += 1
            changed["hands"] = HandsCard()
        if unit.remote != RemoteCard():
            self._taken["the section on the other machine, in the card's states"] += 1
            changed["remote"] = RemoteCard()
        for name in ("sensors_from", "pool"):
            if getattr(unit, name):
                self._taken["paths"] += 1
                changed[name] = ""
        loads = []
        for load in unit.loads:
            new: dict[str, Any] = {"instructions": self.text(load.instructions)}
            if self._tells(*load.command):
                self._taken["commands of loads, in the card's states"] += 1
                new["command"] = ()
            loads.append(load.model_copy(update=new))
        return unit.model_copy(update={**changed, "loads": tuple(loads)})

    def _parts(self, parts: dict[str, str]) -> dict[str, str]:
        kept = {name: self.text(text) for name, text in parts.items() if not _SERIAL_PART.search(name)}
        if len(kept) < len(parts):
            self._taken["serial numbers"] += len(parts) - len(kept)
        return kept

    def _tells(self, *words: str) -> bool:
        return any(
            _ROOTED.match(word)
            or any(pattern.search(word) for _, pattern in (*self._names, ("", _ADDRESS), ("", _PATH)))
            for word in words
        )

    def _deep(self, value: Any) -> Any:
        if isinstance(value, str):
            return self.text(value)
        if isinstance(value, list):
            return [self._deep(one) for one in value]
        if isinstance(value, dict):
            return {key: self._deep(one) for key, one in value.items()}
        return value


def keeping_own(own: Unit) -> Callable[[str, dict[str, Any]], dict[str, Any]]:
    """For cards that come back without such words: what this journal's own card has in their place."""

    def kept(table: str, values: dict[str, Any]) -> dict[str, Any]:
        if table != "cards" or values.get("card") is None:
            return values
        unit = Unit.model_validate_json(values["card"])
        loads = {load.name: load for load in own.loads}
        changed: dict[str, Any] = {
            "parts": {
                **{part: text for part, text in own.parts.items() if _SERIAL_PART.search(part)},
                **{part: own.parts.get(part, text) if LEFT_OUT in text else text for part, text in unit.parts.items()},
            },
            "hands": own.hands if unit.hands == HandsCard() else unit.hands,
            "remote": own.remote if unit.remote == RemoteCard() else unit.remote,
            "sensors_from": unit.sensors_from or own.sensors_from,
            "pool": unit.pool or own.pool,
            "notes": own.notes if LEFT_OUT in unit.notes else unit.notes,
            "loads": tuple(
                load.model_copy(update={"command": loads[load.name].command})
                if not load.command and load.name in loads
                else load
                for load in unit.loads
            ),
        }
        return {**values, "card": unit.model_copy(update=changed).model_dump_json()}

    return kept


def without_words(card: str) -> str:
    """What a card says whether or not words were left out of it, to know it again by."""
    unit = Unit.model_validate_json(card)
    kept = unit.model_dump(exclude={"name", "notes", "parts", "hands", "remote", "sensors_from", "pool", "loads"})
    return json.dumps(kept, sort_keys=True, default=str)
