"""Office records in SQLite: people, who may be replaced or erased; decisions and published pages, which may not."""

import json
import shutil
import sqlite3
import tempfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, contextmanager, suppress
from datetime import datetime
from errno import EACCES, EIO, ENOSPC
from pathlib import Path
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.store import office_rows, views, witness
from monitor.store.files import is_read_only, refused
from monitor.store.unread import ReadPast, Unread

Row = Mapping[str, Any]

FILE = "office.sqlite"
_RESTORE = "Restore this file from a backup. What is not in it (readings, register, photos, assessments) stands."
_LOOK_AT = 20


class Office:
    """The office records of one store. Every call is one transaction, synced before it returns.

    No write-ahead log: what was committed stands in the one file, which can be read where nothing can be written.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self.path = root / FILE
        self.past: ReadPast | None = None
        self._held: sqlite3.Connection | None = None
        self._newest: tuple[int, datetime | None] | None = None

    @contextmanager
    def held_open(self) -> Iterator[None]:
        """Until the block ends all calls, which are transactions as ever, go by one connection: SQLite reads how its
        tables are made for each new one, which takes longer than most questions. Not to be nested.
        """
        with ExitStack() as stack:
            with self._told():
                self._held = stack.enter_context(self._connected())
            try:
                yield
            finally:
                self._held = None

    def start(self) -> None:
        """Make the empty database."""
        with self._open(create=True) as connection:
            connection.executescript(office_rows.ddl())
            office_rows.find_quickly(connection)
            connection.execute("INSERT INTO tally VALUES (?, 0)", (office_rows.TURNS,))

    def put_people(self, rows: pa.Table | Iterable[Row]) -> int:
        """Put people in, each replacing the row of the same person id; number of people put in."""
        records = office_rows.records("people", rows)
        with self._changing() as connection:
            connection.executemany("INSERT OR REPLACE" + office_rows.into("people"), records)
            office_rows.count(connection, "people")
        return len(records)

    def people(self, among: Collection[str] | None = None) -> pa.Table:
        """People (schema.PEOPLE) by person id: all, or those of some ids in whatever case, and hardly any others."""
        if among is None:
            return self._read("people")
        small = json.dumps(sorted({each.lower() for each in among}))
        return self._read("people", chosen=(office_rows.PERSON_AMONG, small))

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
        records = {table: office_rows.records(table, some) for table, some in rows.items()}
        with self._changing() as connection:
            for table in set(records) - office_rows.tables(connection):  # set up before there was such a table
                for statement in office_rows.table_ddl(table).split("\n"):
                    connection.execute(statement)
            new = 0
            for table, some in records.items():
                before = connection.total_changes
                connection.executemany("INSERT" + office_rows.into(table) + " ON CONFLICT DO NOTHING", some)
                added = connection.total_changes - before
                office_rows.count(connection, table, added)
                new += added
            if not new:
                connection.execute("ROLLBACK")
            return new

    def rows(self, table: str, **equal: str) -> list[dict[str, Any]]:
        """Rows of a table of schema.OFFICE, those only whose columns equal what is given; as they became known."""
        order = ", ".join(("known_at", *schema.KEY[table]))
        return self._records(table, order, equal)

    def keeps(self, table: str) -> bool:
        """Whether there is a table; not where the store was set up before there was one and nothing was added yet."""
        with self._open() as connection:
            return table in office_rows.tables(connection)

    def company(self) -> dict[str, str]:
        """What the company says of itself, by name."""
        with self._open() as connection:
            rows = connection.execute(f"SELECT name, value, seal FROM {office_rows.COMPANY} ORDER BY name").fetchall()
        return {row[0]: self._proven(office_rows.COMPANY, row)[1] for row in rows}

    def set_company(self, company: Mapping[str, str]) -> None:
        """Replace what the company says of itself."""
        with self._changing() as connection:
            connection.execute(f"DELETE FROM {office_rows.COMPANY}")
            rows = [(*item, office_rows.seal(office_rows.COMPANY, item)) for item in sorted(company.items())]
            connection.executemany(f"INSERT INTO {office_rows.COMPANY} VALUES (?, ?, ?)", rows)
            office_rows.count(connection, office_rows.COMPANY)

    def turns(self) -> int:
        """How often something was changed."""
        with self._open() as connection:
            return int(office_rows.tally(connection)[office_rows.TURNS])

    def turns_besides_audit(self) -> int:
        """How often something else was changed than the audit, which each time is added one row."""
        with self._open() as connection:
            told = office_rows.tally(connection)
        return int(told[office_rows.TURNS]) - int(told.get("audit", 0))

    def newest_known(self) -> datetime | None:
        """The latest moment at which something on record became known."""
        with self._open() as connection:
            turns = office_rows.tally(connection)[office_rows.TURNS]
            if self._newest and self._newest[0] == turns:
                return self._newest[1]
            there = office_rows.tables(connection)
            tables = [table for table in schema.OFFICE if "known_at" in schema.OFFICE[table].names and table in there]
            moments = [moment for table in tables if (moment := self._newest_in(connection, table))]
            self._newest = turns, max(moments, default=None)
            return self._newest[1]

    def _newest_in(self, connection: sqlite3.Connection, table: str) -> datetime | None:
        names = office_rows.columns_of(table)
        for *values, its_seal in connection.execute(
            f"SELECT {', '.join(names)}, seal FROM {table} ORDER BY known_at DESC LIMIT {_LOOK_AT}"
        ):
            if office_rows.seal(table, values) == its_seal:  # one that is damaged tells no time; `verify` names it
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
            tally, there = office_rows.tally(connection), office_rows.tables(connection)
            for table in (office_rows.COMPANY, *schema.OFFICE):
                if table in there:
                    found += office_rows.wrong_rows(connection, table, tally.get(table, 0))
                elif tally.get(table):
                    found.append((f"the table {table} is not there", table))
        return found

    def _read(
        self, table: str, order: str = "", equal: Mapping[str, str] | None = None, chosen: tuple[str, ...] = ()
    ) -> pa.Table:
        """Rows of a table, asked for as of `_records`."""
        return pa.Table.from_pylist(self._records(table, order, equal, chosen), schema=schema.OFFICE[table])

    def _records(
        self, table: str, order: str = "", equal: Mapping[str, str] | None = None, chosen: tuple[str, ...] = ()
    ) -> list[dict[str, Any]]:
        """Rows of a table. equal: columns and what stands in them; chosen: a condition, and its values."""
        columns = schema.OFFICE[table]
        names = ", ".join(columns.names)
        condition, *values = chosen or ("TRUE",)
        with self._open() as connection:
            same = " AND ".join((condition, *(f"{columns.field(name).name} = ?" for name in equal or {})))
            query = f"SELECT {names}, seal FROM {table} WHERE {same} ORDER BY {order or schema.KEY[table][0]}"
            there = table in office_rows.tables(connection)
            rows = connection.execute(query, (*values, *(equal or {}).values())).fetchall() if there else []
        pairs = [zip(columns, row, strict=True) for row in self._all_proven(table, rows)]
        return [{field.name: office_rows.from_sql(value, field.type) for field, value in row} for row in pairs]

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
        if office_rows.seal(table, values) != its_seal:
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
                office_rows.find_quickly(connection)
                yield connection
                if connection.in_transaction:
                    connection.execute("UPDATE tally SET number = number + 1 WHERE name = ?", (office_rows.TURNS,))
                    turn = int(office_rows.tally(connection)[office_rows.TURNS])
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
        with self._told():
            if self._held is not None:
                yield self._held
                return
            with self._connected(create=create) as connection:
                yield connection

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Turn what SQLite refuses, or finds that cannot be, into a StoreError."""
        try:
            yield
        except sqlite3.Error as error:
            raise refused_by(self.path, error) from error
        except (UnicodeDecodeError, OverflowError) as error:
            where = Where(file=str(self.path))
            raise StoreError("The office records are damaged.", where=where, got=str(error), mend=_RESTORE) from error

    @contextmanager
    def _connected(self, *, create: bool = False) -> Iterator[sqlite3.Connection]:
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
        with self._readable_place() as path, closing(sqlite3.connect(path, timeout=30)) as connection:
            connection.isolation_level = None
            connection.execute("PRAGMA synchronous = EXTRA")  # the folder, too, once the journal is gone
            connection.execute("PRAGMA secure_delete = ON")
            version = connection.execute("PRAGMA user_version").fetchone()[0]
            if not create and version != office_rows.VERSION:
                raise StoreError(
                    "The office records are damaged, or of another version than the store.",
                    where=where,
                    got=f"version {version}",
                    expected=f"version {office_rows.VERSION}",
                    mend=_RESTORE,
                )
            yield connection

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
