"""Office records in SQLite: people, who may be replaced or erased; decisions and published pages, which may not."""

import json
import shutil
import sqlite3
import tempfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import UTC, date, datetime
from errno import EACCES, EIO, ENOSPC
from pathlib import Path
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.store import parquet, views, witness
from monitor.store.files import is_read_only, refused, sha256
from monitor.store.unread import ReadPast, Unread

Row = Mapping[str, Any]

VERSION = 2
"""How these records are laid out: the version of the store (store/marker) in which that last changed."""
FILE = "office.sqlite"
_SQL_TYPES = {pa.string(): "TEXT NOT NULL", pa.float64(): "REAL", pa.int32(): "INTEGER", pa.bool_(): "INTEGER"}
_APPEND_ONLY = tuple(table for table in schema.OFFICE if table != "people")
_COMPANY = "company"
_TURNS = "turns"
"""Line of the tally that counts changes; the others count the rows of a table."""
_RESTORE = "Restore this file from a backup. What is not in it (readings, register, photos, assessments) stands."
_SEAL_SIGNS = 32
_LOOK_AT = 20


def ddl() -> str:
    """The statements that make the database, from the schemas; dates and instants are ISO text, instants in UTC.

    Every row ends in its seal, a hash of its values. The tally has the number of rows of every table.
    """
    parts = [
        f"PRAGMA user_version = {VERSION};",
        COMPANY_DDL,
        TALLY_DDL,
    ]
    return "\n".join([*parts, *map(_table_ddl, schema.OFFICE)])


COMPANY_DDL = f"CREATE TABLE {_COMPANY} (name TEXT PRIMARY KEY, value TEXT, seal TEXT NOT NULL);"
TALLY_DDL = "CREATE TABLE tally (name TEXT PRIMARY KEY, number INTEGER NOT NULL) WITHOUT ROWID;"


def _table_ddl(table: str) -> str:
    # columns of the key first: SQLite 3.40's own check finds NULL where there is none in tables with others before them
    fields = sorted(schema.OFFICE[table], key=lambda field: field.name not in schema.KEY[table])
    lines = [f'"{field.name}" {_SQL_TYPES.get(field.type, "TEXT")}' for field in fields]
    lines += ["seal TEXT NOT NULL", f"PRIMARY KEY ({', '.join(schema.KEY[table])})"]
    parts = [f"CREATE TABLE IF NOT EXISTS {table} ({', '.join(lines)}) WITHOUT ROWID;", *triggers(table)]
    return "\n".join(parts)


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


class Office:
    """The office records of one store. Every call is one transaction, synced before it returns.

    No write-ahead log: what was committed stands in the one file, which can be read where nothing can be written.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self.path = root / FILE
        self.past: ReadPast | None = None

    def start(self) -> None:
        """Make the empty database."""
        with self._open(create=True) as connection:
            connection.executescript(ddl())
            connection.execute("INSERT INTO tally VALUES (?, 0)", (_TURNS,))

    def put_people(self, rows: pa.Table | Iterable[Row]) -> int:
        """Put people in, each replacing the row of the same person id; number of people put in."""
        records = _records("people", rows)
        with self._changing() as connection:
            connection.executemany("INSERT OR REPLACE" + _into("people"), records)
            _count(connection, "people")
        return len(records)

    def people(self, among: Collection[str] | None = None) -> pa.Table:
        """People (schema.PEOPLE) by person id: all, or those of some ids in whatever case, and hardly any others."""
        if among is None:
            return self._read("people")
        small = json.dumps(sorted({each.lower() for each in among}))
        # SQLite knows small letters of ASCII alone: ids with others are all among them
        named = "person IN (SELECT person FROM people WHERE lower(person) IN (SELECT value FROM json_each(?))"
        return self._read("people", chosen=(f"{named} OR person GLOB '*[^ -~]*')", small))

    def replace_person(self, person: Row, erasure: Row) -> None:
        """Put a person's emptied row in place of the full one, with the record of it; no byte of the old is left."""
        self.add({"erasures": [erasure]})
        self.put_people([person])
        with self._open() as connection:
            connection.execute("VACUUM")

    def decide(self, row: Row | pa.Table) -> bool:
        """Record one decision (columns of schema.DECISIONS); False where that decision is in already."""
        return self.add({"decisions": row if isinstance(row, pa.Table) else [row]}) > 0

    def decisions(self, known_on: datetime | None = None) -> pa.Table:
        """Decisions (schema.DECISIONS) known at that instant, in the order they were made."""
        return views.known_by(self._read("decisions", order="known_at, decision_id"), known_on)

    def add(self, rows: Mapping[str, pa.Table | Iterable[Row]]) -> int:
        """Add rows to tables that are only ever added to, all or none; what is in already stays. Number of new rows."""
        records = {table: _records(table, some) for table, some in rows.items()}
        with self._changing() as connection:
            for table in set(records) - _tables(connection):  # set up before there was such a table
                for statement in _table_ddl(table).split("\n"):
                    connection.execute(statement)
            new = 0
            for table, some in records.items():
                before = connection.total_changes
                connection.executemany("INSERT" + _into(table) + " ON CONFLICT DO NOTHING", some)
                added = connection.total_changes - before
                _count(connection, table, added)
                new += added
            if not new:
                connection.execute("ROLLBACK")
            return new

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
            rows = connection.execute(f"SELECT name, value, seal FROM {_COMPANY} ORDER BY name").fetchall()
        return {row[0]: self._proven(_COMPANY, row)[1] for row in rows}

    def set_company(self, company: Mapping[str, str]) -> None:
        """Replace what the company says of itself."""
        with self._changing() as connection:
            connection.execute(f"DELETE FROM {_COMPANY}")
            rows = [(*item, seal(_COMPANY, item)) for item in sorted(company.items())]
            connection.executemany(f"INSERT INTO {_COMPANY} VALUES (?, ?, ?)", rows)
            _count(connection, _COMPANY)

    def turns(self) -> int:
        """How often something was changed."""
        with self._open() as connection:
            return int(_tally(connection)[_TURNS])

    def newest_known(self) -> datetime | None:
        """The latest moment at which something on record became known."""
        with self._open() as connection:
            tables = [
                table
                for table in schema.OFFICE
                if "known_at" in schema.OFFICE[table].names and table in _tables(connection)
            ]
            moments = [moment for table in tables if (moment := self._newest_in(connection, table))]
        return max(moments, default=None)

    def _newest_in(self, connection: sqlite3.Connection, table: str) -> datetime | None:
        names = _columns(table)
        for *values, its_seal in connection.execute(
            f"SELECT {', '.join(names)}, seal FROM {table} ORDER BY known_at DESC LIMIT {_LOOK_AT}"
        ):
            if seal(table, values) == its_seal:  # one that is damaged tells no time; `verify` names it
                return datetime.fromisoformat(values[names.index("known_at")])
        return None

    def copy_to(self, path: Path) -> None:
        """A copy as of one moment, whoever writes meanwhile."""
        with self._open() as connection, closing(sqlite3.connect(path)) as copy:
            connection.backup(copy)

    def problems(self) -> list[tuple[str, str]]:
        """What is wrong, and what of the records it is in: SQLite's own check, every seal, and every count."""
        with self._open() as connection:
            wrong = [(row[0], "office records") for row in connection.execute("PRAGMA integrity_check")]
            found = [(f"SQLite finds: {line}", what) for line, what in wrong if line != "ok"]
            tally, there = _tally(connection), _tables(connection)
            for table in (_COMPANY, *schema.OFFICE):
                if table in there:
                    found += _wrong_rows(connection, table, tally.get(table, 0))
                elif tally.get(table):
                    found.append((f"the table {table} is not there", table))
        return found

    def _read(
        self, table: str, order: str = "", equal: Mapping[str, str] | None = None, chosen: tuple[str, ...] = ()
    ) -> pa.Table:
        """Rows of a table. equal: columns and what stands in them; chosen: a condition, and its values."""
        columns = schema.OFFICE[table]
        names = ", ".join(columns.names)
        condition, *values = chosen or ("TRUE",)
        with self._open() as connection:
            same = " AND ".join((condition, *(f"{columns.field(name).name} = ?" for name in equal or {})))
            query = f"SELECT {names}, seal FROM {table} WHERE {same} ORDER BY {order or schema.KEY[table][0]}"
            there = table in _tables(connection)
            rows = connection.execute(query, (*values, *(equal or {}).values())).fetchall() if there else []
        pairs = [zip(columns, row, strict=True) for row in self._all_proven(table, rows)]
        records = [{field.name: _from_sql(value, field.type) for field, value in row} for row in pairs]
        return pa.Table.from_pylist(records, schema=columns)

    def _all_proven(self, table: str, rows: Iterable[Sequence[Any]]) -> Iterator[Sequence[Any]]:
        for row in rows:
            try:
                yield self._proven(table, row)
            except StoreError as error:
                if self.past is None or table != "decisions":
                    raise
                said = dict(zip(schema.OFFICE[table].names, row, strict=False))
                wall = (str(said["house"]), str(said["wall"]))
                self.past.note(f"{table} {row[0]}", Unread(error, "a decision", frozenset({wall})))

    def _proven(self, table: str, row: Sequence[Any]) -> Sequence[Any]:
        *values, its_seal = row
        if seal(table, values) != its_seal:
            raise StoreError(
                f"A row of {table} is not as it was written.",
                where=Where(file=str(self.path), cell=f"table {table}"),
                got=", ".join(map(str, values[:3])),
                mend=_RESTORE,
            )
        return values

    @contextmanager
    def _changing(self) -> Iterator[sqlite3.Connection]:
        """One change, all or nothing; once it stands the witness is told."""
        turn = None
        with self._open() as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                if connection.in_transaction:
                    connection.execute("UPDATE tally SET number = number + 1 WHERE name = ?", (_TURNS,))
                    turn = int(_tally(connection)[_TURNS])
                    connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise
        if turn is not None:
            with suppress(StoreError):  # the change stands, whether or not there is room to say so
                witness.append(self.root, [witness.line_of_office(turn)])

    @contextmanager
    def _open(self, *, create: bool = False) -> Iterator[sqlite3.Connection]:
        where = Where(file=str(self.path))
        if not create and not self.path.exists():
            raise StoreError("The office records are missing.", where=where, mend=_RESTORE)
        if self.path.with_name(f"{FILE}-wal").exists():
            raise StoreError(
                "A log of changes lies beside the office records that this tool did not make.",
                where=Where(file=f"{self.path}-wal"),
                mend="Restore the office records from a backup, and take this file away; or close the program that "
                "holds them open.",
            )
        try:
            with self._readable_place() as path, closing(sqlite3.connect(path, timeout=30)) as connection:
                connection.isolation_level = None
                connection.execute("PRAGMA synchronous = EXTRA")  # the folder, too, once the journal is gone
                connection.execute("PRAGMA secure_delete = ON")
                version = connection.execute("PRAGMA user_version").fetchone()[0]
                if not create and version != VERSION:
                    raise StoreError(
                        "The office records are damaged, or of another version than the store.",
                        where=where,
                        got=f"version {version}",
                        expected=f"version {VERSION}",
                        mend=_RESTORE,
                    )
                yield connection
        except sqlite3.Error as error:
            raise refused_by(self.path, error) from error
        except (UnicodeDecodeError, OverflowError) as error:
            raise StoreError("The office records are damaged.", where=where, got=str(error), mend=_RESTORE) from error

    @contextmanager
    def _readable_place(self) -> Iterator[Path]:
        """The database; where nothing can be written and a change was broken off, a copy in which it is taken back."""
        journal = self.path.with_name(f"{FILE}-journal")
        if not journal.exists() or not is_read_only(self.root):
            yield self.path
            return
        with tempfile.TemporaryDirectory() as folder:
            for path in (self.path, journal):
                shutil.copyfile(path, Path(folder) / path.name)
            yield Path(folder) / FILE


def refused_by(path: Path, error: sqlite3.Error) -> StoreError:
    """The error for what SQLite could not do, by its cause."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    where, got = Where(file=str(path)), str(error)
    if code == sqlite3.SQLITE_READONLY or (code == sqlite3.SQLITE_CANTOPEN and is_read_only(path.parent)):
        return refused(path, OSError(EACCES, got))
    if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return refused(path, OSError(ENOSPC if code == sqlite3.SQLITE_FULL else EIO, got))
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreError(
            "The office records are in use.", where=where, got=got, mend="Try again when the other program is done."
        )
    return StoreError("The office records are damaged.", where=where, got=got, mend=_RESTORE)


def seal_all(connection: sqlite3.Connection, *, version: int) -> None:
    """Give every row of a database without seals its seal, count them, and make it one of a version."""
    connection.executescript(TALLY_DDL)
    connection.execute("INSERT INTO tally VALUES (?, 0)", (_TURNS,))
    for table in (_COMPANY, *schema.OFFICE):
        if table not in _tables(connection):
            continue
        names = _columns(table)
        kept = connection.execute(f"SELECT {', '.join(names)} FROM {table}").fetchall()
        connection.execute(f"DROP TABLE {table}")
        connection.executescript(COMPANY_DDL if table == _COMPANY else _table_ddl(table))
        marks = ", ".join("?" * (len(names) + 1))
        rows = [(*values, seal(table, values)) for values in kept]
        connection.executemany(f"INSERT INTO {table} ({', '.join(names)}, seal) VALUES ({marks})", rows)
        _count(connection, table)
    connection.commit()
    connection.execute(f"PRAGMA user_version = {version}")
    connection.execute("VACUUM")


def _columns(table: str) -> list[str]:
    return ["name", "value"] if table == _COMPANY else list(schema.OFFICE[table].names)


def _wrong_rows(connection: sqlite3.Connection, table: str, counted: int) -> Iterator[tuple[str, str]]:
    """Rows of a table that are not as they were written, each with the wall it is about, and whether any is missing."""
    names = _columns(table)
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


def _tally(connection: sqlite3.Connection) -> dict[str, int]:
    return dict(connection.execute("SELECT name, number FROM tally").fetchall())


def _count(connection: sqlite3.Connection, table: str, added: int | None = None) -> None:
    """Put the number of rows of a table on the tally; added: how many there are more, where that is known."""
    number = f"(SELECT count(*) FROM {table})" if added is None else f"{added}"
    change = "excluded.number" if added is None else "number + excluded.number"
    connection.execute(f"INSERT INTO tally VALUES (?, {number}) ON CONFLICT DO UPDATE SET number = {change}", (table,))


def _tables(connection: sqlite3.Connection) -> set[str]:
    return {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def _into(table: str) -> str:
    marks = ", ".join("?" * (len(schema.OFFICE[table]) + 1))
    return f" INTO {table} ({', '.join(schema.OFFICE[table].names)}, seal) VALUES ({marks})"


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
        values = tuple(_to_sql(row[field.name], field.type) for field in columns)
        records.append((*values, seal(table, values)))
    return records


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


def _from_sql(value: Any, kind: pa.DataType) -> Any:
    if value is None:
        return None
    if pa.types.is_timestamp(kind):
        return datetime.fromisoformat(value)
    if pa.types.is_date(kind):
        return date.fromisoformat(value)
    return bool(value) if pa.types.is_boolean(kind) else value
