"""The fits of walls told for the engineer's page: the only place where the report room's book meets the trend room."""

from collections.abc import Iterator, Sequence

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.config import Settings
from monitor.pipeline.assessing import of_walls
from monitor.report.by_wall import ByWall
from monitor.report.context import Book, Key
from monitor.report.engineer_sheet import Model

WALLS_AT_ONCE = 50
"""Walls told together: dense fits are of one wall each, tables of many walls are slow to look through."""

DECIMALS = 9
"""Further digits of a dense fit made anew depend on the machine, and on how busy it is; packs are to be the same."""
_TABLES = ("fits", "residuals", "agreement")


def models(content: Book, keys: Sequence[Key]) -> Iterator[Model]:
    """What the fits of each wall say, in the order of the keys, made of the facts behind the book's assessment."""
    for start in range(0, len(keys), WALLS_AT_ONCE):
        chunk = keys[start : start + WALLS_AT_ONCE]
        found = {name: ByWall(rows) for name, rows in told(content, chunk).items()}
        for key in chunk:
            yield Model(**{name: found[name].rows(key) for name in _TABLES})


def told(content: Book, keys: Sequence[Key]) -> schema.Tables:
    """Tables `fits`, `residuals` and `agreement` of some walls."""
    from monitor.pipeline.frames import table  # with the trend room, where an engineer's page is made
    from monitor.trend.summary import summaries

    facts = {name: of_walls(content.fact(name), keys) for name in ("readings", "walls", "marks", "events")}
    settings = Settings(rules=content.rules, variances=content.variances)
    found = summaries(**facts, settings=settings, judged_on=content.assessment.judged_on)
    return {name: _rounded(table(name, getattr(found, name))) for name in _TABLES}


def _rounded(rows: pa.Table) -> pa.Table:
    for number, field in enumerate(rows.schema):
        if pa.types.is_floating(field.type):
            rows = rows.set_column(number, field, pc.round(rows[field.name], ndigits=DECIMALS))
    return rows
