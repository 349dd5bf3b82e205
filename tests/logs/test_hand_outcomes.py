"""How a run ended, in the words that people write, with negation, in four languages."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.logs import hand_words
from surefoot.logs.hand_outcomes import read_outcome
from surefoot.runs import Outcome

HELD, RESET = Outcome.HELD, Outcome.RESET


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        # Each of these was read as held once, by a part of the word.
        ("did not pass", RESET),
        ("not held", RESET),
        ("no pass", RESET),
        ("wasn't stable", RESET),
        ("wasnt stable", RESET),
        ("not good", RESET),
        ("instable", RESET),
        ("couldn't hold", RESET),
        ("nicht bestanden", RESET),
        ("lief nicht stabil", RESET),
        ("stabil: nein", RESET),
        ("n'est pas stable", RESET),
        ("ne tient pas", RESET),
        ("no es estable", RESET),
        ("no aguantó", RESET),
        ("held", HELD),
        ("Pass", HELD),
        ("stable so far", HELD),
        ("OK (30 min)", HELD),
        ("passed, no errors", HELD),
        ("no crash or hang", HELD),
        ("never crashed", HELD),
        ("0 errors", HELD),
        ("errors: 0", HELD),
        ("error-free", HELD),
        ("held 0:30", HELD),
        ("0.5 h held", HELD),
        ("ohne Fehler durchgelaufen", HELD),
        ("fehlerfrei", HELD),
        ("a tenu sans erreur", HELD),
        ("pasó sin fallos", HELD),
        ("✓", HELD),
        ("not stable", RESET),
        ("unstable!", RESET),
        ("failed", RESET),
        ("✗", RESET),
        ("Blue screen after a while", RESET),
        ("crash while saving", RESET),
        ("Absturz nach 3 min", RESET),
        ("a planté", RESET),
        ("pantalla azul", RESET),
        ("no pass, no crash", RESET),
        ("driver crashed", Outcome.DRIVER_RESET),
        ("driver-reset", Outcome.DRIVER_RESET),
        ("driver_reset", Outcome.DRIVER_RESET),
        ("froze", Outcome.HANG),
        ("ne répond plus", Outcome.HANG),
        ("se colgó", Outcome.HANG),
        ("eingefroren", Outcome.HANG),
        ("errors in 2 workers", Outcome.MISCOMPUTE),
        ("3 errors", Outcome.MISCOMPUTE),
        ("kein Absturz, aber Artefakte", Outcome.MISCOMPUTE),
        ("WHEA", Outcome.CORRECTED),
        ("too hot", Outcome.OVERHEAT),
        ("überhitzt", Outcome.OVERHEAT),
        ("aborted", Outcome.VOID),
        ("abgebrochen", Outcome.VOID),
    ],
)
def test_what_is_sure(text: str, outcome: Outcome) -> None:
    read = read_outcome(text)
    assert (read.outcome, read.sure) == (outcome, True), read


@pytest.mark.parametrize(
    "text",
    [
        *("almost stable", "stable?", "hardly stable", "mostly ok", "fast stabil", "presque stable", "casi estable"),
        *("done", "completed", "not finished", "passed but slow", "passed the first test, then crashed", "fail?"),
        *("held with the moonlight on", "yes", "no", "1", "0", "aborted after errors", "overheated and crashed"),
        *("stopped", "x", "banana", "", "-", "failed to hold", "lasted"),
    ],
)
def test_what_is_asked(text: str) -> None:
    assert not read_outcome(text).sure


@pytest.mark.parametrize(
    ("text", "heading", "outcome"),
    [
        ("no", "Stable?", RESET),
        ("ja", "bestanden", HELD),
        ("no", "Crashed", HELD),
        ("1", "errors", RESET),
        ("sí", "estable", HELD),
        ("yes", "not stable", RESET),
    ],
)
def test_yes_and_no_mean_what_their_heading_asks(text: str, heading: str, outcome: Outcome) -> None:
    read = read_outcome(text, heading)
    assert (read.outcome, read.sure) == (outcome, True)
    assert not read_outcome(text, "Ergebnis").sure


@given(st.sampled_from(sorted(hand_words.HELD)), st.sampled_from(sorted(hand_words.NOT - {"0", "zero"})))
def test_a_negated_hold_is_never_surely_held(held: str, negation: str) -> None:
    """In front of it or behind it, in whatever language: a failure that is taken for a hold is what must not be."""
    for text in (f"{negation} {held}", f"{held} {negation}", f"it was {negation} {held}"):
        read = read_outcome(text)
        assert not (read.outcome is HELD and read.sure), text


@given(st.sampled_from(sorted(hand_words.HELD)), st.from_regex(r"[a-z]{4,9}", fullmatch=True))
def test_one_word_not_understood_leaves_a_hold_unsure(held: str, word: str) -> None:
    read = read_outcome(f"{held} {word}")
    understood = read_outcome(word).outcome is not None or word in hand_words.FILLERS | hand_words.OR
    assert understood or word in hand_words.NOT | hand_words.YES or not (read.outcome is HELD and read.sure)


@given(st.text(max_size=40), st.text(max_size=12))
def test_any_text_is_read_or_not_never_a_traceback(text: str, heading: str) -> None:
    read_outcome(text, heading)
