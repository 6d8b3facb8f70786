"""One Parquet file: written with its schema's version and the hash of its rows, read only where both are known."""

from bisect import bisect_left
from collections.abc import Callable, Collection, Hashable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from monitor import schema
from monitor.errors import StoreError, Where
from monitor.store import canonical
from monitor.store.kept_rows import KeptRows
from monitor.store.place import Place

LEDGER = pa.schema(
    {
        "table": pa.string(),
        "name": pa.string(),
        "rows_sha256": pa.string(),
        "known_at": pa.timestamp("us", tz="UTC"),
        "rows": pa.int64(),
    }
)
"""What was added, a line per add and moment of knowledge: name is the hash without known_at, rows_sha256 with it."""

PLACES = pa.schema({"folded": pa.string(), "house": pa.string(), "wall": pa.string()})
"""Houses and walls that rows speak of, wall '' where one speaks of the house alone; folded: the house in small letters,
as ids are found whatever their case."""
TAKEN = pa.schema({"table": pa.string(), "name": pa.string()})
"""Adds that a generation has taken in, and whose files may lie in the inbox yet."""
AGAIN = pa.schema(
    {
        "house": pa.string(),
        "wall": pa.string(),
        "judged_on": pa.date32(),
        "known_until": pa.timestamp("us", tz="UTC"),
        **dict.fromkeys(schema.RESULTS, pa.string()),
    }
)
"""A wall that was assessed again: for which day, from what, and its rows of each table of results."""
_BESIDE = {"again": AGAIN, "ledger": LEDGER, "places": PLACES, "strays": schema.READINGS, "taken": TAKEN}

_KEPT = KeptRows()

_READABLE = (schema.VERSION,)
_ROWS_TOGETHER = 4096
"""Rows that are packed together: one wall's are read without those far from it, and a whole table hardly slower."""


def schema_of(name: str) -> pa.Schema:
    """Schema of a stored table: one of the contract, the ledger of adds, or what is worked out beside them."""
    return _BESIDE[name] if name in _BESIDE else schema.find(name)


def fitted(name: str, rows: pa.Table) -> pa.Table:
    """The rows with exactly the schema of that name, or a StoreError that says which column differs."""
    wanted = schema_of(name)
    if not rows.schema.equals(wanted, check_metadata=False):
        raise StoreError(
            f"These rows do not have the columns of the table {name}.",
            got=_difference(rows.schema, wanted),
            expected=f"the columns of schema version {schema.VERSION}, in their order and types",
        )
    return pa.Table.from_arrays(rows.columns, schema=wanted)


def to_bytes(name: str, rows: pa.Table, rows_sha256: str) -> bytes:
    """A Parquet file of the rows, with checksums of its pages and the hash of its rows (`canonical.digests`)."""
    metadata = {
        "schema_version": str(schema.VERSION),
        "table": name,
        "rows_sha256": rows_sha256,
    }
    bare = pa.schema([pa.field(field.name, field.type) for field in rows.schema], metadata=metadata)
    sink = pa.BufferOutputStream()
    pq.write_table(
        pa.Table.from_arrays(rows.columns, schema=bare),
        sink,
        row_group_size=_ROWS_TOGETHER,
        compression=_packing(rows),
        use_dictionary=[field.name for field in rows.schema if pa.types.is_string(field.type)],  # numbers seldom repeat
        write_page_checksum=True,
    )
    return bytes(sink.getvalue())


def read(path: Path, name: str, columns: Sequence[str] | None = None) -> pa.Table:
    """Rows of one file of the table `name`. FileNotFoundError where it is gone; StoreError where it is not whole."""
    about = (name, columns and tuple(columns))
    return _KEPT.of(path, about, lambda: _read(path, path.read_bytes(), name, columns)[0])


def from_bytes(path: Path, data: bytes, name: str) -> pa.Table:
    """The same from a file's bytes. path: what it is called."""
    return _read(path, data, name, None)[0]


def open_and_read(
    place: Place, at: str, name: str, columns: Sequence[str] | None = None, *, once: bool = False
) -> pa.Table:
    """The same from where it lies; of the file only what the columns need. once: nobody will ask for it again."""

    def read() -> pa.Table:
        with _opened(place, at) as file:
            return _rows(place.path(at), file, name, columns)[0]

    return read() if once else _kept(place, at, (name, columns and tuple(columns)), read)


def read_among(
    place: Place, at: str, name: str, column: str, values: Collection[str], columns: Sequence[str] | None = None
) -> pa.Table:
    """Rows of one file whose text in a column is one of some, read without what is packed apart from them.

    Raises as `read`; what was not looked at is not proven.
    """
    texts = sorted(set(values))
    wanted = pa.array(texts, pa.string())
    asked = columns and list(dict.fromkeys((*columns, column)))

    def read() -> pa.Table:
        with _opened(place, at) as file:
            rows = _rows(place.path(at), file, name, asked, (column, wanted))[0]
        rows = rows.filter(pc.is_in(rows[column], value_set=wanted))
        return rows.select(columns) if columns else rows

    return _kept(place, at, (name, column, tuple(texts), columns and tuple(columns)), read)


def texts_among(
    place: Place, at: str, name: str, column: str, values: Collection[str], where: tuple[str, str] | None = None
) -> set[str]:
    """Which of some texts a column of one file has. Raises as `read`; what was not looked at is not proven.

    where: another column and its text in the rows that are meant; others may be looked at, too.
    """
    path, wanted = place.path(at), pa.array(sorted(set(values)), pa.string())
    with _opened(place, at) as opened:
        try:
            file, _ = _file(path, opened, name, [column])
            packs = set(_packs(file, column, wanted))
            if where is not None:
                packs &= set(_packs(file, where[0], pa.array([where[1]])))
            rows = file.read_row_groups(sorted(packs), columns=[column], use_threads=False)
        except (pa.ArrowException, UnicodeDecodeError) as error:
            raise _damaged(path, str(error).splitlines()[0].rstrip(".")) from error
    packed = [chunk.dictionary for chunk in rows[column].chunks]
    return {text for texts in packed for text in texts.filter(pc.is_in(texts, value_set=wanted)).to_pylist()}


def _kept(place: Place, at: str, about: Hashable, read: Callable[[], pa.Table]) -> pa.Table:
    """A piece of a file, kept for the next who asks where it lies on this machine."""
    return _KEPT.of(place.path(at), about, read) if place.is_here else read()


@contextmanager
def _opened(place: Place, at: str) -> Iterator[pa.NativeFile]:
    try:
        with place.open(at) as file:
            yield file
    except FileNotFoundError:
        raise
    except OSError as error:
        raise _damaged(place.path(at), str(error).splitlines()[0].rstrip(".")) from error


def number_of_rows(path: Path) -> int:
    """Rows that a file says it has; 0 where it says nothing, as it is damaged. FileNotFoundError where it is gone."""
    try:
        with pa.OSFile(str(path)) as source:
            return int(pq.read_metadata(source).num_rows)
    except FileNotFoundError:
        raise
    except (pa.ArrowException, OSError):
        return 0


def read_proven(path: Path, data: bytes, name: str) -> tuple[pa.Table, str]:
    """Rows of a file's bytes, and the hash of their content, after proving that they are those that were written."""
    rows, metadata = _read(path, data, name, None)
    content, whole = canonical.digests(name, rows)
    if metadata.get(b"rows_sha256", b"").decode() != whole:
        raise _damaged(path, "rows other than those that were written")
    return rows, content


def read_with_hash(path: Path, name: str) -> tuple[pa.Table, str]:
    """Rows of a file, and the hash that was written with them."""
    rows, metadata = _read(path, path.read_bytes(), name, None)
    return rows, metadata.get(b"rows_sha256", b"").decode()


def _read(path: Path, data: bytes, name: str, columns: Sequence[str] | None) -> tuple[pa.Table, dict[bytes, bytes]]:
    return _rows(path, pa.BufferReader(data), name, columns)


def _rows(
    path: Path,
    opened: pa.NativeFile,
    name: str,
    columns: Sequence[str] | None,
    among: tuple[str, pa.Array] | None = None,
) -> tuple[pa.Table, dict[bytes, bytes]]:
    """Rows of an open file, and its metadata. among: a column and sorted texts; what is packed without any is left."""
    try:
        file, metadata = _file(path, opened, name)
        if among is None:
            rows = file.read(columns=columns, use_threads=False)
        else:
            rows = file.read_row_groups(_packs(file, *among), columns=columns, use_threads=False)
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise _damaged(path, str(error).splitlines()[0].rstrip(".")) from error
    wanted = schema_of(name)
    if columns is not None:
        wanted = pa.schema([wanted.field(column) for column in columns])
    return pa.Table.from_arrays([rows[field.name] for field in wanted], schema=wanted), metadata


def _file(
    path: Path, opened: pa.NativeFile, name: str, packed: Sequence[str] = ()
) -> tuple[pq.ParquetFile, dict[bytes, bytes]]:
    """A file to read of, once it is seen to be of the table, and its metadata. packed: columns read as they are packed,
    each text once.
    """
    # the reader that also looks at folders and filters would import pandas
    file = pq.ParquetFile(opened, page_checksum_verification=True, read_dictionary=list(packed))
    found, wanted = file.schema_arrow, schema_of(name)
    metadata = found.metadata or {}
    _check_version(path, metadata)
    for column in packed:
        number = found.get_field_index(column)
        found = found.set(number, found.field(number).with_type(pa.string()))
    if metadata.get(b"table") != name.encode() or not found.equals(wanted, check_metadata=False):
        raise StoreError(
            f"This file is not one of the table {name}.",
            where=Where(file=str(path)),
            got=_difference(found, wanted) or f"table {metadata.get(b'table', b'?').decode(errors='replace')}",
            mend="Take the file out of the store's folder; restore the right one from a backup.",
        )
    return file, metadata


def _packs(file: pq.ParquetFile, column: str, texts: pa.Array) -> list[int]:
    """Numbers of the row groups that may have one of some sorted texts in a column, by what their footer says."""
    sought, at, found = texts.to_pylist(), file.schema_arrow.get_field_index(column), []
    for number in range(file.metadata.num_row_groups):
        said = file.metadata.row_group(number).column(at).statistics
        if said is None or not said.has_min_max:
            found.append(number)
            continue
        first = bisect_left(sought, said.min)
        if first < len(sought) and sought[first] <= said.max:
            found.append(number)
    return found


def _packing(rows: pa.Table) -> str:
    """Of a file of a few rows, setting up a packer for every column would take half the time and save little."""
    return "zstd" if rows.num_rows > 1000 else "none"


def _check_version(path: Path, metadata: dict[bytes, bytes]) -> None:
    version = metadata.get(b"schema_version", b"none").decode(errors="replace")
    if version not in map(str, _READABLE):
        raise StoreError(
            "This file has a schema version that this release cannot read.",
            where=Where(file=str(path)),
            got=f"version {version}",
            expected=f"version {', '.join(map(str, _READABLE))}",
            mend="Use the release that wrote it, or a newer one.",
        )


def _damaged(path: Path, found: str) -> StoreError:
    return StoreError(
        "This file of the store is damaged.",
        where=Where(file=str(path)),
        got=found,
        mend="Restore this file from a backup; or move it out of the store and send the received file that it came "
        "from again (it is kept under files/). Then verify the store.",
    )


def _difference(found: pa.Schema, wanted: pa.Schema) -> str:
    missing = [name for name in wanted.names if name not in found.names]
    strange = [name for name in found.names if name not in wanted.names]
    types = [
        f"{name} is {found.field(name).type}, not {wanted.field(name).type}"
        for name in wanted.names
        if name in found.names and found.field(name).type != wanted.field(name).type
    ]
    parts = [f"without {', '.join(missing)}"] if missing else []
    parts += [f"unknown {', '.join(strange)}"] if strange else []
    parts += types
    return "; ".join(parts) or ("columns in another order" if found.names != wanted.names else "")
