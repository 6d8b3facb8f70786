"""Tables of the office records in SQLite: how they are made, a row's values and its seal, how many rows there are."""

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.errors import StoreError
from monitor.store import parquet
from monitor.store.files import sha256

Row = Mapping[str, Any]

VERSION = 2
"""How these records are laid out: the version of the store (store/marker) in which that last changed."""
COMPANY = "company"
TURNS = "turns"
"""Line of the tally that counts changes; the others count the rows of a table."""
COMPANY_DDL = f"CREATE TABLE {COMPANY} (name TEXT PRIMARY KEY, value TEXT, seal TEXT NOT NULL);"
TALLY_DDL = "CREATE TABLE tally (name TEXT PRIMARY KEY, number INTEGER NOT NULL) WITHOUT ROWID;"
_SQL_TYPES = {pa.string(): "TEXT NOT NULL", pa.float64(): "REAL", pa.int32(): "INTEGER", pa.bool_(): "INTEGER"}
VERSION = 2
"""How these records are laid out: the version of the store (store/marker) in which that last changed."""
_APPEND_ONLY = tuple(table for table in schema.OFFICE if table != "people")
_SEAL_SIGNS = 32
_OTHER_SIGNS = "person GLOB '*[^ -~]*'"
"""SQLite knows small letters of ASCII alone: ids with others are all among those found."""
_PEOPLE_BY_ID = {"people_in_small": "(lower(person))", "people_in_other_signs": f"(person) WHERE {_OTHER_SIGNS}"}
PERSON_AMONG = (
    "person IN (SELECT person FROM people WHERE lower(person) IN (SELECT value FROM json_each(?)) "
    f"UNION SELECT person FROM people WHERE {_OTHER_SIGNS})"
)
"""People of some ids in small letters (a JSON list), whatever the case of theirs, and hardly any others."""


def ddl() -> str:
    """The statements that make the database, from the schemas; dates and instants are ISO text, instants in UTC.

    Every row ends in its seal, a hash of its values. The tally has the number of rows of every table.
    """
    parts = [
        f"PRAGMA user_version = {VERSION};",
        COMPANY_DDL,
        TALLY_DDL,
    ]
    return "\n".join([*parts, *map(table_ddl, schema.OFFICE)])


def table_ddl(table: str) -> str:
    """The statements that make one table of schema.OFFICE."""
    # columns of the key first: SQLite 3.40's own check finds NULL where there is none in tables with others before them
    fields = sorted(schema.OFFICE[table], key=lambda field: field.name not in schema.KEY[table])
    lines = [f'"{field.name}" {_SQL_TYPES.get(field.type, "TEXT")}' for field in fields]
    lines += ["seal TEXT NOT NULL", f"PRIMARY KEY ({', '.join(schema.KEY[table])})"]
    parts = [f"CREATE TABLE IF NOT EXISTS {table} ({', '.join(lines)}) WITHOUT ROWID;", *triggers(table)]
    return "\n".join(parts)


def find_quickly(connection: sqlite3.Connection) -> None:
    """Have rows found without a look at all of them, in every table that is there; nothing where that was done."""
    there = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'index'")}
    for table in tables(connection) & set(schema.OFFICE):
        asked = {f"{table}_known_at": "(known_at)"} | (_PEOPLE_BY_ID if table == "people" else {})
        asked |= {f"{table}_wall": "(house, wall)"} if {"house", "wall"} <= set(schema.OFFICE[table].names) else {}
        for name in asked.keys() - there:
            connection.execute(f"CREATE INDEX {name} ON {table} {asked[name]}")


def triggers(table: str) -> list[str]:
    """What keeps rows of a table from being changed or taken away, whoever tries."""
    return [
        f"CREATE TRIGGER IF NOT EXISTS {table}_no_{act} BEFORE {act.upper()} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} are only ever added to'); END;"
        for act in ("update", "delete")
        if table in _APPEND_ONLY
    ]


def seal(table: str, values: Sequence[Any]) -> str:
    """The seal of a row: from its table and its values as SQL has them, in the order of the schema."""
    return sha256(json.dumps([table, *values], ensure_ascii=False).encode())[:_SEAL_SIGNS]


def seal_all(connection: sqlite3.Connection, *, version: int) -> None:
    """Give every row of a database without seals its seal, count them, and make it one of a version."""
    connection.executescript(TALLY_DDL)
    connection.execute("INSERT INTO tally VALUES (?, 0)", (TURNS,))
    for table in (COMPANY, *schema.OFFICE):
        if table not in tables(connection):
            continue
        names = columns_of(table)
        kept = connection.execute(f"SELECT {', '.join(names)} FROM {table}").fetchall()
        connection.execute(f"DROP TABLE {table}")
        connection.executescript(COMPANY_DDL if table == COMPANY else table_ddl(table))
        marks = ", ".join("?" * (len(names) + 1))
        rows = [(*values, seal(table, values)) for values in kept]
        connection.executemany(f"INSERT INTO {table} ({', '.join(names)}, seal) VALUES ({marks})", rows)
        count(connection, table)
    connection.commit()
    connection.execute(f"PRAGMA user_version = {version}")
    connection.execute("VACUUM")


def columns_of(table: str) -> list[str]:
    """Columns of a table but the seal, as they stand in its rows."""
    return ["name", "value"] if table == COMPANY else list(schema.OFFICE[table].names)


def wrong_rows(connection: sqlite3.Connection, table: str, counted: int) -> Iterator[tuple[str, str]]:
    """Rows of a table that are not as they were written, each with the wall it is about, and whether any is missing."""
    names = columns_of(table)
    number = 0
    for *values, its_seal in connection.execute(f"SELECT {', '.join(names)}, seal FROM {table}"):
        number += 1
        if seal(table, values) != its_seal:
            row = dict(zip(names, values, strict=True))
            wall = f" of wall {row['house']}-{row['wall']}" if row.get("wall") else ""
            key = ", ".join(str(row[name]) for name in schema.KEY.get(table, ("name",)))
            yield f"row {key} is not as it was written", f"{table}{wall}"
    if number != counted:
        yield f"{counted} rows were written to {table}, but {number} are there", table


def tally(connection: sqlite3.Connection) -> dict[str, int]:
    """Number of rows by table, and of changes by TURNS, as noted when they were written."""
    return dict(connection.execute("SELECT name, number FROM tally").fetchall())


def count(connection: sqlite3.Connection, table: str, added: int | None = None) -> None:
    """Put the number of rows of a table on the tally; added: how many there are more, where that is known."""
    number = f"(SELECT count(*) FROM {table})" if added is None else f"{added}"
    change = "excluded.number" if added is None else "number + excluded.number"
    connection.execute(f"INSERT INTO tally VALUES (?, {number}) ON CONFLICT DO UPDATE SET number = {change}", (table,))


def tables(connection: sqlite3.Connection) -> set[str]:
    """Tables that are there."""
    return {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def into(table: str) -> str:
    """The rest of an INSERT of rows as `records` gives them."""
    marks = ", ".join("?" * (len(schema.OFFICE[table]) + 1))
    return f" INTO {table} ({', '.join(schema.OFFICE[table].names)}, seal) VALUES ({marks})"


def records(table: str, rows: pa.Table | Iterable[Row]) -> list[tuple[Any, ...]]:
    """Rows as SQL has them, each with its seal; StoreError where columns, key or moment are wanting."""
    columns = schema.OFFICE[table]
    if isinstance(rows, pa.Table):
        rows = parquet.fitted(table, rows).to_pylist()
    records = []
    for row in rows:
        if set(row) != set(columns.names):
            raise StoreError(
                f"This row does not have the columns of {table}.",
                got=", ".join(sorted(set(row) ^ set(columns.names))),
                expected=", ".join(columns.names),
            )
        if any(row[name] in (None, "") for name in (*schema.KEY[table], "known_at")):
            raise StoreError(f"A row of {table} needs its key and when it became known.", got=str(dict(row)))
        values = tuple(_to_sql(row[field.name], field.type) for field in columns)
        records.append((*values, seal(table, values)))
    return records


def from_sql(value: Any, kind: pa.DataType) -> Any:
    """A value of a row as the schema's type has it."""
    if value is None:
        return None
    if pa.types.is_timestamp(kind):
        return datetime.fromisoformat(value)
    if pa.types.is_date(kind):
        return date.fromisoformat(value)
    return bool(value) if pa.types.is_boolean(kind) else value


def _to_sql(value: Any, kind: pa.DataType) -> Any:
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise StoreError("A moment needs a time zone.", got=str(value), mend="Give it in UTC.")
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if value is None:
        return None
    if pa.types.is_string(kind):
        return str(value)
    return float(value) if pa.types.is_floating(kind) else int(value)
