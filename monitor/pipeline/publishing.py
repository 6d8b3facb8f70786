"""An assessment to pages in a folder, and onto the ledger; the only place where the store meets the report room."""

import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from monitor import __version__, schema
from monitor.errors import ReportError, Where
from monitor.pipeline import (
    damaged,
    editions,
    list_rows,
    modelling,
    page_files,
    page_set,
    past_lists,
    photo_files,
    photos,
    runs,
)
from monitor.pipeline import keys as written_keys
from monitor.pipeline.as_judged import as_judged
from monitor.pipeline.assessing import made_again, settings_of
from monitor.pipeline.editions import Edition
from monitor.records import dataclass, replace
from monitor.report import names, placing
from monitor.report.context import Book, Key, Row
from monitor.report.engineer_sheet import Model
from monitor.report.monthly_rows import SHOWN
from monitor.report.placing import open_places
from monitor.results import Assessment
from monitor.store import Store, files
from monitor.terms import Act

Progress = Callable[[int, int], None]

_NUMBER = re.compile(rb'<meta name="report-number" content="([0-9a-f-]+)">')
_ONLY_ONCE = 8
"""Files beside those of the walls."""


def book_of(
    store: Store,
    assessment: Assessment,
    previous: Assessment | None = None,
    *,
    walls: Collection[Key] | None = None,
    shown: Collection[Key] | None = None,
) -> Book:
    """Everything that pages are made of, as known when the assessment was made; readings of some walls or of all.

    shown: where given, the walls whose row of the register is read, of all others no more than that they are there;
    marks and events are read of those walls whose readings are.
    """
    known_on = assessment.known_until
    settings = settings_of(store, runs.of(store, assessment))
    of = {} if shown is None else dict.fromkeys(schema.FACTS, walls) | {"walls": shown}
    facts = {
        name: store.current(name, known_on=known_on, walls=of.get(name)) for name in schema.FACTS if name != "readings"
    }
    register = None if shown is None else store.registered(known_on)
    facts["readings"] = as_judged(store.readings(known_on=known_on, walls=walls), assessment)
    pictures = photos.standing(store, known_on)
    return Book(
        facts=facts,
        decisions=store.office.decisions(known_on=known_on),
        assessment=assessment,
        previous=previous,
        company=store.office.company(),
        rules=settings.rules,
        code_version=__version__,
        variances=settings.variances,
        received=_received(store, facts["rulings"], known_on, walls),
        photos=pictures,
        photos_unfound=photos.unfound(photos.naming(facts["readings"]), pictures),
        damaged=damaged.sentences(store, written_keys.of(facts["walls"] if register is None else register))
        if store.unread
        else (),
        register=register,
    )


def book_of_list(store: Store, assessment: Assessment, at: datetime | None = None) -> Book:
    """The same with the lists before: what is new, still open or closed, and for how long; of the walls that it shows.

    assessment: its tables are read here, whichever of them it has. at: the moment for which it is told whether
    homeowners know; as known when the assessment was made where left out.
    """
    last = past_lists.last_list(store, assessment)
    previous = list_rows.shown(store, last)[0] if last else None
    before = open_places(previous) if previous else {}
    judged, shown = list_rows.shown(store, runs.of(store, assessment), previous, before)
    now = open_places(judged)
    store.look_at_readings({*now, *before})  # a list tells of damage to walls that ask, but shows no reading of them
    content = book_of(store, judged, previous, walls=before.keys() - now.keys(), shown=shown)
    facts = {**content.facts, "walls": content.facts["walls"].select(SHOWN["walls"])}
    edition = editions.of(store, judged, at or judged.known_until)
    return replace(content, facts=facts, lists=past_lists.past_lists(store, judged), news=edition.news)


def book_of_wall(store: Store, assessment: Assessment, wall: Key) -> Book:
    """The book of one wall alone; `assessment`: its own results, or those of all."""
    return book_of(store, assessment, walls=[wall], shown=[wall])


def book_of_plan(store: Store, content: Book) -> Book:
    """A list's book with what the visit plan says of all walls."""
    run = runs.of(store, content.assessment)
    tables = {"wall_results": placing.COLUMNS["wall_results"]}
    judged = made_again(store, run, ("wall_results", "findings", "plan"), columns=tables, having=placing.HAVING)
    walls = store.current("walls", known_on=judged.known_until)
    return replace(content, assessment=judged, facts={**content.facts, "walls": walls}, register=None)


def _received(store: Store, rulings: pa.Table, known_on: datetime, walls: Collection[Key] | None) -> dict[str, Row]:
    """Readings that somebody corrected, as they first came in: the effective reading bears the new value."""
    corrected = set(rulings.filter(pc.equal(rulings["act"], Act.CORRECT.value))["reading_id"].to_pylist())
    if not corrected:
        return {}
    rows = store.facts("readings", known_on=known_on, walls=walls)
    found = rows.filter(pc.is_in(rows["reading_id"], value_set=pa.array(sorted(corrected), pa.string()))).to_pylist()
    by_time = sorted(found, key=lambda row: row["known_at"], reverse=True)
    return {row["reading_id"]: row for row in by_time}


def book_of_edition(store: Store, edition: Edition, wall: Key | None = None) -> Book:
    """The book of a set of pages, whenever it is asked for: from the facts known then, and what is on record.

    wall: where given, the pages of this wall alone can be made of it, and are the same; of other walls no more is read
    than where they stand.
    """
    from monitor.pipeline.component_movement import component_movement  # with the trend room: lists need neither
    from monitor.pipeline.first_totals import first_totals

    walls = None if wall is None else [wall]
    assessment = made_again(store, edition.run, walls=walls)
    last = past_lists.last_list(store, assessment, edition.earlier)
    previous = made_again(store, last, walls=walls) if last else None
    content = book_of(store, assessment, previous, walls=walls, shown=walls)
    places = assessment if wall is None else list_rows.places(store, edition.run)
    return replace(
        content,
        lists=past_lists.past_lists(store, places, edition.earlier),
        company=edition.company,
        supersedes=editions.supersedes(store, edition),
        first_totals=first_totals(content.facts),
        components=component_movement(content),
        past=past_lists.past_states(store, edition.earlier),
        news=edition.news,
    )


@dataclass(frozen=True)
class Published:
    """The files that were written, and why their pages are not on the ledger ('' where they are)."""

    files: Sequence[Path]
    unrecorded: str = ""


def publish(
    store: Store, assessment: Assessment, to: Path, *, published_at: datetime, progress: Progress | None = None
) -> Published:
    """Write index, monthly list (also as CSV and XLSX), plan, repeatability and the pages of each wall into a folder.

    What was written goes onto the ledger of published pages, as published at that moment; not so where parts of the
    store are damaged, or nothing can be written to it.
    """
    edition = editions.of(store, assessment, published_at)
    written, ledger = write(store, edition, to, progress=progress)
    return Published(written, _recorded(store, edition, ledger))


def _recorded(store: Store, edition: Edition, pages: Sequence[Row], at: datetime | None = None) -> str:
    """Put pages on the ledger, or say why they are not."""
    if store.unread:
        return "Parts of the store are damaged, so these pages are not on its ledger. Mend it and write them again."
    if store.is_read_only and not editions.is_recorded(store, edition, pages):
        return "The store is read-only here, so these pages are not on its ledger: `verify` does not know them."
    if not store.is_read_only:
        editions.record(store, edition, pages, at)
    return ""


def write(
    store: Store, edition: Edition, to: Path, *, progress: Progress | None = None
) -> tuple[list[Path], list[dict[str, Any]]]:
    """Write the pages of an edition into a folder; returns the files, and the rows that the ledger has of them."""
    content = book_of_edition(store, edition)
    written: list[Path] = []
    sums: dict[str, str] = {}
    numbers: dict[str, str] = {}
    keys = damaged.whole(store, names.wall_keys(content))
    place = to
    try:
        to.mkdir(parents=True, exist_ok=True)
        written_photos, lost = photo_files.write(store, content.photos, to)  # first: no page names one not there
        if lost:
            rest = [row for row in content.photos if row["photo_id"] not in lost]
            content = replace(content, photos=rest, damaged=damaged.sentences(store, content.walls))
        for done, (name, data) in enumerate(_all_pages(content, keys), start=1):
            place = to / name
            written.append(page_files.write(place, data))
            sums[name] = files.sha256(data)
            if found := number_in(data):
                numbers[name] = found
            if progress:
                progress(done, _ONLY_ONCE + len(names.KINDS) * len(keys))
    except OSError as error:
        raise ReportError(
            "A page could not be written; none of these pages is on the ledger.",
            where=Where(file=str(error.filename or place)),
            got=error.strerror or str(error),
            mend="Choose another folder with --to, or make room there.",
        ) from error
    return [*written, *written_photos], _ledger(content, sums, numbers)


def show_one(
    store: Store,
    edition: Edition,
    content: Book,
    name: str,
    shown_at: datetime,
    addresses: Mapping[str, str] | None = None,
) -> bytes | None:
    """One page of an edition by its file name, put onto the ledger as it is shown; None where there is none.

    content: `book_of_edition` of that very edition. addresses: of other pages, in place of their file names.
    """
    data = page_set.one(content, name)
    for page, address in (addresses or {}).items():
        data = data.replace(f'href="{page}"'.encode(), f'href="{address}"'.encode()) if data else data
    number = number_in(data) if data else ""
    if data and number:
        _recorded(store, edition, _ledger(content, {name: files.sha256(data)}, {name: number}), shown_at)
    return data


def number_in(data: bytes) -> str:
    """The report number that a page bears; '' where it bears none."""
    found = _NUMBER.search(data)
    return found[1].decode() if found else ""


def _ledger(content: Book, sums: Mapping[str, str], numbers: Mapping[str, str]) -> list[dict[str, Any]]:
    rows = []
    for name, page_sha256 in sums.items():
        number = numbers.get(names.NUMBER_OF.get(name, name))
        if number:
            house, wall = names.wall_of(name) or ("", "")
            before = content.supersedes.get(name)
            rows.append({
                "report_number": number,
                "page": name,
                "house": house,
                "wall": wall,
                "sha256": page_sha256,
                "supersedes": before["report_number"] if before else "",
            })  # fmt: skip
    return rows


def _all_pages(content: Book, keys: list[tuple[str, str]]) -> Iterator[tuple[str, bytes]]:
    for name, make in page_set.of_all(content).items():
        yield name, make()
    for key, model in zip(keys, modelling.models(content, keys), strict=True):
        for name, make in page_set.of_wall(content, key, partial(_given, model)).items():
            yield name, make()


def _given(model: Model) -> Model:
    return model
