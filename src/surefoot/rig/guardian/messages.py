"""What is said over the pipe to the guardian: one JSON object first, then one word a line."""

from __future__ import annotations

from typing import Final

READY: Final = "ready"
OFF_STOCK: Final = "off-stock"
"""Said, and on its way through the pipe, before a setting is applied."""
AT_STOCK: Final = "at-stock"
"""Said when stock was applied and, where that can be, read back."""
STAND_DOWN: Final = "stand-down"
"""Said at an orderly end: the guardian goes without a word."""
