"""An assessment to HTML files in a folder; the only place where the store meets the report room."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from monitor import __version__, schema
from monitor.errors import ReportError
from monitor.pipeline import past_lists
from monitor.pipeline.as_judged import as_judged
from monitor.pipeline.assessing import settings_on
from monitor.report import monthly_files, names, pages
from monitor.report.context import Book, Row
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Act

Progress = Callable[[int, int], None]


def book_of(store: Store, assessment: Assessment, previous: Assessment | None = None) -> Book:
    """Everything that pages are made of, as known when the assessment was made."""
    known_on = assessment.known_until
    settings = settings_on(store, assessment.judged_on, known_on)
    facts = {name: store.current(name, known_on=known_on) for name in schema.FACTS if name != "readings"}
    facts["readings"] = as_judged(store.readings(known_on=known_on), assessment)
    return Book(
        facts=facts,
        decisions=store.office.decisions(known_on=known_on),
        assessment=assessment,
        previous=previous,
        company=store.office.company(),
        rules=settings.rules,
        code_version=__version__,
        variances=settings.variances,
        received=_received(store, facts["rulings"], known_on),
    )


def book_of_list(store: Store, assessment: Assessment) -> Book:
    """The same with the lists before: what is new, still open or closed, and for how long."""
    content = book_of(store, assessment, past_lists.last_list(store, assessment))
    return replace(content, lists=past_lists.past_lists(store, assessment))


def _received(store: Store, rulings: pa.Table, known_on: datetime) -> dict[str, Row]:
    """Readings that somebody corrected, as they first came in: the effective reading bears the new value."""
    corrected = set(rulings.filter(pc.equal(rulings["act"], Act.CORRECT.value))["reading_id"].to_pylist())
    if not corrected:
        return {}
    rows = store.facts("readings", known_on=known_on)
    found = rows.filter(pc.is_in(rows["reading_id"], value_set=pa.array(sorted(corrected), pa.string()))).to_pylist()
    by_time = sorted(found, key=lambda row: row["known_at"], reverse=True)
    return {row["reading_id"]: row for row in by_time}


def publish(store: Store, assessment: Assessment, to: Path, *, progress: Progress | None = None) -> list[Path]:
    """Write index, monthly list, repeatability and two pages per wall into a folder; returns what was written."""
    content = book_of_list(store, assessment)
    try:
        to.mkdir(parents=True, exist_ok=True)
        written = []
        keys = names.wall_keys(content)
        for done, (name, data) in enumerate(_all_pages(content, keys), start=1):
            written.append(_write(to / name, data))
            if progress:
                progress(done, 7 + 2 * len(keys))
    except OSError as error:
        raise ReportError(
            "A page could not be written.",
            got=f"{error.filename or to}: {error.strerror}",
            mend="Choose another folder with --to, or make room there.",
        ) from error
    return written


def _all_pages(content: Book, keys: list[tuple[str, str]]) -> Iterator[tuple[str, bytes]]:
    yield names.INDEX, pages.index(content)
    yield names.MONTHLY_LIST, pages.monthly_list(content)
    yield names.MONTHLY_CSV, monthly_files.monthly_csv(content)
    yield names.MONTHLY_XLSX, monthly_files.monthly_xlsx(content)
    yield names.PLAN, pages.visit_plan(content)
    yield names.REPEATABILITY, pages.repeatability(content)
    yield names.SCRIPT, pages.plotly_script()
    for house, wall in keys:
        yield names.page_name(house, wall, "wall"), pages.wall_page(content, house, wall)
        yield names.page_name(house, wall, "homeowner"), pages.homeowner_page(content, house, wall)


def _write(path: Path, data: bytes) -> Path:
    """A reader of the folder sees the old page or the new one, never half of one."""
    temporary = path.with_name(f".{path.name}.part")
    temporary.write_bytes(data)
    return temporary.replace(path)
