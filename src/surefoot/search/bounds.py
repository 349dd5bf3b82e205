"""What soaking alone can claim: the chi-square bound on an MTTF."""

from __future__ import annotations

import math

from surefoot.errors import BadInput


def mttf_lower_bound(hours: float, failures: int = 0, confidence: float = 0.90) -> float:
    """Lower bound in hours on the MTTF after ``failures`` in ``hours`` of load at one setting, time-terminated.

    2 T / chi-square(confidence, 2 f + 2); with no failure T / -ln(1 - C). Source: NIST/SEMATECH e-Handbook of
    Statistical Methods, 8.4.5.1 (exponential life, time-censored test). Raises BadInput for a number out of range.
    """
    if not math.isfinite(hours) or hours < 0:
        raise BadInput(f"hours is {hours!r}; it must be a number of at least 0.", where="bound")
    if failures < 0:
        raise BadInput(f"failures is {failures!r}; it must be at least 0.", where="bound")
    if not 0 < confidence < 1:
        raise BadInput(f"confidence is {confidence!r}; it must lie between 0 and 1.", where="bound")
    if failures == 0:
        return hours / -math.log1p(-confidence)
    # Not scipy.stats: the same number, and what watches in use has 40 MB less to carry.
    from scipy.special import chdtri

    return 2.0 * hours / float(chdtri(2 * failures + 2, 1.0 - confidence))


def hours_to_claim(mttf_hours: float, confidence: float = 0.90) -> float:
    """Hours of load without a failure that claim an MTTF by soaking alone: 230 h for 100 h at 90 %."""
    return mttf_hours * -math.log1p(-confidence)
