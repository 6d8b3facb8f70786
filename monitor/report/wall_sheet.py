"""One wall's book to the context of its office page: everything, with what was not used and why."""

from collections.abc import Callable, Mapping
from datetime import datetime
from math import floor
from typing import Any

from msgspec import structs

from monitor.config import Rules
from monitor.report import names, photo_sheet, plan_words, readings_sheet, repair_sheet, wording
from monitor.report.component_charts import component_charts
from monitor.report.context import Book, Row, WallView, tellable
from monitor.report.curves import component_curves, curves
from monitor.report.drawing import OFFICE, legend_words, movement_chart
from monitor.report.elevation import elevation, face_legend
from monitor.report.figures import movement_figure
from monitor.report.language import Language
from monitor.report.places import spoken
from monitor.report.placing import hard_limit
from monitor.report.standing import end_moves, jumped
from monitor.report.status import reference
from monitor.terms import Movement, Verdict
from monitor.units import feet_text, inches_from_mm, length_text, rate_number, rate_text, rate_unit

Context = Mapping[str, Any]

NONE = "–"
_AS_BUILT = (
    ("strap_count", "straps bonded", ""),
    ("strap_spacing_mm", "spacing of the straps", "length"),
    ("surface_to_sound", "surface taken down to sound, clean wall", ""),
    ("cracks_grouted", "cracks cleared and grouted before bonding", ""),
    ("top_anchor", "top of the straps anchored to", ""),
    ("joists_tied", "joists tied to the sill on both sides", ""),
    ("bottom_holes_cleaned", "bottom anchor holes cleaned", ""),
    ("bottom_hole_depth_mm", "measured depth of those holes", "length"),
    ("cure_minutes", "cure time of the adhesive", "min"),
    ("heat_source", "cured under a heat source", ""),
    ("heat_distance_mm", "distance of the heat source", "length"),
    ("hardness_test", "hardness tested", ""),
    ("turns", "turns after finger-tight", "turns"),
    ("anchor_gap_mm", "gap left behind the top anchor", "length"),
    ("adhesive_margin_mm", "adhesive past the strap's edges", "length"),
    ("film_hours", "smoothing film left on", "h"),
    ("marks_untouched", "marks the surface work did not touch", ""),
)
_WHOLE = 10
_VALUE: Mapping[str, Callable[[float, str], str]] = {
    "mm": wording.EN.length_text,
    "mm/yr": wording.EN.rate_text,
    "to 1": lambda value, _: f"{floor(value)} to 1" if value >= _WHOLE else f"{floor(value * 10) / 10:.1f} to 1",
}
"""Units of findings that the page tells in its own; odds are rounded down, as in the reason beside them."""
_LIMIT = {**_VALUE, "mm/yr": wording.EN.limit_text}
_COMPONENTS = (Movement.BOW, Movement.TIP, Movement.SLIDE)


def wall_sheet(book: Book, view: WallView) -> Context:
    """Context of wall.html."""
    drawn = curves(book, view)
    ids = names.anchor(view.house, view.wall)
    chart = movement_chart(drawn, view.unit, OFFICE, f"move-{ids}")
    return {
        "title": f"{view.key}, {view.nickname}",
        "nav": True,
        "key": view.key,
        "nickname": view.nickname,
        "site": view.site,
        "place": _place(view),
        "verdict": _verdict(view),
        "rate_unit": rate_unit(view.unit),
        "rate_unit_beside": rate_unit(wording.other_unit(view.unit)),
        "chart": chart,
        "chart_mark": drawn.mark,
        "legend": legend_words(drawn, view.unit) if chart else [],
        "component_charts": component_charts(component_curves(book, view), view, f"part-{ids}"),
        "figure": movement_figure(drawn, view) if chart else None,
        "figure_id": f"chart-{ids}",
        "script": names.SCRIPT,
        "face": elevation(view, f"face-{ids}"),
        "face_legend": face_legend(view),
        "has_straps": any(row["strap_count"] for row in view.reinforcements),
        "components": _components(view),
        "hard": hard_limit(view.alarms),
        "jumped": jumped(view),
        "findings": [_finding(row, view.unit) for row in view.findings],
        "periods": [_period(row, view.unit) for row in view.periods],
        "repairs": repair_sheet.repairs(view),
        "limit_range": repair_sheet.limit_range(view),
        "notes": repair_sheet.notes(view.current),
        "end_moves": end_moves(view),
        "plan": plan_words.of_wall(view.planned, view.unit),
        "marks": _marks(view),
        "two_pairs": _two_pairs(view),
        "readings": readings_sheet.readings(view),
        "reading_counts": readings_sheet.reading_counts(view),
        "events": [_event(row, view.unit) for row in view.events],
        "photos": photo_sheet.photos(view),
        "photos_unfound": view.photos_unfound,
        "decisions": view.decisions,
        "not_measured": not_measured(view, wording.COMPONENT),
        "unread": readings_sheet.unread(view),
        "relative_to": _relative_to(view),
        "scope": scope(view),
        "homeowner_page": names.page_name(view.house, view.wall, "homeowner"),
        "engineer_page": names.page_name(view.house, view.wall, "engineer"),
        "settings": settings_rows(book.rules),
        "signed": book.thresholds,
        **footer(book, "wall", view.house, view.wall),
    }


def footer(book: Book, kind: str, *keys: str) -> Context:
    """What every page says of itself."""
    judged = book.assessment
    before = book.supersedes.get(names.file_name(kind, *keys))
    return {
        "report_number": book.report_number(kind, *keys, *([before["report_number"]] if before else [])),
        "supersedes": {**before, "known_until": _moment(before["known_until"])} if before else None,
        "judged_on": judged.judged_on,
        "known_until": _moment(judged.known_until),
        "code_version": book.code_version,
        "settings_sha256": judged.settings_sha256,
        "facts_sha256": judged.facts_sha256,
        "company": book.company.get("name") or "Our office",
        "contact": book.company.get("contact") or "",
    }


def _moment(known: datetime) -> str:
    return f"{known:%Y-%m-%d %H:%M} UTC"


def scope(view: WallView, words: Language = wording.EN) -> str:
    """The second of the cautions: relative to what, which wall, up to when."""
    days, said = view.used_days, words["caution"]
    until = words.say("caution", "until", day=words.day_text(days[-1])) if days else said["first_visit"]
    return words.say("caution", "scope", reference=reference(view, words), wall=spoken(view, words), date=until)


def not_measured(view: WallView, words: Mapping[str, str]) -> list[str]:
    """What marks and method cannot see, in the given words."""
    row = view.current
    missing = set((row["not_measured"] or "").split()) if row else set(_COMPONENTS)
    return [words[part] for part in _COMPONENTS if part in missing]


def settings_rows(rules: Rules) -> list[tuple[str, str]]:
    """Every rule with its value, lengths and rates in both units."""
    rows = []
    for name, value in structs.asdict(rules).items():
        words = name.replace("_mm_per_year", "").removesuffix("_mm").replace("_", " ")
        if name.endswith("_mm_per_year"):
            shown = f"{rate_text(value, 'mm')} ({inches_from_mm(value):.4g} {rate_unit('in')})"
        elif name.endswith("_mm"):
            shown = f"{length_text(value, 'mm')} ({inches_from_mm(value):.4g} in)"
        else:
            shown = f"{value:.4g}"
        rows.append((words, shown))
    return rows


def bounds(row: Row, part: str, unit: str) -> dict[str, str] | None:
    """A rate and its bounds for a table, in the page's unit and beside it; None where it is not measured.

    row: of wall_results or mark_results; that of a period whose visits cannot tell a rate is the caller's to leave out.
    """
    rate, lower, upper = (row[f"{part}{end}"] for end in ("_mm_per_year", "_lower", "_upper"))
    if rate is None:
        return None
    other = wording.other_unit(unit)
    return {
        name: " to ".join(rate_number(value, shown) if value is not None else NONE for value in values)
        for name, values, shown in (
            ("rate", (rate,), unit),
            ("range", (lower, upper), unit),
            ("rate_beside", (rate,), other),
            ("range_beside", (lower, upper), other),
        )
    } | {"unit": rate_unit(unit), "unit_beside": rate_unit(other)}


def told(row: Row, part: str, unit: str) -> dict[str, str] | None:
    """`bounds` of a period's result (wall_results), None also where its visits are too few to tell a rate."""
    return bounds(row, part, unit) if tellable(row) else None


def untold(row: Row | None) -> str:
    """What stands where a period shows no rate: 'not measured', or that its visits are too few."""
    return "not measured" if row is None or tellable(row) else "too few visits"


def _relative_to(view: WallView) -> str:
    row = view.current
    return (row["relative_to"] or "").removeprefix("relative to ") if row else ""


def _place(view: WallView) -> list[tuple[str, str]]:
    place, unit = view.place, view.unit
    lengths = (
        ("length", "length_mm"),
        ("clear height", "clear_height_mm"),
        ("thickness", "thickness_mm"),
        ("crack above the floor", "crack_height_mm"),
        ("soil outside above the floor", "backfill_height_mm"),
    )
    rows = [
        (words, (wording.length_pair if name == "thickness_mm" else feet_pair)(place[name], unit))
        for words, name in lengths
        if place[name] is not None
    ]
    texts = (
        ("material", "material"),
        ("usual method", "method"),
        ("usually written as", "kind"),
        ("left end", "left_end"),
        ("right end", "right_end"),
        ("note", "note"),
    )
    rows += [(words, place[name]) for words, name in texts if place[name]]
    if view.site:
        rows += [(name, view.site[name]) for name in ("soil", "climate") if view.site[name]]
    return rows


def _verdict(view: WallView) -> Context:
    row = view.current
    if row is None:
        return {
            "word": "nothing to judge",
            "shape": "ring",
            "missing": "",
            "period": "",
            "rate": None,
            "untold": "not measured",
            "total": "",
            "onset": None,
            "reason": "No reading of this wall counts yet, so nothing was judged.",
            "threshold": "",
            "largest": "",
            "not_settled": "",
        }
    unit = view.unit
    total, limit = row["total_mm"], row["total_limit_mm"]
    said = ""
    if total is not None:
        said = (
            f"{wording.length_pair(total, unit)} at mark {row['total_mark']}"
            if row["total_mark"]
            else wording.length_pair(total, unit)
        )
        said += f", measured against {row['total_reference']}" if row["total_reference"] else ""
        said += f"; limit {wording.length_pair(limit, unit)}" if limit is not None else ""
    return {
        "word": row["verdict"],
        "shape": wording.VERDICT_SHAPE[Verdict(row["verdict"])],
        "reason": row["reason"],
        "missing": row["missing"],
        "period": period_words(row["period"]),
        "rate": told(row, "rate", unit),
        "untold": _untold_words(row),
        "threshold": wording.limit_pair(row["threshold_mm_per_year"], unit)
        if row["threshold_mm_per_year"] is not None
        else "",
        "largest": row["largest_movement"],
        "not_settled": row["not_settled"],
        "total": said,
        "onset": row["onset"] if tellable(row) and not jumped(view) else None,
    }


def _untold_words(row: Row) -> str:
    said = {1: "one visit cannot show a movement", 2: "two visits cannot show a movement"}
    return "not measured" if tellable(row) else said.get(row["visits"] or 0, "no visit counts yet")


def _two_pairs(view: WallView) -> str:
    """Why the wall's bounds and those of its governing mark in the table of marks differ; '' where they do not."""
    row, unit = view.current, view.unit
    if row is None or not tellable(row) or row["rate_lower"] is None:
        return ""
    own = next((mark for mark in _rates_of_marks(view) if mark["mark"] == row["governing_mark"]), None)
    if own is None or own["rate_lower"] is None:
        return ""
    wall, alone = (wording.bounds_text((found["rate_lower"], found["rate_upper"]), unit) for found in (row, own))
    if wall == alone:
        return ""
    return (
        f"Mark {row['governing_mark']} alone: {alone}; the wall: {wall}. Both pairs are right. A mark's own pair "
        "answers for that mark as if it had been chosen before it was read. The wall's pair holds whichever mark moves "
        "most: its lower bound is stricter, because the fastest of several marks is partly so by chance, and its upper "
        "bound is the highest of all marks."
    )


def feet_pair(mm: float, unit: str) -> str:
    """A wall's own size in both units: '29 ft 6 5/16 in (9.00 m)'."""
    return f"{feet_text(mm, unit)} ({feet_text(mm, wording.other_unit(unit))})"


def period_words(period: int) -> str:
    """'before reinforcement', 'after reinforcement', 'after reinforcement 2'."""
    if period == 0:
        return "before reinforcement"
    return "after reinforcement" if period == 1 else f"after reinforcement {period}"


def _components(view: WallView) -> list[Context]:
    row = view.current
    parts = (
        [("rate", f"mark {row['governing_mark']} (governing)" if row["governing_mark"] else "governing mark")]
        if row
        else []
    )
    parts += [(str(part), wording.COMPONENT[part]) for part in _COMPONENTS] if row else []
    unsettled = set((row["not_settled"] or "").split()) if row else set()
    return [
        {
            "words": words,
            "bounds": told(row, name, view.unit),
            "untold": untold(row),
            "unsettled": tellable(row) and name in unsettled,
        }
        for name, words in parts
        if row
    ]


def _finding(row: Row, unit: str) -> Context:
    shown = (_VALUE, _LIMIT)
    compared = " against ".join(
        said[row["unit"]](row[name], unit) if row["unit"] in said else f"{row[name]:.3g}"
        for name, said in zip(("value", "limit"), shown, strict=True)
        if row[name] is not None
    )
    beside = "" if row["unit"] in _VALUE or not compared else f" {row['unit']}"
    return {**row, "compared": f"{compared}{beside}".strip(), "when": period_words(row["period"] or 0)}


def _period(row: Row, unit: str) -> Context:
    return {
        **row,
        "words": period_words(row["period"]),
        "bounds": {part: told(row, part, unit) for part in ("rate", *map(str, _COMPONENTS))},
        "untold": untold(row),
        "threshold": wording.limit_pair(row["threshold_mm_per_year"], unit)
        if row["threshold_mm_per_year"] is not None
        else NONE,
        "span": wording.span_text(row["span_years"]) if row["span_years"] is not None else NONE,
        "shape": wording.VERDICT_SHAPE.get(row["verdict"], "ring"),
    }


def _rates_of_marks(view: WallView) -> list[Row]:
    """Marks of the newest period (mark_results), none where its visits are too few to tell a rate."""
    row = view.current
    return [mark for mark in view.mark_results if row and tellable(row) and mark["period"] == row["period"]]


def _marks(view: WallView) -> list[Context]:
    rates = {row["mark"]: row for row in _rates_of_marks(view)}
    rows: list[Context] = []
    for mark in view.marks:
        result = rates.get(mark["mark"])
        rows.append(
            {
                **mark,
                "x": wording.length_pair(mark["x_mm"], view.unit) if mark["x_mm"] is not None else NONE,
                "z": wording.length_pair(mark["z_mm"], view.unit) if mark["z_mm"] is not None else NONE,
                "bounds": bounds(result, "rate", view.unit) if result and result["measured"] else None,
                "untold": untold(view.current),
            }
        )
    return rows


def _event(row: Row, unit: str) -> Context:
    record = [
        (words, _recorded(row[name], kind, unit)) for name, words, kind in _AS_BUILT if row[name] not in (None, "")
    ]
    return {**row, "record": record}


def _recorded(value: Any, kind: str, unit: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if kind == "length":
        return wording.length_pair(value, unit)
    shown = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{shown} {kind}".strip()
