"""The lists before an assessment's own, as stored: from them is told what is new, and how old the rest."""

from datetime import date

from monitor.report.context import PastList
from monitor.report.placing import open_places
from monitor.results import Assessment
from monitor.store import Store

_TABLES = ("wall_results", "findings")
"""What a list is made of."""


def last_list(store: Store, assessment: Assessment) -> Assessment | None:
    """The list to compare with: the last one of an earlier month; where there is none, the last one before.

    An assessment made again for an earlier day with what became known later is no list that anybody has seen by then.
    """
    days = _earlier(store, assessment)
    months = [day for day in days if (day.year, day.month) < (assessment.judged_on.year, assessment.judged_on.month)]
    return store.assessment((months or days)[0]) if days else None


def past_lists(store: Store, assessment: Assessment) -> list[PastList]:
    """Earlier lists, newest first, back to the first on which no wall stands that asks for somebody now."""
    going = set(open_places(assessment))
    lists = []
    for day in _earlier(store, assessment):
        if not going:
            break
        found = store.assessment(day, tables=_TABLES)
        places = open_places(found, going) if found else {}
        lists.append(PastList(day, places))
        going &= places.keys()
    return lists


def _earlier(store: Store, assessment: Assessment) -> list[date]:
    """Days of the lists before this one as they were known then, newest first."""
    known = store.assessments_known()
    return [
        day for day in sorted(known, reverse=True)
        if day < assessment.judged_on and known[day] <= assessment.known_until
    ]  # fmt: skip
