"""The one home of every column: name, type, unit and meaning of each table that is stored, exported or passed on.

A table is an Arrow schema; each field carries its meaning (`doc`) and unit (`unit`) as metadata, from which the data
dictionary is written. `KEY` names the columns that identify a row; of two rows of one key the one known later stands.
Inside everything is millimetres, years, inward positive (see units).
"""

from collections.abc import Mapping
from functools import cache

import pyarrow as pa

from monitor.schema import drawn, facts, frames, office, results
from monitor.schema.columns import VERSION
from monitor.schema.drawn import AGREEMENT, COMPONENTS, FITS, PHOTO_INDEX, RESIDUALS, VISITS
from monitor.schema.facts import (
    EVENTS,
    HOUSES,
    INSTRUMENTS,
    MARKS,
    READINGS,
    RECEIPTS,
    RULINGS,
    THRESHOLDS,
    VARIANCES,
    WALLS,
)
from monitor.schema.keys import BETWEEN, wall_key, wall_keys
from monitor.schema.office import (
    ACCOUNTS,
    ALERT_ACKNOWLEDGEMENTS,
    ALERT_DELIVERIES,
    ALERT_LOOKS,
    ALERT_SENDINGS,
    ALERT_TEXTS,
    ALERTS,
    ALERTS_OVER,
    AUDIT,
    DECISIONS,
    EDITIONS,
    ERASURES,
    LEGAL_HOLDS,
    LINK_OPENINGS,
    LINKS,
    LINKS_ENDED,
    NEWS,
    PAGES,
    PEOPLE,
    PHOTO_RULINGS,
    PHOTOS,
    RUNS,
    SESSIONS_ENDED,
    SETTINGS_KEPT,
)
from monitor.schema.results import ASSESSED, FINDINGS, MARK_RESULTS, MOVEMENT, PLAN, REPAIRS, SUSPECTS, WALL_RESULTS
from monitor.schema.rows import rows

__all__ = [
    "ACCOUNTS",
    "AGREEMENT",
    "ALERTS",
    "ALERTS_OVER",
    "ALERT_ACKNOWLEDGEMENTS",
    "ALERT_DELIVERIES",
    "ALERT_LOOKS",
    "ALERT_SENDINGS",
    "ALERT_TEXTS",
    "ASSESSED",
    "AUDIT",
    "BETWEEN",
    "COMPONENTS",
    "DECISIONS",
    "DRAWN",
    "EDITIONS",
    "ERASURES",
    "EVENTS",
    "FACTS",
    "FINDINGS",
    "FITS",
    "HOUSES",
    "INSTRUMENTS",
    "KEY",
    "LEGAL_HOLDS",
    "LINKS",
    "LINKS_ENDED",
    "LINK_OPENINGS",
    "MARKS",
    "MARK_RESULTS",
    "MOVEMENT",
    "NEWS",
    "OFFICE",
    "PAGES",
    "PEOPLE",
    "PHOTOS",
    "PHOTO_INDEX",
    "PHOTO_RULINGS",
    "PLAN",
    "READINGS",
    "RECEIPTS",
    "REGISTER",
    "REPAIRS",
    "RESIDUALS",
    "RESULTS",
    "RESULT_ORDER",
    "RULINGS",
    "RUNS",
    "SESSIONS_ENDED",
    "SETTINGS_KEPT",
    "SUSPECTS",
    "THRESHOLDS",
    "VARIANCES",
    "VERSION",
    "VISITS",
    "WALLS",
    "WALL_RESULTS",
    "Tables",
    "empty",
    "find",
    "meaning",
    "rows",
    "wall_key",
    "wall_keys",
]

frames.put_off()

Tables = Mapping[str, pa.Table]
"""Tables by name, each with the schema of that name."""

FACTS = facts.TABLES
"""Append-only tables of the Parquet tiers."""

OFFICE = office.TABLES
"""Tables of office records (SQLite)."""

RESULTS = results.TABLES
"""Tables that an assessment writes; derived, so they can be made again from the facts."""

RESULT_ORDER = results.ORDER
"""Rows of results stand in the order of those of these columns that their table has."""

DRAWN = drawn.TABLES
"""Tables that pages and packs are drawn from, made of an assessment's tables and the facts behind it; not stored."""

KEY: Mapping[str, tuple[str, ...]] = {**facts.KEY, **office.KEY}

REGISTER = ("houses", "walls", "marks", "instruments", "thresholds", "events", "people")
"""Tables that the register command takes in."""


_ALL = {**FACTS, **OFFICE, **RESULTS, **DRAWN, "assessed": ASSESSED}


@cache
def empty(name: str) -> pa.Table:
    """An empty table of the schema of that name."""
    return find(name).empty_table()


def find(name: str) -> pa.Schema:
    """The schema of a table of any tier; KeyError where there is none."""
    return _ALL[name]


def meaning(field: pa.Field) -> tuple[str, str]:
    """Unit and meaning of a column, as the data dictionary prints them."""
    metadata = field.metadata or {}
    return metadata.get(b"unit", b"").decode(), metadata.get(b"doc", b"").decode()
