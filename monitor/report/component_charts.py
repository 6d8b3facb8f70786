"""Bow, tip and slide side by side: one small chart each, all on the same days and lengths, so that the eye compares."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.report import wording
from monitor.report.context import Row, WallView, tellable
from monitor.report.curves import Curves
from monitor.report.drawing import SMALL, drawn, frame_of, slope_words
from monitor.report.wording import count_text, day_text, side_text
from monitor.terms import Movement
from monitor.units import rate_number, rate_unit

NOT_DRAWN = "too few visits to tell"
NOT_MEASURED = "not measured: marks and method cannot see it"


def component_charts(
    parts: Mapping[Movement, Curves], view: WallView, ids: str, among: Sequence[Curves] = ()
) -> list[Mapping[str, Any]]:
    """Of each component: name, words, chart (SVG, '' where it is not drawn), rate in words, and why it is not drawn.

    among: other curves on whose scale they are to stand too. Empty where no component is drawn.
    """
    if not parts:
        return []
    frame = frame_of([*parts.values(), *among], SMALL)
    return [
        {
            "name": str(part),
            "words": wording.COMPONENT[part],
            "chart": drawn(
                parts[part],
                frame,
                view.unit,
                SMALL,
                f"{ids}-{part}",
                (f"Movement, {part}", _words(parts[part], view.unit)),
            )
            if part in parts
            else "",
            "rate": _rate(view, part),
            "why": "" if part in parts else _why(view.current, part),
        }
        for part in Movement
    ]


def _words(curves: Curves, unit: str) -> str:
    """One component's chart in words."""
    stretches = curves.of(curves.mark)
    points = [point for stretch in stretches for point in stretch.points]
    first, last = min(point.day for point in points), max(point.day for point in points)
    visits = count_text(len(points), "visit")
    said = [f"{str(curves.mark).capitalize()}, {visits} from {day_text(first)} to {day_text(last)}."]
    said += [f"Straps were fitted on {day_text(day)}; before and after are kept apart." for day in curves.work]
    end = stretches[-1].points[-1]
    said.append(f"At the latest visit {side_text(end.deflection_mm, unit)} than where the last line starts.")
    if end.lower_mm is not None and end.upper_mm is not None:
        said.append(f"The grey band there: {side_text(end.lower_mm, unit)} to {side_text(end.upper_mm, unit)}.")
    return " ".join((*said, *slope_words(curves, unit)))


def _rate(view: WallView, part: Movement) -> str:
    """'0.01 (-0.03 to 0.04) inch a year'; '' where it is not told."""
    row = view.current
    if row is None or not tellable(row) or row[f"{part}_mm_per_year"] is None:
        return ""
    rate, lower, upper = (rate_number(row[f"{part}_{end}"], view.unit) for end in ("mm_per_year", "lower", "upper"))
    return f"{rate} ({lower} to {upper}) {rate_unit(view.unit)}"


def _why(row: Row | None, part: Movement) -> str:
    missing = (row["not_measured"] or "").split() if row else []
    return NOT_MEASURED if part in missing else NOT_DRAWN
