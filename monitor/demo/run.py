"""The demo from raw files to pages: what a company does in three years, replayed in the order of sending."""

import csv
import shutil
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, time
from pathlib import Path

from monitor import store as stores
from monitor.demo import files
from monitor.errors import NotFoundError, StoreError, Where
from monitor.pipeline import assessing, intake, photo_intake, photos, publishing, repeatability, review
from monitor.pipeline.intake import Taken
from monitor.pipeline.photo_intake import Fate, Given, Shown
from monitor.records import dataclass
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Act, PhotoAct, Step

JUDGED_ON = (date(2026, 3, 31), date(2026, 4, 30))
"""The last month's list and this month's."""
PUBLISHED_AT = datetime(2026, 5, 1, 9, 0, tzinfo=UTC)
"""When the pages of the last list are written: the morning after, once bad news has been phoned."""
COMPANY = {"name": "the demo firm", "contact": "555-0100"}
_MARK = "made-by-the-demo.txt"

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Done:
    """What the demo made: its store, what became of each file as sent, the last assessment, the index page."""

    store: Store
    taken: Sequence[Taken]
    assessment: Assessment
    index: Path


def run(sent: Path, to: Path, *, progress: Progress | None = None) -> Done:
    """Replay the raw files of a folder into a fresh store in `to`, judge, and write the pages beside it.

    `sent` is made first where it does not exist. `to` is emptied only if an earlier demo made it: StoreError otherwise.
    """
    if not sent.exists():
        files.write(sent)
    _fresh(to)
    store = stores.create(to / "store", company=COMPANY, created_at=datetime(2023, 4, 1, tzinfo=UTC))
    actions = _in_order(sent)
    taken: list[Taken] = []
    for number, (moment, row) in enumerate(actions, start=1):
        if "step" in row:
            _decide(store, row, moment)
        elif "photo" in row:
            _photo(store, sent / "photos" / row["photo"], row, moment)
        elif "act" in row:
            _rule(store, row, moment)
        else:
            taken += _take(store, sent / row["file"], row, moment)
        if progress:
            progress(number, len(actions) + len(JUDGED_ON))
    for number, day in enumerate(JUDGED_ON, start=1):
        known_on = _end_of(day)
        repeatability.estimate(store, judged_on=day, known_on=known_on, made_at=known_on)
        assessment = assessing.assess(store, judged_on=day, known_on=known_on)
        if progress:
            progress(len(actions) + number, len(actions) + len(JUDGED_ON))
    written = publishing.publish(store, assessment, to / "pages", published_at=PUBLISHED_AT).files
    return Done(store, taken, assessment, written[0])


def _end_of(day: date) -> datetime:
    return datetime.combine(day, time.max, tzinfo=UTC)


def _fresh(to: Path) -> None:
    if to.exists() and any(to.iterdir()):
        if not (to / _MARK).exists():
            raise StoreError(
                "This folder holds something that the demo did not make; it is left as it is.",
                where=Where(file=str(to)),
                mend="Give another folder with --to.",
            )
        shutil.rmtree(to)
    to.mkdir(parents=True, exist_ok=True)
    (to / _MARK).write_text("The demo made this folder and empties it when it runs again.\n", encoding="utf-8")


def _in_order(sent: Path) -> list[tuple[datetime, dict[str, str]]]:
    """Files sent, rulings, decisions and what was done with photos, by time; of one time, files first and as listed."""
    actions = [(_moment(row["sent at"]), row) for row in _rows(sent / "sent.csv")]
    actions += [(_moment(row["ruled at"]), row) for row in _rows(sent / "rulings.csv")]
    actions += [(_moment(row["decided at"]), row) for row in _rows(sent / "decisions.csv")]
    actions += [(_moment(row["at"]), row) for row in _rows(sent / "photos.csv")]
    return sorted(actions, key=lambda action: action[0])


def _take(store: Store, path: Path, row: dict[str, str], moment: datetime) -> list[Taken]:
    data = path.read_bytes()
    if row["kind"] == "register":
        return intake.take_register(store, path.name, data, received_at=moment, sender=row["sender"])
    return [intake.take_readings(store, path.name, data, received_at=moment, sender=row["sender"], today=moment.date())]


def _rule(store: Store, row: dict[str, str], moment: datetime) -> None:
    """A ruling as the office writes it: by house, wall, visit, set-up and mark rather than by the reading's id."""
    rows = store.readings(known_on=moment, walls=[(row["house"], row["wall"])]).to_pylist()
    named = (row["visit date"], row["part"], row["set-up"], row["mark"])
    found = [
        reading["reading_id"]
        for reading in rows
        if (str(reading["visit_date"]), reading["part"], str(reading["setup"]), reading["mark"]) == named
    ]
    if len(found) != 1:
        raise NotFoundError(
            f"{len(found)} readings are meant by this ruling.",
            where=Where(file="rulings.csv", wall=f"{row['house']}-{row['wall']}"),
            got=", ".join(named),
            expected="one reading",
        )
    review.rule(
        store,
        found[0],
        Act(row["act"]),
        who=row["who"],
        why=row["why"],
        value=row["value"],
        unit=row["unit"],
        made_at=moment,
    )


def _decide(store: Store, row: dict[str, str], moment: datetime) -> None:
    review.decide(
        store,
        row["wall"],
        Step(row["step"]),
        who=row["who"],
        why=row["why"],
        owner=row["owner"],
        due=date.fromisoformat(row["due"]),
        made_at=moment,
        today=moment.date(),
    )


def _photo(store: Store, path: Path, row: dict[str, str], moment: datetime) -> None:
    """A photo tied to readings, or released, as the office does it."""
    if row["act"] != "tie":
        [photo] = [photo for photo in photos.standing(store, moment) if photo["file_name"] == path.name]
        photos.rule(store, photo["photo_id"], PhotoAct(row["act"]), who=row["who"], why=row["why"], made_at=moment)
        return
    visit = date.fromisoformat(row["visit date"]) if row["visit date"] else None
    shown = Shown(row["house"], row["wall"], visit, row["mark"])
    taken = photo_intake.tie(
        store, [Given(path.name, path.read_bytes)], shown, who=row["who"], note=row["why"], made_at=moment
    )
    if not taken.count(Fate.TIED):
        raise StoreError("A photo of the demo could not be tied.", got=taken.outcomes[0].why)


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _moment(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
