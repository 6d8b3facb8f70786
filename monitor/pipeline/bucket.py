"""One bucket of walls assessed: the one piece of work that one process, many, or many machines do alike.

A task says all there is to know: where the facts lie, what of them is known, by which settings and for which day. Its
files are named by their content, and a note by what the task was made from; so a task done twice writes the same, and
one that was done before is taken as it stands.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from datetime import date
from hashlib import sha256

import pyarrow as pa
import pyarrow.compute as pc

from monitor import __version__
from monitor.config import Settings
from monitor.documents import to_json
from monitor.records import dataclass
from monitor.schema import Tables
from monitor.store import parts
from monitor.store.notes import noted, write_note
from monitor.store.parts import Part
from monitor.store.place import Place
from monitor.store.snapshot import BucketFacts


@dataclass(frozen=True)
class Task:
    """address: where the Parquet files lie; folder: where in it the parts go; cold: houses as trend.assess takes them;
    made_from: hash of all that the results depend on but the bucket.
    """

    address: str
    folder: str
    facts: BucketFacts
    settings: Settings
    judged_on: date
    cold: frozenset[str]
    made_from: str


Many = Callable[[Sequence[Task]], Iterator[Part]]
"""Does all tasks; gives their parts as they are done, in any order."""


def one_after_the_other(tasks: Sequence[Task]) -> Iterator[Part]:
    """In this process."""
    return map(do, tasks)


def made_from(settings: Settings, judged_on: date, facts_sha256: str, buckets: int) -> str:
    """What a task's note is known by: hash of what its results depend on."""
    said = (to_json(settings), str(judged_on), facts_sha256, str(buckets), __version__)
    return sha256("\x1f".join(said).encode()).hexdigest()


def do(task: Task) -> Part:
    """Assess a bucket and write its part; where that was done before, take what stands there."""
    place = Place(task.address)
    found = noted(place, task.folder, task.facts.bucket, task.made_from)
    if found is not None:
        return found
    part = parts.write(place, task.folder, task.facts.bucket, assessed(task))
    write_note(place, task.folder, task.made_from, part)
    return part


def assessed(task: Task) -> Tables:
    """The tables of a task's part, without a file."""
    return in_parts(results_of(task.facts.read(Place(task.address)), task.settings, task.judged_on, task.cold))


def in_parts(results: Tables) -> Tables:
    """Results of some walls as parts have them: in their order, without ranks, the walls beside them."""
    return parts.tables(results, order_of(results))


def order_of(results: Tables) -> pa.Table:
    """By what the walls of some results stand in the visit plan."""
    from monitor.trend import ranking  # the trend room loads where walls are fitted

    return ranking.order(results["plan"], results["wall_results"], results["findings"])


def results_of(facts: Tables, settings: Settings, judged_on: date, cold: Collection[str]) -> Tables:
    """Tables of schema.RESULTS of some walls. facts: their effective readings, walls, marks and events."""
    from monitor.trend.assess import assess as assess_walls

    readings = facts["readings"]
    readings = readings.filter(pc.less_equal(readings["visit_date"], pa.scalar(judged_on, pa.date32())))
    return assess_walls(readings, facts["walls"], facts["marks"], facts["events"], settings, judged_on, cold=set(cold))
