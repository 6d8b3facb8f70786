"""Alerts put on record, once per event: from every assessment made, walls assessed again, and the readings held.

Which assessments were looked through is on record in the same transaction as what they brought. So a kill at any
moment loses nothing: whoever looks next (`assess`, `ingest`, `tell`, `alerts`, the service) does what is left, and
comes to the same alerts, since an alert's id is made from what it is about.
"""

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from typing import Any

from monitor.errors import BowError, StoreError
from monitor.pipeline import runs
from monitor.pipeline.alert_events import COLUMNS, Event, Place, Seen, like, of_again, of_assessment, of_held
from monitor.pipeline.assessing import made_again
from monitor.pipeline.runs import Run, row_id
from monitor.records import dataclass, field, replace
from monitor.store import Store
from monitor.store.again import Again, is_in
from monitor.store.generations import Wall
from monitor.store.office import Row
from monitor.terms import URGENCIES, AlertKind, Urgency

_A_DAY = timedelta(days=1)
"""Somewhere it is tomorrow already."""


@dataclass
class Looked:
    """What a look brought: how many new alerts; problems: assessments that could not be made again to be looked at."""

    new: int = 0
    problems: list[str] = field(default_factory=list)


def look(store: Store, *, at: datetime, walls: Collection[Wall] | None = None) -> Looked:
    """Look through all that was not looked through yet, and put on record what it brings.

    walls: those that alone are looked at besides whole assessments, as something came in about them; that is no look
    at all of the facts, which whoever looks next still does.

    A store from before there were alerts begins with its newest assessment. An assessment brings alerts where it is for
    no earlier day, and knows no less, than the last one that did, and is for no day to come when it was made.
    """
    looked = Looked()
    made_at = {row["run_id"]: row["known_at"] for row in store.office.rows("runs")}
    done = {row["look_id"]: row["is_news"] for row in store.office.rows("alert_looks")}
    runs_made = [run for run in runs.on_record(store).values() if run.run_id in made_at]
    news = [run for run in runs_made if done.get(run.run_id)]
    waiting = [run for run in runs_made if run.run_id not in done]
    record = _Record(store, at, None if waiting else walls)
    if not store.office.keeps("alert_looks"):
        telling = _telling(waiting, news, made_at)
        record.passed_over([run for run in waiting if run not in telling[-1:]])
        waiting = telling[-1:]
    telling = _telling(waiting, news, made_at)
    again = _assessed_again(store, None if waiting else walls, looked)
    for run in waiting:
        if run not in telling:
            record.passed_over([run])
            continue
        try:
            found = made_again(store, run, tuple(COLUMNS), columns=COLUMNS, having=like(record.houses))
            seen = of_assessment(found, record.houses)
        except BowError as error:
            looked.problems.append(f"The list of {run.judged_on} could not be looked through for alerts: {error}")
            continue
        seen = seen.without({each.wall for each in again if not is_in(each, run)})  # it says what was so before
        looked.new += record.seen(seen, run.run_id, _row(run.run_id, run, at, is_news=True))
        news.append(run)
    newest = news[-1] if news else None
    looked.new += record.seen(of_again([each for each in again if not newest or not is_in(each, newest)]), "", None)
    looked.new += _held(store, record, newest, looked, walls)
    return looked


def _assessed_again(store: Store, walls: Collection[Wall] | None, looked: Looked) -> list[Again]:
    try:
        return store.again(walls)
    except StoreError as error:
        looked.problems.append(f"The walls assessed again could not be looked through for alerts: {error}")
        return []


def brings_alerts(store: Store, run: Run) -> bool:
    """Whether an assessment that was looked through could bring alerts."""
    return any(row["is_news"] for row in store.office.rows("alert_looks", look_id=run.run_id))


def _telling(waiting: Sequence[Run], news: Sequence[Run], made_at: dict[str, datetime]) -> list[Run]:
    last = list(news)[-1:]
    found = []
    for run in waiting:
        is_on_time = run.judged_on <= (made_at[run.run_id] + _A_DAY).date()
        is_later = all(run.judged_on >= old.judged_on and run.known_until >= old.known_until for old in last)
        if is_on_time and is_later:
            found.append(run)
            last = [run]
    return found


def _held(store: Store, record: "_Record", newest: Run | None, looked: Looked, walls: Collection[Wall] | None) -> int:
    """Look at the readings held, where anything that they depend on is other than at an earlier look."""
    rules = store.rules_on(record.at.date())
    if walls is not None:
        stored = runs.stored(store, newest, ("suspects",), walls) if newest else None
        if stored or not newest:
            return record.seen(of_held(store, stored, rules, walls), "", None)
    run_id, facts = newest.run_id if newest else "", store.facts_sha256()
    limits = (rules.jump_mm, rules.keep_out_jump_mm)
    look_id = row_id({"facts": facts, "run": run_id, "limits": limits})
    if store.office.rows("alert_looks", look_id=look_id):
        return 0
    try:
        assessment = made_again(store, newest, ("suspects",)) if newest else None
    except BowError as error:
        looked.problems.append(f"The list's likely misreads could not be looked at for alerts: {error}")
        assessment = None
    seen = of_held(store, assessment, rules)
    if newest and assessment is None:  # what is missing may be a likely misread, which is no proof that it is over
        seen = replace(seen, whole=frozenset())
    row = {"look_id": look_id, "run_id": run_id, "facts_sha256": facts, "is_news": True, "known_at": record.at}
    return record.seen(seen, "", row)


def _row(look_id: str, run: Run, at: datetime, *, is_news: bool) -> dict[str, Any]:
    return {
        "look_id": look_id,
        "run_id": run.run_id,
        "facts_sha256": run.facts_sha256,
        "is_news": is_news,
        "known_at": at,
    }


class _Record:
    """The alerts on record, of some walls or of all, and those added to them while looking."""

    def __init__(self, store: Store, at: datetime, walls: Collection[Wall] | None) -> None:
        self.store, self.at = store, at
        self.alerts: dict[tuple[Place, str], list[Row]] = {}
        if walls is None:
            rows, over = store.office.rows("alerts"), store.office.rows("alerts_over")
        else:
            rows = [row for house, wall in walls for row in store.office.rows("alerts", house=house, wall=wall)]
            over = [each for row in rows for each in store.office.rows("alerts_over", alert_id=row["alert_id"])]
        self._keep(rows)
        self.over = {row["alert_id"] for row in over}

    @property
    def houses(self) -> set[str]:
        """Houses of walls with alerts."""
        return {house for ((house, _), _), _ in self.alerts}

    def passed_over(self, some: Sequence[Run]) -> None:
        """Put on record that those assessments bring no alerts."""
        self.store.office.add({"alert_looks": [_row(run.run_id, run, self.at, is_news=False) for run in some]})

    def seen(self, seen: Seen, run_id: str, look: Row | None) -> int:
        """Put on record what is new and what is over, with the look itself, all or none; number of new alerts.

        look: None where it was one at some walls alone.
        """
        ended = [
            row
            for (place, about), rows in self.alerts.items()
            if seen.ends(place, about)
            for row in rows
            if row["alert_id"] not in self.over
        ]
        self.over |= {row["alert_id"] for row in ended}
        new = [self._row(event, run_id) for event in seen.events.values() if not self._is_told(event)]
        if not (ended or new or look):
            return 0
        gone = [{"alert_id": row["alert_id"], "run_id": run_id, "known_at": self.at} for row in ended]
        self.store.office.add({"alerts": new, "alerts_over": gone, "alert_looks": [look] if look else []})
        self._keep(new)
        return len(new)

    def _keep(self, rows: Sequence[Row]) -> None:
        for row in rows:
            place = (row["house"], row["wall"]), AlertKind(row["kind"])
            self.alerts.setdefault((place, row["about"]), []).append(row)

    def _is_told(self, event: Event) -> bool:
        """Whether an alert about the very same, and no less urgent, stands."""
        return any(
            URGENCIES.index(Urgency(row["urgency"])) <= URGENCIES.index(event.urgency)
            for row in self.alerts.get((event.place, event.about), ())
            if row["alert_id"] not in self.over
        )

    def _row(self, event: Event, run_id: str) -> Row:
        (house, wall), kind = event.place
        made_from: dict[str, Any] = {
            "house": house,
            "wall": wall,
            "kind": kind.value,
            "urgency": event.urgency.value,
            "about": event.about,
            "began": event.began,
        }
        alike = self.alerts.get((event.place, event.about), ())
        times = sum(all(row[name] == value for name, value in made_from.items()) for row in alike)
        alert_id = row_id(made_from | ({"times": times} if times else {}))
        said = {"what": event.what, "next_step": event.next_step, "run_id": run_id, "known_at": self.at}
        return {"alert_id": alert_id, **made_from, **said}
