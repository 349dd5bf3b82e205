"""What a word or phrase in a hand-kept table says of how a run ended, and whether that is sure.

An explicit vocabulary with negation (`surefoot.logs.hand_words`); parts of words are never matched. A failure that is
named plainly is sure whatever stands beside it, since taking a run for a failure claims nothing. *Held* is sure only
where every word was understood: one overlooked "not" would certify what crashed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

from surefoot.logs import hand_words
from surefoot.logs.words import plain
from surefoot.runs import Outcome

Kind = Literal["held", "failed", "ended", "void"]

_LONGEST: Final = 4


def _phrases() -> dict[tuple[str, ...], tuple[Kind, Outcome]]:
    plainly: tuple[tuple[Kind, Outcome, frozenset[str]], ...] = (
        ("held", Outcome.HELD, hand_words.HELD),
        ("ended", Outcome.HELD, hand_words.ENDED),
        ("void", Outcome.VOID, hand_words.NO_EVIDENCE),
        *(("failed", outcome, hand_words.phrases_of(listed)) for outcome, listed in hand_words.FAILED.items()),
    )
    return {tuple(phrase.split()): (kind, outcome) for kind, outcome, phrases in plainly for phrase in phrases}


_PHRASES: Final = _phrases()
# Those that say more of a failure stand before those that say less.
_TELLING: Final = (
    Outcome.DRIVER_RESET,
    Outcome.HANG,
    Outcome.RESET,
    Outcome.CORRECTED,
    Outcome.MISCOMPUTE,
    Outcome.SLOW,
    Outcome.OVERHEAT,
)
_COUNTED: Final = frozenset(("failed", outcome) for outcome in _TELLING)
_GENERIC: Final = hand_words.words_of(
    """
    fail fails failed failing failure failures unstable instable bad instabil schlecht echec fallo fallido
    """
)


@dataclass(frozen=True, slots=True)
class OutcomeRead:
    """What a cell was read as. ``outcome``: None when nothing in it was understood; ``sure``: whether to take it
    unasked; ``why``: what is not sure, in words."""

    outcome: Outcome | None
    sure: bool
    why: str = ""


@dataclass(slots=True)
class _Said:
    kind: Kind
    outcome: Outcome
    text: str
    negated: bool = False


def read_outcome(text: str, heading: str = "") -> OutcomeRead:
    """How a run ended, from a cell as people write it; ``heading``: of its column, for a plain yes or no."""
    cell = text.strip()
    exact = cell.lower().replace("_", "-").replace(" ", "-")
    if exact in {outcome.value for outcome in Outcome}:
        return OutcomeRead(Outcome(exact), True)
    marks = {
        **dict.fromkeys(hand_words.TICKS, Outcome.HELD),
        **dict.fromkeys(hand_words.CROSSES, Outcome.RESET),
    }
    if cell.rstrip("\ufe0f") in marks:
        return OutcomeRead(marks[cell.rstrip("\ufe0f")], True)
    tokens = _tokens(cell)
    if not tokens:
        return OutcomeRead(None, False, "nothing in it is a word" if cell else "it is empty")
    if len(tokens) == 1 and (tokens[0] in hand_words.YES or tokens[0] in hand_words.NO):
        return _yes_or_no(tokens[0] in hand_words.YES, heading)
    return _judged(*_parsed(tokens), doubted=cell.endswith("?"))


def _tokens(cell: str) -> list[str]:
    # "wasn't": the apostrophe would leave a word that says nothing.
    text = re.sub(r"n['’´`]t\b", " not", cell, flags=re.IGNORECASE)
    text = re.sub(r"\b(?:un|in)-(?=stab)", "un", text, flags=re.IGNORECASE)
    # plain() tells GPUFan apart by its capitals; a cell is a sentence, so that capitals mean nothing here.
    text = re.sub(r"\b(no|non)-(?=\w)", r"\1 ", text.lower())
    return plain(text).split()


def _parsed(tokens: list[str]) -> tuple[list[_Said], list[str], bool]:
    """(what is said, words not understood, whether a word leaves it in doubt)."""
    said: list[_Said] = []
    unknown: list[str] = []
    hedged = False
    negator = False
    extends = False  # "no crash or hang": the negation goes on behind an *or*
    place = 0
    while place < len(tokens):
        length, meaning = _phrase_at(tokens, place)
        if meaning is not None:
            words = tokens[place : place + length]
            kind, outcome = meaning
            negated = negator or (extends and kind == "failed")
            rest = tokens[place + length : place + length + 2]
            if rest[:1] in (["free"], ["frei"]):
                negated, length = not negated, length + 1
            elif kind == "failed" and rest == ["0"]:
                negated, length = True, length + 1
            said.append(_Said(kind, outcome, " ".join(words), negated))
            negator, extends = False, False
            place += length
            continue
        token = tokens[place]
        # "0 errors", but not the 0 of "0:30" or "0.5 h".
        if token in hand_words.NOT and (token != "0" or _phrase_at(tokens, place + 1)[1] in _COUNTED):
            negator = not negator or token in ("ni", "nor", "neither")
        elif token in hand_words.OR and said and said[-1].negated and said[-1].kind == "failed":
            extends = True
        elif token in hand_words.HEDGES:
            hedged = True
        elif not (token in hand_words.FILLERS or token in hand_words.OR or token in hand_words.YES or token.isdigit()):
            unknown.append(token)
        place += 1
    if negator:
        # Nothing followed the negation: it belongs to what stands before it ("tient pas", "stabil: nein").
        if said:
            said[-1].negated = not said[-1].negated
        else:
            unknown.append("not")
    elif tokens[-1] in hand_words.NO - {"0"} and len(said) == 1:
        said[-1].negated = not said[-1].negated
    return said, unknown, hedged


def _phrase_at(tokens: list[str], place: int) -> tuple[int, tuple[Kind, Outcome] | None]:
    if place >= len(tokens):
        return 1, None
    for length in range(min(_LONGEST, len(tokens) - place), 0, -1):
        found = _PHRASES.get(tuple(tokens[place : place + length]))
        if found is not None:
            return length, found
    if tokens[place].endswith("frei") and (tokens[place][:-4],) in _PHRASES:
        return 1, ("held", Outcome.HELD)
    return 1, None


def _judged(said: list[_Said], unknown: list[str], hedged: bool, *, doubted: bool) -> OutcomeRead:
    failed = [one for one in said if one.kind == "failed" and not one.negated]
    held = [one for one in said if one.kind == "held" and not one.negated]
    refused = [one for one in said if one.kind == "held" and one.negated]
    harmless = [one for one in said if one.kind == "failed" and one.negated]
    void = [one for one in said if one.kind == "void" and not one.negated]
    ended = [one for one in said if one.kind == "ended"]
    if failed:
        outcome = _most_telling(failed)
        against = held + void + [one for one in failed if one.outcome is Outcome.OVERHEAT is not outcome]
        if against or doubted or hedged:
            why = f"it also says {against[0].text!r}" if against else "it is put in doubt"
            return OutcomeRead(outcome, False, why)
        return OutcomeRead(outcome, True)
    if refused:
        if held or doubted or hedged:
            return OutcomeRead(Outcome.RESET, False, "it says so and not so" if held else "it is put in doubt")
        return OutcomeRead(Outcome.RESET, True)
    if void:
        sure = not (held or unknown or hedged or doubted or harmless)
        return OutcomeRead(Outcome.VOID, sure, "" if sure else "it may say more than that it was interrupted")
    if held or harmless:
        if hedged or doubted:
            return OutcomeRead(Outcome.HELD, False, "it is put in doubt")
        if any(one.negated for one in ended):
            return OutcomeRead(Outcome.HELD, False, "it did not come to its end")
        if unknown:
            return OutcomeRead(Outcome.HELD, False, f"{' '.join(unknown)!r} is not understood")
        return OutcomeRead(Outcome.HELD, True)
    if ended:
        if any(one.negated for one in ended):
            return OutcomeRead(Outcome.VOID, False, "it did not come to its end, and why is not said")
        return OutcomeRead(Outcome.HELD, False, "that it ended does not say that nothing went wrong")
    return OutcomeRead(None, False, f"{' '.join(unknown)!r} is not understood" if unknown else "it says nothing")


def _most_telling(failed: list[_Said]) -> Outcome:
    telling = [one for one in failed if one.text not in _GENERIC] or failed
    there = {one.outcome for one in telling}
    return next(outcome for outcome in _TELLING if outcome in there)


def _yes_or_no(yes: bool, heading: str) -> OutcomeRead:
    words = set(plain(heading).split())
    good, bad = words & hand_words.POSITIVE_HEADINGS, words & hand_words.NEGATIVE_HEADINGS
    negated = bool(words & hand_words.NOT)
    if bool(good) == bool(bad):
        guess = Outcome.HELD if yes else Outcome.RESET
        return OutcomeRead(guess, False, f"{'yes' if yes else 'no'} under {heading!r} may mean either" if heading else
                           f"{'yes' if yes else 'no'} may mean either")  # fmt: skip
    held = (yes == bool(good)) != negated
    return OutcomeRead(Outcome.HELD if held else Outcome.RESET, True)
