"""Office records in SQLite: people, who may be replaced or erased; decisions and published pages, which may not."""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.store import parquet, views

Row = Mapping[str, Any]

FILE = "office.sqlite"
_SQL_TYPES = {pa.string(): "TEXT NOT NULL", pa.float64(): "REAL", pa.int32(): "INTEGER", pa.bool_(): "INTEGER"}
_APPEND_ONLY = tuple(table for table in schema.OFFICE if table != "people")


def ddl() -> str:
    """The statements that make the database, from the schemas; dates and instants are ISO text, instants in UTC."""
    parts = [f"PRAGMA user_version = {schema.VERSION};", "CREATE TABLE company (name TEXT PRIMARY KEY, value TEXT);"]
    return "\n".join([*parts, *map(_table_ddl, schema.OFFICE)])


def _table_ddl(table: str) -> str:
    # columns of the key first: SQLite 3.40's own check finds NULL where there is none in tables with others before them
    fields = sorted(schema.OFFICE[table], key=lambda field: field.name not in schema.KEY[table])
    lines = [f'"{field.name}" {_SQL_TYPES.get(field.type, "TEXT")}' for field in fields]
    lines.append(f"PRIMARY KEY ({', '.join(schema.KEY[table])})")
    parts = [f"CREATE TABLE IF NOT EXISTS {table} ({', '.join(lines)}) WITHOUT ROWID;"]
    parts += [
        f"CREATE TRIGGER IF NOT EXISTS {table}_no_{act} BEFORE {act.upper()} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} are only ever added to'); END;"
        for act in ("update", "delete")
        if table in _APPEND_ONLY
    ]
    return "\n".join(parts)


class Office:
    """The office records of one store. Every call is one transaction, synced before it returns."""

    def __init__(self, root: Path) -> None:
        self.path = root / FILE

    def start(self) -> None:
        """Make the empty database."""
        with self._open(create=True) as connection:
            connection.executescript(ddl())

    def put_people(self, rows: pa.Table | Iterable[Row]) -> int:
        """Put people in, each replacing the row of the same person id; number of people put in."""
        records = _records("people", rows)
        with self._open() as connection, connection:
            connection.executemany("INSERT OR REPLACE" + _into("people"), records)
        return len(records)

    def people(self) -> pa.Table:
        """All people (schema.PEOPLE), by person id."""
        return self._read("people")

    def replace_person(self, person: Row, erasure: Row) -> None:
        """Put a person's emptied row in place of the full one, with the record of it, and leave no byte of the old one.

        Until nobody else reads the database, its journal may still hold the old row; StoreError says so.
        """
        self.add({"erasures": ()})  # the table, where the store was set up before there was one
        with self._open() as connection:
            with connection:
                connection.executemany("INSERT OR REPLACE" + _into("people"), _records("people", [person]))
                connection.executemany(
                    "INSERT" + _into("erasures") + " ON CONFLICT DO NOTHING", _records("erasures", [erasure])
                )
            connection.execute("VACUUM")  # SQLite may be built to leave the bytes of a row that is gone
            busy = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        if busy:
            raise StoreError(
                "The person is erased, but another program holds the journal of the office records open.",
                where=Where(file=str(self.path.with_name(f"{FILE}-wal"))),
                mend="Stop `wallbow serve` and other commands on this store, then erase the person again.",
            )

    def decide(self, row: Row | pa.Table) -> bool:
        """Record one decision (columns of schema.DECISIONS); False where that decision is in already."""
        return self.add({"decisions": row if isinstance(row, pa.Table) else [row]}) > 0

    def decisions(self, known_on: datetime | None = None) -> pa.Table:
        """Decisions (schema.DECISIONS) known at that instant, in the order they were made."""
        return views.known_by(self._read("decisions", order="known_at, decision_id"), known_on)

    def add(self, rows: Mapping[str, pa.Table | Iterable[Row]]) -> int:
        """Add rows to tables that are only ever added to, all or none; what is in already stays. Number of new rows."""
        records = {table: _records(table, some) for table, some in rows.items()}
        with self._open() as connection:
            for table in set(records) - _tables(connection):  # set up before there was such a table
                connection.executescript(_table_ddl(table))
            before = connection.total_changes
            with connection:
                for table, some in records.items():
                    connection.executemany("INSERT" + _into(table) + " ON CONFLICT DO NOTHING", some)
            return connection.total_changes - before

    def rows(self, table: str, **equal: str) -> list[dict[str, Any]]:
        """Rows of a table of schema.OFFICE, those only whose columns equal what is given; as they became known."""
        order = ", ".join(("known_at", *schema.KEY[table]))
        found: list[dict[str, Any]] = self._read(table, order=order, equal=equal).to_pylist()
        return found

    def keeps(self, table: str) -> bool:
        """Whether there is a table; not where the store was set up before there was one and nothing was added yet."""
        with self._open() as connection:
            return table in _tables(connection)

    def company(self) -> dict[str, str]:
        """What the company says of itself, by name."""
        with self._open() as connection:
            return dict(connection.execute("SELECT name, value FROM company ORDER BY name").fetchall())

    def set_company(self, company: Mapping[str, str]) -> None:
        """Replace what the company says of itself."""
        with self._open() as connection, connection:
            connection.execute("DELETE FROM company")
            connection.executemany("INSERT INTO company VALUES (?, ?)", sorted(company.items()))

    def problems(self) -> list[str]:
        """What SQLite's own check, and the version, find wrong; empty where nothing is."""
        with self._open() as connection:
            found = [row[0] for row in connection.execute("PRAGMA integrity_check")]
            version = connection.execute("PRAGMA user_version").fetchone()[0]
        problems = [line for line in found if line != "ok"]
        return problems + ([f"schema version {version}"] if version != schema.VERSION else [])

    def _read(self, table: str, order: str = "", equal: Mapping[str, str] | None = None) -> pa.Table:
        columns = schema.OFFICE[table]
        names = ", ".join(columns.names)
        with self._open() as connection:
            chosen = " AND ".join(f"{columns.field(name).name} = ?" for name in equal or {}) or "TRUE"
            query = f"SELECT {names} FROM {table} WHERE {chosen} ORDER BY {order or schema.KEY[table][0]}"
            there = table in _tables(connection)
            rows = connection.execute(query, tuple((equal or {}).values())).fetchall() if there else []
        pairs = [zip(columns, row, strict=True) for row in rows]
        records = [{field.name: _from_sql(value, field.type) for field, value in row} for row in pairs]
        return pa.Table.from_pylist(records, schema=columns)

    @contextmanager
    def _open(self, *, create: bool = False) -> Iterator[sqlite3.Connection]:
        where = Where(file=str(self.path))
        if not create and not self.path.exists():
            raise StoreError("The office records are missing.", where=where, mend="Restore this file from a backup.")
        try:
            with closing(sqlite3.connect(self.path, timeout=30)) as connection:
                connection.execute("PRAGMA journal_mode = WAL")
                connection.execute("PRAGMA synchronous = FULL")
                yield connection
        except sqlite3.Error as error:
            raise StoreError(
                "The office records could not be read or written.",
                where=where,
                got=str(error),
                mend="Check that the disk has space and the folder can be written to; if the file is damaged, "
                "restore it from a backup.",
            ) from error


def _tables(connection: sqlite3.Connection) -> set[str]:
    return {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def _into(table: str) -> str:
    marks = ", ".join("?" * len(schema.OFFICE[table]))
    return f" INTO {table} ({', '.join(schema.OFFICE[table].names)}) VALUES ({marks})"


def _records(table: str, rows: pa.Table | Iterable[Row]) -> list[tuple[Any, ...]]:
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
        records.append(tuple(_to_sql(row[field.name]) for field in columns))
    return records


def _to_sql(value: Any) -> Any:
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise StoreError("A moment needs a time zone.", got=str(value), mend="Give it in UTC.")
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    return value.isoformat() if isinstance(value, date) else value


def _from_sql(value: Any, kind: pa.DataType) -> Any:
    if value is None:
        return None
    if pa.types.is_timestamp(kind):
        return datetime.fromisoformat(value)
    if pa.types.is_date(kind):
        return date.fromisoformat(value)
    return bool(value) if pa.types.is_boolean(kind) else value
