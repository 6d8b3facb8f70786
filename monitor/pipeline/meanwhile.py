"""What people did about a wall, and what of it somebody had not seen yet when they filled in a form about it."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256

import pyarrow as pa
import pyarrow.compute as pc

from monitor.records import dataclass
from monitor.report.wording import count_text
from monitor.store import Store

_SHORT = 10
"""So many hex digits of a happening's id tell it from the others of its wall."""


@dataclass(frozen=True)
class Happening:
    """One thing that came to be known of a wall; mark: short id, made from what it is."""

    mark: str
    at: datetime
    who: str
    what: str


def of_wall(store: Store, house: str, wall: str) -> list[Happening]:
    """Decisions, rulings, and readings that came in, the newest first."""
    found = [*_decisions(store, house, wall), *_readings_and_rulings(store, house, wall)]
    return sorted(found, key=lambda each: (each.at, each.mark), reverse=True)


def seen(happenings: Sequence[Happening]) -> str:
    """What a form carries: all that whoever fills it in could see."""
    return ".".join(each.mark for each in happenings)


def since(happenings: Sequence[Happening], carried: str) -> list[Happening]:
    """What had not happened yet when the form was made."""
    known = set(carried.split("."))
    return [each for each in happenings if each.mark not in known]


def _decisions(store: Store, house: str, wall: str) -> list[Happening]:
    return [
        Happening(
            row["decision_id"][:_SHORT],
            row["known_at"],
            row["who"],
            f"{row['step']}, by {row['owner']}{', due ' + row['due'].isoformat() if row['due'] else ''}: {row['why']}",
        )
        for row in store.office.rows("decisions", house=house, wall=wall)
    ]


def _readings_and_rulings(store: Store, house: str, wall: str) -> list[Happening]:
    rows = {row["reading_id"]: row for row in store.readings(walls=[(house, wall)]).to_pylist()}
    rulings = store.facts("rulings")
    mine = rulings.filter(pc.is_in(rulings["reading_id"], value_set=pa.array(list(rows), pa.string())))
    found = [
        Happening(
            row["ruling_id"][:_SHORT],
            row["known_at"],
            row["who"],
            f"{row['act']} of {_place(rows[row['reading_id']])}"
            f"{' to ' + ' '.join(filter(None, (row['value_raw'], row['unit']))) if row['value_raw'] else ''}"
            f": {row['why']}",
        )
        for row in mine.to_pylist()
    ]
    return found + _came(store, house, wall)


def _came(store: Store, house: str, wall: str) -> list[Happening]:
    files: dict[tuple[datetime, str], list[str]] = defaultdict(list)
    for row in store.facts("readings", walls=[(house, wall)]).to_pylist():
        files[row["known_at"], row["source_name"] or ""].append(row["technician"] or "")
    return [
        Happening(
            sha256(f"{at.isoformat()} {name}".encode()).hexdigest()[:_SHORT],
            at,
            ", ".join(sorted(set(filter(None, people)))),
            f"{count_text(len(people), 'reading')} came in with {name}",
        )
        for (at, name), people in files.items()
    ]


def _place(row: dict[str, object]) -> str:
    return f"{row['mark']}, {row['visit_date'] or 'no date'}"
