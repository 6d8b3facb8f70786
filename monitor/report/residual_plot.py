"""What the fit leaves of each reading, in standard deviations: by visit and by mark."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from markupsafe import Markup

from monitor.report.context import Row
from monitor.report.svg import element, number, path

_WIDTH, _LEFT, _TOP, _BOTTOM = 760.0, 44.0, 30.0, 250.0
MOST = 5.0
"""Standard deviations at the edge of the picture: what is beyond stands there, with its number."""
_LETTER, _LINE, _NEAR_THE_END = 7.5, 13.0, 0.8
"""Of 13 px type a letter's width and a line's height, px; share of the width from which names stand to the left."""
NAMED = 2.5
"""From so many on the dot bears its mark or its visit."""


def residual_plots(residuals: Sequence[Row], ids: str) -> list[Mapping[str, Any]]:
    """Two pictures, by visit and by mark: name and chart; none where nothing is left to show."""
    rows = [row for row in residuals if row["normalised"] is not None]
    if not rows:
        return []
    visits = sorted({row["visit_date"] for row in rows})
    marks = sorted({row["mark"] for row in rows})
    return [
        {
            "name": "by visit",
            "chart": _plot(
                [(_share_of_days(row["visit_date"], visits), row["normalised"], row["mark"]) for row in rows],
                [(_share_of_days(day, visits), day.isoformat()) for day in _apart(visits)],
                f"{ids}-visit",
                "Normalised residuals by visit",
            ),
        },
        {
            "name": "by mark",
            "chart": _plot(
                [
                    ((marks.index(row["mark"]) + 0.5) / len(marks), row["normalised"], row["visit_date"].isoformat())
                    for row in rows
                ],
                [((place + 0.5) / len(marks), mark) for place, mark in enumerate(marks)],
                f"{ids}-mark",
                "Normalised residuals by mark",
            ),
        },
    ]


def _share_of_days(day: date, visits: Sequence[date]) -> float:
    whole = (visits[-1] - visits[0]).days
    return 0.04 + 0.92 * ((day - visits[0]).days / whole if whole else 0.5)


def _apart(visits: Sequence[date]) -> list[date]:
    """Days far enough apart for their words to stand side by side."""
    kept: list[date] = []
    for day in visits:
        if not kept or _share_of_days(day, visits) - _share_of_days(kept[-1], visits) > 0.13:
            kept.append(day)
    return kept


def _plot(
    found: Sequence[tuple[float, float, str]], places: Sequence[tuple[float, str]], ids: str, title: str
) -> Markup:
    """found: share of the width, standard deviations, what it is called."""
    parts = [
        element("title", title, id=f"{ids}-title"),
        element("desc", _words([value for _, value, _ in found]), id=f"{ids}-desc"),
        *_axes(places),
        *(_dot(share, value) for share, value, _ in found),
        *_names(found),
    ]
    return element(
        "svg",
        parts,
        class_="chart",
        viewBox=f"0 0 {number(_WIDTH)} {number(_BOTTOM + 30)}",
        role="img",
        aria_labelledby=f"{ids}-title {ids}-desc",
    )


def _words(values: Sequence[float]) -> str:
    beyond = sum(abs(value) > 2 for value in values)
    return (
        f"{len(values)} residuals from {min(values):.1f} to {max(values):.1f}; {beyond} beyond 2 standard deviations."
    )


def _x(share: float) -> float:
    return _LEFT + share * (_WIDTH - _LEFT - 10)


def _y(value: float) -> float:
    return (_TOP + _BOTTOM) / 2 - value / MOST * (_BOTTOM - _TOP) / 2


def _axes(places: Sequence[tuple[float, str]]) -> Iterable[Markup]:
    for value in range(-4, 5, 2):
        kind = "nought" if value == 0 else "slope" if abs(value) == 4 else "grid"
        yield element("path", d=path([(_LEFT, _y(value)), (_WIDTH - 10, _y(value))]), class_=kind)
        yield element("text", f"{value:+d}" if value else "0", x=_LEFT - 7, y=_y(value) + 4, text_anchor="end")
    yield element("text", "standard deviations, inward ↑", x=6, y=16)
    for share, words in places:
        yield element("text", words, x=_x(share), y=_BOTTOM + 18, text_anchor="middle")


def _dot(share: float, value: float) -> Markup:
    shown = _shown(value)
    return element("circle", cx=_x(share), cy=_y(shown), r=3, class_="dot" if shown == value else "held")


def _shown(value: float) -> float:
    return min(max(value, -MOST), MOST)


def _names(found: Sequence[tuple[float, float, str]]) -> Iterable[Markup]:
    """What the far dots are called, from the top down; a name that would lie on another is moved down beside it."""
    taken: list[tuple[float, float, float]] = []
    for share, value, name in sorted((one for one in found if abs(one[1]) >= NAMED), key=lambda one: -one[1]):
        shown = _shown(value)
        words = name if shown == value else f"{name}, {value:.1f}"
        at_end = share > _NEAR_THE_END
        x, y, width = _x(share) + (-7 if at_end else 7), _y(shown) + 4, _LETTER * len(words)
        left = x - width if at_end else x
        while any(abs(y - above) < _LINE and left < end and start < left + width for start, end, above in taken):
            y += 1
        taken.append((left, left + width, y))
        yield element("text", words, x=x, y=y, text_anchor="end" if at_end else "start")


def residual_table(residuals: Sequence[Row], marks: Sequence[str]) -> Mapping[str, Any]:
    """Visits and set-ups down, marks across: normalised residuals to a tenth, '' where the mark was not read there."""
    read = {row["mark"] for row in residuals}
    across = [mark for mark in marks if mark in read]
    keys = list(dict.fromkeys((row["visit_date"], row["part"], row["method"], row["setup"]) for row in residuals))
    cells: dict[tuple[Any, ...], list[str]] = {}
    for row in residuals:
        value = row["normalised"]
        written = "untested" if value is None else f"{value:+.1f}"
        cells.setdefault((row["visit_date"], row["part"], row["method"], row["setup"], row["mark"]), []).append(written)
    return {
        "marks": across,
        "rows": [
            {
                "visit": f"{day.isoformat()} {part}".strip(),
                "setup": f"{method}, {setup}",
                "cells": [", ".join(cells.get((day, part, method, setup, mark), [])) for mark in across],
            }
            for day, part, method, setup in keys
        ],
    }
