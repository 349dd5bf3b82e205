"""What to try next, and what may be claimed. Pure: no files, no clock."""

from surefoot.search.api import certify, next_step
from surefoot.search.evidence import Alternative, Certificate, Evidence, Goal, Proposal
from surefoot.search.posterior import EdgePosterior, edge_posterior
from surefoot.search.strategy import strategies

__all__ = [
    "Alternative",
    "Certificate",
    "EdgePosterior",
    "Evidence",
    "Goal",
    "Proposal",
    "certify",
    "edge_posterior",
    "next_step",
    "strategies",
]
