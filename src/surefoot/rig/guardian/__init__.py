"""The guardian: a small process of its own that puts a unit back to stock when the one that set it up dies."""

from surefoot.rig.guardian.guarded import GuardedHands
from surefoot.rig.guardian.reports import GuardianReport, reports_since

__all__ = ["GuardedHands", "GuardianReport", "reports_since"]
