"""What a reader sees of append-only facts: as known on a day, the latest row of each key, and the effective readings.

Pure functions on Arrow tables. Only the few rows that a person ruled on, or that were mended, are touched one by one.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.errors import StoreError
from monitor.store import canonical
from monitor.terms import RELEASED, Act, State

Row = dict[str, Any]
_Change = Callable[[Row], Row]


def known_by(rows: pa.Table, known_on: datetime | None) -> pa.Table:
    """The rows that were known at that instant (all, where it is None)."""
    if known_on is None:
        return rows
    if known_on.tzinfo is None:
        raise StoreError("A moment of knowledge needs a time zone.", got=str(known_on), mend="Give it in UTC.")
    return having(rows, pc.less_equal(rows["known_at"], pa.scalar(known_on, rows.schema.field("known_at").type)))


def having(rows: pa.Table, which: pa.ChunkedArray | pa.Array) -> pa.Table:
    """Those rows; where it is all of them, nothing is copied."""
    return rows if pc.all(which, min_count=0).as_py() and not which.null_count else rows.filter(which)


def latest(rows: pa.Table, key: Sequence[str]) -> pa.Table:
    """Of the rows of one key, the one known latest; in the order of the store."""
    if not _is_again(rows, key):
        return canonical.ordered(rows)
    by_key = canonical.ordered(rows, (*key, "known_at"))
    changes = canonical.changes(by_key, key)
    last = [*changes[1:].tolist(), True] if by_key.num_rows else []
    return canonical.ordered(by_key.filter(pa.array(last, pa.bool_())))


def _is_again(rows: pa.Table, key: Sequence[str]) -> bool:
    """Whether a key has more than one row."""
    keys = pc.binary_join_element_wise(*(pc.cast(rows[name], pa.string()) for name in key), "\x1f")
    return bool(pc.count_distinct(keys, mode="all").as_py() < rows.num_rows)


def standing(readings: pa.Table) -> pa.Table:
    """One row per reading: the one known latest, but a reading once used is not un-used by a later re-judgement."""
    if pc.count_distinct(readings["reading_id"]).as_py() == readings.num_rows:
        return readings
    used = pc.equal(readings["state"], pa.scalar(State.USED.value))
    by_use = readings.append_column("once_used", used)
    best = canonical.ordered(by_use, ("reading_id", "once_used", "known_at"))
    changes = canonical.changes(best, ("reading_id",))
    kept = best.filter(pa.array([*changes[1:].tolist(), True], pa.bool_())).drop_columns(["once_used"])
    return canonical.ordered(kept)


def effective(readings: pa.Table, rulings: pa.Table) -> pa.Table:
    """Readings as they stand after rulings and mends; state and reason are effective, the rest as it came in.

    readings: all rows of schema.READINGS that may bear on each other; rulings: rows of schema.RULINGS.
    """
    return _mended(_ruled(standing(readings), latest(rulings, schema.KEY["rulings"])))


def _ruled(rows: pa.Table, rulings: pa.Table) -> pa.Table:
    acts = _standing_rulings(rulings)
    return _rewritten(rows, {reading_id: _after(some) for reading_id, some in acts.items()})


def _standing_rulings(rulings: pa.Table) -> dict[str, list[Row]]:
    """Rulings in force, by reading, in the order they were made: a withdrawal takes back the last one in force."""
    acts: dict[str, list[Row]] = defaultdict(list)
    for ruling in canonical.ordered(rulings, ("known_at", "ruling_id")).to_pylist():
        stack = acts[ruling["reading_id"]]
        if ruling["act"] != Act.WITHDRAW:
            stack.append(ruling)
        elif stack:
            stack.pop()
    return {reading_id: stack for reading_id, stack in acts.items() if stack}


def _after(rulings: Iterable[Row]) -> _Change:
    def change(row: Row) -> Row:
        for ruling in rulings:
            row = row | _verdict(row, ruling)
        return row

    return change


def _verdict(row: Row, ruling: Row) -> Row:
    by = f"by {ruling['who']}: {ruling['why']}"
    match ruling["act"]:
        case Act.RELEASE if row["state"] in (State.HELD, State.USED):
            return {"state": State.USED.value, "reason_code": RELEASED, "reason": f"released {by}"}
        case Act.RELEASE:
            return {}
        case Act.REJECT:
            return {"state": State.REJECTED.value, "reason_code": "ruled", "reason": f"rejected {by}"}
        case Act.CORRECT:
            values = {name: ruling[name] for name in ("value_raw", "unit", "value_mm", "deflection_mm")}
            old = f"{row['value_raw']} {row['unit']}".strip()
            return values | {
                "state": State.USED.value,
                "reason_code": "",
                "reason": f"corrected from {old or 'no value'} {by}",
            }
    raise StoreError(
        "A ruling has an unknown act.", got=f"{ruling['act']} ({ruling['ruling_id']})", expected=", ".join(Act)
    )


def _mended(rows: pa.Table) -> pa.Table:
    """Reject the rows that another row was sent in to replace, once that one is used (or itself replaced by one)."""
    menders = rows.filter(pc.not_equal(rows["mends"], pa.scalar(""))).to_pylist()
    mends = {mender["reading_id"]: mender["mends"] for mender in menders}
    newest_first = sorted(menders, key=lambda row: (row["known_at"], row["reading_id"]), reverse=True)
    replaced: dict[str, Row] = {}
    for mender in newest_first:
        stands = mender["state"] == State.USED and mender["reading_id"] not in replaced
        target = mender["mends"] if stands else ""
        while target and target not in replaced and target != mender["reading_id"]:
            replaced[target] = mender
            target = mends.get(target, "")
    return _rewritten(rows, {target: _replaced_by(mender) for target, mender in replaced.items()})


def _replaced_by(mender: Row) -> _Change:
    received = f"{mender['known_at']:%Y-%m-%d}"
    reason = f"replaced by row {mender['source_row']} of {mender['source_name']}, received {received}"
    return lambda row: row | {"state": State.REJECTED.value, "reason_code": "replaced", "reason": reason}


def _rewritten(rows: pa.Table, changes: Mapping[str, _Change]) -> pa.Table:
    """The rows with those of some readings changed one by one, in the order of the store."""
    if not changes:
        return rows
    touched = pc.is_in(rows["reading_id"], value_set=pa.array(list(changes), pa.string()))
    changed = [changes[row["reading_id"]](row) for row in rows.filter(touched).to_pylist()]
    if not changed:
        return rows
    rest = rows.filter(pc.invert(touched))
    return canonical.ordered(pa.concat_tables([rest, pa.Table.from_pylist(changed, schema=rows.schema)]))
