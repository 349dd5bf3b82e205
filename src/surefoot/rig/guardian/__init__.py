"""The guardian: a small process of its own that puts a unit back to stock when the one that set it up dies."""

from surefoot.rig.guardian.guarded import GuardedHands, WithGuardian, with_guardian
from surefoot.rig.guardian.reports import GuardianReport, all_reports, reports_since

__all__ = ["GuardedHands", "GuardianReport", "WithGuardian", "all_reports", "reports_since", "with_guardian"]
