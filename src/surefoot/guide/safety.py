"""What every user is told once per unit before anything is changed, and agrees to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from surefoot.errors import AnswerIsNo
from surefoot.guide.bench import Bench

CAUTIONS: Final[Sequence[str]] = (
    "Back up first. Unsaved work and file systems are at risk at every crash, and finding an edge means crashing.",
    "Heat: surfaces, vents and the battery get hot. Keep vents clear, do not leave a stress test unwatched on "
    "bedding or near anything that burns, and stop if a battery swells, smells or gets unusually hot.",
    "Open a machine only unplugged and switched off, by the maker's service manual, or leave it to a qualified "
    "technician.",
    "The maker's warranty terms decide; changing voltages or clocks may end the warranty. Read them first.",
    "Firmware locks are left alone. Where the maker has locked a setting, it stays locked.",
    "Surefoot never sets a voltage above stock, never switches a protection off, and never makes a setting apply at "
    "boot: after a restart the machine is at stock unless you set it otherwise yourself.",
    "Numbers are for this very unit. Another machine of the same model may not hold them; do not copy them.",
)

CONSENT_VERSION: Final = "1"


def consent(bench: Bench, given: bool) -> None:
    """See that the cautions were agreed to for this unit, once, and keep that in the journal.

    ``given``: agreed to on the command line. Raises AnswerIsNo when the user declines or nobody is there to agree.
    """
    journal, unit_name, voice = bench.journal, bench.unit.name, bench.voice
    if journal.consent(unit_name) is not None:
        return
    for caution in CAUTIONS:
        voice.say(f"- {caution}")
    if not given:
        answer = voice.choose(
            f"Tune {unit_name!r}, knowing this?",
            {"yes": "I have read it and agree", "no": "leave everything as it is"},
            "no",
        )
        if answer != "yes":
            raise AnswerIsNo(
                "nothing was changed: the cautions were not agreed to.",
                remedy="Read SAFETY.md; then agree at the prompt, or give --i-agree when starting unattended.",
            )
    journal.give_consent(unit_name, f"cautions, version {CONSENT_VERSION}: " + " ".join(CAUTIONS))
