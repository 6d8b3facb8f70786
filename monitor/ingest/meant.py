"""What a mistyped length may have meant, held against what the visit's mark was expected to read."""

from contextlib import suppress

from monitor.errors import LengthError
from monitor.ingest.draft import Draft, Setting
from monitor.ingest.geometry import deflection_mm, needs_standoff
from monitor.lengths import MistypedLengthError, parse
from monitor.terms import Kind, Method
from monitor.units import length_text

_PLAUSIBLE_SDS = 4.5
"""A meaning further from the expectation than that would itself be held as a likely misread, so it is not offered."""


def mend_weighed(draft: Draft, setting: Setting, error: MistypedLengthError, unit: str) -> str:
    """The question to ask: the meanings that fit what was expected, nearest to it first; none where none fits.

    Where nothing is expected, or the set-up may stand anywhere, all meanings are offered as the writing suggests them.
    """
    foretold = setting.expected.of(draft.values).get(draft.values["mark"]) if draft.values["visit_date"] else None
    offs = [_off_mm(draft, setting, text, unit, foretold.mean_mm) for text in error.meant] if foretold else []
    if foretold is None or foretold.is_free or None in offs:
        return error.mend
    weighed = sorted((abs(off), text) for off, text in zip(offs, error.meant, strict=True) if off is not None)
    fitting = [text for off, text in weighed if off <= _PLAUSIBLE_SDS * foretold.sd_mm]
    if fitting:
        return f"Did you mean {' or '.join(fitting)}?"
    off, text = weighed[0]
    return f"Read it again: {text} would be {length_text(off, unit)} off what was expected."


def _off_mm(draft: Draft, setting: Setting, text: str, unit: str, mean_mm: float) -> float | None:
    """How far inward of the expectation that meaning lies; None where its deflection is not known.

    A fraction that may have been meant is no number of millimetres: then nothing is weighed.
    """
    method, kind = draft.values["method"], draft.values["kind"]
    if not (method and kind):
        return None
    standoff_mm = _standoff_mm(draft, setting, unit)
    if needs_standoff(Method(method), Kind(kind)) and standoff_mm is None:
        return None
    with suppress(LengthError):
        return deflection_mm(parse(text, unit).mm, Kind(kind), standoff_mm) - mean_mm
    return None


def _standoff_mm(draft: Draft, setting: Setting, unit: str) -> float | None:
    """The stand-off as typed, else of the instrument; None where neither can be read."""
    with suppress(LengthError):
        return parse(draft.row.text("standoff"), draft.row.unit("standoff") or unit).mm
    instrument = setting.known.find("instruments", draft.values["instrument"]) or {}
    return instrument.get("standoff_mm")
