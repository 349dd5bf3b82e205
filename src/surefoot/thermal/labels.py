"""The labels that a sample can carry, and the book in which each ruling of a sample is written."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats

LABELS = ("unknown", "idle", "free", "thermal", "power", "current", "other")
"""What a sample can be held by; ``free``: nothing, ``other``: another reported or an unmeasured reason."""

HELD = ("thermal", "power", "current", "other")
"""The labels that mean that something holds the clock down."""

LABEL_SAYS = {
    "unknown": "could not be judged",
    "idle": "idle",
    "free": "held by nothing",
    "thermal": "held by temperature",
    "power": "held by power",
    "current": "held by current",
    "other": "held by another reason",
}

CODE = {name: place for place, name in enumerate(LABELS)}
"""Label name to its code, the index into `LABELS`."""

Mask = NDArray[np.bool_]


def sureness(confidence: float) -> str:
    """The word for a confidence: ``high`` from 0.85, ``medium`` from 0.6, else ``low``.

    A confidence is the share of samples that the rule is expected to name rightly: for a hardware flag what flags are
    worth, for an inferred one our judgement, held against generated traces of known limiters in the tests. It is no
    measured frequency on real machines.
    """
    return "high" if confidence >= 0.85 else "medium" if confidence >= 0.6 else "low"


@dataclass
class Ruling:
    """Who decided what: ``label`` codes, ``rule`` indices into ``texts``, ``confidence`` 0 to 1, each shape (n,)."""

    label: NDArray[np.int8]
    rule: NDArray[np.int32]
    confidence: Floats
    texts: list[str] = field(default_factory=list)

    @classmethod
    def blank(cls, n: int, text: str) -> Ruling:
        """All unknown, for the reason given."""
        return cls(np.zeros(n, dtype=np.int8), np.zeros(n, dtype=np.int32), np.zeros(n), [text])

    def copy(self) -> Ruling:
        """A ruling that can be changed without touching this one."""
        return Ruling(self.label.copy(), self.rule.copy(), self.confidence.copy(), list(self.texts))

    def decide(self, where: Mask, label: str, text: str, confidence: float) -> None:
        """Write a label, its rule and its confidence for the samples of a mask, over what was there."""
        if not where.any():
            return
        if text not in self.texts:
            self.texts.append(text)
        self.label[where] = CODE[label]
        self.rule[where] = self.texts.index(text)
        self.confidence[where] = confidence

    def support(self, where: Mask, preface: str, at_least: float) -> None:
        """Keep the label of the samples of a mask; put words before its rule and raise its confidence."""
        if not where.any():
            return
        for index in np.unique(self.rule[where]).tolist():
            of_rule = where & (self.rule == index)
            text = preface + self.texts[index]
            if text not in self.texts:
                self.texts.append(text)
            self.rule[of_rule] = self.texts.index(text)
        self.confidence[where] = np.maximum(self.confidence[where], at_least)
