"""The questions that tuning asks of a machine: who answers each here, and what to start or install where nobody does.

Pure: it is told what there is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

LOG = "a growing log"
"""Any delimited file that another program keeps writing, followed with ``--sensors-from``."""
NVML_EXTRA = "surefoot[nvidia] for its cards"


@dataclass(frozen=True, slots=True)
class Answer:
    """One question: ``question`` in words, ``by`` whom it is answered ("" nobody), ``remedy`` where nobody does."""

    question: str
    by: str
    remedy: str = ""

    @property
    def is_answered(self) -> bool:
        """Whether anybody answers it."""
        return bool(self.by)


@dataclass(frozen=True, slots=True)
class _Asked:
    question: str
    needs: tuple[str, ...]
    remedy: Mapping[str, str]


# ``needs``: any channel that begins so answers. ``remedy``: by system, "" for every other.
_CARD_OR_LOG: Final = f"{NVML_EXTRA}, or {LOG}"
_ENERGY: Final = "energy counters that the administrator opens"
_CHANNELS: Final = (
    _Asked(
        "Is the processor over its ceiling?",
        ("cpu.temperature",),
        {"linux": f"the processor's hwmon driver, or {LOG}", "": LOG},
    ),
    _Asked("Is the graphics card over its ceiling?", ("gpu.temperature",), {"": _CARD_OR_LOG}),
    _Asked("What clock does the processor run at?", ("cpu.clock",), {"": LOG}),
    _Asked("What clock does the graphics card run at?", ("gpu.clock",), {"": _CARD_OR_LOG}),
    _Asked("What does the processor draw?", ("cpu.power",), {"linux": f"{_ENERGY}, or {LOG}", "": LOG}),
    _Asked("What does the graphics card draw?", ("gpu.power",), {"": _CARD_OR_LOG}),
    _Asked(
        "What holds the processor's clock down?",
        ("cpu.thermal-flag", "cpu.power-flag", "cpu.throttle-flag", "cpu.current-flag"),
        {"": "its temperature, power and clock together"},
    ),
    _Asked(
        "What holds the graphics clock down?",
        ("gpu.reasons", "gpu.thermal-flag", "gpu.power-flag", "gpu.throttle-flag"),
        {"": f"{NVML_EXTRA}, or temperature, power and clock"},
    ),
    _Asked("Is it on mains or battery?", ("supply.count", "battery.charge"), {"": "the unit's card (supply)"}),
)


def answers(
    channels: Mapping[str, str],
    *,
    system: str,
    boot_is_certain: bool,
    restart_record: str,
    faults_blind: Sequence[str],
    power_mode: str | None,
) -> tuple[Answer, ...]:
    """Every question with who answers it.

    ``channels``: canonical channel to the source it comes from; ``system``: ``linux``, ``windows`` or ``macos``;
    ``boot_is_certain``: whether a restart is told by an identity and not by a clock; ``restart_record``: who keeps a
    record of how the system went down, "" nobody; ``faults_blind``: what keeps corrected errors and driver resets
    from being seen, in words; ``power_mode``: as the system tells it.
    """
    found = [_of_channels(one, channels, system) for one in _CHANNELS]
    found.append(Answer("Which power mode is it in?", "the system" if power_mode else "", "--mode"))
    found.append(
        Answer(
            "Did the machine restart?",
            "the kernel's boot identity" if boot_is_certain else "the boot time (a clock that is set may fool it)",
        )
    )
    found.append(Answer("Why did it restart?", restart_record, "answering at the next start"))
    blind = " ".join(faults_blind)
    found.append(
        Answer(
            "Were errors corrected, or a driver reset?",
            "" if blind else "the system's own log",
            _faults_remedy(system),
        )
    )
    return tuple(found)


def _of_channels(asked: _Asked, channels: Mapping[str, str], system: str) -> Answer:
    sources = {
        source
        for channel, source in channels.items()
        if any(channel == need or channel.startswith(f"{need}.") for need in asked.needs)
    }
    remedy = asked.remedy.get(system, asked.remedy[""])
    return Answer(asked.question, ", ".join(sorted(sources)), "" if sources else remedy)


def _faults_remedy(system: str) -> str:
    if system == "linux":
        return "the right to read the kernel's log (group systemd-journal or adm)"
    return (
        "the right to read the system's event log" if system == "windows" else "a system that tells: this one does not"
    )
