"""Received bytes judged against what the store knows, nothing written: the one way for previews and for takings in."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from functools import cached_property, reduce
from operator import or_

import pyarrow as pa
import pyarrow.compute as pc

from monitor import ingest, schema
from monitor.errors import IntakeError, Where
from monitor.pipeline.assessing import settings_on
from monitor.pipeline.expecting import expected_at
from monitor.records import dataclass, replace
from monitor.results import Intake
from monitor.store import Store, views
from monitor.store.generations import Wall
from monitor.terms import State

_OF_A_WALL = ("houses", "walls", "marks", "events")
_PROVENANCE = frozenset({"source_sha256", "source_name", "source_sheet", "source_row", "known_at"})


@dataclass(frozen=True)
class Known:
    """What a file is judged against: the register, and all rows of readings with the rulings on them.

    Where it is of what a file names alone, `every` knows the other ids (see ingest).
    """

    register: schema.Tables
    rows: pa.Table
    rulings: pa.Table
    every: ingest.Every | None = None

    @cached_property
    def readings(self) -> pa.Table:
        """Effective readings."""
        return views.effective(self.rows, self.rulings)


@dataclass(frozen=True)
class Judged:
    """One table of a received file: the intake, the rows of it that the store does not have; where there are none, when
    it first came.
    """

    intake: Intake
    fresh: pa.Table
    first_received: datetime | None


def known_now(store: Store) -> Known:
    """What the store knows now."""
    return Known(current_register(store), store.facts("readings"), store.facts("rulings"))


def known_of(store: Store, files: Iterable[tuple[str, bytes]]) -> Known:
    """What the store knows now that bears on what files (name and bytes) name: they are judged by it as by all of it.

    That is all of the houses named, and what people sent elsewhere to mend readings of these. What a file brought
    before lies there, too, as a row stays in the house that it names.
    """
    named = reduce(or_, (ingest.named(*file) for file in files), ingest.Named())
    walls, houses = store.walls_of(named.houses)
    register = {
        "houses": store.current("houses", among=("house", houses)),
        **{name: store.current(name, walls=walls) for name in ("walls", "marks", "events")},
        **{name: store.current(name) for name in ("instruments", "thresholds")},
        "people": store.office.people(among=named.people),
    }
    rows = store.readings_about(walls)
    return Known(register, rows, store.rulings_on(rows), store.ids)


def current_register(store: Store) -> dict[str, pa.Table]:
    """The register as known now, people included."""
    return {name: store.office.people() if name == "people" else store.current(name) for name in schema.REGISTER}


def judged(
    store: Store, known: Known, name: str, data: bytes, *, received_at: datetime, sender: str, today: date
) -> list[Judged]:
    """A file of either kind, or of both, told by its headings: the register's tables first, then the readings.

    Raises IntakeError where nothing of it can be taken in.
    """
    kinds = ingest.kinds_of(name, data)
    alone = len(kinds) < 2
    found: list[Judged] = []
    if "register" in kinds:
        found += judged_register(store, known, name, data, received_at=received_at, sender=sender, alone=alone)
        known = after(known, found)
    if "readings" in kinds:
        found.append(
            judged_readings(store, known, name, data, received_at=received_at, sender=sender, today=today, alone=alone)
        )
    return found


def judged_visit(
    store: Store, known: Known, name: str, data: bytes, *, received_at: datetime, sender: str, today: date
) -> list[Judged]:
    """A file of readings; of a field sheet's file all tables, as the record of work belongs to the day's readings.

    Raises IntakeError where nothing of it can be taken in.
    """
    if ingest.looks_like_sheet(data):
        return judged(store, known, name, data, received_at=received_at, sender=sender, today=today)
    return [judged_readings(store, known, name, data, received_at=received_at, sender=sender, today=today)]


def judged_register(
    store: Store,
    known: Known,
    name: str,
    data: bytes,
    *,
    received_at: datetime,
    sender: str,
    alone: bool = True,
) -> list[Judged]:
    """The register's tables in a file. Raises IntakeError where there is none, or no row in any."""
    intakes = ingest.read_register(
        name, data, known.register, received_at=received_at, sender=sender, alone=alone, every=known.every
    )
    _refuse_empty(name, intakes)
    return [_judged(store, intake, _fresh_register(intake, known)) for intake in intakes]


def judged_readings(
    store: Store,
    known: Known,
    name: str,
    data: bytes,
    *,
    received_at: datetime,
    sender: str,
    today: date,
    alone: bool = True,
) -> Judged:
    """A file's readings, judged against register, stored readings, and what the model expects of the walls it names.

    Raises IntakeError where there are none.
    """
    visits = ingest.visits_named(name, data, known.register)
    expected = expected_at(store, visits, known.register, known.readings, received_at)
    rules = settings_on(store, today, received_at).rules
    intake = ingest.read_readings(
        name,
        data,
        known.register,
        known.readings,
        received_at,
        sender,
        today,
        expected,
        rules,
        alone=alone,
        every=known.every,
    )
    _refuse_empty(name, [intake])
    return _judged(store, intake, _fresh_readings(intake.table, known.readings))


def _judged(store: Store, intake: Intake, fresh: pa.Table) -> Judged:
    return Judged(intake, fresh, None if fresh.num_rows else first_received(store, intake))


def after(known: Known, found: Sequence[Judged]) -> Known:
    """What would be known after these were taken in."""
    for each in found:
        holds = each.intake.holds
        if holds == "readings":
            known = replace(known, rows=pa.concat_tables([known.rows, each.fresh]))
        else:
            both = pa.concat_tables([known.register[holds], each.fresh.select(schema.find(holds).names)])
            known = replace(known, register={**known.register, holds: views.latest(both, schema.KEY[holds])})
    return known


def received_on(found: Judged, at: datetime) -> Judged:
    """The same as it had been received at another moment, where nothing that it was judged by became known between."""
    table, fresh = (_known_at(rows, at) for rows in (found.intake.table, found.fresh))
    return replace(found, intake=replace(found.intake, table=table), fresh=fresh)


def _known_at(rows: pa.Table, at: datetime) -> pa.Table:
    number = rows.schema.get_field_index("known_at")
    field = rows.schema.field(number)
    return rows.set_column(number, field, pa.array([at] * rows.num_rows, field.type))


def touched(store: Store, found: Sequence[Judged]) -> set[Wall]:
    """Walls on which what is new in these has a bearing: those it speaks of, and those of readings that it mends.

    A row of a house bears on all its walls.
    """
    walls: set[Wall] = set()
    for rows in (each.fresh for each in found if each.intake.holds in ("readings", *_OF_A_WALL)):
        if "wall" in rows.column_names:
            walls |= _walls(rows)
        else:
            walls |= {wall for wall in store.walls_of(rows["house"].unique().to_pylist())[0] if wall[1]}
    readings = [each.fresh for each in found if each.intake.holds == "readings"]
    mended, looked = {mends for rows in readings for mends in rows["mends"].to_pylist()} - {""}, set[str]()
    while mended:
        rows = store.facts("readings", among=("reading_id", mended))
        walls |= _walls(rows)
        looked |= mended
        mended = set(rows["mends"].to_pylist()) - {""} - looked
    return walls


def _walls(rows: pa.Table) -> set[Wall]:
    return set(zip(rows["house"].to_pylist(), rows["wall"].to_pylist(), strict=True))


def _refuse_empty(name: str, intakes: Sequence[Intake]) -> None:
    """Headings without any row below them are hardly what somebody meant to send."""
    if not any(intake.received for intake in intakes):
        raise IntakeError(
            "The file has headings and no row below them; nothing was taken in.",
            where=Where(file=name),
            expected=f"rows of {' and '.join(intake.holds for intake in intakes)}",
            mend="Look whether the right file was sent.",
        )


def _fresh_readings(rows: pa.Table, earlier: pa.Table) -> pa.Table:
    """Rows that the store does not have, or has only as not used while they would be used now."""
    known = dict(zip(earlier["reading_id"].to_pylist(), earlier["state"].to_pylist(), strict=True))
    keep = [
        reading not in known or (known[reading] in (State.REJECTED, State.HELD) and state == State.USED)
        for reading, state in zip(rows["reading_id"].to_pylist(), rows["state"].to_pylist(), strict=True)
    ]
    return rows.filter(pa.array(keep, pa.bool_()))


def _fresh_register(intake: Intake, known: Known) -> pa.Table:
    """Register rows that are new or differ from what stands, provenance aside; of people all, as each is replaced."""
    rows, key = intake.table, schema.KEY[intake.holds]
    if intake.holds == "people":
        return rows
    said = [name for name in rows.column_names if name not in _PROVENANCE]
    current = known.register[intake.holds].select(said).to_pylist()
    standing = {tuple(row[part] for part in key): row for row in current}
    keep = [standing.get(tuple(row[part] for part in key)) != row for row in rows.select(said).to_pylist()]
    return rows.filter(pa.array(keep, pa.bool_()))


def first_received(store: Store, intake: Intake) -> datetime | None:
    """When the same content first came; None where it did not."""
    same = store.facts("receipts", among=("source_sha256", [intake.source_sha256]))
    return pc.min(same["known_at"]).as_py() if same.num_rows else None
