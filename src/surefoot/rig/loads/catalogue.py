"""What each load finds and needs, in words for a reader. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.load_names import ONE_CORE_PREFIX
from surefoot.units import LoadCard


@dataclass(frozen=True, slots=True)
class About:
    """What a load is for: ``finds`` what fails under it, ``needs`` what it takes to run."""

    finds: str
    needs: str


_ABOUT = {
    "cpu": About(
        "wrong results and stuck cores in vector, whole-number, branching and memory work, from idle to full", ""
    ),
    "cpu-heavy": About("what fails hot: the densest vector work, and every other kind at full load", ""),
    "cpu-transitions": About("what fails at the jump from idle to full, alone at full boost, or near idle", ""),
    "cpu-per-core": About("the weakest core: each in turn at full boost while the others idle", "pinning"),
    "gpu": About("wrong arithmetic, whole numbers and memory of the card, hot and at the jump from idle", "extra gpu"),
    "gpu-memory": About("bits of graphics memory that change, by address and pattern; lost bandwidth", "extra gpu"),
    "memory": About("bits of main memory that change, by address and pattern", "free memory"),
    "cpu-gpu": About("what holds alone but not together: shared power and heat", "extra gpu"),
    "everything": About("the same with main memory; says what each part got beside the others", "extra gpu"),
    "by-hand": About("what your own work finds; the sensors say how hard the machine worked", "you"),
}


def about(name: str, card: LoadCard | None = None) -> About:
    """What is known of a load: of the unit card's own from its card, of a built-in one from here."""
    if card is not None:
        return _of_card(card)
    if name.startswith(ONE_CORE_PREFIX):
        return About("wrong results of the named cores alone, while the others idle", "pinning")
    return _ABOUT.get(name, About("", ""))


def _of_card(card: LoadCard) -> About:
    if not card.command:
        return About(card.instructions or "what your own work finds", "you")
    checks = ["its exit code"]
    if card.error_lines:
        checks.append("lines that mean an error")
    if card.pass_minutes is not None:
        checks.append(f"passes over {card.pass_minutes:g} min")
    return About(f"what your command finds, by {', '.join(checks)}", card.command[0])
