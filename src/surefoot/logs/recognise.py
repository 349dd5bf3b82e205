"""What a column measures, from the words and the unit of its header."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.logs import words
from surefoot.logs.measures import Measure
from surefoot.runs import QUANTITIES

ASK_BELOW = 0.7
"""Below this confidence a person should confirm a column."""
TAKE_FROM = 0.4
"""Below this confidence a column is not taken without a correction."""

_WEAK_DOMAIN = words._any(
    r"""
    cpu  gpu  processor  prozessor  processeur  procesador  graphic  grafik  \btctl\b  \btdie\b  package
    процессор  \bцп\b  プロセッサ  处理器  處理器  видеокарт
    """
)
_BATTERY = words._any(r"batter  \bakku  bateria  \bbat\b")
_BUSY_PART = words._any(r"^cpu$  ^gpu$  ^(?:cpu|gpu) (?:core|total|0)$  ^memory$  ^ram$  ^core \d+$  ^cpu \d+$")
_FLAGS = ("thermal-flag", "power-flag", "current-flag", "throttle-flag")
_FLAG_LIMITS = {"power-flag": "power-limit", "thermal-flag": "temperature-limit"}
_DEFAULT_DOMAIN = {
    "fan": "board",
    "duty": "board",
    "charge": "battery",
    "frame-time": "frame",
    "energy": "system",
    "reasons": "gpu",
}


@dataclass(frozen=True)
class Guess:
    """What a header says.

    ``quantity``: "" when nothing fits, and then ``how`` says why; ``statistic``: ``min``, ``max``, ``avg`` or "";
    ``base``: the words without those of a statistic.
    """

    domain: str = ""
    quantity: str = ""
    part: str = ""
    confidence: float = 0.0
    how: str = ""
    statistic: str = ""
    base: str = ""

    @property
    def channel(self) -> str:
        """Text of the channel, "" when there is none."""
        return f"{self.domain}.{self.quantity}" + (f".{self.part}" if self.part else "") if self.quantity else ""


def guess(name: str, unit: Measure | None, *, boolean: bool) -> Guess:
    """Recognise a column by its name (unit taken out) and unit; ``boolean``: its values are all 0 or 1 or words."""
    text = words.plain(name)
    statistic, base = _statistic(text)
    family = unit.family if unit else ""
    refused = _refused(text, unit, boolean)
    if refused:
        return Guess(how=refused, statistic=statistic, base=base)
    quantity, by_word, by_unit = _quantity(text, family, boolean)
    if quantity and quantity not in _FLAGS and words.LIMIT.search(text) and not quantity.endswith("-limit"):
        if f"{quantity}-limit" not in QUANTITIES:
            return Guess(how="a limit, not a reading", statistic=statistic, base=base)
        quantity = f"{quantity}-limit"
    if not quantity:
        why = f"nothing that {unit.unit} is known for" if unit and not text else "the header names no known quantity"
        return Guess(how=why, statistic=statistic, base=base)
    domain, explicit = _domain(text, quantity)
    part = _part(text, domain, quantity)
    confidence = 0.55 + (0.25 if by_word and by_unit else 0.17 if by_unit else 0.12)
    how = {
        (True, True): f"words and unit ({unit.unit if unit else ''})",
        (False, True): f"unit ({unit.unit if unit else ''})",
        (True, False): "words",
    }.get((by_word, by_unit), "words")
    if explicit:
        strong = quantity == "frame-time" or domain not in ("cpu",) or bool(_WEAK_DOMAIN.search(text))
        confidence += 0.17 if strong else 0.08
    elif quantity in _DEFAULT_DOMAIN:
        confidence += 0.05
    else:
        confidence = min(confidence, 0.72) - 0.27
        how += f"; no part named, {domain} assumed"
    if words.WHOLE.search(text):
        confidence += 0.02
    if not explicit and quantity in _FLAGS:
        confidence += 0.2  # a flag without a part is nearly always the processor's
    return Guess(domain, quantity, part, round(min(confidence, 0.99), 2), how, statistic, base)


def _statistic(text: str) -> tuple[str, str]:
    base = " ".join(word for word in text.split() if word not in ("current", "cur", "live", "value", "now", "actual"))
    for name, pattern in words.STATISTIC:
        if pattern.search(text):
            return name, " ".join(pattern.sub(" ", base).split())
    return "", base


def _refused(text: str, unit: Measure | None, boolean: bool) -> str:
    if (unit and unit.unit == "fps") or (words.FRAME_RATE.search(text) and (unit is None or unit.family != "time")):
        return "a frame rate: the time of each frame cannot be had from it"
    if boolean and any(pattern.search(text) for name, pattern in words.QUANTITIES if name in _FLAGS):
        return ""  # a yes or no about a limit or a target is what it says
    for pattern, why in words.NOT_LIVE:
        if pattern.search(text):
            return why
    if unit and unit.family in ("rate", "size", "level", "capacity", "times"):
        return f"a quantity in {unit.unit} is no channel of a trace"
    return ""


def _quantity(text: str, family: str, boolean: bool) -> tuple[str, bool, bool]:
    """(quantity, named by words, named by unit)."""
    matching = [name for name, pattern in words.QUANTITIES if pattern.search(text)]
    if family:
        fitting = words.FAMILY_QUANTITIES.get(family, ())
        limit = bool(words.LIMIT.search(text))
        for name in matching:
            if name in fitting:
                if limit and f"{name}-limit" in fitting:
                    return f"{name}-limit", True, True
                return name, True, True
        if family == "share" and not matching:
            if _BATTERY.search(text):
                return "charge", False, True
            return ("busy", False, True) if _BUSY_PART.search(text) else ("", False, False)
        if family in ("time", "share", "flag"):
            if family == "share" and "fan" in matching:
                return "duty", True, True
            return "", False, False
        if not fitting:
            return "", False, False
        return (fitting[1] if limit and len(fitting) > 1 else fitting[0]), False, True
    for name in matching:
        if name in _FLAGS and not boolean:
            if name in _FLAG_LIMITS and words.LIMIT.search(text):
                return _FLAG_LIMITS[name], True, False
            continue
        if name not in (*_FLAGS, "reasons") and boolean:
            continue  # a yes or no is no temperature, whatever the header says
        return name, True, False
    if boolean and matching:
        return matching[0], True, False
    return "", False, False


def _domain(text: str, quantity: str) -> tuple[str, bool]:
    if quantity == "frame-time":
        return "frame", True
    for name, pattern in words.DOMAINS:
        if name not in ("frame",) and pattern.search(text):
            if name == "gpu":
                number = words.GPU_NUMBER.search(text)
                if number:
                    return f"gpu-{number.group(1)}", True
            return name, True
    return _DEFAULT_DOMAIN.get(quantity, "cpu"), False


def _part(text: str, domain: str, quantity: str) -> str:
    pieces: list[str] = []
    if quantity in ("fan", "duty"):
        number = words.FAN_NUMBER.search(text)
        if number:
            pieces.append(f"fan-{int(number.group(1))}")
    if domain == "cpu" and not pieces:
        core = words.CORE.search(text) or (words.CORE_GLUED.search(text) if quantity not in ("fan", "duty") else None)
        if core:
            pieces.append(f"core-{int(core.group(1))}")
        thread = words.THREAD.search(text)
        if thread:
            pieces.append(f"t{int(thread.group(1))}" if core else f"thread-{int(thread.group(1))}")
        ccd = words.CCD.search(text)
        if ccd:
            pieces.append(f"ccd-{int(ccd.group(1))}")
    for name, pattern in words.PARTS:
        if not pattern.search(text):
            continue
        if name == "memory" and not domain.startswith(("gpu", "cpu", "igpu")):
            continue
        if (name == "cores") and (quantity != "power" or domain != "cpu"):
            continue
        if name == "vid" and quantity != "voltage":
            continue
        if name in ("soc", "ring") and domain != "cpu":
            continue
        if name == "bus" and quantity != "clock":
            continue
        if name in ("video", "shader") and quantity not in ("clock", "busy"):
            continue
        pieces.append(name)
    return "-".join(pieces)
