"""Compressed files, unpacked within bounds."""

from __future__ import annotations

from typing import Any, Protocol

from surefoot.errors import BadInput
from surefoot.logs.problems import Ledger

LARGEST_BYTES = 3 << 26
"""More than this is not unpacked, since it is unpacked in memory: a day of two hundred columns each second is less."""
MOST_TIMES = 200
PLENTY_BYTES = 1 << 25
"""Past so many bytes, a file that unpacks to more than so many times its size is no log: those shrink 5 to 30 times."""
_STEP = 1 << 22
_GZIP, _BZIP, _XZ, _ZIP = b"\x1f\x8b", b"BZh", b"\xfd7zXZ\x00", b"PK\x03\x04"
_NO_FILE = b"PK\x05\x06"


class MemoryFile:
    """Bytes as a file to be read from and sought in."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._place = 0
        self.closed = False

    def read(self, size: int | None = -1) -> bytes:
        """The next ``size`` bytes; all that is left when negative."""
        end = len(self._data) if size is None or size < 0 else self._place + size
        piece = self._data[self._place : end]
        self._place += len(piece)
        return piece

    def seek(self, offset: int, whence: int = 0) -> int:
        """Go to a place."""
        base = (0, self._place, len(self._data))[whence]
        self._place = max(0, base + offset)
        return self._place

    def tell(self) -> int:
        """Where it is."""
        return self._place

    def seekable(self) -> bool:
        """It is."""
        return True

    def readable(self) -> bool:
        """It is."""
        return True

    def close(self) -> None:
        """Nothing is to be done."""
        self.closed = True


def is_spreadsheet(data: bytes) -> bool:
    """Whether a ZIP file is a spreadsheet."""
    return data.startswith(_ZIP) and (b"xl/workbook.xml" in data[-65536:] or b"xl/workbook.xml" in data[:65536])


def unpacked(data: bytes, ledger: Ledger) -> bytes:
    """What a gzip, bzip2 or xz file, or a ZIP file of one, holds; anything else as it is.

    Raises BadInput for a damaged one, one of several files, one with a password, and one that unpacks to too much.
    """
    for _ in range(2):  # a .tar.gz or a doubly packed file is told for what it is, not followed without end
        name, data_inside = _inside(data)
        if not name:
            return data
        ledger.note(f"unpacked from {name}.")
        data = data_inside
    return data


def _inside(data: bytes) -> tuple[str, bytes]:
    if data.startswith(_GZIP):
        import zlib

        return "gzip", _stream("gzip", data, lambda: zlib.decompressobj(wbits=31))
    if data.startswith(_BZIP):
        import bz2

        return "bzip2", _stream("bzip2", data, bz2.BZ2Decompressor)
    if data.startswith(_XZ):
        import lzma

        return "xz", _stream("xz", data, lambda: lzma.LZMADecompressor(memlimit=1 << 28))
    if data.startswith((_ZIP, _NO_FILE)) and not is_spreadsheet(data):
        return "a ZIP file", _zipped(data)
    return "", data


class _Unpacker(Protocol):
    @property
    def eof(self) -> bool: ...
    @property
    def unused_data(self) -> bytes: ...
    def decompress(self, data: bytes, max_length: int, /) -> bytes: ...


def _stream(name: str, data: bytes, make: Any) -> bytes:
    pieces: list[bytes] = []
    size = 0
    rest = data
    try:
        while rest:
            unpacker: _Unpacker = make()
            piece = unpacker.decompress(rest, _STEP)
            while True:
                size += len(piece)
                pieces.append(piece)
                _bounded(name, size, len(data))
                if unpacker.eof:
                    break
                left = getattr(unpacker, "unconsumed_tail", b"")
                piece = unpacker.decompress(left, _STEP)
                if not piece and not unpacker.eof:
                    if size:
                        return b"".join(pieces)  # it was cut off: what is there is read, its last line told
                    raise BadInput(f"the {name} file is cut off.", remedy="Copy it again, or give it unpacked.")
            rest = unpacker.unused_data.lstrip(b"\x00")
            if rest and not rest.startswith(data[:2]):
                break
    except BadInput:
        raise
    except Exception as error:  # noqa: BLE001 - each of the libraries has its own kind
        if size:
            return b"".join(pieces)
        raise BadInput(
            f"the {name} file cannot be unpacked: {error}.", remedy="Copy it again, or give it unpacked."
        ) from None
    return b"".join(pieces)


def _zipped(data: bytes) -> bytes:
    import zipfile

    source: Any = MemoryFile(data)
    try:
        with zipfile.ZipFile(source) as archive:
            there = [
                one for one in archive.infolist() if not one.is_dir() and not one.filename.startswith(("__MACOSX", "."))
            ]
            if len(there) != 1:
                names = ", ".join(one.filename for one in there[:6]) or "nothing"
                raise BadInput(
                    f"the ZIP file holds {len(there)} files ({names}), not one log.", remedy="Unpack it and give one."
                )
            if there[0].flag_bits & 1:
                raise BadInput("the ZIP file wants a password.", remedy="Unpack it and give the log.")
            # What it says of its own size is not believed: it is read in pieces, and each is counted.
            with archive.open(there[0]) as inside:
                pieces: list[bytes] = []
                size = 0
                while piece := inside.read(_STEP):
                    size += len(piece)
                    _bounded("ZIP", size, len(data))
                    pieces.append(piece)
    except BadInput:
        raise
    except Exception as error:  # noqa: BLE001 - a damaged archive fails in many ways
        raise BadInput(f"the ZIP file cannot be unpacked: {error}.", remedy="Unpack it and give the log.") from None
    return b"".join(pieces)


def _bounded(name: str, size: int, packed: int) -> None:
    """Raises BadInput for more than a log unpacks to."""
    if size > LARGEST_BYTES or (size > PLENTY_BYTES and size > MOST_TIMES * packed):
        raise BadInput(
            f"the {name} file unpacks to more than {min(size, LARGEST_BYTES) >> 20} MiB.",
            remedy="Unpack it and give the part you mean.",
        )
