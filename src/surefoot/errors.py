"""One family of errors: each says what is wrong, where, and what to do next."""

from __future__ import annotations


class SurefootError(Exception):
    """Base of every error that Surefoot raises on purpose.

    ``what`` says what is wrong, ``where`` names the file, field, row or run it was seen at, ``remedy`` says what is
    allowed or what to do next. ``exit_code`` is what the command line ends with: 1 the answer is no, 2 bad input or
    usage, 3 the machine or the journal could not be used.
    """

    exit_code = 3

    def __init__(self, what: str, *, where: str | None = None, remedy: str | None = None) -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        super().__init__(self.message())

    def message(self) -> str:
        """The whole message as one text: where, what, remedy."""
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text} {self.remedy}" if self.remedy else text


class BadInput(SurefootError, ValueError):
    """What the user gave cannot be used; nothing was changed."""

    exit_code = 2


class AnswerIsNo(SurefootError):
    """The question was understood and the answer is no: it did not hold, or nothing is known-stable."""

    exit_code = 1


class MachineError(SurefootError):
    """The machine could not be used: a command of the user's failed, a sensor or a load cannot be had."""

    exit_code = 3


class JournalError(SurefootError):
    """The journal could not be used: not writable, newer than this version, held by another process, damaged."""

    exit_code = 3
