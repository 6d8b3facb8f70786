"""What a file's visits are expected to read, by the model, before the file is judged."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.errors import TrendError
from monitor.pipeline.assessing import settings_on
from monitor.store import Store
from monitor.trend import expected

_TABLES = ("walls", "marks", "events")


def expected_at(
    store: Store,
    visits: Iterable[tuple[str, date]],
    register: schema.Tables,
    readings: pa.Table,
    known_on: datetime,
) -> pa.Table | None:
    """What every mark of the houses visited should read on the day of the visit, from the readings before that day.

    One row per house, wall, visit_date, mark and method; None where no earlier reading tells anything.
    """
    houses_on: dict[date, set[str]] = defaultdict(set)
    for house, day in visits:
        houses_on[day].add(house)
    parts = []
    for day, houses in sorted(houses_on.items()):
        before = readings.filter(pc.less(readings["visit_date"], pa.scalar(day, pa.date32())))
        before = _of_houses(before, houses)
        if before.num_rows:
            walls, marks, events = (_of_houses(register[name], houses) for name in _TABLES)
            settings = settings_on(store, day, known_on)
            try:
                found = expected.table(before, walls, marks, events, settings, day)
            except TrendError:  # a visit is taken in whatever the model can make of the wall; the assessment tells
                continue
            parts.append(found.append_column("visit_date", pa.array([day] * len(found), pa.date32())))
    return pa.concat_tables(parts) if parts else None


def _of_houses(rows: pa.Table, houses: set[str]) -> pa.Table:
    return rows.filter(pc.is_in(rows["house"], value_set=pa.array(sorted(houses), pa.string())))
