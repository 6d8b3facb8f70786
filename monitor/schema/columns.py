"""How a table's columns are written down, and the columns that many tables begin or end with."""

from collections.abc import Mapping

import pyarrow as pa

VERSION = 1
"""Version of all schemas together; a store of an unknown version is refused."""

_TYPES: Mapping[str, pa.DataType] = {
    "text": pa.string(),
    "real": pa.float64(),
    "whole": pa.int32(),
    "date": pa.date32(),
    "flag": pa.bool_(),
    "instant": pa.timestamp("us", tz="UTC"),
}


def schema(columns: str) -> pa.Schema:
    """A schema from lines `name | type | unit | meaning`; every column may be null except text, which is '' instead."""
    fields = []
    for line in filter(None, columns.splitlines()):
        name, kind, unit, doc = (part.strip() for part in line.split("|"))
        fields.append(pa.field(name, _TYPES[kind], metadata={"unit": unit, "doc": doc}))
    return pa.schema(fields, metadata={"version": str(VERSION)})


KNOWN = """
source_sha256 | text | | SHA-256 of the canonical content of the file this row came in with
source_name | text | | name of that file as received
source_sheet | text | | sheet of that file ('' for CSV)
source_row | whole | | row of that file, counted as a spreadsheet counts, header included
known_at | instant | UTC | when the row became known to the company (the second clock; the first is the visit's date)
"""

WALL = """
house | text | | house id, e.g. DH-01
wall | text | | wall id within the house, e.g. N; written house-wall, e.g. DH-01-N
"""
