"""One reading that its set-up's others contradict, and a whole set-up off by a constant that nothing takes away.

Measured (tests/pipeline/measure_recognition.py 1500 400): of 6,000 good visits of a mixed company 4 had a reading held.
Of slips of 6, 9.5, 12.7 and 15.9 mm at one mark, third and fifth visit, row of five by string: 0.31-0.47, 0.88-0.92,
0.98-0.99 and 0.99 were held. A laser plane may be turned, which leaves a row of five less to tell by: see the table.
"""

from collections.abc import Mapping, Sequence
from math import log
from statistics import fmean

from monitor import slips
from monitor.config import END_REACH_MM
from monitor.ingest import fits
from monitor.ingest.draft import Draft, StoredDraft, span
from monitor.ingest.expectation import Expected
from monitor.ingest.findings import Finding
from monitor.ingest.fits import Placed
from monitor.ingest.visit import Verdicts, Visit
from monitor.terms import Method, State
from monitor.units import length_text

OFF = 4.5
"""A reading is in doubt from so many of its standard deviations on, given the others of its set-up."""
OFF_A_BOW = 3.5
"""And from so many on where the set-up may have moved by a bow of any size."""
_KEPT = 0.05
"""Least share of a reading's weight that such a bow leaves it; with less the two cannot be told apart."""
_LEAST_MARKS = 3
_LEAST_BOW = 0.2
"""Of a set-up of fewer marks, those that see less than this share of a bow are no witnesses of one: what is off there
is no movement that a bow explains."""
_MOST = 2
"""More readings in doubt than that are no slips but something about the visit."""
_REACH = 2.0
"""A slip fits within so many standard deviations."""
CONFIRMS = 0.5
"""Another set-up confirms a reading that is off from so large a share of that on."""
_NO_BOW = 100.0
"""A constant has to be so many times as likely as a bow of any size before a set-up is said to be shifted."""


def misread(visit: Visit) -> Verdicts:
    """One or two readings of a visit that its others contradict, with the slip that would explain each; never applied.

    A real movement is a bow: what that explains is let pass, and so is what a second set-up confirms, that day or after
    the first was held.
    """
    readings = fits.placed(visit.whole, visit.expected.of(visit.drafts[0].values))
    rest = readings
    found: list[tuple[Placed, float, float]] = []
    while len(found) < _MOST and (doubt := _outlier(rest)):
        found.append(doubt)
        rest = [reading for reading in rest if reading is not doubt[0]]
    if found and (not rest or fits.fit(rest, _bow(rest)).chance >= fits.IMPLAUSIBLE):
        for reading, off_mm, sd_mm in found:
            if not _confirmed(reading, off_mm, readings, visit):
                yield reading.draft, _slip(reading, off_mm, sd_mm)


def let_pass_mm(expected: Mapping[str, Expected]) -> dict[str, float | None]:
    """How far each mark's reading may be off before `misread` doubts it, where the visit's others come as expected.

    expected: one method's marks, each read once. Never further than a single reading may be off by itself; None where
    nothing tells the reading.
    """
    targets = list(expected.values())
    keys = [(1, target.line) for target in targets]
    plain, bowed = fits.weigh_targets(targets, keys), fits.weigh_targets(targets, keys, [t.bow for t in targets])
    found: dict[str, float | None] = {}
    for i, target in enumerate(targets):
        weight, left = plain.matrix[i][i], bowed.matrix[i][i]
        widths = [] if target.is_free else [OFF * target.sd_mm]
        if len(targets) >= _LEAST_MARKS and left >= _KEPT * weight > 0:
            widths.append(max(OFF * weight**-0.5, OFF_A_BOW * left**-0.5))
        found[target.mark] = min(widths, default=None)
    return found


def _outlier(readings: Sequence[Placed]) -> tuple[Placed, float, float] | None:
    """The reading most in doubt, how far inward it lies of what the others foretell, and the sd of that."""
    if not readings:
        return None
    off = [reading.off_mm for reading in readings]
    plain, bowed = fits.weigh(readings), fits.weigh(readings, _bow(readings))
    image, bowed_image = plain.times(off), bowed.times(off)
    scores = [(0.0, 0)]
    for i in range(len(readings)):
        weight, left = plain.matrix[i][i], bowed.matrix[i][i]
        if left >= _KEPT * weight > 0 and abs(bowed_image[i]) >= OFF_A_BOW * left**0.5:
            scores.append((abs(image[i]) / weight**0.5, i))
    score, i = max(scores)
    weight = plain.matrix[i][i]
    return (readings[i], image[i] / weight, weight**-0.5) if score >= OFF else None


def _bow(readings: Sequence[Placed]) -> list[float]:
    """How much of a bow each sees; of few readings those at the ends see none."""
    few = len(readings) < _LEAST_MARKS
    return [0.0 if few and abs(r.target.bow) < _LEAST_BOW else r.target.bow for r in readings]


def _confirmed(one: Placed, off_mm: float, readings: Sequence[Placed], visit: Visit) -> bool:
    """Whether another set-up of the visit, or a reading that was held before, has that mark off the same way.

    Where set-ups stand anywhere each is held against its own other readings, and a reading held before cannot be.
    """
    others = [
        _apart_mm(reading, block)
        for block in fits.blocks(readings)
        for reading in block
        if reading.target.mark == one.target.mark and reading.draft is not one.draft
    ]
    if not one.target.is_free:
        before = visit.history.doubted(one.draft.values)
        others += [row["deflection_mm"] - one.target.mean_mm for row in before]
    return any(other / off_mm > CONFIRMS for other in others)


def _apart_mm(reading: Placed, block: Sequence[Placed]) -> float:
    """How far inward of its expectation; where the set-up stands anywhere, less what its other readings are off."""
    mates = [mate.off_mm for mate in block if mate is not reading]
    if not reading.target.is_free:
        return reading.off_mm
    return reading.off_mm - fmean(mates) if mates else 0.0


def _slip(reading: Placed, off_mm: float, sd_mm: float) -> Finding:
    draft = reading.draft
    unit, fitting = draft.values["unit"], reading.deflection_mm - off_mm
    wanted_mm = fits.value_mm(draft, fitting)
    meant = slips.likely(draft.values["value_raw"], unit, wanted_mm, _REACH * sd_mm)
    would = f"{meant[0]} would fit" if meant else f"about {length_text(wanted_mm, unit)} was expected"
    size = length_text(abs(off_mm), unit)
    if draft.values["value_mm"] == 0:
        wrong = f"{draft.at} '{draft.row.shown('value')}': 0 would be a {size} jump."
        return Finding(State.HELD, "zero", wrong, "Leave the cell blank if it was not read.")
    wrong = f"{draft.at} '{draft.row.shown('value')}': {reading.target.mark} is {size} off; {would}."
    return Finding(State.HELD, "slip" if meant else "misfit", wrong, "Re-read or confirm.")


def shifted(visit: Visit) -> Verdicts:
    """A set-up off by one amount at all its marks, which no bow explains.

    Where the method's set-ups stand anywhere that is nothing. It is accepted with a note where an end mark of the
    string shows it too, accepted where a second set-up of that line agrees, else held.
    """
    readings = fits.placed(visit.whole, visit.expected.of(visit.drafts[0].values))
    groups = fits.blocks(readings)
    offs = [_shift(block) for block in groups]
    for i, (block, off_mm) in enumerate(zip(groups, offs, strict=True)):
        again = [
            off for j, off in enumerate(offs) if j != i and off and groups[j][0].target.line == block[0].target.line
        ]
        if off_mm is None or any(other / off_mm > CONFIRMS for other in again):
            continue
        drafts = [reading.draft for reading in block if not isinstance(reading.draft, StoredDraft)]
        if not drafts:
            continue
        size = length_text(abs(off_mm), drafts[0].values["unit"])
        side = "in" if off_mm > 0 else "out"
        wrong = f"{span(drafts)}: all {len(block)} readings are {size} further {side} than expected"
        if drafts[0].values["method"] == Method.STRING and any(r.target.to_end_mm <= END_REACH_MM for r in block):
            drafts[0].notes.append(f"{wrong}, the end marks too: other blocks? Used, for the ends take it off.")
            continue
        for draft in drafts:
            yield draft, Finding(State.HELD, "shifted", f"{wrong}, by the same amount.", _ask_of_shift(draft))


def _ask_of_shift(draft: Draft) -> str:
    if draft.values["method"] == Method.METER:
        return "Another base, or the meter's other edge? If not, the wall itself has moved: read it again."
    return "Were other blocks used? Read the end marks too, or confirm."


def _shift(block: Sequence[Placed]) -> float | None:
    """How far inward a set-up is shifted by a constant; None where it is not, or where its offset may be anything."""
    if len(block) < _LEAST_MARKS or any(reading.target.is_free for reading in block):
        return None
    constant, bowed = fits.fit(block, [1.0] * len(block)), fits.fit(block, _bow(block))
    if fits.fit(block).chance >= fits.IMPLAUSIBLE or constant.chance <= fits.PLAUSIBLE:
        return None
    if (bowed.square - constant.square) / 2 < log(_NO_BOW):
        return None
    return fmean(reading.off_mm for reading in block)
