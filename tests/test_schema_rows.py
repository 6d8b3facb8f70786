"""Rows of a table as plain Python: held against what Arrow itself makes of every table."""

from datetime import UTC, date, datetime
from typing import Any

import pyarrow as pa
import pytest

from monitor import schema

SOME: dict[pa.DataType, list[Any]] = {
    pa.string(): ["", "DH-01", "½"],
    pa.float64(): [None, -0.5, 1e300],
    pa.int32(): [None, -3, 2**31 - 1],
    pa.date32(): [None, date(1, 1, 1), date(9999, 12, 31)],
    pa.bool_(): [None, True, False],
    pa.timestamp("us", tz="UTC"): [
        None,
        datetime(1969, 12, 31, 23, 59, 59, 999_999, UTC),
        datetime(2026, 4, 30, 17, tzinfo=UTC),
    ],
}


@pytest.mark.parametrize("name", ["readings", "wall_results", "people", "movement"])
def test_rows_are_those_of_arrow(name: str) -> None:
    fields = schema.find(name)
    table = pa.table([pa.array(SOME[field.type], field.type) for field in fields], schema=fields)
    for rows in (table, table.slice(1, 1), pa.concat_tables([table, table]), table.slice(0, 0)):
        assert schema.rows(rows) == rows.to_pylist()
    moment = next((row["known_at"] for row in schema.rows(table) if row.get("known_at")), None)
    assert moment is None or moment.tzinfo is not None


def test_the_names_of_no_two_tables_are_the_same() -> None:
    together = [*schema.FACTS, *schema.OFFICE, *schema.RESULTS, *schema.DRAWN]
    assert len(together) == len(set(together))
    assert set(schema.KEY) == {*schema.FACTS, *schema.OFFICE}


def test_of_many_rows_what_is_said_again_is_one_text() -> None:
    said = pa.table({"mark": pa.chunked_array([["M1", None, "M2"] * 1000, ["M1", "", None] * 1000], pa.string())})
    found = schema.rows(said)
    assert found == said.to_pylist()
    assert found[0]["mark"] is found[-3]["mark"]
