"""Held readings that would lie far inward: being in doubt must not hide danger, so the re-read is asked for at once."""

from collections.abc import Sequence
from dataclasses import replace
from statistics import median

from monitor.config import Rules
from monitor.ingest import fits
from monitor.ingest.fits import Placed
from monitor.ingest.visit import Visit
from monitor.terms import State
from monitor.units import length_text


def hurry(visit: Visit, rules: Rules) -> None:
    """Add to the question about a held reading how soon it has to be read again, if it is right."""
    expected = visit.expected.of(visit.drafts[0].values)
    readings = [
        Placed(draft, expected[draft.values["mark"]], draft.values["deflection_mm"])
        for draft in visit.whole
        if draft.values["mark"] in expected
    ]
    for block in fits.blocks(readings):
        for reading in block:
            inward_mm = _inward_mm(reading, block)
            if reading.draft.state is State.HELD and inward_mm is not None and inward_mm >= rules.jump_mm:
                _ask(reading, inward_mm, rules)


def _inward_mm(reading: Placed, block: Sequence[Placed]) -> float | None:
    """How far inward of its expectation; where the set-up stands anywhere, less what its used readings are off."""
    if not reading.target.is_free:
        return reading.off_mm
    used = [mate.off_mm for mate in block if mate.draft.state is State.USED]
    return reading.off_mm - median(used) if used else None


def _ask(reading: Placed, inward_mm: float, rules: Rules) -> None:
    draft = reading.draft
    limit_mm, soon = rules.jump_mm, "Read it again within 2 working days."
    if inward_mm >= rules.keep_out_jump_mm:
        limit_mm, soon = rules.keep_out_jump_mm, "Same day: call the office, and have it read again."
    size = length_text(limit_mm, draft.values["unit"])
    told = f"If it is right, {reading.target.mark} is {size} or more further in than expected. {soon}"
    last = max(i for i, finding in enumerate(draft.findings) if finding.state is State.HELD)
    draft.findings[last] = replace(draft.findings[last], mend=f"{draft.findings[last].mend} {told}".strip())
