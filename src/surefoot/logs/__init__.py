"""Logs of any delimited format, as bytes, to traces in canonical channels."""

from surefoot.logs.assemble import fingerprint, log_fingerprint, read_log
from surefoot.logs.columns import IGNORE, Column
from surefoot.logs.imported import ImportedLog
from surefoot.logs.problems import Problem
from surefoot.logs.recognise import ASK_BELOW, TAKE_FROM
from surefoot.logs.tables import Table, read_table

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
