"""Performance counters through the Performance Data Helper, ``pdh.dll`` (Microsoft's documentation of pdh.h).

Only what is called stands here; what the values mean is `surefoot.rig.windows.counters`. Not run on a real Windows by
us: the calls follow the documentation and are tested against a stand-in of the library.
"""

from __future__ import annotations

import ctypes
import math
import sys
from collections.abc import Mapping, Sequence
from typing import Any, Final

# pdh.h and pdhmsg.h.
ERROR_SUCCESS: Final = 0x0
MORE_DATA: Final = 0x800007D2
FORMAT_DOUBLE: Final = 0x00000200
# Percentages above 100 (boost above the nominal clock) are what is wanted here.
NO_CAP_AT_100: Final = 0x00008000
VALID_STATUS: Final = (0x0, 0x1)
"""PDH_CSTATUS_VALID_DATA and PDH_CSTATUS_NEW_DATA."""


class _Value(ctypes.Structure):
    """PDH_FMT_COUNTERVALUE with its double."""

    _fields_ = (("status", ctypes.c_uint32), ("number", ctypes.c_double))


class Item(ctypes.Structure):
    """PDH_FMT_COUNTERVALUE_ITEM_W: the instance's name and its value."""

    _fields_ = (("name", ctypes.c_wchar_p), ("value", _Value))


def _library() -> Any:
    if sys.platform == "win32":
        return ctypes.WinDLL("pdh.dll")
    raise OSError("pdh.dll is a library of Windows")


class Counters:
    """One query over counter paths such as ``\\\\Processor Information(*)\\\\% Processor Performance``.

    Paths are given in English and found under any language of the system (PdhAddEnglishCounterW). A counter that this
    Windows does not have is left out. ``library``: a stand-in, for tests. Raises OSError when there is no library or
    no query can be opened.
    """

    def __init__(self, paths: Sequence[str], library: Any = None) -> None:
        self._pdh = library if library is not None else _library()
        self._query = ctypes.c_void_p()
        if _status(self._pdh.PdhOpenQueryW(None, 0, ctypes.byref(self._query))) != ERROR_SUCCESS:
            raise OSError("no query of performance counters could be opened")
        self._counters: dict[str, ctypes.c_void_p] = {}
        for path in paths:
            handle = ctypes.c_void_p()
            found = _status(self._pdh.PdhAddEnglishCounterW(self._query, path, 0, ctypes.byref(handle)))
            if found == ERROR_SUCCESS:
                self._counters[path] = handle
        # Rates are worked out between two collections: the first only sets the beginning.
        self._collect()

    @property
    def paths(self) -> tuple[str, ...]:
        """The counters that this system has."""
        return tuple(self._counters)

    def _collect(self) -> bool:
        return _status(self._pdh.PdhCollectQueryData(self._query)) == ERROR_SUCCESS

    def read(self) -> Mapping[str, Mapping[str, float]]:
        """Every counter now: path to instance to value. What has no value now is left out."""
        if not self._counters or not self._collect():
            return {}
        return {path: values for path, handle in self._counters.items() if (values := self._array(handle))}

    def _array(self, handle: ctypes.c_void_p) -> dict[str, float]:
        size, count = ctypes.c_uint32(0), ctypes.c_uint32(0)
        style = FORMAT_DOUBLE | NO_CAP_AT_100
        ask = self._pdh.PdhGetFormattedCounterArrayW
        # Asked with no room at first, it tells how much it needs; instances may come and go between the two calls.
        if _status(ask(handle, style, ctypes.byref(size), ctypes.byref(count), None)) != MORE_DATA:
            return {}
        room = ctypes.create_string_buffer(size.value)
        if _status(ask(handle, style, ctypes.byref(size), ctypes.byref(count), room)) != ERROR_SUCCESS:
            return {}
        items = ctypes.cast(room, ctypes.POINTER(Item * count.value)).contents
        return {
            str(item.name): float(item.value.number)
            for item in items
            if item.value.status in VALID_STATUS and math.isfinite(item.value.number)
        }

    def close(self) -> None:
        """Give the query back."""
        if self._query:
            self._pdh.PdhCloseQuery(self._query)
            self._query = ctypes.c_void_p()


def _status(code: int) -> int:
    # The calls return a signed long where no other type was declared.
    return code & 0xFFFFFFFF
