"""The study: cell by cell, what the assessment says of simulated walls against what is true of them."""

from collections.abc import Iterator
from zlib import crc32

import pandas as pd

from monitor.config import Settings, Variances
from monitor.errors import NotFoundError
from monitor.pipeline.frames import frame
from monitor.records import dataclass, replace
from monitor.simulate.portfolio import portfolio
from monitor.study import measures
from monitor.study.grid import Cell, Sample, Size
from monitor.study.looks import Looks, Progress, looked
from monitor.study.measures import Cover
from monitor.study.shares import Months, Share


@dataclass(frozen=True)
class Row:
    """What one cell gave. delay, true_delay: for walls at twice the threshold, judged with the company's variances and
    with those they were simulated with; holding: of still walls, by measures.HOLDING_MONTHS; wrongly_ever,
    wrongly_at_last: of walls at 1.3 x the threshold, those called holding at some look, and at the last.
    """

    cell: Cell
    walls: int
    looks: int
    cover: Cover
    false_months: Share
    false_ever: Share
    delay: Months
    true_delay: Months
    holding: tuple[Share, ...]
    wrongly_ever: Share
    wrongly_at_last: Share


def study(size: Size, settings: Settings, *, seed: int, progress: Progress | None = None) -> Iterator[Row]:
    """Run the cells one after the other; progress is told the looks done. The same seed gives the same rows."""
    for cell in size.cells:
        yield run(cell, size, settings, seed=seed * 1000 + _number(cell), progress=progress)


def chosen(size: Size, text: str) -> Size:
    """The cells of a size whose name has that text in it; NotFoundError where none has."""
    cells = tuple(cell for cell in size.cells if text in cell.name)
    if not cells:
        raise NotFoundError(
            "The study has no such cell.", got=f"'{text}'", expected="; ".join(cell.name for cell in size.cells)
        )
    return replace(size, cells=cells)


def run(cell: Cell, size: Size, settings: Settings, *, seed: int, progress: Progress | None = None) -> Row:
    """Run one cell."""
    own, true = settings.variances, cell.true_variances(settings.rules)
    threshold = settings.rules.threshold(int(cell.strapped))
    company, truth = _judged(cell, Sample.COMPANY, size, settings, own, seed, progress)
    twice, _ = _judged(cell, Sample.TWICE, size, settings, own, seed, progress)
    known, _ = _judged(cell, Sample.TWICE, size, settings, true, seed, progress)
    near, near_truth = _judged(cell, Sample.NEAR, size, settings, own, seed, progress)
    false_months, false_ever = measures.false_share(company.walls, measures.truly_above(truth, threshold))
    sort = truth[truth["period"] == int(cell.strapped)].drop_duplicates("house").set_index("house")["sort"]
    still = company.walls[company.walls["house"].map(sort) == "still"]
    wrongly = near.walls[near.walls["house"].map(measures.truly_above(near_truth, threshold))]
    return Row(
        cell=cell,
        walls=company.walls["house"].nunique(),
        looks=sum(len(looks.walls) for looks in (company, twice, known, near)),
        cover=measures.cover(company, truth),
        false_months=false_months,
        false_ever=false_ever,
        delay=measures.delay(twice.walls),
        true_delay=measures.delay(known.walls),
        holding=tuple(measures.holding_by(still, month) for month in measures.HOLDING_MONTHS),
        wrongly_ever=measures.ever_holding(wrongly),
        wrongly_at_last=measures.holding_at_last(wrongly),
    )


def _number(cell: Cell) -> int:
    """A number of the cell's own, so that it gives the same row among whatever others it is run."""
    return crc32(cell.name.encode()) % 1000


def _judged(
    cell: Cell,
    sample: Sample,
    size: Size,
    settings: Settings,
    variances: Variances,
    seed: int,
    progress: Progress | None,
) -> tuple[Looks, pd.DataFrame]:
    """The looks at one sample's walls, and their truth."""
    numbers = seed * len(Sample) + list(Sample).index(sample)
    made = portfolio(size.walls(sample), seed=numbers, recipe=cell.recipe(sample, settings.rules))
    return looked(made, settings.rules, variances, progress), frame(made.truth)
