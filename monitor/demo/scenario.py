"""The invented walls of Demo Basin, as data: what each truly does, what is planted, and the right answer at the end.

Region: clay till, cold winters, wet April. Block walls 203 mm thick and 2440 mm high. Rows T, M, B stand at 2130, 1220
and 200 mm; columns 1 to 5 run from the left corner seen from inside. Rates are (T, M, B) in mm/yr, inward positive.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from enum import StrEnum

from monitor.records import dataclass, field
from monitor.terms import Kind, Method
from monitor.units import INCHES_PER_FOOT, MM_PER_INCH

SEED = 20230410
FIRST_DAY = date(2023, 4, 10)
LAST_DAY = date(2026, 4, 30)
ROW_HEIGHTS_MM: Mapping[str, float] = {"T": 2130.0, "M": 1220.0, "B": 200.0}
SEASON_ROWS = (0.3, 1.0, 0.5)
STANDOFF_MM = 76.2
DEFAULT_MONTHS = (0.0, 6.0, 12.0, 18.0, 24.0, 30.0, 36.0)

Rows = tuple[float, float, float]
STILL: Rows = (0.0, 0.0, 0.0)


class Ability(StrEnum):
    """What an answer needs beyond registering, taking in, fitting and judging."""

    SCREENING = "misread screening"
    RECOGNITION = "recognition of swapped walls and mirrored columns"
    RESTART = "restarted evidence"
    CORNER = "note that a corner moves"
    TECHNICIAN = "technician effect"
    DIFFERENCE = "difference of the rates before and after"


@dataclass(frozen=True)
class Move:
    """A true movement of the rows (T, M, B) in mm at the work of a month, at once or over so many days."""

    month: float
    rows: Rows
    days: float = 0.0


@dataclass(frozen=True)
class Story:
    """One wall. Months count from its zero reading; season is the half swing of the M row in mm.

    draw: which draw of the reading errors; other than 0 only where the story tells what the readings happen to show.
    """

    house: str
    wall: str
    length_ft: float
    methods: Sequence[Method]
    bow_mm: float
    before: Rows
    told: str
    answer: str
    after: Rows | None = None
    season: float = 0.5
    season_after: float | None = None
    straps_month: float | None = None
    months: Sequence[float] = DEFAULT_MONTHS
    zero: date | None = None
    careful: bool = False
    kind: Kind = Kind.GAP
    columns: Sequence[int] = (2, 3, 4)
    plumb_months: Sequence[float] | None = None
    double_months: Sequence[float] = ()
    moves: Sequence[Move] = ()
    surface_mm: Mapping[str, float] = field(default_factory=dict)
    proud_mm: Mapping[str, float] = field(default_factory=dict)
    left_end: float = 0.0
    laser_month: float | None = None
    overlap: bool = False
    lost_month: float | None = None
    covered_month: float | None = None
    needs: Sequence[Ability] = ()
    draw: int = 0

    @property
    def length_mm(self) -> float:
        """Length between the corners."""
        return self.length_ft * INCHES_PER_FOOT * MM_PER_INCH

    @property
    def name(self) -> str:
        """House and wall as one word."""
        return f"{self.house}-{self.wall}"


STRING, PLUMB, LASER, METER = Method.STRING, Method.PLUMB, Method.LASER, Method.METER

STORIES: Sequence[Story] = (
    Story(
        "DH-01", "N", 30, (STRING, PLUMB), 28, (0.5, 5, 0), after=STILL, season=0.8, straps_month=12, careful=True,
        moves=(Move(12, (0, -1.5, 0)), Move(12, (0, 1.0, 0), days=122)),
        told=(
            "straps in month 12, marks off the straps; the work pulls the M row back 1.5 mm, then 1 mm of take-up "
            "over 4 months"
        ),
        answer="before: moving about 5 mm/yr; after: no movement measured, upper bound under 1.6 mm/yr by month 30-36",
        needs=(Ability.DIFFERENCE,),
    ),
    Story(
        "DH-02", "E", 27.5, (PLUMB, METER), 34, (0, 4, 0.5), after=(0, 1.4, 3), straps_month=10,
        told="straps in month 10 with a poor bottom anchor: the base slides 3 mm/yr, the bow itself is flat",
        answer=(
            "not holding, movement named slide; the plumb line alone shows the top leaning out, which looks like "
            "improvement"
        ),
    ),
    Story(
        "DH-03", "S", 25, (PLUMB, STRING), 22, (1, 3, 0), after=(4, 2, 0), straps_month=8,
        told="straps in month 8 with their top fixed to nothing: the top tips in 4 mm/yr",
        answer="not holding, movement named tip; bow over the height about 0, the M row's string shows only 2 mm/yr",
    ),
    Story(
        "DH-04", "W", 32, (STRING,), 15, STILL, season=3.0, zero=date(2023, 10, 10), months=DEFAULT_MONTHS[:6],
        kind=Kind.DEFLECTION, proud_mm={"M1": 4.3, "M5": 4.0},
        told="a seasonal mover whose zero was read in October; no straps; the technician writes deflections",
        answer="comes and goes; not flagged, though the first spring's two readings give about +12 mm/yr",
    ),
    Story(
        "DH-05", "N", 36, (STRING,), 20, (0, 2, 0), after=(0, 0.2, 0), season=2.5, season_after=0.8, straps_month=14,
        surface_mm={"M2": -1.0, "M3": 2.5},
        told=(
            "straps in month 14 after which the season shrinks; a strap lies over column 3 (+2.5 mm), column 2 was "
            "ground (-1 mm)"
        ),
        answer="holding at month 36; the steps of the surface are not called movement",
        needs=(Ability.DIFFERENCE,),
    ),
    Story(
        "DH-06", "E", 24, (STRING,), 18, STILL, proud_mm={"M3": 2.6},
        told="quiet; in month 18 the fraction 3/16 of M3 is written 13/16 (15.9 mm)",
        answer="that row held and the slip named; the wall quiet",
        needs=(Ability.SCREENING,),
    ),
    Story(
        "DH-07", "N", 28, (STRING,), 25, (0, 0.5, 0), season=0.8, laser_month=18,
        told=(
            "string, from month 18 laser without a day of both; the laser's end spots are 150 mm further in and "
            "proud, so that M3 reads 4 mm less"
        ),
        answer="a break: levels apart, one rate across it, a wide range",
    ),
    Story(
        "DH-07", "S", 28, (STRING,), 19, (0, 0.5, 0), season=0.8, laser_month=18, overlap=True,
        told="the same change with both methods on one day, two set-ups each",
        answer="joined; the rate's range much narrower than that of DH-07-N",
    ),
    Story(
        "DH-08", "W", 26, (STRING,), 16, STILL, lost_month=12,
        told="M3 painted over by month 12; M3b set 50 mm to the right, where the surface is 3 mm further in",
        answer="M3 retired, M3b new, no false movement",
    ),
    Story(
        "DH-09", "E", 30, (STRING,), 30, (0, 6, 0), months=(0, 3, 8), draw=3,
        told="moving 6 mm/yr, no straps, nobody went back after month 8",
        answer=(
            "overdue since month 14, first of the overdue walls; the page says nothing about the time since; look "
            "again, not flagged as certain"
        ),
    ),
    Story(
        "DH-10", "N", 27.5, (LASER,), 21, STILL,
        told="quiet; in month 12 inches are written under millimetres",
        answer="that set-up held, the factor 25.4 named; the wall quiet",
    ),
    Story(
        "DH-10", "S", 27.5, (METER,), 23, STILL,
        told="quiet; T3 presses the distance meter past the base plate: everything he reads with it is 2 mm further in",
        answer="the person's effect found from visits read by two; no flag",
        needs=(Ability.TECHNICIAN,),
    ),
    Story(
        "DH-11", "N", 40, (STRING,), 31, (0, 1, 0),
        told="slow; in month 24 its sheet and that of the south wall were exchanged",
        answer="both walls' visits held, the exchange named",
        needs=(Ability.RECOGNITION,),
    ),
    Story(
        "DH-11", "S", 40, (STRING,), 12, STILL,
        told="quiet; in month 24 its sheet and that of the north wall were exchanged",
        answer="both walls' visits held, the exchange named",
        needs=(Ability.RECOGNITION,),
    ),
    Story(
        "DH-12", "E", 24, (STRING,), 17, STILL, season=2.0, zero=date(2025, 9, 22), months=(0, 6), draw=2,
        told="still, with a season; only two visits, September and March, which look like 8 mm/yr",
        answer="too early",
    ),
    Story(
        "DH-12", "S", 24, (STRING,), 24, STILL, zero=date(2024, 4, 10), months=DEFAULT_MONTHS[:5],
        double_months=(24,), moves=(Move(20, (2.3, 9, 1.5)),),
        told=(
            "still, then 9 mm in at once in a wet frost of month 20; found in month 24 and confirmed by a second "
            "set-up"
        ),
        answer="same-day call for the jump, though the fitted rate is modest",
    ),
    Story(
        "DH-13", "N", 32, (STRING,), 14, STILL, season=0.3, months=(0, 3, 6, 12, 18, 24, 30, 36), careful=True,
        covered_month=26,
        told="control; the basement is finished after month 24, with a hatch at M3 only",
        answer="no movement measured to month 24; then covered",
    ),
    Story(
        "DH-13", "W", 28, (STRING, PLUMB), 26, (0, 2, 0), left_end=4.0, columns=(1, 5), plumb_months=(0, 12, 24, 36),
        told=(
            "bows 2 mm/yr while its left corner tips in, 2 mm/yr at mid-height, so that the string shows about 1 "
            "less than M3 truly moves"
        ),
        answer=(
            "moving, with a note that the ends are not still; M3 truly moves about 3 mm/yr (2 of bow and half of the "
            "corner's 2)"
        ),
        needs=(Ability.CORNER, Ability.RECOGNITION),
    ),
    Story(
        "DH-13", "E", 32, (STRING,), 38, STILL, after=(0, 0.3, 0), straps_month=15, moves=(Move(15, (-3, -12, -2)),),
        told="dug out and straightened by 12 mm in month 15, then straps; 0.3 mm/yr after",
        answer="the total shows the 12 mm back; neither an error nor inward movement",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Home:
    """A house: what people call it, days after the first day on which its zero was read, who goes there."""

    house: str
    nickname: str
    start: int
    technician: str
    note: str = ""


HOMES: Sequence[Home] = (
    Home("DH-01", "the house by the mill pond", 0, "T1"),
    Home("DH-02", "the yellow gable", 0, "T2", "driveway along the east wall"),
    Home("DH-03", "the old schoolhouse", 1, "T1", "downspout at the south-west corner"),
    Home("DH-04", "the house with two chimneys", 1, "T4", "clay garden up to the west wall"),
    Home("DH-05", "the orchard house", 1, "T2"),
    Home("DH-06", "the corner bakery", 2, "T4"),
    Home("DH-07", "the long porch", 2, "T1"),
    Home("DH-08", "the blue shutters", 3, "T2"),
    Home("DH-09", "the hilltop house", 3, "T4", "lived in at weekends only"),
    Home("DH-10", "the twin maples", 4, "T2"),
    Home("DH-11", "the row of lindens", 4, "T4"),
    Home("DH-12", "the stone steps", 7, "T1"),
    Home("DH-13", "the gatehouse", 7, "T2"),
)

VISITED_BY: Mapping[tuple[str, float], Sequence[str]] = {
    ("DH-10", 12): ("T3", "T2"),
    ("DH-10", 18): ("T3",),
    ("DH-10", 24): ("T2", "T3"),
    ("DH-10", 30): ("T3",),
    ("DH-10", 36): ("T3",),
    ("DH-02", 18): ("T2", "T3"),
}
"""Visits that somebody else than the house's own technician read; two names: the second reads the meter again."""


@dataclass(frozen=True)
class Plant:
    """A fault planted beside the stories: where it is, and what should become of it."""

    what: str
    where: str
    answer: str
    needs: Sequence[Ability] = ()


PLANTS: Sequence[Plant] = (
    Plant("one file sent twice", "2024-10-14_T1.csv", "already in; nothing added"),
    Plant("a fraction turned into a date: 3/16 became 16-Mar", "DH-04-W, month 12, M5", "the row held, the mend named"),
    Plant("a visit copied from the one before", "DH-13-N, month 6", "held, the chance named; later rejected"),
    Plant("columns read from right to left", "DH-13-W, month 18", "held, the mirror named", (Ability.RECOGNITION,)),
    Plant("gaps written as deflections", "DH-11-S, month 12", "the set-up held"),
    Plant("deflections written where gaps are usual, rightly", "DH-12-S, month 6", "the set-up held; later released"),
    Plant("an unknown mark M33", "DH-11-N, month 6", "that row rejected, the wall's marks listed"),
    Plant("a date in the future: 2052 for 2024", "DH-07-S, month 12, M4", "that row rejected"),
    Plant("a reading corrected, with who, why and when", "DH-05-N, month 30, M4", "from then on the new value counts"),
    Plant("an as-built record outside common practice", "DH-02-E, DH-03-S", "accepted, the doubts noted"),
    Plant("a homeowner page before that correction and one after", "DH-05-N", "the older is superseded (comes later)"),
    Plant("a homeowner's link revoked", "DH-12", "a neutral page (comes later)"),
)
