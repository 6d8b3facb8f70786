"""What a list is made of, read so that a wall which asks for nobody costs its name and its verdict, and no row.

Where all walls stand is told from few columns; whole rows are read of those alone that the list is to show.
"""

from collections.abc import Collection
from dataclasses import replace

from monitor.pipeline import assessing
from monitor.pipeline.runs import Run
from monitor.report import placing
from monitor.report.context import Key
from monitor.report.monthly_rows import SHOWN
from monitor.results import Assessment
from monitor.store import Store

TABLES = ("wall_results", "findings", "suspects")
"""Those of an assessment that a list is made of."""


def newest(store: Store, month: str | None = None) -> Assessment:
    """What tells where walls stand, of the newest assessment or that of a month; NotFoundError where there is none."""
    return assessing.newest(store, month, tables=tuple(placing.COLUMNS), columns=placing.COLUMNS, having=placing.HAVING)


def places(store: Store, run: Run) -> Assessment:
    """What tells where walls stand, of the assessment of a run. Errors as of assessing.made_again."""
    return assessing.made_again(store, run, tuple(placing.COLUMNS), columns=placing.COLUMNS, having=placing.HAVING)


def shown(
    store: Store, run: Run, earlier: Assessment | None = None, also: Collection[Key] = ()
) -> tuple[Assessment, Collection[Key]]:
    """The assessment of a run with the rows of walls that its list shows, the others as `quiet`; and these walls.

    earlier: the last list; also: walls that it named. Errors as `places`.
    """
    every = places(store, run)
    placed = placing.named(every, earlier, also)
    rows = assessing.made_again(store, run, TABLES, walls=placed, columns=SHOWN, having=placing.HAVING)
    return replace(rows, quiet=placing.quiet(every, placed)), placed
