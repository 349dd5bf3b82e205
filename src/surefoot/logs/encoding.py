"""From the bytes of a file to UTF-8 text with plain line ends, whatever wrote it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from surefoot.errors import BadInput
from surefoot.logs.problems import Ledger

_MARKS = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe\x00\x00", "utf-32-le"),
    (b"\x00\x00\xfe\xff", "utf-32-be"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
_NOT_TEXT = (
    (b"PK\x03\x04", "an archive"),
    (b"7z\xbc\xaf", "an archive of a kind that is not read (gzip, bzip2, xz and ZIP are)"),
    (b"\x28\xb5\x2f\xfd", "a file compressed in a way that is not read (gzip, bzip2, xz and ZIP are)"),
    (b"Rar!", "an archive of a kind that is not read (gzip, bzip2, xz and ZIP are)"),
    (b"SQLite format 3", "a database"),
    (b"%PDF", "a document"),
    (b"\x89PNG", "a picture"),
    (b"\x7fELF", "a program"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or office document"),
)
# Windows and DOS code pages, likelier first: a tie goes to the earlier one.
_CODE_PAGES = ("cp1252", "cp1250", "cp1251", "cp1254", "cp1253", "cp437", "cp850", "cp866")
_WIDE_PAGES = ("cp932", "gbk", "cp949")
_SAMPLE = 65536
_CHECKED = 1 << 20
_ASCII = bytes(range(128))
_LETTERS = "äöüßéèêàçñáíóúâîôûœæåøãõÄÖÜÉÈÀÇÑÁÍÓÚÅØ"
_WORDS = re.compile(
    r"°[CFKcfk]|temperatur|lüfter|gehäuse|durchschnitt|température|fréquence|horloge|mémoire|tensión|núcleo|"
    r"µs|gráfica|batería|arrêt|темп|част|напр|мощн|ядр|врем|дата|вент|ttő|średn|często|napię|"
    r"温度|時刻|時間|日時|日付|クロック|周波数|電力|電圧|回転|使用率|ファン|プロセッサ|时间|日期|频率|功率|功耗|电压|风扇|转速|显卡|处理器|占用",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Decoded:
    """A file as UTF-8 without mark, without NUL, its lines ended by ``\\n`` or ``\\r\\n``; ``name`` of its encoding."""

    utf8: bytes
    name: str


def decode(data: bytes, ledger: Ledger) -> Decoded:
    """Find the encoding of a file and bring it to UTF-8; what had to be left out goes to the ledger.

    Raises BadInput for an empty file and for one that is no text.
    """
    if not data:
        raise BadInput("the file is empty.", remedy="Give a log with at least one sample.")
    for magic, what in _NOT_TEXT:
        if data.startswith(magic):
            raise BadInput(f"this is {what}, not text.", remedy="Export the log as CSV and import that.")
    name, body = _marked(data) or _wide_without_mark(data) or ("", data)
    if name.startswith(("utf-16", "utf-32")):
        width = 2 if "16" in name else 4
        text = body[: len(body) // width * width].decode(name, errors="replace")
        _tell_replaced(text, ledger)
        utf8 = text.encode("utf-8", errors="replace")
    else:
        utf8, name = _narrow(body, name, ledger)
    utf8 = _without_nul(utf8, ledger)
    utf8 = utf8.rstrip(b"\x1a")  # the end-of-file mark of old systems
    if not utf8[:_SAMPLE].strip() and not utf8.strip():
        raise BadInput("the file holds no text.", remedy="Give a log with at least one sample.")
    head = utf8[:_SAMPLE]
    control = sum(head.count(code) for code in range(32) if code not in (9, 10, 13, 12))
    if control > 0.02 * len(head) + 2:
        raise BadInput("this is not a text file.", remedy="Export the log as CSV and import that.")
    return Decoded(_plain_line_ends(utf8), name)


def _marked(data: bytes) -> tuple[str, bytes] | None:
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name, data[len(mark) :]
    return None


def _wide_without_mark(data: bytes) -> tuple[str, bytes] | None:
    """UTF-16 without a mark shows as a NUL in every other byte of Latin text."""
    head = data[:4096]
    if len(head) < 4:
        return None
    even, odd = head[0::2], head[1::2]
    even_nul, odd_nul = even.count(0) / len(even), odd.count(0) / len(odd)
    if odd_nul > 0.6 and even_nul < 0.2:
        return "utf-16-le", data
    if even_nul > 0.6 and odd_nul < 0.2:
        return "utf-16-be", data
    return None


def _narrow(body: bytes, name: str, ledger: Ledger) -> tuple[bytes, str]:
    try:
        _check_utf8(body)
        return body, name or "utf-8"
    except UnicodeDecodeError as error:
        # Only the last character is broken: the file was cut in the middle of it. NULs may follow a power loss.
        if error.start >= len(body.rstrip(b"\x00")) - 3 and error.reason == "unexpected end of data":
            ledger.note("the file ends in the middle of a character: it was cut off.")
            return body[: error.start], name or "utf-8"
    above = body.translate(None, _ASCII)
    bad = above.decode("utf-8", errors="replace").count("\ufffd")
    high = len(re.findall(rb"[\xc2-\xf4][\x80-\xbf]", above))
    if name or (high and bad <= 0.1 * high):
        ledger.problem(f"{bad} bytes are not valid UTF-8; they were read as unknown characters.")
        return body.decode("utf-8", errors="replace").encode("utf-8"), "utf-8"
    page = _code_page(body)
    text = body.decode(page, errors="replace")
    _tell_replaced(text, ledger)
    return text.encode("utf-8"), page


def _check_utf8(body: bytes) -> None:
    """Raise UnicodeDecodeError, its place told from the start, unless the bytes are UTF-8.

    Most of a log is ASCII, which is told faster than it is decoded.
    """
    start = 0
    while start < len(body):
        piece = body[start : start + _CHECKED]
        if piece.isascii():
            start += len(piece)
            continue
        try:
            piece.decode("utf-8")
            start += len(piece)
        except UnicodeDecodeError as error:
            ends_inside = start + len(piece) < len(body) and error.start >= len(piece) - 3
            if not ends_inside or error.start == 0:
                raise UnicodeDecodeError("utf-8", body, start + error.start, start + error.end, error.reason) from None
            start += error.start


def _code_page(body: bytes) -> str:
    """The code page under which the bytes above ASCII make the most sense as text of a log."""
    around = re.findall(rb"[^\x00-\x7f\r\n][^\r\n,;\t]{0,12}|[^\r\n,;\t]{1,12}[^\x00-\x7f\r\n]", body[:_SAMPLE])
    pieces = _once(around)[:400] or [body[:_SAMPLE]]
    sample = b"\n".join(pieces)
    runs = re.findall(rb"[\x80-\xff]+", body[:_SAMPLE])
    pages: tuple[str, ...] = _CODE_PAGES
    if runs:
        whole = b"\n".join(_once(re.findall(rb"[^\r\n,;\t]*[^\x00-\x7f][^\r\n,;\t]*", body[:_SAMPLE])))
        wide = tuple(page for page in _WIDE_PAGES if _may_be_wide(whole, page))
        if wide:
            # A character of two bytes must not be cut in two.
            pages, sample = pages + wide, whole
    return max(pages, key=lambda page: _sense(sample, page))


def _once(pieces: list[bytes]) -> list[bytes]:
    """Each piece once, whatever number stands in it: a unit behind every number of a log says no more than one does.

    No page looked at has a digit, a point or a blank as part of a letter."""
    return list(dict.fromkeys(piece.translate(None, b"0123456789. ") for piece in pieces))


_WIDE_LETTERS = re.compile("[\u3040-\u30ff\u4e00-\u9fff\uac00-\ud7a3]")


def _may_be_wide(sample: bytes, page: str) -> bool:
    """Whether the pieces read as East Asian text: they decode whole, into characters of those scripts."""
    wide = high = 0
    for piece in sample.split(b"\n"):
        # A piece was cut at a length: its last character, and its first, may be half.
        text = piece.decode(page, errors="ignore")
        wide += len(_WIDE_LETTERS.findall(text))
        # Signs that stand in every cell say nothing of the script.
        high += sum(ord(char) > 127 and char not in "℃℉°・" for char in text)
    return wide >= 2 and wide >= 0.6 * high


def _sense(sample: bytes, page: str) -> float:
    text = sample.decode(page, errors="replace")
    score = 6.0 * len(_WORDS.findall(text)) + sum(text.count(letter) for letter in _LETTERS)
    for char in text:
        if char == "\ufffd" or "\x80" <= char < "\xa0":
            score -= 4
        elif "\u2500" <= char <= "\u259f":  # box drawing: a letter read under the wrong page
            score -= 2
        elif "\u0400" <= char <= "\u04ff" or "\u0370" <= char <= "\u03ff":
            score -= 0.3
    # Letters with accents seldom stand side by side: so Cyrillic looks under a Western page.
    score -= 1.5 * sum(len(run) for run in re.findall("[\u00c0-\u024f]{3,}", text))
    score += 0.5 * sum("\u3040" <= char <= "\u30ff" for char in text)
    cyrillic = re.findall(r"[\u0400-\u04ff]{3,}", text)
    mixed = re.findall(r"[a-z][\u0400-\u04ff\u0370-\u03ff]|[\u0400-\u04ff\u0370-\u03ff][a-z]", text)
    lower = sum(run[1:].islower() for run in cyrillic)
    return float(score + 2.5 * lower - 3 * len(mixed))


def _tell_replaced(text: str, ledger: Ledger) -> None:
    count = text.count("\ufffd")
    if count:
        line = text.count("\n", 0, text.index("\ufffd")) + 1
        ledger.problem(f"{count} characters could not be decoded, the first on this line.", line=line)


def _without_nul(utf8: bytes, ledger: Ledger) -> bytes:
    """A file system that lost power leaves runs of NUL where a block was promised but never written."""
    if b"\x00" not in utf8:
        return utf8
    stripped = utf8.rstrip(b"\x00")
    lost = len(utf8) - len(stripped)
    if lost:
        ledger.note(f"the file ends in {lost} NUL bytes, as after a power loss; they were left out.")
    if b"\x00" in stripped:
        line = stripped.count(b"\n", 0, stripped.index(b"\x00")) + 1
        ledger.problem(f"{stripped.count(0)} NUL bytes inside the file were left out.", line=line)
        stripped = stripped.replace(b"\x00", b"")
    return stripped


def _plain_line_ends(utf8: bytes) -> bytes:
    if b"\r" not in utf8:
        return utf8
    returns = utf8.count(b"\r")
    if returns == utf8.count(b"\r\n"):
        return utf8
    return utf8.replace(b"\r\r\n", b"\n").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
