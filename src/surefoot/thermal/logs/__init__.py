"""Logs of any delimited format, as bytes, to traces in canonical channels."""

from surefoot.thermal.logs.assemble import ImportedLog, fingerprint, log_fingerprint, read_log
from surefoot.thermal.logs.columns import IGNORE, Column
from surefoot.thermal.logs.problems import Problem
from surefoot.thermal.logs.recognise import ASK_BELOW, TAKE_FROM
from surefoot.thermal.logs.tables import Table, read_table

__all__ = [
    "ASK_BELOW",
    "IGNORE",
    "TAKE_FROM",
    "Column",
    "ImportedLog",
    "Problem",
    "Table",
    "fingerprint",
    "log_fingerprint",
    "read_log",
    "read_table",
]
