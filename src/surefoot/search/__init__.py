"""What to try next, and what may be claimed. Pure: no files, no clock."""

from surefoot.search.api import certify, next_step
from surefoot.search.assess import Assessment, assess, known_stable, plan
from surefoot.search.evidence import Alternative, Certificate, Evidence, Goal, Proposal
from surefoot.search.knob_evidence import run_evidence
from surefoot.search.known import KnownStable
from surefoot.search.plan import Step
from surefoot.search.posterior import EdgePosterior, edge_posterior
from surefoot.search.rules import refusal
from surefoot.search.strategy import strategies

__all__ = [
    "Alternative",
    "Assessment",
    "Certificate",
    "EdgePosterior",
    "Evidence",
    "Goal",
    "KnownStable",
    "Proposal",
    "Step",
    "assess",
    "certify",
    "edge_posterior",
    "known_stable",
    "next_step",
    "plan",
    "refusal",
    "run_evidence",
    "strategies",
]
