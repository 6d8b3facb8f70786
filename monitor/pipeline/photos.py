"""Photos as they stand at a moment: which there are, of which wall and reading, and which a homeowner may see."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.pipeline import keys
from monitor.pipeline.photo_names import closeness, references
from monitor.pipeline.runs import row_id
from monitor.pipeline.who import RulingError, person, who_and_why
from monitor.report.context import Key, Row
from monitor.report.names import photo_name
from monitor.store import Store
from monitor.store import photos as kept
from monitor.terms import STAFF, PhotoAct

NO_FILE = "no file of this name was given"


def standing(store: Store, known_on: datetime | None = None) -> list[dict[str, Any]]:
    """Photos known at a moment, by wall, visit, mark and name: rows of schema.PHOTOS as they stand.

    Beside those columns `released` says whether the homeowner may see it, and `ruling` is the row of
    schema.PHOTO_RULINGS that says so, None where nobody has said anything.
    """
    rows, rulings = (_known(store.office.rows(table), known_on) for table in ("photos", "photo_rulings"))
    ruled = {(row["photo_id"], row["house"], row["wall"]): row for row in rulings}
    found = {row["photo_id"]: row for row in rows}
    for row in found.values():
        row["ruling"] = ruled.get((row["photo_id"], row["house"], row["wall"]))
        row["released"] = bool(row["ruling"] and row["ruling"]["act"] == PhotoAct.RELEASE)
    return sorted(found.values(), key=_order)


def naming(readings: pa.Table) -> list[Row]:
    """Readings that name a photo."""
    found: list[Row] = readings.filter(pc.not_equal(readings["photos"], "")).to_pylist()
    return found


def index(readings: Iterable[Row], photos: Sequence[Row]) -> list[dict[str, Any]]:
    """Rows of schema.PHOTO_INDEX: photos by reading, in the order of the readings; then those tied to a visit alone.

    readings: those of the walls of the photos, or as many of them as name a photo or have one.
    """
    by_reading: dict[str, list[Row]] = defaultdict(list)
    for photo in photos:
        for reading_id in photo["reading_ids"].split():
            by_reading[reading_id].append(photo)
    rows, seen = [], set()
    for reading in readings:
        names = references(reading)
        for photo in by_reading.get(reading["reading_id"], ()):
            said = next((name for name in names if closeness(name, photo["file_name"])), "")
            names = [name for name in names if name != said]
            seen.add(photo["photo_id"])
            rows.append(_row(reading, photo, said))
        rows += [_row(reading, None, name) for name in names]
    return rows + [_row(None, photo, "") for photo in photos if photo["photo_id"] not in seen]


def unfound(readings: Iterable[Row], photos: Sequence[Row]) -> dict[Key, list[dict[str, Any]]]:
    """By wall, rows of the index whose photo nobody has given."""
    found: dict[Key, list[dict[str, Any]]] = defaultdict(list)
    for row in index(readings, photos):
        if not row["photo_id"]:
            found[row["house"], row["wall"]].append(row)
    return dict(found)


def table(rows: Sequence[Row]) -> pa.Table:
    """Rows of the index as a table."""
    return pa.Table.from_pylist(list(rows), schema=schema.find("photo_index"))


def files(store: Store, photos: Iterable[Row]) -> dict[str, bytes]:
    """Bytes of photos by their address beside the pages. Raises StoreError where one is missing or damaged."""
    return {photo_name(row): kept.read(store.path, row["sha256"], row["ending"]) for row in photos}


def rule(store: Store, photo: str, act: PhotoAct, *, who: str, why: str, made_at: datetime) -> dict[str, Any]:
    """Release a photo for the homeowner of its wall, or withhold it again; returns the stored ruling.

    photo: its id or the beginning of one that is unique. Raises NotFoundError, RulingError, and StoreError where the
    file to be released is not whole.
    """
    who_and_why(who, why)
    row = find(store, photo)
    if row["released"] == (act is PhotoAct.RELEASE):
        raise RulingError(
            "The homeowner may see this photo already." if row["released"] else "This photo is withheld as it is.",
            got=f"photo {row['photo_id']}, {row['file_name']}",
            mend="`wallbow photos` lists which ones are released.",
        )
    if act is PhotoAct.RELEASE:
        kept.read(store.path, row["sha256"], row["ending"])
    ruling: dict[str, Any] = {
        "photo_id": row["photo_id"],
        "house": row["house"],
        "wall": row["wall"],
        "act": act.value,
        "who": person(store, who, STAFF),
        "why": why.strip(),
        "known_at": made_at,
    }
    ruling["photo_ruling_id"] = row_id(ruling)
    store.office.add({"photo_rulings": [ruling]})
    return ruling


def find(store: Store, photo: str) -> dict[str, Any]:
    """The standing row of a photo by its id or a unique beginning of it (four signs or more)."""
    every = {row["photo_id"]: row for row in standing(store)}
    return keys.by_beginning(every, photo, "photo", "`wallbow photos` lists the ids.")


def _row(reading: Row | None, photo: Row | None, said: str) -> dict[str, Any]:
    place: Mapping[str, Any] = reading or photo or {}
    return {
        **{name: place[name] for name in ("house", "wall", "mark", "visit_date")},
        "photo_id": photo["photo_id"] if photo else "",
        "photo": said or (photo["file_name"] if photo else ""),
        "reading_id": reading["reading_id"] if reading else "",
        "part": reading["part"] if reading else "",
        "packed_as": photo_name(photo) if photo else "",
        "sha256": photo["sha256"] if photo else "",
        "released": photo["released"] if photo else False,
        "note": photo["note"] if photo else NO_FILE,
    }


def _known(rows: list[dict[str, Any]], known_on: datetime | None) -> list[dict[str, Any]]:
    return [row for row in rows if known_on is None or row["known_at"] <= known_on]


def _order(row: Row) -> tuple[Any, ...]:
    return (row["house"], row["wall"], row["visit_date"], row["mark"], row["file_name"], row["photo_id"])
