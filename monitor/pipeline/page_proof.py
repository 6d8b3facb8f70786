"""Whether a page is as we wrote it, and whether another has taken its place, by which and why: told from the ledger."""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from enum import StrEnum
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
from msgspec import structs

from monitor.errors import NotFoundError
from monitor.pipeline import editions, keys, runs
from monitor.pipeline.editions import Edition
from monitor.pipeline.publishing import number_in
from monitor.records import dataclass
from monitor.store import Store, files, views
from monitor.terms import Act

Row = Mapping[str, Any]

_SIGNS = re.compile(r"[^0-9a-f]")
_DIGITS = 12
_REGISTER = {
    "walls": "what is registered of the wall",
    "marks": "its marks",
    "events": "what was done to it",
    "houses": "what is registered of the house",
}
_ELSEWHERE = "Nothing about it changed; more is known of other walls, and with that every page gets a new number."


class Standing(StrEnum):
    """What the ledger says of a page."""

    AS_WRITTEN = "as we wrote it"
    ON_RECORD = "on record"
    ALTERED = "altered"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class PageProof:
    """page: its row of schema.PAGES, None where it is unknown. by: the page that took its place, its edition, and why.

    ON_RECORD is said of a number alone: whether a file that bears it was altered, only the file can tell.
    """

    standing: Standing
    number: str
    page: Row | None = None
    edition: Edition | None = None
    by: Row | None = None
    by_edition: Edition | None = None
    because: Sequence[str] = ()

    @property
    def is_superseded(self) -> bool:
        """Whether another page has taken its place."""
        return self.by is not None


def of_file(store: Store, data: bytes) -> PageProof:
    """The proof of a page from its bytes."""
    found = store.office.rows("pages", sha256=files.sha256(data))
    if found:
        return _proof(store, Standing.AS_WRITTEN, found[0])
    number = number_in(data)
    same = store.office.rows("pages", report_number=number) if number else []
    return _proof(store, Standing.ALTERED, same[0]) if same else PageProof(Standing.UNKNOWN, number)


def of_number(store: Store, written: str) -> PageProof:
    """What the ledger knows of a page number, however it is written. Raises NotFoundError where it is no number."""
    signs = _SIGNS.sub("", written.lower())
    if len(signs) != _DIGITS or set(written.lower()) - set("0123456789abcdef -–."):
        raise NotFoundError(
            "This is no page number.",
            got=written,
            expected="twelve signs like fc2a-d9c1-9cb7",
            mend="See the page's foot.",
        )
    number = "-".join(signs[start : start + 4] for start in (0, 4, 8))
    found = store.office.rows("pages", report_number=number)
    return _proof(store, Standing.ON_RECORD, found[0]) if found else PageProof(Standing.UNKNOWN, number)


def _proof(store: Store, standing: Standing, page: Row) -> PageProof:
    every = {edition.edition_id: edition for edition in editions.on_record(store)}
    edition = every[page["edition_id"]]
    later = {found.edition_id: found for found in editions.superseding(store, edition)}
    same_page = {row["edition_id"]: row for row in store.office.rows("pages", page=page["page"])}
    place = next((name for name in reversed(later) if name in same_page), None)
    if place is None or same_page[place]["report_number"] == page["report_number"]:
        return PageProof(standing, page["report_number"], page, edition)
    because = tuple(_because(store, page, edition, later[place])) or (_ELSEWHERE,)
    return PageProof(standing, page["report_number"], page, edition, same_page[place], later[place], because)


def _because(store: Store, page: Row, old: Edition, new: Edition) -> Iterator[str]:
    """Every reason for which a later page says something else, or might have; one sentence each."""
    key = (page["house"], page["wall"]) if page["wall"] else None
    since, until = old.run.known_until, new.run.known_until
    yield from _rulings(store, key, since, until)
    yield from _readings(store, key, since, until)
    yield from _register(store, key, since, until)
    decisions = _between(store.office.decisions(), since, until)
    count = _of_wall(decisions, key).num_rows
    if count:
        yield f"{count} {'decision was' if count == 1 else 'decisions were'} made{_about(key)}."
    if new.run.judged_on != old.run.judged_on:
        yield f"It is judged for a later day: {new.run.judged_on} instead of {old.run.judged_on}."
    yield from _settings(store, old, new)
    if key and (told := new.news.get(key)) != (before := old.news.get(key)) and told and before:
        yield "What waited to be told by phone was told." if before.waits and not told.waits else "Its news changed."
    if new.company != old.company:
        yield "What the company says of itself changed."
    if new.code_version != old.code_version:
        yield f"It was written by version {new.code_version} of the program instead of {old.code_version}."


def _rulings(store: Store, key: tuple[str, str] | None, since: datetime, until: datetime) -> Iterator[str]:
    rows = _between(store.facts("rulings"), since, until).to_pylist()
    if not rows:
        return
    readings = store.facts("readings", walls=[key] if key else None)
    wanted = pc.is_in(readings["reading_id"], value_set=pa.array([row["reading_id"] for row in rows], pa.string()))
    places = {row["reading_id"]: row for row in readings.filter(wanted).to_pylist()}
    said = {Act.CORRECT: "corrected", Act.REJECT: "rejected", Act.RELEASE: "released", Act.WITHDRAW: "ruled on anew"}
    for row in rows:
        if reading := places.get(row["reading_id"]):
            value = f" to {row['value_raw']} {row['unit']}" if row["act"] == Act.CORRECT else ""
            wall = "" if key else f" of {keys.written(reading['house'], reading['wall'])}"
            yield (
                f"The reading{wall} of {reading['visit_date']} at mark {reading['mark']} was {said[Act(row['act'])]}"
                f"{value} on {row['known_at']:%Y-%m-%d}: {row['why']}"
            )


def _readings(store: Store, key: tuple[str, str] | None, since: datetime, until: datetime) -> Iterator[str]:
    rows = _between(store.facts("readings", walls=[key] if key else None), since, until)
    days = sorted({day for day in rows["visit_date"].to_pylist() if day})
    if days:
        visits = f"{days[0]}" if len(days) == 1 else f"{len(days)} days from {days[0]} to {days[-1]}"
        yield f"{rows.num_rows} readings{_about(key)} came in since, of {visits}."


def _register(store: Store, key: tuple[str, str] | None, since: datetime, until: datetime) -> Iterator[str]:
    for table, words in _REGISTER.items():
        rows = _between(store.facts(table), since, until)
        if _of_wall(rows, key).num_rows:
            yield f"The register changed: {words if key else table}."


def _settings(store: Store, old: Edition, new: Edition) -> Iterator[str]:
    if old.run.settings_sha256 == new.run.settings_sha256:
        return
    before, after = runs.settings_of(store, old.run), runs.settings_of(store, new.run)
    if before is None or after is None:
        yield "The settings changed."
        return
    rules = structs.asdict(after.rules)
    changed = [name for name, value in structs.asdict(before.rules).items() if rules[name] != value]
    if changed:
        yield f"Thresholds or rules changed: {', '.join(changed)}."
    if before.variances != after.variances:
        yield "The company's own repeatability was estimated anew."


def _between(rows: pa.Table, since: datetime, until: datetime) -> pa.Table:
    """Rows that became known after one moment, up to another."""
    known = views.known_by(rows, until)
    return known.filter(pc.greater(known["known_at"], pa.scalar(since, rows.schema.field("known_at").type)))


def _of_wall(rows: pa.Table, key: tuple[str, str] | None) -> pa.Table:
    for name, value in zip(("house", "wall"), key or (), strict=False):
        if name in rows.column_names:
            rows = rows.filter(pc.equal(rows[name], pa.scalar(value)))
    return rows


def _about(key: tuple[str, str] | None) -> str:
    return " about this wall" if key else ""
