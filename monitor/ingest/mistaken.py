"""Whole set-ups that fit far better as something else: other walls' sheets, mirrored columns, another kind or unit.

Each is compared as said and as it may have been meant (fits.explains); nothing is changed, a person is asked.

Measured (tests/pipeline/measure_recognition.py 1500 400): of 6,000 good visits of a mixed company, the second to the
seventh of each wall, 2 were held as something else. Row of five by string, third and fifth visit: of exchanged walls
that differ by 3-4, 4-6, 6-8 and more than 8 mm (root mean square over the marks) 0.64-0.80, 0.80-0.97, 0.90 and 0.98
were caught; of rows that differ from their mirror image by 3-4, 4-6, 6-8 and more than 8 mm at one mark 0.26-0.38,
0.5-0.6, 0.80-0.85 and 0.98; of deflections written as gaps 0.97-0.99. Of walls that truly bowed in by 6-20 mm 0-0.01
were held.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations
from math import log

from monitor.ingest import fits
from monitor.ingest.draft import Draft, Setting, span
from monitor.ingest.expectation import Expectations, Expected
from monitor.ingest.findings import Finding
from monitor.ingest.fits import Fit, Placed
from monitor.ingest.geometry import deflection_mm, needs_standoff
from monitor.ingest.known import wall_id
from monitor.ingest.units_mistaken import looks_like
from monitor.ingest.visit import Verdicts, Visit, grouped
from monitor.records import dataclass
from monitor.terms import Kind, Method, State
from monitor.units import MM_PER_INCH, length_text

_MOST = 2 / 3
"""Share of a visit's marks that another wall has to have."""
_LEAST_MARKS = 3
"""So many marks of a visit have to fit another wall before that is said of one wall alone."""


_NO_BOW = 100.0
"""And what one visit is said to be has to be so many times as likely as a bow of any size of the wall itself."""


@dataclass(frozen=True)
class Meaning:
    """What a set-up may have been meant as: readings as said and so, what to say of its cells, what to ask.

    log_stretch: log of how many mm the deflection changes, so meant, for one as said.
    """

    code: str
    said: Sequence[Placed]
    meant: Sequence[Placed]
    wrong: str
    mend: str
    log_stretch: float = 0.0

    @property
    def fit(self) -> Fit:
        """How well it fits so."""
        return fits.fit(self.meant, log_stretch=self.log_stretch)

    @property
    def explains(self) -> bool:
        """Whether it explains what is implausible as said, and far better than that the wall has bowed inward.

        That the wall really moved is the graver story, so it is not explained away; but walls do not bow out.
        """
        if not fits.explains(fits.fit(self.said), self.fit):
            return False
        bow = [reading.target.bow for reading in self.said]
        image = fits.weigh(self.said).times([reading.off_mm for reading in self.said])
        if sum(b * a for b, a in zip(bow, image, strict=True)) <= 0:
            return True
        return fits.fit(self.said, bow).square - self.fit.square > 2 * log(_NO_BOW)


def swapped(drafts: Sequence[Draft], setting: Setting) -> Verdicts:
    """Visits of one house and day whose readings fit each other's walls, or one whose readings fit another wall.

    A pair is judged by both visits together; one visit alone has to have three marks or more.
    """
    counting = [draft for draft in drafts if draft.counts and draft.values["visit_date"]]
    for same_day in grouped(counting, "house", "visit_date", "method").values():
        visits = list(grouped(same_day, "wall", "part").values())
        said = [fits.placed(visit, setting.expected.of(visit[0].values)) for visit in visits]
        left = {i: one for i, one in enumerate(said) if one}
        for i, j in combinations(list(left), 2):
            pair = _exchanged(left[i], left[j], setting.expected) if i in left and j in left else []
            for meaning, k in zip(pair, (i, j), strict=False):
                del left[k]
                yield from _held(visits[k], meaning)
        for k, one in left.items():
            if len(one) >= _LEAST_MARKS:
                yield from _best(visits[k], _of_neighbours(one, setting.expected))


def mistaken(visit: Visit) -> Verdicts:
    """Set-ups of a visit that fit far better mirrored, as the other kind, or in the other unit."""
    is_plumb = visit.drafts[0].values["method"] == Method.PLUMB
    for drafts in [visit.whole] if is_plumb else visit.whole_setups:
        said = fits.placed(drafts, visit.expected.of(drafts[0].values))
        if said:
            yield from _best(drafts, [_mirrored(said), *_other_kind(said), *_other_unit(said)])


def _best(drafts: Sequence[Draft], meanings: Iterable[Meaning]) -> Verdicts:
    """The set-up held for the likeliest meaning that explains it, if one does."""
    found = [meaning for meaning in meanings if meaning.explains]
    if found:
        yield from _held(drafts, max(found, key=lambda meaning: meaning.fit.log_likelihood))


def _held(drafts: Sequence[Draft], meaning: Meaning) -> Verdicts:
    """All of the set-up, also what nothing was expected of."""
    for draft in drafts:
        yield draft, Finding(State.HELD, meaning.code, f"{span(drafts)}{meaning.wrong}.", meaning.mend)


def _exchanged(one: list[Placed], other: list[Placed], expected: Expectations) -> list[Meaning]:
    """Both walls' meanings where each one's readings fit the other, else none."""
    found: list[Meaning] = []
    for readings, mate in ((one, other), (other, one)):
        told = f": {readings[0].draft.wall_id}'s readings fit {mate[0].draft.wall_id} and the reverse"
        mend = "Were the two walls exchanged? Send each under its own wall, or confirm."
        found += _as_wall("swapped", readings, mate[0].draft.values["wall"], expected, told, mend)
    if len(found) < 2:
        return []
    said = fits.fit(found[0].said) + fits.fit(found[1].said)
    return found if fits.explains(said, found[0].fit + found[1].fit) else []


def _of_neighbours(said: list[Placed], expected: Expectations) -> Iterator[Meaning]:
    """The readings as each other wall's of the house."""
    first = said[0].draft
    for wall in expected.neighbours(first.values):
        told = f": {first.wall_id}'s readings fit {wall_id(first.values['house'], wall)}"
        mend = "Which wall was read? Send them under that wall, or confirm."
        yield from _as_wall("wrong-wall", said, wall, expected, told, mend)


def _as_wall(
    code: str, readings: Sequence[Placed], wall: str, expected: Expectations, told: str, mend: str
) -> Iterator[Meaning]:
    """The same readings against the marks of those ids at another wall, which has to have most of them."""
    there = expected.of(readings[0].draft.values, wall)
    said = [reading for reading in readings if reading.target.mark in there]
    if said and len(said) >= _MOST * len(readings):
        meant = [Placed(reading.draft, there[reading.target.mark], reading.deflection_mm) for reading in said]
        name = wall_id(readings[0].draft.values["house"], wall)
        yield Meaning(code, said, meant, f"{told}{_told(said, meant, name)}", mend)


def _mirrored(said: Sequence[Placed]) -> Meaning:
    """Each row's readings in the reverse order of its marks; a plumb line's row goes over several set-ups.

    By marks, not by readings: one that was read in two set-ups is one of the row's marks, and both are of its image.
    """
    is_plumb = said[0].draft.values["method"] == Method.PLUMB
    row_of = {id(one.draft): (0 if is_plumb else one.draft.values["setup"], one.target.row) for one in said}
    rows: dict[tuple[int, str], dict[str, Expected]] = defaultdict(dict)
    for reading in sorted(said, key=lambda reading: reading.target.x_mm):
        rows[row_of[id(reading.draft)]].setdefault(reading.target.mark, reading.target)
    images = {row: dict(zip(marks, reversed(list(marks.values())), strict=True)) for row, marks in rows.items()}
    mates = {id(one.draft): images[row_of[id(one.draft)]][one.target.mark] for one in said}
    meant = [Placed(reading.draft, mates[id(reading.draft)], reading.deflection_mm) for reading in said]
    told = _told(said, meant, mates[id(fits.worst(said).draft)].mark)
    mend = "Were the columns read from the right? Send them in their order, or confirm."
    return Meaning("mirrored", said, meant, f": the mirror image of what was expected fits better{told}", mend)


def _other_kind(said: Sequence[Placed]) -> Iterator[Meaning]:
    """Gaps taken for deflections, or the reverse."""
    values = [reading.draft.values for reading in said]
    kind, method = Kind(values[0]["kind"]), Method(values[0]["method"])
    unknown = needs_standoff(method, Kind.GAP) and any(value["standoff_mm"] is None for value in values)
    if kind is Kind.DISTANCE or any(value["kind"] != kind for value in values) or unknown:
        return
    other = Kind.DEFLECTION if kind is Kind.GAP else Kind.GAP
    meant = [
        Placed(reading.draft, reading.target, deflection_mm(value["value_mm"], other, value["standoff_mm"]))
        for reading, value in zip(said, values, strict=True)
    ]
    worst = fits.worst(said)
    draft, mate = worst.draft, _of_draft(meant, worst.draft)
    otherwise = deflection_mm(fits.expected_mm(mate, meant), other, draft.values["standoff_mm"])
    yield Meaning(
        "kind-mistaken",
        said,
        meant,
        f": these {kind}s fit as {other}s; {worst.target.mark} is '{draft.row.shown('value')}', and a {kind} of"
        f" {fits.value_text(draft, fits.expected_mm(worst, said))} or a {other} of"
        f" {length_text(otherwise, draft.values['unit'])} was expected",
        "Gap or deflection?",
    )


def _other_unit(said: Sequence[Placed]) -> Iterator[Meaning]:
    """Inches taken for millimetres, or the reverse, or converted twice.

    Not where set-ups stand anywhere: numbers 25.4 times too small then look like a flat wall.
    """
    drafts = [reading.draft for reading in said]
    unit = drafts[0].values["unit"]
    if any(draft.values["unit"] != unit or (draft.length and draft.length.feet) for draft in drafts):
        return
    if any(reading.target.is_free for reading in said):
        return
    for factor in (MM_PER_INCH, 1 / MM_PER_INCH):
        meant = [
            Placed(
                reading.draft,
                reading.target,
                deflection_mm(
                    reading.draft.values["value_mm"] * factor,
                    Kind(reading.draft.values["kind"]),
                    reading.draft.values["standoff_mm"],
                ),
            )
            for reading in said
        ]
        wrong = f" {looks_like(unit, factor < 1, several=len(drafts) > 1)}"
        yield Meaning("unit-factor", said, meant, wrong, "Which unit was read?", log(factor))


def _told(said: Sequence[Placed], meant: Sequence[Placed], where: str) -> str:
    """What the reading that is furthest off was expected to be, as said and as meant."""
    worst = fits.worst(said)
    mate = _of_draft(meant, worst.draft)
    here = fits.value_text(worst.draft, fits.expected_mm(worst, said))
    there = fits.value_text(worst.draft, fits.expected_mm(mate, meant))
    shown = worst.draft.row.shown("value")
    return f"; {worst.target.mark} is '{shown}', and {here} was expected, {there} of {where}"


def _of_draft(readings: Sequence[Placed], draft: Draft) -> Placed:
    return next(reading for reading in readings if reading.draft is draft)
