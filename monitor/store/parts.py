"""Results of some walls as files: one per table that has rows, named by their content, so that work done twice is one.

A part holds the walls of one bucket.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.documents import Document
from monitor.schema.arrays import array_of
from monitor.store import canonical, files, parquet, walls
from monitor.store.generations import Wall
from monitor.store.place import Place
from monitor.store.tiers import is_of

ASSESSED = "assessed"
TABLES = (*schema.RESULTS, ASSESSED)
_WALL = ("house", "wall")


class Part(Document, frozen=True, kw_only=True):
    """The files of one bucket by table; a table without rows has none. sha256: the sum of its walls' digests."""

    bucket: int
    files: dict[str, str]
    sha256: str


def assessed(results: Mapping[str, pa.Table], order: pa.Table) -> pa.Table:
    """Rows of schema.ASSESSED for the walls of some results.

    results: tables of schema.RESULTS, ranks all the same; order: house, wall and the columns order_1 to order_5.
    """
    digests = walls.digests(results)
    keys = sorted(digests)
    texts = {
        "house": [key[0] for key in keys],
        "wall": [key[1] for key in keys],
        "sha256": [digests[key] for key in keys],
    }
    wall_keys = pa.array(map(schema.wall_key, keys), pa.string())
    at = pc.index_in(wall_keys, value_set=schema.wall_keys(order))
    columns = [
        pa.array(texts[field.name], field.type) if field.name in texts else order[field.name].combine_chunks().take(at)
        for field in schema.ASSESSED
    ]
    return pa.Table.from_arrays(columns, schema=schema.ASSESSED)


def tables(results: Mapping[str, pa.Table], order: pa.Table) -> Mapping[str, pa.Table]:
    """The tables of a part: results in their order and without ranks, and their walls. order: as for `assessed`."""
    made = {name: in_order(name, parquet.fitted(name, rows)) for name, rows in results.items()}
    rank = schema.PLAN.get_field_index("rank")
    none = array_of(np.zeros(made["plan"].num_rows, np.int32))
    made["plan"] = made["plan"].set_column(rank, schema.PLAN.field(rank), none)
    return made | {ASSESSED: assessed(made, order)}


def in_order(table: str, rows: pa.Table) -> pa.Table:
    """Rows of a table of results in the order of schema.RESULT_ORDER."""
    names = [name for name in schema.RESULT_ORDER if name in schema.find(table).names]
    return canonical.in_order_of(rows, names)


def write(place: Place, folder: str, bucket: int, tables: Mapping[str, pa.Table]) -> Part:
    """Write the tables (those of TABLES) of the walls of a bucket; nobody reads them until a card names them."""
    names = {}
    for table in filter(tables.__contains__, TABLES):
        rows = parquet.fitted(table, tables[table])
        if rows.num_rows:
            data = parquet.to_bytes(table, rows, "")
            names[table] = f"{table}-{bucket:04d}-{files.sha256(data)[:16]}.parquet"
            place.write(f"{folder}/{names[table]}", data)
    return Part(bucket=bucket, files=names, sha256=walls.total(tables[ASSESSED]["sha256"].to_pylist()))


def read(
    place: Place,
    folder: str,
    part: Part,
    table: str,
    columns: Sequence[str] | None = None,
    of: Collection[Wall] | None = None,
) -> pa.Table:
    """Rows of a table in one bucket, of some walls or of all. FileNotFoundError where the file is gone."""
    name = part.files.get(table)
    wanted = None if columns is None else tuple(dict.fromkeys((*_WALL, *columns)))
    if name is None:
        rows = schema.empty(table)
    else:
        rows = parquet.open_and_read(place, f"{folder}/{name}", table, wanted)
        rows = rows if of is None else rows.filter(is_of(rows, of))
    return rows if columns is None else rows.select(list(columns))


def named(parts: Collection[Part]) -> Iterator[tuple[str, str]]:
    """Table and name of every file of some parts."""
    for part in parts:
        yield from part.files.items()
