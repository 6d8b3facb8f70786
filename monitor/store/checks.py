"""What the tables of facts say of each other: nothing lost between receipt and rows, no row twice, no key astray."""

from collections import Counter
from collections.abc import Iterator, Mapping

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.store import canonical
from monitor.terms import State

Finding = tuple[str, str, str, str]
"""Place, what, what is affected, and the mend."""

_SHOWN = 5


_CHILDREN = ("readings", "marks", "events", "rulings")
_PARENT = {"readings": "marks", "marks": "walls", "events": "walls", "rulings": "readings"}


class CrossChecks:
    """Takes the facts a bucket of walls at a time, and tells at last everything that is wrong between the tables."""

    def __init__(self, rulings: pa.Table, receipts: pa.Table) -> None:
        self._receipts = receipts
        self._unfound = _keys_of(rulings, schema.KEY["readings"])
        self._twice = dict.fromkeys(schema.FACTS, 0)
        self._ids: Counter[str] = Counter()
        self._names: dict[str, str] = {}
        self._astray: dict[str, set[tuple[str, ...]]] = {child: set() for child in _CHILDREN}

    def take(self, tables: Mapping[str, pa.Table]) -> None:
        """All rows of some tables of schema.FACTS; of those with walls all that a bucket of walls has."""
        for name, rows in tables.items():
            ordered = canonical.ordered(rows)
            self._twice[name] += rows.num_rows - int(canonical.changes(ordered, ordered.column_names).sum())
        if "readings" in tables:
            self._take_bucket(tables)

    def _take_bucket(self, tables: Mapping[str, pa.Table]) -> None:
        readings = tables["readings"]
        used = readings.filter(pc.equal(readings["state"], pa.scalar(State.USED.value)))
        for child, rows in (("readings", used), ("marks", tables["marks"]), ("events", tables["events"])):
            key = schema.KEY[_PARENT[child]]
            self._astray[child] |= _keys_of(rows, key) - _keys_of(tables[_PARENT[child]], key)
        if self._unfound:
            self._unfound -= _keys_of(readings, schema.KEY["readings"])
        by_source = readings.group_by("source_sha256").aggregate(
            [("reading_id", "count_distinct"), ("source_name", "min")]
        )
        for row in by_source.to_pylist():
            self._ids[row["source_sha256"]] += row["reading_id_count_distinct"]
            self._names.setdefault(row["source_sha256"], row["source_name_min"])

    def findings(self) -> Iterator[Finding]:
        """What was found, once all was taken."""
        yield from self._repeated()
        yield from self._counts()
        yield from self._keys()

    def _repeated(self) -> Iterator[Finding]:
        for name, twice in self._twice.items():
            if twice:
                yield (
                    name,
                    f"{twice} rows stand twice, the same in every column.",
                    f"whatever counts rows of {name}",
                    "Restore the store from a backup of before the damage.",
                )

    def _counts(self) -> Iterator[Finding]:
        """received = used + held + rejected + could not be read, and = the readings of that source."""
        mend = "Send that file again; it is kept under files/. Rows that are in already are not added twice."
        for row in canonical.ordered(self._receipts).to_pylist():
            place = f"receipts, {row['source_name']}"
            states = sum(row[name] or 0 for name in ("used", "held", "rejected", "could_not_read"))
            if row["received"] != states:
                what = f"{row['received']} rows were received, but {states} have a state."
                yield place, what, "that file's rows", mend
            rows = self._ids[row["source_sha256"]]
            if row["holds"] == "readings" and rows != row["received"]:
                yield place, f"{row['received']} rows were received, but {rows} are kept.", "that file's readings", mend
        known = set(self._receipts["source_sha256"].to_pylist())
        for source in sorted(set(self._names) - known):
            what = f"{self._ids[source]} rows have no receipt."
            yield f"readings, {self._names[source]}", what, "the count of what was received", mend

    def _keys(self) -> Iterator[Finding]:
        """Used readings belong to registered marks, marks and events to walls, rulings to readings."""
        for child, parent in _PARENT.items():
            astray = sorted(self._unfound if child == "rulings" else self._astray[child])
            if astray:
                shown = ", ".join("-".join(one) for one in astray[:_SHOWN]) + (" ..." if len(astray) > _SHOWN else "")
                yield (
                    child,
                    f"{len(astray)} of the {parent} that {child} speak of are not there: {shown}.",
                    f"{child} of those",
                    f"Register those {parent} again."
                    if parent != "readings"
                    else "Send the file of those readings again.",
                )


def _keys_of(rows: pa.Table, key: tuple[str, ...]) -> set[tuple[str, ...]]:
    distinct = rows.group_by(list(key)).aggregate([])
    return set(zip(*(distinct[name].to_pylist() for name in key), strict=True))
