"""The columns of a pool's file, each with its type and what it holds: the one place where the format is stated."""

from __future__ import annotations

from dataclasses import dataclass

VERSION = "1"
"""Of the format; in the file's key-value metadata as ``surefoot_pool``."""


@dataclass(frozen=True, slots=True)
class Column:
    """``kind``: its SQL type, which Parquet has as well; ``says``: what it holds."""

    name: str
    kind: str
    says: str


COLUMNS = (
    Column("unit", "VARCHAR", "a code for the machine, the same in every file; its name cannot be had from it"),
    Column("source", "VARCHAR", "a code for the journal or the shop that the evidence came from"),
    Column("month", "VARCHAR", "year and month of the run, as 2026-11"),
    Column("platform", "VARCHAR", "the part that the knob belongs to, as the card names it"),
    Column("family", "VARCHAR", "the wider group of parts that the platform is of"),
    Column("domain", "VARCHAR", "the part of the machine: cpu, gpu, memory, ..."),
    Column("knob", "VARCHAR", "name of the knob on the card"),
    Column("measure", "VARCHAR", "unit of measure of depth, step and limit: mV, MHz, W"),
    Column("toward", "VARCHAR", "the risky side: down or up"),
    Column("step", "DOUBLE", "the knob's step"),
    Column("most", "DOUBLE", "how far the card lets the knob go: the limit, as depth"),
    Column("number", "INTEGER", "place of the run among the unit's, from 1"),
    Column("depth", "DOUBLE", "distance from stock toward the risky side, as read back"),
    Column("minutes", "DOUBLE", "under load, to the end or to the failure"),
    Column("failed", "BOOLEAN", "whether the knob failed"),
    Column("timed", "BOOLEAN", "whether the time of a failure is known; false: some time before"),
    Column("soft", "BOOLEAN", "a failure that cost no crash"),
    Column("use", "BOOLEAN", "ordinary use and no bench run; false where the column is missing"),
    Column("outcome", "VARCHAR", "how the run ended: held, miscompute, reset, ..."),
    Column("load", "VARCHAR", "what was run, by its name"),
    Column("ambient_celsius", "DOUBLE", "temperature of the room, empty where it is not known"),
    Column("power_mode", "VARCHAR", "the mode the unit was in"),
    Column("firmware", "VARCHAR", "its version"),
    Column("driver", "VARCHAR", "its version"),
)
NAMES = tuple(column.name for column in COLUMNS)
LATER = {"use": "false"}
"""Columns that a pool of this format may be without, each with what holds then."""
