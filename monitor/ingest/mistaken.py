"""Whole set-ups that fit far better as something else: other walls' sheets, mirrored columns, another kind or unit.

Each is compared as said and as it may have been meant (fits.explains); nothing is changed, a person is asked.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import log

from monitor.ingest import fits
from monitor.ingest.draft import Draft, Setting, span
from monitor.ingest.expectation import Expectations
from monitor.ingest.findings import Finding
from monitor.ingest.fits import Fit, Placed
from monitor.ingest.geometry import deflection_mm, needs_standoff
from monitor.ingest.units_mistaken import looks_like
from monitor.ingest.visit import Verdicts, Visit, grouped
from monitor.terms import Kind, Method, State
from monitor.units import MM_PER_INCH, length_text

_LEAST_MARKS = 3
"""So many marks of a visit have to fit another wall before that is said of one wall alone."""


_NO_BOW = 100.0
"""And the other wall has to be so many times as likely as a bow of any size of the wall itself."""


@dataclass(frozen=True)
class Meaning:
    """What a set-up may have been meant as: its readings so, what to say of its cells, what to ask.

    log_stretch: log of how many mm the deflection changes, so meant, for one as said.
    """

    code: str
    readings: Sequence[Placed]
    wrong: str
    mend: str
    log_stretch: float = 0.0

    @property
    def fit(self) -> Fit:
        """How well it fits so."""
        return fits.fit(self.readings, log_stretch=self.log_stretch)


def swapped(drafts: Sequence[Draft], setting: Setting) -> Verdicts:
    """Visits of one house and day whose readings fit each other's walls, or one whose readings fit another wall.

    A pair is judged by both visits together. One visit alone has to have three marks or more, and to look like no bow
    inward of its own wall: that the wall really moved is the graver story of the two.
    """
    counting = [draft for draft in drafts if draft.counts and draft.values["visit_date"]]
    for same_day in grouped(counting, "house", "visit_date", "method").values():
        by_wall = grouped(same_day, "wall", "part").values()
        said = [fits.as_said(visit, setting.expected.of(visit[0].values)) for visit in by_wall]
        left = {i: one for i, one in enumerate(said) if one}
        for i, j in combinations(list(left), 2):
            pair = _exchanged(left[i], left[j], setting.expected) if i in left and j in left else []
            for meaning, k in zip(pair, (i, j), strict=False):
                yield from _held(left.pop(k), meaning)
        for one in left.values():
            if len(one) >= _LEAST_MARKS:
                yield from _best(one, _unlike_a_bow(one, _of_neighbours(one, setting.expected)))


def _unlike_a_bow(said: Sequence[Placed], meanings: Sequence[Meaning]) -> list[Meaning]:
    """Meanings that are far likelier than that the wall has bowed inward, by whatever amount; walls do not bow out."""
    bow = [reading.target.bow for reading in said]
    image = fits.weigh(said).times([reading.off_mm for reading in said])
    if sum(b * a for b, a in zip(bow, image, strict=True)) <= 0:
        return list(meanings)
    moved = fits.fit(said, bow)
    return [meaning for meaning in meanings if moved.square - meaning.fit.square > 2 * log(_NO_BOW)]


def mistaken(visit: Visit) -> Verdicts:
    """Set-ups of a visit that fit far better mirrored, as the other kind, or in the other unit."""
    is_plumb = visit.drafts[0].values["method"] == Method.PLUMB
    for drafts in [visit.drafts] if is_plumb else visit.setups:
        said = fits.as_said(drafts, visit.expected.of(drafts[0].values))
        if said:
            yield from _best(said, [_mirrored(said), *_other_kind(said), *_other_unit(said)])


def _best(said: Sequence[Placed], meanings: Sequence[Meaning]) -> Verdicts:
    before = fits.fit(said)
    found = [meaning for meaning in meanings if fits.explains(before, meaning.fit)]
    if found:
        yield from _held(said, max(found, key=lambda meaning: meaning.fit.log_likelihood))


def _held(said: Sequence[Placed], meaning: Meaning) -> Verdicts:
    wrong = f"{span([reading.draft for reading in said])}{meaning.wrong}."
    for reading in said:
        yield reading.draft, Finding(State.HELD, meaning.code, wrong, meaning.mend)


def _exchanged(one: list[Placed], other: list[Placed], expected: Expectations) -> list[Meaning]:
    """Both walls' meanings where each one's readings fit the other, else none."""
    found = []
    for readings, mate in ((one, other), (other, one)):
        meant = _as_wall(readings, mate[0].draft.values["wall"], expected)
        if meant is None:
            return []
        wrong = f": {readings[0].draft.wall_id}'s readings fit {mate[0].draft.wall_id} and the reverse"
        mend = "Were the two walls exchanged? Send each under its own wall, or confirm."
        found.append(Meaning("swapped", meant, wrong + _told(readings, meant, mate[0].draft.wall_id), mend))
    said = fits.fit(one) + fits.fit(other)
    return found if fits.explains(said, found[0].fit + found[1].fit) else []


def _of_neighbours(said: list[Placed], expected: Expectations) -> list[Meaning]:
    """The readings as each other wall's of the house."""
    found = []
    first = said[0].draft
    for wall in expected.neighbours(first.values):
        meant = _as_wall(said, wall, expected)
        if meant:
            name = f"{first.values['house']}-{wall}"
            wrong = f": {first.wall_id}'s readings fit {name}{_told(said, meant, name)}"
            found.append(
                Meaning("wrong-wall", meant, wrong, "Which wall was read? Send them under that wall, or confirm.")
            )
    return found


def _as_wall(readings: Sequence[Placed], wall: str, expected: Expectations) -> list[Placed] | None:
    """The same readings against the marks of those ids at another wall."""
    return fits.as_said([reading.draft for reading in readings], expected.of(readings[0].draft.values, wall))


def _mirrored(said: Sequence[Placed]) -> Meaning:
    """Each row's readings in the reverse order of its marks."""
    rows: dict[tuple[int, str], list[Placed]] = defaultdict(list)
    for reading in sorted(said, key=lambda reading: reading.target.x_mm):
        rows[reading.draft.values["setup"], reading.target.row].append(reading)
    mates = {
        reading.draft.at: mate.target for row in rows.values() for reading, mate in zip(row, reversed(row), strict=True)
    }
    meant = [Placed(reading.draft, mates[reading.draft.at], reading.deflection_mm) for reading in said]
    told = _told(said, meant, mates[fits.worst(said).draft.at].mark)
    mend = "Were the columns read from the right? Send them in their order, or confirm."
    return Meaning("mirrored", meant, f": the mirror image of what was expected fits better{told}", mend)


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
        meant,
        f": these {kind}s fit as {other}s; {worst.target.mark} is '{draft.row.shown('value')}', and a {kind} of"
        f" {fits.value_text(draft, fits.expected_mm(worst, said))} or a {other} of"
        f" {length_text(otherwise, draft.values['unit'])} was expected",
        "Gap or deflection?",
    )


def _other_unit(said: Sequence[Placed]) -> Iterator[Meaning]:
    """Inches taken for millimetres, or the reverse, or converted twice."""
    drafts = [reading.draft for reading in said]
    unit = drafts[0].values["unit"]
    if any(draft.values["unit"] != unit or (draft.length and draft.length.feet) for draft in drafts):
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
        yield Meaning("unit-factor", meant, wrong, "Which unit was read?", log(factor))


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
