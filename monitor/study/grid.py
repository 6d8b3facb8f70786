"""The cells of the study: what kind of wall is read how, and with what trouble."""

from collections.abc import Sequence
from enum import StrEnum

from monitor.config import MethodSds, Rules, Variances
from monitor.records import dataclass, field, replace
from monitor.simulate.recipe import ENDS_AND_QUARTERS, Layout, Recipe, Sort
from monitor.simulate.wall import Amount, Profile
from monitor.study.looks import LEAST_VISITS
from monitor.study.shares import noise_dof
from monitor.terms import Method

ONE_MARK = Layout(Method.STRING, columns=(0.5,))
ROW = Layout(Method.STRING, columns=ENDS_AND_QUARTERS)
THREE_ROWS = Layout(Method.STRING, rows="TMB", columns=(0.25, 0.5, 0.75))
LASER = Layout(Method.LASER, columns=ENDS_AND_QUARTERS)
PLUMB_COLUMN = Layout(Method.PLUMB, rows="TMB", columns=(0.5,))
PLUMB_COLUMNS = Layout(Method.PLUMB, rows="TMB", columns=(0.25, 0.5, 0.75))
LAYOUTS: dict[str, Layout] = {
    "one mark, string": ONE_MARK,
    "row of five, string": ROW,
    "three rows, string": THREE_ROWS,
    "row with ends, laser": LASER,
    "one column, plumb": PLUMB_COLUMN,
    "three columns, plumb": PLUMB_COLUMNS,
}

SCHEDULES: dict[int, tuple[float, ...]] = {
    3: (0, 6, 12),
    4: (0, 4, 8, 12),
    6: (0, 6, 12, 18, 24, 36),
    10: (0, 3, 6, 12, 18, 24, 30, 36, 48, 60),
    14: (0, 3, 6, 9, 12, 16, 20, 24, 30, 36, 42, 48, 54, 60),
    20: tuple(60 / 19 * visit for visit in range(20)),
}
"""Months of the visits that count, by their number; from ten on over five years."""

_STRAPS_MONTH = 6.0
_FIRST_AFTER = 3.6
"""Months from the straps to the first visit that counts: past a take-up window of 90 days."""
_TWICE, _NEAR = 2.0, 1.3
_BOW_ONLY = Amount(bow=1.0)
_OTHER_SHAPES = {Profile.FLAT: 0.5, Profile.LEFT: 0.25, Profile.RIGHT: 0.25}
"""Shapes along the wall that the model does not know of."""


class Sample(StrEnum):
    """The walls simulated for a cell."""

    COMPANY = "company"
    TWICE = "twice the threshold"
    NEAR = "1.3 x the threshold"


@dataclass(frozen=True)
class Cell:
    """One row of the study: a layout, a number of visits, and how its walls differ from the ordinary."""

    name: str
    layout: Layout
    visits: int
    season_mm: float = 1.1
    spread: float = 0.2
    strapped: bool = False
    misread_share: float = 0.0
    lost_share: float = 0.0
    change_share: float = 0.0
    other_shapes: bool = False

    @property
    def marks(self) -> int:
        """Marks of each wall."""
        return len(self.layout.rows) * len(self.layout.columns)

    def recipe(self, sample: Sample, rules: Rules) -> Recipe:
        """The portfolio of one sample."""
        sorts = _sorts(sample, rules.threshold(int(self.strapped)))
        schedule = SCHEDULES[self.visits]
        made = Recipe(
            sorts=sorts,
            layouts=(self.layout,),
            months=schedule,
            scale_spread=self.spread,
            season_mm=self.season_mm,
            misread_share=self.misread_share,
            lost_share=self.lost_share,
            change_share=self.change_share,
            profiles=_OTHER_SHAPES if self.other_shapes else {Profile.SINE: 1.0},
        )
        if sample is not Sample.COMPANY:
            made = replace(made, movement=_BOW_ONLY)
        if not self.strapped:
            return made
        first = _STRAPS_MONTH + _FIRST_AFTER
        return replace(
            made,
            sorts=(Sort("before", 1.0, rate=(2.0, 6.0)),),
            after=sorts,
            strapped_share=1.0,
            straps_months=(_STRAPS_MONTH, _STRAPS_MONTH),
            months=(0, 3, *(first + month for month in schedule)),
        )

    def true_variances(self, rules: Rules) -> Variances:
        """The variances that the cell's walls are simulated with; an offset that the fit leaves free stays free."""
        free = {method for method, sds in Variances().methods.items() if sds.offset_mm is None}
        made = self.recipe(Sample.COMPANY, rules)
        methods = {
            method: MethodSds(
                reading_mm=sds.reading_mm,
                offset_mm=None if method in free else sds.offset_mm,
                yaw_mm_per_m=sds.yaw_mm_per_m,
                tilt_mm_per_m=sds.tilt_mm_per_m,
            )
            for method, sds in made.sds.items()
        }
        return Variances(
            methods=methods,
            season_mm=made.season_mm,
            local_mm_per_year=made.local_mm_per_year,
            local_share=made.local_share,
            wobble_mm=made.wobble_mm,
            scale_dof=noise_dof(made.scale_spread),
        )


@dataclass(frozen=True)
class Size:
    """How many walls each sample of a cell has, and the cells."""

    name: str
    company: int
    twice: int
    near: int
    cells: Sequence[Cell] = field(default_factory=tuple)

    def walls(self, sample: Sample) -> int:
        """Walls of a sample."""
        return {Sample.COMPANY: self.company, Sample.TWICE: self.twice, Sample.NEAR: self.near}[sample]

    @property
    def looks(self) -> int:
        """Looks at walls, about (walls at twice the threshold are judged twice)."""
        walls = self.company + 2 * self.twice + self.near
        return walls * sum(max(1, cell.visits - LEAST_VISITS + 1) for cell in self.cells)


def _sorts(sample: Sample, threshold: float) -> Sequence[Sort]:
    if sample is Sample.TWICE:
        return (Sort("twice", 1.0, rate=(_TWICE * threshold,) * 2),)
    if sample is Sample.NEAR:
        return (Sort("near", 1.0, rate=(_NEAR * threshold,) * 2),)
    return (
        Sort("still", 0.60),
        Sort("slow", 0.25, rate=(0.2 * threshold, 0.9 * threshold)),
        Sort("moving", 0.15, rate=(1.5 * threshold, 4.0 * threshold)),
    )


def _ordinary(visits: Sequence[int]) -> list[Cell]:
    return [Cell(f"{name}, {count} visits", layout, count) for name, layout in LAYOUTS.items() for count in visits]


def _troubles(name: str, visits: int) -> list[Cell]:
    """The same wall with one trouble at a time, then with all of them."""
    layout = LAYOUTS[name]
    plain = Cell(name, layout, visits)
    cells = [
        replace(plain, name=f"{name}: no season", season_mm=0.0),
        replace(plain, name=f"{name}: season 3 mm", season_mm=3.0),
        replace(plain, name=f"{name}: one noise", spread=0.0),
        replace(plain, name=f"{name}: noise spread 0.4", spread=0.4),
        replace(plain, name=f"{name}: reinforced", strapped=True),
        replace(plain, name=f"{name}: 1 % misreads", misread_share=0.01),
        replace(plain, name=f"{name}: lost marks", lost_share=1.0),
        replace(plain, name=f"{name}: flat or one-sided shapes", other_shapes=True),
        replace(
            plain,
            name=f"{name}: all of it",
            season_mm=3.0,
            spread=0.4,
            strapped=True,
            misread_share=0.01,
            lost_share=0.5,
        ),
    ]
    if layout.method is not Method.PLUMB:
        cells.append(replace(plain, name=f"{name}: method change", change_share=1.0))
    return cells


def size(name: str) -> Size:
    """The study's sizes: `small` in a few minutes, `full` for the documents."""
    if name == "full":
        cells = _ordinary((3, 6, 10, 20))
        cells += [cell for layout in ("row of five, string", "three columns, plumb") for cell in _troubles(layout, 10)]
        cells += [
            Cell("one mark, string: reinforced", ONE_MARK, 10, strapped=True),
            Cell("one mark, string: 1 % misreads", ONE_MARK, 10, misread_share=0.01),
            Cell("row with ends, laser: season 3 mm", LASER, 10, season_mm=3.0),
            Cell("row with ends, laser: 1 % misreads", LASER, 10, misread_share=0.01),
            Cell("row with ends, laser: method change", LASER, 10, change_share=1.0),
        ]
        return Size(name, company=300, twice=100, near=100, cells=cells)
    return Size(name, company=80, twice=25, near=25, cells=[*_ordinary((4, 10)), *_troubles("row of five, string", 10)])
