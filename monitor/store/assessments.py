"""Saved assessments: derived tables, which can be made again from the facts, one set per day judged for.

The tables lie in parts, a bucket of walls each (`parts`); the card beside them names the parts that make up the whole,
and is replaced in one step, so that a reader sees one assessment or another.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
from filelock import FileLock

from monitor import schema
from monitor.documents import Document, of_json
from monitor.errors import StoreError, Where
from monitor.results import Assessment
from monitor.store import files, generations, parts, walls
from monitor.store.generations import Wall
from monitor.store.parts import ASSESSED, Part
from monitor.store.place import Place
from monitor.store.sealed import sealed, unsealed

FOLDER = "assessments"
CARD = "assessment.json"
LOCK = "saving.lock"
_MEND = "Assess again for that day: assessments are made from the facts and nothing is lost."
_TRIES = 3
ORDER = tuple(name for name in schema.ASSESSED.names if name.startswith("order_"))
_WALL = ("house", "wall")


class Card(Document, frozen=True, kw_only=True):
    """What stands beside the parts of one assessment: what it was made from, and the parts it is made of."""

    schema_version: int
    judged_on: date
    known_until: datetime
    settings_sha256: str
    facts_sha256: str
    results_sha256: str
    """The sum of all walls' digests."""
    buckets: int
    parts: tuple[Part, ...]

    @property
    def files(self) -> dict[str, str]:
        """The table of every file."""
        return {name: table for table, name in parts.named(self.parts)}


def card_of(assessment: Assessment, buckets: int, made: Sequence[Part]) -> Card:
    """The card of an assessment that was just made; of it only what it was made from is looked at."""
    return Card(
        schema_version=schema.VERSION,
        judged_on=assessment.judged_on,
        known_until=assessment.known_until,
        settings_sha256=assessment.settings_sha256,
        facts_sha256=assessment.facts_sha256,
        results_sha256=walls.total(part.sha256 for part in made),
        buckets=buckets,
        parts=tuple(sorted(made, key=lambda part: part.bucket)),
    )


def folder_of(judged_on: date) -> str:
    """Where the files of a day's assessment lie, within the store."""
    return f"{FOLDER}/{judged_on.isoformat()}"


@contextmanager
def making(root: Path, judged_on: date) -> Iterator[None]:
    """Until the block ends nobody else makes a whole assessment for that day, so that no part is swept away."""
    folder = root / folder_of(judged_on)
    with files.writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(root / FOLDER / f"making-{judged_on.isoformat()}.lock")
        lock.acquire()
    try:
        yield
    finally:
        lock.release()


def save(root: Path, place: Place, card: Card) -> None:
    """Make the parts of a card, which are all there, the assessment of its day in place of an earlier one."""
    folder = root / folder_of(card.judged_on)
    with files.writing(folder), FileLock(root / FOLDER / LOCK):  # of two at once the second takes the first's place
        files.replace(folder / CARD, sealed(card))
        kept = {CARD, *card.files}
        for name in place.names(folder_of(card.judged_on)):
            if name not in kept:
                place.remove(f"{folder_of(card.judged_on)}/{name}")


def load(
    root: Path,
    place: Place,
    judged_on: date,
    tables: Collection[str] = tuple(schema.RESULTS),
    *,
    of: Collection[Wall] | None = None,
    columns: Mapping[str, Sequence[str]] | None = None,
    having: Mapping[str, pc.Expression] | None = None,
) -> Assessment | None:
    """The assessment for that day, None where there is none. Raises StoreError where it is damaged.

    tables: those to read; the others stay empty. of: walls whose rows alone are read. columns: by table, those to read
    where not all of them; such a table has only these. having: by table, what its rows are to be like, told of columns
    that are read; of a bucket's rows no others are kept.
    """
    chosen, like = columns or {}, having or {}
    for _ in range(_TRIES):
        card = _card(root, judged_on)
        if card is None:
            return None
        walls_of = None if of is None else generations.by_bucket(of, card.buckets)
        try:
            read = {table: _rows(card, place, table, chosen.get(table), walls_of, like.get(table)) for table in tables}
        except FileNotFoundError as error:  # replaced by a newer one while we read
            gone = error
            continue
        return Assessment(
            judged_on=card.judged_on,
            known_until=card.known_until,
            settings_sha256=card.settings_sha256,
            facts_sha256=card.facts_sha256,
            results_sha256=card.results_sha256,
            **read,
        )
    raise StoreError("A table of this assessment is missing.", where=Where(file=str(gone.filename)), mend=_MEND)


def days(root: Path) -> list[date]:
    """The days that an assessment is saved for, earliest first."""
    return sorted(date.fromisoformat(path.parent.name) for path in (root / FOLDER).glob(f"????-??-??/{CARD}"))


def table_files(root: Path, judged_on: date) -> dict[str, str]:
    """The table of each file of an assessment, by the file's name. Raises StoreError where its card is damaged."""
    card = _card(root, judged_on)
    return card.files if card else {}


def assembled(made: Assessment, pieces: Mapping[str, Sequence[pa.Table]]) -> Assessment:
    """An assessment from the tables of its buckets, those of parts.TABLES that are wanted, the walls among them."""
    found = {name: pa.concat_tables(some) if some else schema.empty(name) for name, some in pieces.items()}
    of_walls = found.pop(ASSESSED)
    made = replace(made, results_sha256=walls.total(of_walls["sha256"].to_pylist()))
    return with_tables(made, found, of_walls)


def with_tables(made: Assessment, results: Mapping[str, pa.Table], order: pa.Table) -> Assessment:
    """An assessment with tables of its walls, in their order, and ranks among these walls. order: as for `ranked`."""
    found = {name: parts.in_order(name, rows) for name, rows in results.items()}
    if "plan" in found:
        found["plan"] = ranked(found["plan"], order)
    return replace(made, **found)


def ranked(plan: pa.Table, order: pa.Table) -> pa.Table:
    """The plan with each wall's rank: its place among all walls that have one.

    order: all of these, with the columns house, wall and order_1 to order_5.
    """
    placed = order.filter(pc.is_valid(order["order_1"]))
    by = [(name, "ascending") for name in (*ORDER, *_WALL)]
    sorted_keys = schema.wall_keys(placed).take(pc.sort_indices(placed, sort_keys=by))
    rank = pc.add(pc.index_in(schema.wall_keys(plan), value_set=sorted_keys), 1)
    return plan.set_column(plan.schema.get_field_index("rank"), plan.schema.field("rank"), rank.cast(pa.int32()))


def _rows(
    card: Card,
    place: Place,
    table: str,
    columns: Sequence[str] | None,
    of: Mapping[int, Collection[Wall]] | None,
    like: pc.Expression | None = None,
) -> pa.Table:
    """Rows of a table over all buckets that matter, in their order. of: walls by bucket."""
    wanted = None if columns is None else list(dict.fromkeys((*columns, *_needed(table))))
    found = []
    for part in card.parts:
        if of is not None and part.bucket not in of:
            continue
        rows = parts.read(place, folder_of(card.judged_on), part, table, wanted, of[part.bucket] if of else None)
        found.append(rows if like is None else rows.filter(like))
    rows = pa.concat_tables(found) if found else schema.empty(table)
    if len(found) > 1:
        rows = parts.in_order(table, rows)
    if table == "plan" and "rank" in rows.column_names and rows.num_rows:
        rows = ranked(rows, _rows(card, place, ASSESSED, (*_WALL, *ORDER), None))
    return rows if columns is None else rows.select(list(columns))


def _needed(table: str) -> list[str]:
    """What rows are told apart and put in order by."""
    return [name for name in schema.RESULT_ORDER if name in schema.find(table).names]


@lru_cache(maxsize=8)
def _read(data: bytes) -> Card:
    """What a card's bytes say: it is asked for many times between two assessments."""
    return of_json(Card, unsealed(data))


def _card(root: Path, judged_on: date) -> Card | None:
    path = root / FOLDER / judged_on.isoformat() / CARD
    if not path.exists():
        return None
    try:
        card = _read(path.read_bytes())
    except ValueError as error:
        raise StoreError("This assessment is damaged.", where=Where(file=str(path)), mend=_MEND) from error
    if card.judged_on != judged_on:
        raise StoreError(
            "This assessment is that of another day.",
            where=Where(file=str(path)),
            got=str(card.judged_on),
            expected=str(judged_on),
            mend=_MEND,
        )
    if card.schema_version != schema.VERSION:
        raise StoreError(
            "This assessment has a schema version that this release cannot read.",
            where=Where(file=str(path)),
            got=f"version {card.schema_version}",
            expected=f"version {schema.VERSION}",
            mend=_MEND,
        )
    return card
