"""Everything the store holds as CSV files with a data dictionary, so that the records outlive this program."""

from datetime import datetime
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pa_csv

from monitor import __version__, schema
from monitor.store import Store


def export(store: Store, to: Path, *, known_on: datetime) -> list[Path]:
    """Write one CSV per table and `dictionary.csv` and `README.txt`; returns the files in order.

    People are written too: the caller says to whom the folder may go. Text cells that a spreadsheet would run as a
    formula get an apostrophe in front (the dictionary says so).
    """
    to.mkdir(parents=True, exist_ok=True)
    tables = {name: store.facts(name, known_on=known_on) for name in schema.FACTS}
    tables["readings_effective"] = store.readings(known_on=known_on)
    tables["people"] = store.office.people()
    tables["decisions"] = store.office.decisions(known_on=known_on)
    days = store.assessments()
    if days and (assessment := store.assessment(max(days))):
        tables |= {name: getattr(assessment, name) for name in schema.RESULTS}
    written = []
    for name, rows in tables.items():
        path = to / f"{name}.csv"
        pa_csv.write_csv(_harmless(rows), path)
        written.append(path)
    for path, text in ((to / "dictionary.csv", None), (to / "README.txt", _README.format(version=__version__))):
        if text is None:
            pa_csv.write_csv(dictionary(tables), path)
        else:
            path.write_text(text, encoding="utf-8")
        written.append(path)
    return written


def dictionary(tables: schema.Tables) -> pa.Table:
    """The data dictionary of those tables: table, column, type, unit, meaning."""
    rows = [
        {
            "table": name,
            "column": field.name,
            "type": str(field.type),
            "unit": schema.meaning(field)[0],
            "meaning": schema.meaning(field)[1],
        }
        for name, table in tables.items()
        for field in table.schema
    ]
    return pa.Table.from_pylist(rows)


def _harmless(rows: pa.Table) -> pa.Table:
    columns = []
    for name in rows.column_names:
        column = rows[name]
        if pa.types.is_string(column.type):
            risky = pc.match_substring_regex(column, r"^[=+\-@\t\r]")
            column = pc.if_else(risky, pc.binary_join_element_wise("'", column, ""), column)
        columns.append(column)
    return pa.table(columns, names=rows.column_names)


_README = """Records of wall movement, written by wallbow {version}.

One CSV file per table, UTF-8, header in the first row. dictionary.csv gives type, unit and meaning of every column.
Lengths are millimetres, rates mm per year, inward (into the room) positive, times UTC.
readings.csv holds every row ever received; readings_effective.csv the same with rulings applied (released, rejected,
corrected). A text cell that begins with = + - @ has an apostrophe in front so that no spreadsheet runs it.
These are measurements of how far marks on walls have moved. They are not a structural assessment; only a licensed
engineer who has seen a wall can judge it.
"""
