"""Graphics through the kernel's DRM drivers: clocks and throttle reasons of i915 and xe, ``/sys/class/drm``.

Files from the kernel's ABI documents of the two drivers: i915 ``gt/gtN/{rps_act_freq_mhz,throttle_reason_*}`` (and
``gt_act_freq_mhz`` beside it on older kernels), xe ``device/tileN/gtN/freq0/{act_freq,throttle/reason_*}``. Clocks in
MHz; each reason is 0 or 1.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from surefoot.rig.sensors.files import in_order, read_number

CARDS = "sys/class/drm"
# What each reason is: pl1 and pl2 are long- and short-term power, pl4 the peak (current), prochot and thermal heat,
# ratl an average of temperature, vr_* the voltage regulator, of which its thermal alert is heat and tdc current.
_CAUSES: tuple[tuple[str, str], ...] = (
    (r"pl1|pl2|psys_pl\d", "power-flag"),
    (r"pl4|vr_tdc|iccmax|fast_vmode|psys_crit", "current-flag"),
    (r"thermal|prochot|ratl|vr_thermalert|vr_thermal|soc_thermal|mem_thermal", "thermal-flag"),
)


class Drm:
    """``gpu.clock`` and ``gpu.thermal-flag``, ``gpu.power-flag``, ``gpu.current-flag`` of the fastest part of a card.

    ``other_gpu``: a card is read in another way; then this one is ``igpu``.
    """

    name = "DRM"

    def __init__(self, root: Path, *, other_gpu: bool = False) -> None:
        self._domain = "igpu" if other_gpu else "gpu"
        self._parts = list(_parts(root))
        self._channels = tuple(self.read())

    def channels(self) -> tuple[str, ...]:
        """Those that could be read when the source was made."""
        return self._channels

    def read(self) -> dict[str, float]:
        """One sample: the fastest part's clock, and each cause that holds any part."""
        found: dict[str, float] = {}
        for clock, reasons in self._parts:
            mhz = read_number(clock)
            if mhz is not None and mhz >= 0:
                name = f"{self._domain}.clock"
                found[name] = max(mhz, found.get(name, 0.0))
            for cause, paths in reasons.items():
                bits = [value for path in paths if (value := read_number(path)) is not None]
                if bits:
                    name = f"{self._domain}.{cause}"
                    found[name] = max(float(any(bits)), found.get(name, 0.0))
        return found

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()


def _parts(root: Path) -> Iterator[tuple[Path, dict[str, list[Path]]]]:
    for card in in_order(root / CARDS, "card[0-9]*"):
        if not re.fullmatch(r"card\d+", card.name):
            continue  # card0-HDMI-A-1 is a connector
        parts = in_order(card / "gt", "gt[0-9]*")
        for part in parts:
            yield part / "rps_act_freq_mhz", _reasons(part, "throttle_reason_")
        if not parts and (card / "gt_act_freq_mhz").exists():
            yield card / "gt_act_freq_mhz", {}
        for tile in in_order(card / "device", "tile[0-9]*"):
            for part in in_order(tile, "gt[0-9]*"):
                yield part / "freq0" / "act_freq", _reasons(part / "freq0" / "throttle", "reason_")


def _reasons(folder: Path, prefix: str) -> dict[str, list[Path]]:
    found: dict[str, list[Path]] = {}
    for path in in_order(folder, f"{prefix}*"):
        for pattern, cause in _CAUSES:
            if re.fullmatch(pattern, path.name.removeprefix(prefix)):
                found.setdefault(cause, []).append(path)
                break
    return found
