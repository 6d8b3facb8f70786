"""The value of a row: whether it was read, its unit, its length, its stand-off, and the deflection that follows."""

from monitor.errors import LengthError
from monitor.ingest import words
from monitor.ingest.cells import Cell
from monitor.ingest.draft import Draft, Setting
from monitor.ingest.findings import Finding, held, of_length, rejected
from monitor.ingest.geometry import STANDOFF_METHODS, deflection_mm, needs_standoff, step_mm
from monitor.ingest.meant import mend_weighed
from monitor.ingest.values import fraction_of_date, is_blank, is_mangled_fraction
from monitor.lengths import AmbiguousLengthError, Length, MistypedLengthError, UnitMissingError, parse, tidy, unit_of
from monitor.terms import Kind, Method, NotRead, State
from monitor.units import length_text

_BLOCKS_AGREE_MM = 0.4
"""A stand-off typed to the nearest 1/32 in agrees with the registered one."""


def read_value(draft: Draft, setting: Setting) -> None:
    """Fill not_read, or unit, value, stand-off, deflection and step; raises CellError."""
    text = draft.row.text("value")
    draft.values["value_raw"] = text
    draft.values["standoff_raw"] = draft.row.text("standoff")
    word = _not_read(draft)
    if word:
        draft.values["not_read"] = word.value
        return
    if is_mangled_fraction(draft.row.cell("value")):
        meant = fraction_of_date(draft.row.cell("value"))
        raise held(
            "date-for-fraction",
            f"{draft.at} holds a date.",
            f"Spreadsheets do this to {meant}. Type it as 0 {meant} or format the column as text.",
        )
    unit = _unit(draft)
    length = _length(draft, setting, unit)
    draft.length = length
    draft.values |= {
        "unit": length.unit,
        "value_mm": length.mm,
        "error_factor": 2.0 if length.doubt == "doubtful" else 1.0,
    }
    if length.note and not length.doubt:
        draft.notes.append(f"{draft.at} '{text}': read as {length_text(length.mm, length.unit, denominator=64)}.")
    _ask_of_writing(draft, length)
    _deflection(draft, setting, unit or length.unit)


def _not_read(draft: Draft) -> NotRead | None:
    """Why the mark was not read, where it was not: said by the value's cell, the reason's, or both."""
    text, reason = tidy(draft.row.text("value")).lower(), tidy(draft.row.text("not_read")).lower()
    known = {word.value: word for word in NotRead} | dict(words.NOT_READ)
    if not is_blank(text) and text not in known:
        if not is_blank(reason):
            raise held(
                "value-and-not-read",
                f"{draft.at} '{draft.row.shown('value')}' is a value, and {draft.row.at('not_read')} says"
                f" '{Cell(reason).shown}'.",
                "Which of the two?",
            )
        return None
    said = [known[word] for word in (reason, text) if word in known]
    return next((word for word in said if word is not NotRead.OTHER), NotRead.OTHER)


def _unit(draft: Draft) -> str:
    """The unit of the unit column, else of the heading, else ''."""
    written, heading = draft.row.shown("unit"), draft.row.unit("value")
    unit = heading if is_blank(written) else unit_of(written)
    if unit in ("in", "mm") and heading not in ("", unit):
        raise held(
            "unit-differs",
            f"{draft.row.at('unit')} says {unit}, and the heading of the value says {heading}.",
            "Which unit was read?",
        )
    if unit in ("in", "mm") or (not unit and is_blank(written)):
        return unit
    raise rejected(
        "unit",
        f"{draft.row.at('unit')} '{written or unit}': in or mm expected.",
        "Write in or mm.",
    )


def _length(draft: Draft, setting: Setting, unit: str) -> Length:
    text = draft.row.text("value")
    try:
        return parse(text, unit or None)
    except UnitMissingError:
        last = setting.history.last_unit(draft.values["house"], draft.values["wall"])
        offer = f"The last visit was in {last}: write {last} if this is too." if last else "Write in or mm."
        raise held(
            "unit-missing",
            f"{draft.at} '{draft.row.shown('value')}' has no unit: in or mm expected in {_unit_place(draft)}.",
            offer,
        ) from None
    except AmbiguousLengthError as error:
        if unit == "mm" and "fraction" in error.expected:
            raise held(
                "fraction-in-mm",
                f"{draft.at} '{text}' is a fraction, and the unit is mm.",
                "Inches? Then write in as the unit.",
            ) from None
        raise of_length(draft.at, error) from None
    except MistypedLengthError as error:
        raise rejected(
            "length", f"{draft.at} '{draft.row.shown('value')}': {error.expected} expected.",
            mend_weighed(draft, setting, error, unit or "in"),
        ) from None  # fmt: skip
    except LengthError as error:
        raise of_length(draft.at, error) from None


def _unit_place(draft: Draft) -> str:
    return draft.row.at("unit") if "unit" in draft.row.header.columns else "a unit column"


def _ask_of_writing(draft: Draft, length: Length) -> None:
    """Hold what can be read but hardly meant; the numbers are kept, so that a person can release it."""
    text = draft.row.text("value")
    if length.doubt == "range":
        middle = length_text(length.mm, length.unit, denominator=64)
        draft.findings.append(
            Finding(State.HELD, "range", f"{draft.at} '{text}' is a range: one value expected.",
                    f"Read it again, or release its middle, {middle}.")
        )  # fmt: skip
    if length.feet and draft.values["method"] != Method.METER:
        draft.findings.append(
            Finding(State.HELD, "feet", f"{draft.at} '{text}' is in feet: inches expected of a gap or deflection.",
                    "Is it a distance, or a slip?")
        )  # fmt: skip
    if draft.values["kind"] == Kind.DISTANCE and draft.values["method"] not in ("", Method.METER):
        draft.findings.append(
            Finding(State.HELD, "kind-method",
                    f"{draft.row.at('kind')} says distance, and the method is {draft.values['method']}.",
                    "Was it read with the meter, or is it a gap?")
        )  # fmt: skip


def _deflection(draft: Draft, setting: Setting, unit: str) -> None:
    values, length = draft.values, draft.length
    if length is None or not (values["method"] and values["kind"]):
        return
    method, kind = Method(values["method"]), Kind(values["kind"])
    instrument = setting.known.find("instruments", values["instrument"]) or {}
    values["step_mm"] = step_mm(length, instrument.get("step_mm"))
    if method in STANDOFF_METHODS:
        values["standoff_mm"] = _standoff(draft, instrument.get("standoff_mm"), unit)
    if needs_standoff(method, kind) and values["standoff_mm"] is None:
        raise held(
            "standoff-missing",
            f"{draft.row.at('standoff')} is blank, and no stand-off of"
            f" {Cell(values['instrument']).shown or 'the blocks'} is registered:"
            " a stand-off expected for a gap to a string.",
            "How far do the blocks hold the string off the wall?",
        )
    values["deflection_mm"] = deflection_mm(length.mm, kind, values["standoff_mm"])


def _standoff(draft: Draft, registered_mm: float | None, unit: str) -> float | None:
    """The stand-off as typed, else of the instrument; held where the two differ."""
    text = draft.row.text("standoff")
    if is_blank(text):
        return registered_mm
    try:
        typed_mm = parse(text, draft.row.unit("standoff") or unit or None).mm
    except LengthError:
        try:
            typed_mm = parse(text).mm
        except LengthError as error:
            raise of_length(draft.row.at("standoff"), error) from None
    if registered_mm is not None and abs(typed_mm - registered_mm) > _BLOCKS_AGREE_MM:
        draft.findings.append(
            Finding(State.HELD, "standoff-differs",
                    f"{draft.row.at('standoff')} '{text}', but {draft.values['instrument']} is registered with "
                    f"{length_text(registered_mm, draft.values['unit'], denominator=64)}.",
                    "Were other blocks used?")
        )  # fmt: skip
    return typed_mm


def judge_correction_value(value_raw: str, unit: str, kind: Kind, standoff_mm: float | None) -> tuple[float, float]:
    """Millimetres and deflection of a corrected value; raises LengthError."""
    length = parse(value_raw, unit)
    return length.mm, deflection_mm(length.mm, kind, standoff_mm)
