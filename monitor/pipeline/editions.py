"""What was published: each edition of pages with all that it was made from, and the ledger of its pages."""

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from monitor import __version__
from monitor.pipeline import phoned_first, runs
from monitor.pipeline.runs import Run
from monitor.records import asdict, dataclass, field
from monitor.report.context import Key, News
from monitor.results import Assessment
from monitor.store import Store

Row = Mapping[str, Any]
_PRINTED = ("name", "contact")
"""What pages say of the company."""


@dataclass(frozen=True)
class Edition:
    """One set of pages: the assessment it shows, those of the earlier lists it tells of, newest first, and the company.

    news: bad news by wall, and whether its homeowner was told when the pages were published.
    published_at: when it was first published; not in any page, it tells which pages were there before.
    """

    run: Run
    earlier: Sequence[Run] = field(repr=False)
    company: Mapping[str, str]
    code_version: str
    published_at: datetime
    news: Mapping[Key, News] = field(default_factory=dict, repr=False)

    @property
    def edition_id(self) -> str:
        """16 hex digits, from all but when it was published."""
        news = {"news": json.dumps([_news_row(*item) for item in sorted(self.news.items())], default=str)}
        return runs.row_id(self._made_from() | (news if self.news else {}))

    @property
    def days(self) -> tuple[date, datetime]:
        """Day judged for, and until when all was known: a later edition is later in one of them, earlier in none."""
        return self.run.judged_on, self.run.known_until

    def _made_from(self) -> dict[str, str]:
        return {
            "run_id": self.run.run_id,
            "earlier_run_ids": " ".join(run.run_id for run in self.earlier),
            "company": json.dumps(dict(sorted(self.company.items())), ensure_ascii=False),
            "code_version": self.code_version,
        }

    def row(self) -> dict[str, Any]:
        """As a row of schema.EDITIONS."""
        return {"edition_id": self.edition_id, **self._made_from(), "known_at": self.published_at}


def of(store: Store, assessment: Assessment, published_at: datetime) -> Edition:
    """The edition of an assessment as it would be published now; where it was published before, as it was then."""
    run = runs.of(store, assessment)
    made = as_of(store, run, assessment, published_at)
    return next((found for found in on_record(store) if found.edition_id == made.edition_id), made)


def last_published(store: Store, assessment: Assessment) -> Edition:
    """The newest edition of an assessment that this version published, else as published when it was made."""
    run = runs.of(store, assessment)
    ours = [found for found in on_record(store) if found.run == run and found.code_version == __version__]
    return ours[-1] if ours else of(store, assessment, assessment.known_until)


def as_of(store: Store, run: Run, assessment: Assessment, published_at: datetime) -> Edition:
    """The edition of a run as it would have been published at a moment."""
    earlier = tuple(runs.before(store, run.judged_on, run.known_until))
    company = store.office.company()
    return Edition(
        run=run,
        earlier=earlier,
        company={name: company[name] for name in _PRINTED if name in company},
        code_version=__version__,
        published_at=published_at,
        news=phoned_first.news(store, assessment, earlier, published_at),
    )


def on_record(store: Store) -> list[Edition]:
    """All editions, in the order they were published."""
    known = runs.on_record(store)
    news: dict[str, dict[Key, News]] = {}
    for row in store.office.rows("news"):
        told = {name: row[name] for name in ("since", "goes_out_on", "waits", "told_on", "told_by")}
        news.setdefault(row["edition_id"], {})[row["house"], row["wall"]] = News(**told)
    return [
        Edition(
            run=known[row["run_id"]],
            earlier=tuple(known[run_id] for run_id in row["earlier_run_ids"].split()),
            company=json.loads(row["company"]),
            code_version=row["code_version"],
            published_at=row["known_at"],
            news=news.get(row["edition_id"], {}),
        )
        for row in store.office.rows("editions")
    ]


def supersedes(store: Store, edition: Edition) -> dict[str, Row]:
    """By file name, the page before: of the newest edition then published that has it and is older in what it knew.

    Each with its report number, the day it was judged for and until when all was known.
    """
    older = [
        other
        for other in on_record(store)
        if other.published_at < edition.published_at and other.days != edition.days and _is_not_after(other, edition)
    ]
    found: dict[str, Row] = {}
    for other in sorted(older, key=lambda other: (*other.days, other.published_at)):
        said = {"judged_on": other.run.judged_on, "known_until": other.run.known_until}
        for row in store.office.rows("pages", edition_id=other.edition_id):
            if row["known_at"] < edition.published_at:
                found[row["page"]] = {"report_number": row["report_number"], **said}
    return found


def superseding(store: Store, edition: Edition) -> list[Edition]:
    """Editions that took the place of one, in the order in which they did; the last is the one that stands."""
    later = [
        other
        for other in on_record(store)
        if other.edition_id != edition.edition_id
        and _is_not_after(edition, other)
        and (other.days != edition.days or other.published_at > edition.published_at)
    ]
    return sorted(later, key=lambda other: (*other.days, other.published_at))


def record(store: Store, edition: Edition, pages: Sequence[Row], at: datetime | None = None) -> None:
    """Put an edition and its pages on record.

    pages: report_number, page, house, wall, sha256 and supersedes of each; one that is on record already stays.
    at: when they were shown, where that was later than the first page of the edition.
    """
    when = {"edition_id": edition.edition_id, "known_at": edition.published_at}
    every = {run.run_id: runs.row_of(run, run.known_until) for run in (edition.run, *edition.earlier)}
    store.office.add({
        "runs": list(every.values()),
        "editions": [edition.row()],
        "news": [{**_news_row(*item), **when} for item in edition.news.items()],
        "pages": [{**page, **when, "known_at": at or edition.published_at} for page in pages],
    })  # fmt: skip


def is_recorded(store: Store, edition: Edition, pages: Sequence[Row]) -> bool:
    """Whether all pages of an edition are on record."""
    known = {(row["page"], row["sha256"]) for row in store.office.rows("pages", edition_id=edition.edition_id)}
    return {(page["page"], page["sha256"]) for page in pages} <= known


def _news_row(key: Key, news: News) -> dict[str, Any]:
    return {"house": key[0], "wall": key[1], **asdict(news)}


def _is_not_after(one: Edition, other: Edition) -> bool:
    return one.run.judged_on <= other.run.judged_on and one.run.known_until <= other.run.known_until
