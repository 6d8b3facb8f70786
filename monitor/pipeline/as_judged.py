"""Readings as an assessment judged them: those it set aside as likely misreads stand as held, with its reason."""

import pyarrow as pa
import pyarrow.compute as pc

from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import State

MISREAD = "misread"
"""Reason code of a reading held because the assessment takes it for a misread."""


def as_judged(readings: pa.Table, assessment: Assessment) -> pa.Table:
    """Effective readings (schema.READINGS) as known when the assessment was made, its suspects held."""
    suspects = assessment.suspects
    place = pc.index_in(readings["reading_id"], value_set=suspects["reading_id"].combine_chunks())
    aside = pc.and_(pc.is_valid(place), pc.equal(readings["state"], pa.scalar(State.USED.value)))
    reasons = suspects["reason"].combine_chunks().take(place.combine_chunks())
    found = {"state": pa.scalar(State.HELD.value), "reason_code": pa.scalar(MISREAD), "reason": reasons}
    for name, value in found.items():
        number = readings.schema.get_field_index(name)
        column = pc.if_else(aside, value, readings[name])
        readings = readings.set_column(number, readings.schema.field(number), column)
    return readings


def is_suspect(store: Store, reading_id: str) -> bool:
    """Whether the newest assessment set that reading aside."""
    days = store.assessments()
    newest = store.assessment(max(days)) if days else None
    return newest is not None and reading_id in newest.suspects["reading_id"].to_pylist()
