"""A log that another program is writing, as a live sensor: any delimited log that `trace import` would read."""

from __future__ import annotations

import codecs
import os
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

import numpy as np

from surefoot.errors import BadInput, MachineError
from surefoot.logs import ImportedLog, read_log
from surefoot.logs.following import RowReader

HEAD_BYTES: Final = 64 * 1024
TAIL_BYTES: Final = 256 * 1024
MOST_BYTES: Final = 1024 * 1024
"""Read at once at most; of more that has piled up only the end counts, since a sensor says what is now."""
STALE_SECONDS: Final = 5.0
INTERVALS: Final = 2.5
"""A log is stale when it has not grown for 5 s, or for so many of its own intervals where it writes less often."""
MOST_INTERVAL_SECONDS: Final = 60.0


class GrowingLog:
    """Follows a log by its end: rotation, a restart of its program and another header are survived.

    ``corrections``: as for `read_log`; ``clock``: seconds, never backwards. A sample is taken to be of the moment at
    which its line was found, so that the clocks of the two programs need not agree. Raises MachineError when there is
    no such file or nothing in it can be taken for a sensor.
    """

    name = "growing log"

    def __init__(
        self, path: Path, corrections: Mapping[str, str] | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.path = path
        self._corrections = dict(corrections or {})
        self._clock = clock
        self.log = self._recognise(ends_of(path))
        self._reader = RowReader.of(self.log)
        if not self._reader.places:
            raise MachineError(
                "no column of it could be taken for a sensor.",
                where=str(path),
                remedy="`surefoot trace import --dry-run` shows its columns; correct them with --map.",
            )
        self._identity, self._offset = _identity(path)
        self._decoder = self._new_decoder()
        self._rest = ""
        self._sample: dict[str, float] = self._last_of_the_tail()
        # It was looked at once and not seen to grow: it gets its time to do so before it is called stale.
        self._grew_at = clock()
        self._since_header: list[str] | None = None

    @property
    def corrections(self) -> dict[str, str]:
        """What was said of its columns."""
        return dict(self._corrections)

    def _recognise(self, data: bytes) -> ImportedLog:
        try:
            return _read(data, self._corrections)
        except BadInput as error:
            raise MachineError(
                f"it cannot be followed as a log: {error.what}",
                where=str(self.path),
                remedy=error.remedy or "Let its program write a few lines first.",
            ) from None

    def _new_decoder(self) -> codecs.IncrementalDecoder:
        return codecs.getincrementaldecoder(self.log.encoding)(errors="replace")

    def _last_of_the_tail(self) -> dict[str, float]:
        trace = self.log.trace
        return {name: float(values[-1]) for name, values in trace.channels.items() if values[-1] == values[-1]}

    @property
    def interval_seconds(self) -> float:
        """How often it is written, by its own times; 1 where they do not tell."""
        seconds = self.log.trace.seconds
        gaps = sorted(float(gap) for gap in np.diff(seconds) if gap > 0)
        return min(gaps[len(gaps) // 2], MOST_INTERVAL_SECONDS) if gaps else 1.0

    @property
    def stale_after_seconds(self) -> float:
        """How long it may stand still before it tells nothing any more."""
        return max(STALE_SECONDS, INTERVALS * self.interval_seconds)

    def channels(self) -> tuple[str, ...]:
        """The channels that its columns became."""
        return self._reader.channels

    def read(self) -> dict[str, float]:
        """The sample in its last whole line; {} once it has stood still for too long."""
        lines = self._new_lines()
        if self._since_header is not None:
            lines = self._after_header(lines)
        for number, line in enumerate(lines):
            sample = self._reader.read(line)
            if sample:
                self._sample, self._grew_at = sample, self._clock()
            elif self._reader.is_header(line) and not self._reader.is_own_header(line):
                self._since_header = [line]
                self._after_header(lines[number + 1 :])
                break
        return dict(self._sample) if self._clock() - self._grew_at <= self.stale_after_seconds else {}

    def missing(self) -> tuple[str, ...]:
        """Says when it has stopped growing."""
        still = self._clock() - self._grew_at
        if still <= self.stale_after_seconds:
            return ()
        return (f"The log {self.path.name} has not grown for {still:.0f} s: what only it tells is not judged.",)

    def _new_lines(self) -> list[str]:
        """Whole lines that were written since the last look; a half-written one waits."""
        try:
            identity, size = _identity(self.path)
            if identity != self._identity or size < self._offset:
                # Rotated, or begun anew: from its start, under its own header.
                self._identity, self._offset, self._rest = identity, 0, ""
                self._decoder = self._new_decoder()
            if size == self._offset:
                return []
            with self.path.open("rb") as file:
                if size - self._offset > MOST_BYTES:
                    self._offset, self._rest = size - TAIL_BYTES, ""
                    # Two bytes a character in some encodings: begun at an even place.
                    self._offset -= self._offset % 4
                    self._decoder = self._new_decoder()
                file.seek(self._offset)
                data = file.read(MOST_BYTES)
        except OSError:
            return []
        self._offset += len(data)
        text = self._rest + self._decoder.decode(data)
        lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        self._rest = lines.pop()
        return [line.lstrip("\ufeff") for line in lines if line.strip()]

    def _after_header(self, lines: list[str]) -> list[str]:
        """Another header began: its columns are recognised anew as soon as lines stand below it."""
        assert self._since_header is not None
        self._since_header += lines
        if len(self._since_header) < 3:
            return []
        try:
            text = "\n".join([*self._since_header, ""])
            log = _read(text.encode(), self._known(self._since_header[0]))
        except BadInput:
            # Not enough to recognise it by yet, or no header after all.
            if len(self._since_header) > 50:
                self._since_header = None
            return []
        reader = RowReader.of(log)
        self._since_header = None
        if not reader.places:
            return []
        self.log, self._reader = log, reader
        return lines[-1:]

    def _known(self, header: str) -> dict[str, str]:
        return {key: value for key, value in self._corrections.items() if not key.startswith("#") and key in header}


def _read(data: bytes, corrections: Mapping[str, str]) -> ImportedLog:
    try:
        return read_log(data, corrections=corrections)
    except BadInput:
        # A log that tells no time can be followed all the same: a line is of the moment at which it was found.
        return read_log(data, corrections=corrections, interval_seconds=1.0)


def _identity(path: Path) -> tuple[tuple[int, int], int]:
    found = path.stat()
    return (found.st_dev, found.st_ino), found.st_size


def ends_of(path: Path) -> bytes:
    """The head and the tail of the file, cut at whole lines. Raises MachineError when it cannot be read."""
    try:
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
            size = os.fstat(file.fileno()).st_size
            if size <= HEAD_BYTES:
                return _whole(head)
            start = max(HEAD_BYTES, size - TAIL_BYTES)
            file.seek(start - start % 4)
            tail = file.read(TAIL_BYTES + 4)
    except OSError as error:
        raise MachineError(f"cannot be read: {error.strerror}.", where=str(path)) from None
    return _whole(head) + _whole(tail[tail.find(b"\n") + 1 + _wide(head) :])


def _whole(data: bytes) -> bytes:
    end = data.rfind(b"\n") + 1
    return data[: end + _wide(data)] if end else data


def _wide(data: bytes) -> int:
    # In UTF-16 of the common kind the line's end is followed by a zero byte that belongs to it.
    return 1 if data[:2] == b"\xff\xfe" or data[1:2] == b"\0" else 0
