"""What the tables of facts say of each other: nothing lost between receipt and rows, no row twice, no key astray."""

from collections.abc import Iterator

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.store import canonical
from monitor.terms import State

Finding = tuple[str, str, str, str]
"""Place, what, what is affected, and the mend."""

_SHOWN = 5


def cross_checks(tables: dict[str, pa.Table]) -> Iterator[Finding]:
    """Everything wrong between the tables, which are all the rows of schema.FACTS by name."""
    yield from _repeated(tables)
    yield from _counts(tables["receipts"], tables["readings"])
    yield from _keys(tables)


def _repeated(tables: dict[str, pa.Table]) -> Iterator[Finding]:
    for name, rows in tables.items():
        ordered = canonical.ordered(rows)
        twice = rows.num_rows - int(canonical.changes(ordered, ordered.column_names).sum())
        if twice:
            yield (
                name,
                f"{twice} rows stand twice, the same in every column.",
                f"whatever counts rows of {name}",
                "Restore the store from a backup of before the damage.",
            )


def _counts(receipts: pa.Table, readings: pa.Table) -> Iterator[Finding]:
    """received = used + held + rejected + could not be read, and = the readings of that source."""
    mend = "Send that file again; it is kept under files/. Rows that are in already are not added twice."
    ids = readings.group_by("source_sha256").aggregate([("reading_id", "count_distinct")])
    found = dict(zip(ids["source_sha256"].to_pylist(), ids["reading_id_count_distinct"].to_pylist(), strict=True))
    for row in canonical.ordered(receipts).to_pylist():
        place = f"receipts, {row['source_name']}"
        states = sum(row[name] or 0 for name in ("used", "held", "rejected", "could_not_read"))
        if row["received"] != states:
            yield place, f"{row['received']} rows were received, but {states} have a state.", "that file's rows", mend
        rows = found.get(row["source_sha256"], 0)
        if row["holds"] == "readings" and rows != row["received"]:
            yield place, f"{row['received']} rows were received, but {rows} are kept.", "that file's readings", mend
    known = set(receipts["source_sha256"].to_pylist())
    for source in sorted(set(found) - known):
        name = readings.filter(pc.equal(readings["source_sha256"], pa.scalar(source)))["source_name"][0].as_py()
        yield f"readings, {name}", f"{found[source]} rows have no receipt.", "the count of what was received", mend


def _keys(tables: dict[str, pa.Table]) -> Iterator[Finding]:
    """Used readings belong to registered marks, marks and events to walls, rulings to readings."""
    used = tables["readings"].filter(pc.equal(tables["readings"]["state"], pa.scalar(State.USED.value)))
    for child, rows, parent in (
        ("readings", used, "marks"),
        ("marks", tables["marks"], "walls"),
        ("events", tables["events"], "walls"),
        ("rulings", tables["rulings"], "readings"),
    ):
        key = schema.KEY[parent]
        astray = sorted(_keys_of(rows, key) - _keys_of(tables[parent], key))
        if astray:
            shown = ", ".join("-".join(one) for one in astray[:_SHOWN]) + (" ..." if len(astray) > _SHOWN else "")
            yield (
                child,
                f"{len(astray)} of the {parent} that {child} speak of are not there: {shown}.",
                f"{child} of those",
                f"Register those {parent} again." if parent != "readings" else "Send the file of those readings again.",
            )


def _keys_of(rows: pa.Table, key: tuple[str, ...]) -> set[tuple[str, ...]]:
    distinct = rows.group_by(list(key)).aggregate([])
    return set(zip(*(distinct[name].to_pylist() for name in key), strict=True))
