"""Pages as they were: an earlier edition written again from the facts alone, and held to the ledger."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from monitor import __version__
from monitor.errors import NotFoundError
from monitor.pipeline import editions, list_rows, publishing, runs
from monitor.pipeline.editions import Edition
from monitor.pipeline.publishing import Progress
from monitor.pipeline.runs import Run
from monitor.records import dataclass
from monitor.store import Store


@dataclass(frozen=True)
class Rebuilt:
    """Pages written again. equal: how many are byte for byte those published; differing: names of those that are not.

    Where the edition was never published, all pages are new: neither equal nor differing.
    """

    edition: Edition
    written: Sequence[Path]
    equal: int
    differing: Sequence[str]

    @property
    def by_other_version(self) -> bool:
        """Whether another version of the program wrote the edition first: its bytes may differ."""
        return self.edition.code_version != __version__


def rebuild(
    store: Store, to: Path, *, known_on: datetime, month: str | None = None, progress: Progress | None = None
) -> Rebuilt:
    """Write the newest pages that were made from what was known at a moment, of one month or of any.

    Nothing goes onto the ledger. Raises NotFoundError where no assessment had been made from what was known by then.
    """
    edition = known_by(store, known_on, month)
    written, made = publishing.write(store, edition, to, progress=progress)
    published = {(row["page"], row["sha256"]) for row in store.office.rows("pages", edition_id=edition.edition_id)}
    there = {page for page, _ in published}
    pages = [(row["page"], row["sha256"]) for row in made if row["page"] in there]
    differing = [page for page, page_sha256 in pages if (page, page_sha256) not in published]
    return Rebuilt(edition, written, len(pages) - len(differing), differing)


def known_by(store: Store, known_on: datetime, month: str | None = None) -> Edition:
    """The edition that was the newest when only so much was known; of one month or of any.

    An assessment that was never published counts too, as if it had been published when it was known.
    """
    published = editions.on_record(store)
    ours = {edition.run for edition in published}
    found = [*published, *(_never_published(run) for run in runs.on_record(store).values() if run not in ours)]
    found = [
        edition
        for edition in found
        if edition.run.known_until <= known_on and edition.run.judged_on.isoformat().startswith(month or "")
    ]
    if not found:
        raise NotFoundError(
            f"No assessment{f' of {month}' if month else ''} was made from what was known by then.",
            got=f"{known_on:%Y-%m-%d %H:%M} UTC",
            mend="Make one with `wallbow assess --on DAY --known-on DATE`.",
        )
    newest = max(edition.days for edition in found)
    same = [edition for edition in found if edition.days == newest]
    by_then = [edition for edition in same if edition.published_at <= known_on]
    chosen = max(by_then, key=_published) if by_then else min(same, key=_published)
    if chosen in published:
        return chosen
    return editions.as_of(store, chosen.run, list_rows.places(store, chosen.run), chosen.published_at)


def _never_published(run: Run) -> Edition:
    """With nothing but what it is chosen by."""
    return Edition(run=run, earlier=(), company={}, code_version=__version__, published_at=run.known_until)


def _published(edition: Edition) -> datetime:
    return edition.published_at
