"""Interactive charts as plain dictionaries: far quicker than figure objects; a test checks one against them."""

from collections.abc import Sequence
from html import escape
from typing import Any

from monitor.report.context import Row, WallView, tellable
from monitor.report.curves import Curves, Stretch
from monitor.terms import Movement
from monitor.units import inches_from_mm, rate_unit

Rate = tuple[str, float, float, float]
"""Name, rate, lower and upper bound in mm a year."""

INK, ACCENT, GREY, BAND = "#2b2a27", "#7a4415", "#a49d8f", "rgba(90,86,78,0.22)"
_RULE = {"gridcolor": "#ddd6c8", "zerolinecolor": "#8d8778", "linecolor": "#8d8778", "showline": True}
_SYMBOLS = ("circle", "square", "diamond", "triangle-up", "x", "star", "pentagon", "cross", "hexagon", "triangle-down")


def script() -> bytes:
    """The plotting library itself, to be written once beside the pages."""
    from plotly.offline import get_plotlyjs  # heavy, and wanted once

    source: str = get_plotlyjs()
    return source.encode()


def movement_figure(curves: Curves, view: WallView) -> dict[str, Any]:
    """Figure of every mark's movement over time, above the components' rates with their bounds, in the wall's unit."""
    unit = view.unit
    traces: list[dict[str, Any]] = [_band(stretch, unit) for stretch in curves.of(curves.mark) if _has_band(stretch)]
    for place, mark in reversed(list(enumerate(curves.marks))):  # the governing mark last, above the others
        traces += _mark_traces(curves.of(mark), place, unit)
    traces += _legend_of_others(curves) + _held_traces(curves, unit) + _slope_traces(curves, unit)
    layout = _layout(curves, unit)
    if view.current and tellable(view.current) and (found := _measured(view.current)):
        traces.append(_rates(found, unit))
        _add_rates_panel(layout, found, curves.threshold_mm_per_year, unit)
    return {"data": traces, "layout": layout}


def _shown(mm: float | None, unit: str) -> float | None:
    if mm is None:
        return None
    return round(inches_from_mm(mm), 4) if unit == "in" else round(mm, 3)


def _has_band(stretch: Stretch) -> bool:
    return sum(p.lower_mm is not None and p.upper_mm is not None for p in stretch.points) > 1


def _band(stretch: Stretch, unit: str) -> dict[str, Any]:
    ends = [p for p in stretch.points if p.lower_mm is not None and p.upper_mm is not None]
    days = [p.day.isoformat() for p in ends]
    heights = [_shown(p.upper_mm, unit) for p in ends] + [_shown(p.lower_mm, unit) for p in reversed(ends)]
    return {
        "type": "scatter",
        "x": days + days[::-1],
        "y": heights,
        "fill": "toself",
        "fillcolor": BAND,
        "line": {"width": 0},
        "mode": "lines",
        "hoverinfo": "skip",
        "showlegend": False,
        "name": f"band of {_plain(stretch.mark)}",
        "legendgroup": _plain(stretch.mark),
    }


def _mark_traces(stretches: Sequence[Stretch], place: int, unit: str) -> list[dict[str, Any]]:
    """One trace per stretch, so that no line crosses a break; the governing mark dark, the others thin and grey.

    The legend names the governing mark and the others as one; a symbol and the words at the pointer tell them apart.
    """
    colour = ACCENT if place == 0 else GREY
    return [
        {
            "type": "scatter",
            "mode": "lines+markers",
            "name": _plain(stretch.mark),
            "legendgroup": _plain(stretch.mark),
            "showlegend": number == 0 and place == 0,
            "x": [point.day.isoformat() for point in stretch.points],
            "y": [_shown(point.deflection_mm, unit) for point in stretch.points],
            "customdata": [_shown(point.trend_mm, unit) for point in stretch.points],
            "hovertemplate": f"{_plain(stretch.mark)} %{{x}}<br>%{{y}} {unit}{_fitted(stretch, unit)}<extra></extra>",
            "line": {"color": colour, "width": 2.5 if place == 0 else 1},
            "marker": {"symbol": _SYMBOLS[place % len(_SYMBOLS)], "size": 8 if place == 0 else 5, "color": colour},
        }
        for number, stretch in enumerate(stretches)
    ]


def _fitted(stretch: Stretch, unit: str) -> str:
    return f"<br>fitted %{{customdata}} {unit}" if any(p.trend_mm is not None for p in stretch.points) else ""


def _legend_of_others(curves: Curves) -> list[dict[str, Any]]:
    if len(curves.marks) < 2:
        return []
    line = {"color": GREY, "width": 1}
    return [{"type": "scatter", "mode": "lines", "name": "other marks", "x": [None], "y": [None], "line": line}]


def _held_traces(curves: Curves, unit: str) -> list[dict[str, Any]]:
    if not curves.held:
        return []
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "held, not used",
            "x": [held.day.isoformat() for held in curves.held],
            "y": [_shown(held.deflection_mm, unit) for held in curves.held],
            "text": [_plain(held.mark) for held in curves.held],
            "hovertemplate": f"%{{text}} held %{{x}}<br>%{{y}} {unit}<extra></extra>",
            "marker": {"symbol": "circle-open", "size": 11, "color": INK, "line": {"width": 2}},
        }
    ]


def _slope_traces(curves: Curves, unit: str) -> list[dict[str, Any]]:
    if curves.slope is None:
        return []
    first, low, last, high = curves.slope
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": "threshold as a slope",
            "x": [first.isoformat(), last.isoformat()],
            "y": [_shown(low, unit), _shown(high, unit)],
            "line": {"color": INK, "dash": "longdash", "width": 1.5},
            "hoverinfo": "skip",
        }
    ]


def _rates(found: Sequence[Rate], unit: str) -> dict[str, Any]:
    """Rates of the governing mark and the components with both bounds; one that is not measured has no point."""
    return {
        "type": "scatter",
        "mode": "markers",
        "xaxis": "x2",
        "yaxis": "y2",
        "showlegend": False,
        "name": "rates",
        "x": [_shown(rate, unit) for _, rate, _, _ in found],
        "y": [_plain(words) for words, *_ in found],
        "error_x": {
            "type": "data",
            "symmetric": False,
            "color": INK,
            "array": [_shown(upper - rate, unit) for _, rate, _, upper in found],
            "arrayminus": [_shown(rate - lower, unit) for _, rate, lower, _ in found],
        },
        "marker": {"symbol": "diamond", "size": 10, "color": ACCENT},
        "hovertemplate": f"%{{y}} %{{x}} {rate_unit(unit)}<extra></extra>",
    }


def _measured(row: Row) -> list[Rate]:
    """(name, rate, lower, upper) of the governing mark and of every component that is measured."""
    names = {"rate": f"mark {row['governing_mark']}" if row["governing_mark"] else "largest mark"}
    names |= {str(part): str(part) for part in Movement}
    found = [
        (words, *(row[f"{key}_{end}"] for end in ("mm_per_year", "lower", "upper"))) for key, words in names.items()
    ]
    return [rates for rates in found if None not in rates]


def _add_rates_panel(layout: dict[str, Any], found: Sequence[Rate], threshold: float | None, unit: str) -> None:
    """A second panel below the first: rates from nought or the lowest bound to the threshold or the highest."""
    ends = [0.0, threshold or 0.0, *(mm for _, _, *bounds in found for mm in bounds)]
    room = max((max(ends) - min(ends)) * 0.06, 0.1)
    layout["yaxis"]["domain"] = [0.42, 1]
    layout["xaxis2"] = {
        "domain": [0, 1],
        "anchor": "y2",
        "title": {"text": f"inward rate, {rate_unit(unit)}<br>dashed: threshold"},
        "range": [_shown(min(ends) - room, unit), _shown(max(ends) + room, unit)],
        **_RULE,
    }
    layout["yaxis2"] = {
        "domain": [0, 0.24],
        "anchor": "x2",
        "type": "category",
        "autorange": "reversed",
        "automargin": True,
        **_RULE,
    }
    if threshold is not None:
        layout["shapes"].append(_upright(_shown(threshold, unit), "x2", "y2 domain", "longdash"))


def _layout(curves: Curves, unit: str) -> dict[str, Any]:
    shapes: list[dict[str, Any]] = [_upright(day.isoformat()) for day in curves.work]
    shapes += [
        {
            "type": "rect",
            "xref": "x",
            "yref": "y domain",
            "x0": start.isoformat(),
            "x1": end.isoformat(),
            "y0": 0,
            "y1": 1,
            "line": {"width": 0},
            "fillcolor": "rgba(122,68,21,0.10)",
            "layer": "below",
        }
        for start, end in curves.take_up
    ]
    return {
        "autosize": True,
        "height": 620,
        "paper_bgcolor": "#fffdf8",
        "plot_bgcolor": "#fffdf8",
        "font": {"family": "system-ui, sans-serif", "size": 13, "color": INK},
        "margin": {"l": 70, "r": 20, "t": 30, "b": 60},
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
        "xaxis": {"type": "date", "domain": [0, 1], "anchor": "y", **_RULE},
        "yaxis": {"domain": [0, 1], "title": {"text": f"inward movement, {unit}"}, **_RULE},
        "shapes": shapes,
        "annotations": [
            {
                "x": day.isoformat(),
                "y": 1,
                "yref": "y domain",
                "text": "straps fitted",
                "showarrow": False,
                "xanchor": "left",
            }
            for day in curves.work
        ],
    }


def _upright(at: str | float | None, xref: str = "x", yref: str = "y domain", dash: str = "solid") -> dict[str, Any]:
    return {
        "type": "line",
        "xref": xref,
        "yref": yref,
        "x0": at,
        "x1": at,
        "y0": 0,
        "y1": 1,
        "line": {"color": ACCENT, "width": 2, "dash": dash},
    }


def _plain(text: str) -> str:
    """The library reads a little markup in its texts; names are no markup."""
    return escape(text)
