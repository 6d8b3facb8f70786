"""The newest list with the walls in it that were assessed again since, as readings came in or were ruled on.

They are judged for the day on which that was done, from what was known then. No assessment on record has them in: what
is published rests on the next whole one. Alerts do not wait for it.
"""

from collections.abc import Collection, Iterable, Sequence

import pyarrow as pa
import pyarrow.compute as pc

from monitor import schema
from monitor.pipeline import keys, list_rows
from monitor.pipeline.as_judged import as_judged
from monitor.records import dataclass, replace
from monitor.report.context import Book
from monitor.report.placing import SPOKEN, items, sections
from monitor.results import Assessment
from monitor.store import Store
from monitor.store.again import Again, is_in
from monitor.store.generations import Wall
from monitor.store.tiers import is_of

_SHOWN = 8


@dataclass(frozen=True)
class Changed:
    """A wall assessed again: house-wall, where it stood on the list and stands now (as sentences name it), and why.

    before: '' where it was not judged then. reason: of its verdict.
    """

    wall: str
    before: str
    now: str
    judged_on: str
    reason: str


def of(store: Store, assessment: Assessment, walls: Collection[Wall] | None = None) -> list[Again]:
    """Walls, of some or of all, assessed again since an assessment; none where that is not the newest."""
    if assessment.judged_on not in store.assessments()[-1:]:
        return []
    return [each for each in store.again(walls) if not is_in(each, assessment)]


def alone(store: Store, assessment: Assessment, wall: Wall) -> Assessment | None:
    """The results of one wall as it was assessed again since an assessment; None where it was not."""
    found = of(store, assessment, [wall])
    return _results(found, schema.RESULTS) if found else None


def not_published(store: Store, assessment: Assessment) -> str:
    """Walls that pages of an assessment do not show as they were assessed again since, for people; '' for none."""
    found = of(store, assessment)
    if not found:
        return ""
    urgency = list(SPOKEN)
    stand = items(_results(found, list_rows.TABLES), only={each.wall for each in found}).pairs()
    ranked = sorted(stand, key=lambda pair: (urgency.index(pair[1].section), pair[0]))
    said = ", ".join(f"{keys.written(*wall)} ({SPOKEN[item.section]})" for wall, item in ranked[:_SHOWN])
    more = f" and {len(ranked) - _SHOWN} more (`wallbow flagged` has them)" if len(ranked) > _SHOWN else ""
    return (
        f"Assessed again since the list of {assessment.judged_on}, and not so on these pages: {said}{more}. "
        "Run `wallbow assess`, then `wallbow reports`, before a page of theirs is handed on."
    )


def _results(found: Sequence[Again], tables: Iterable[str]) -> Assessment:
    """Results of walls that were assessed again; the day and moment are those of the last of them."""
    last = max(found, key=lambda each: (each.judged_on, each.known_until))
    rows = {name: pa.concat_tables([each.table(name) for each in found]) for name in tables}
    return Assessment(last.judged_on, last.known_until, settings_sha256="", facts_sha256="", **rows)


def over(store: Store, book: Book) -> tuple[Book, Sequence[Changed]]:
    """The book of the newest list (publishing.book_of_list) with those walls in it, and what changed by that."""
    found = of(store, book.assessment)
    if not found:
        return book, ()
    walls = [each.wall for each in found]
    whole = _over(book.assessment, found)
    facts = dict(book.facts)
    come = store.current("walls", walls=walls).select(facts["walls"].column_names)
    facts["walls"] = _exchanged(facts["walls"], come, walls)
    register = None if book.register is None else _exchanged(book.register, come.select(["house", "wall"]), walls)
    known_on = book.assessment.known_until  # what a list says of a wall that left it, it says as known then
    for name in ("marks", "events"):
        facts[name] = _exchanged(facts[name], store.current(name, known_on=known_on, walls=walls), walls)
    readings = as_judged(store.readings(known_on=known_on, walls=walls), book.assessment)
    facts["readings"] = _exchanged(facts["readings"], readings, walls)
    return replace(book, assessment=whole, facts=facts, register=register), _changed(book.assessment, whole, found)


def _over(assessment: Assessment, found: Sequence[Again]) -> Assessment:
    walls = [each.wall for each in found]
    tables = {"quiet": assessment.quiet.filter(_others(assessment.quiet, walls))}
    for name in list_rows.TABLES:
        rows = getattr(assessment, name)
        come = pa.concat_tables([each.table(name).select(rows.column_names) for each in found])
        tables[name] = _exchanged(rows, come, walls)
    return replace(assessment, **tables)


def _exchanged(rows: pa.Table, come: pa.Table, walls: Sequence[tuple[str, str]]) -> pa.Table:
    return pa.concat_tables([rows.filter(_others(rows, walls)), come.cast(rows.schema)])


def _others(rows: pa.Table, walls: Sequence[tuple[str, str]]) -> pa.Array:
    return pc.invert(is_of(rows, walls))


def _changed(before: Assessment, now: Assessment, found: Sequence[Again]) -> list[Changed]:
    walls = {each.wall for each in found}
    stood, stand = sections(before, walls), dict(items(now, only=walls).pairs())
    return [
        Changed(
            wall=keys.written(*each.wall),
            before=SPOKEN[stood[each.wall]] if each.wall in stood else "",
            now=SPOKEN[stand[each.wall].section],
            judged_on=each.judged_on.isoformat(),
            reason=str((stand[each.wall].result or {}).get("reason", "")),
        )
        for each in found
        if each.wall in stand
    ]
