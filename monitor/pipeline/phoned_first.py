"""Bad news is phoned first: which pages of homeowners wait for a call, and when they go out by themselves.

**Bad** is what a homeowner should not learn from a page alone: a hard limit (a sudden change, too large a total,
something seen, a held reading that asks for a call the same day or for keeping out), or a wall that is called moving.
It is **new** from the first list of the unbroken run of lists on which it stands. It is **told** by a decision
"called homeowner" made about the wall since then and before the pages are published; a call that reached nobody is no
such decision. Without a call the page goes out by itself: a hard limit's at the end of the day on which it became
known, and with it all that is bad of the wall; else at the end of the second working day after it. Days are those of
the company's own time zone (UTC where it has named none); working days are Monday to Friday without its holidays.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, datetime, time, timedelta, tzinfo

from monitor.pipeline import list_rows
from monitor.pipeline.company_days import holidays_of, zone_of
from monitor.pipeline.runs import Run
from monitor.report.context import Key, News
from monitor.report.placing import HARD, Item, briefly, items
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Rule, Step, Urgency, Verdict

WORKING_DAYS = 2
"""Working days after which news goes out by itself."""
_AT_ONCE = (Urgency.KEEP_OUT, Urgency.SAME_DAY)
_SATURDAY = 5

Bad = Mapping[str, bool]
"""What is bad of a wall, each with whether it is a hard limit."""


def news(store: Store, assessment: Assessment, earlier: Sequence[Run], published_at: datetime) -> dict[Key, News]:
    """By wall, what is bad on this list and whether its homeowner was told by the moment of publishing.

    earlier: the lists before, newest first.
    """
    now = bad_of(assessment)
    began = _since(store, assessment.known_until, now, earlier)
    calls: dict[Key, list[tuple[datetime, str]]] = {}
    for row in store.office.decisions(known_on=published_at).to_pylist():
        if row["step"] == Step.CALLED_HOMEOWNER:
            calls.setdefault((row["house"], row["wall"]), []).append((row["known_at"], row["who"]))
    zone, holidays = zone_of(store.office.company()), holidays_of(store.office.company())
    return {
        key: _told(began[key], bad, calls.get(key, []), published_at, zone, holidays)
        for key, bad in sorted(now.items())
    }


def bad_of(assessment: Assessment) -> dict[Key, Bad]:
    """By wall, what is bad on a list; walls of which nothing is are left out."""
    found = {key: dict(_bad(item)) for key, item in items(briefly(assessment)).pairs()}
    return {key: bad for key, bad in found.items() if bad}


def goes_out(since: datetime, hard: bool, zone: tzinfo, holidays: Collection[date] = ()) -> datetime:
    """When news that nobody phones goes out by itself; since: when it became known."""
    day = since.astimezone(zone).date()
    left = 0 if hard else WORKING_DAYS
    while left:
        day += timedelta(days=1)
        left -= day.weekday() < _SATURDAY and day not in holidays
    return datetime.combine(day, time.max, tzinfo=zone)


def _bad(item: Item) -> Iterator[tuple[str, bool]]:
    for row in item.alarms:
        if row["rule"] in HARD or (row["rule"] == Rule.HELD and row["urgency"] in _AT_ONCE):
            yield str(row["rule"]), True
    if item.result and item.result["verdict"] == Verdict.MOVING:
        yield f"moving, period {item.result['period']}", False


def _since(
    store: Store, known_until: datetime, now: Mapping[Key, Bad], earlier: Sequence[Run]
) -> dict[Key, dict[str, datetime]]:
    """Since when each thing is bad: when the first list of the unbroken run of lists that have it was made."""
    began = {key: dict.fromkeys(bad, known_until) for key, bad in now.items()}
    going = {(key, name) for key, bad in now.items() for name in bad}
    for run in earlier:
        if not going:
            break
        then = bad_of(list_rows.places(store, run))
        going = {(key, name) for key, name in going if name in then.get(key, {})}
        for key, name in going:
            began[key][name] = run.known_until
    return began


def _told(
    began: Mapping[str, datetime],
    bad: Bad,
    calls: Sequence[tuple[datetime, str]],
    now: datetime,
    zone: tzinfo,
    holidays: Collection[date],
) -> News:
    """Of hard limits the first one decides, whatever else is bad: once it is out, nothing of the wall waits."""
    hard = [name for name in bad if bad[name]]
    since = min(began[name] for name in hard or bad)
    out = goes_out(since, bool(hard), zone, holidays)
    called = next(((moment, who) for moment, who in reversed(calls) if since <= moment <= now), None)
    if called:
        return News(since, out.date(), waits=False, told_on=called[0].astimezone(zone).date(), told_by=called[1])
    return News(since, out.date(), waits=now < out)
