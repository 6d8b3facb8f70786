"""An assessment given whole, saved as one part: for tests that make up what an assessment says."""

import pyarrow as pa

from monitor import schema
from monitor.pipeline.bucket import order_of
from monitor.results import Assessment
from monitor.store import Store


def saved(store: Store, assessment: Assessment) -> Assessment:
    """The assessment as it stands in the store from now on."""
    results: dict[str, pa.Table] = {name: getattr(assessment, name) for name in schema.RESULTS}
    part = store.save_part(assessment.judged_on, 0, results, order_of(results))
    return store.save_assessment(assessment, 1, [part])
