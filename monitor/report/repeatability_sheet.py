"""How well the company reads: its variances beside the defaults, for a page and a terminal. No person is named."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

import pyarrow as pa

from monitor.config import Variances
from monitor.documents import of_json, of_values
from monitor.report.context import Book, Row
from monitor.report.wall_sheet import Context, footer
from monitor.report.wording import count_text
from monitor.terms import Method
from monitor.units import MM_PER_INCH

HEADERS = ("what", "own", "default", "known to within", "walls", "set-ups")
FEW_WALLS = 30
"""Below this many walls the defaults still weigh (common practice, no source)."""

METHODS = {
    Method.STRING: "String line",
    Method.PLUMB: "Plumb line",
    Method.LASER: "Laser",
    Method.METER: "Distance meter",
}
_SORTS = (
    ("reading_mm", "one reading", "mm"),
    ("offset_mm", "one set-up, all its readings alike", "mm"),
    ("yaw_mm_per_m", "one set-up, turned along the wall", "mm per m"),
    ("tilt_mm_per_m", "one set-up, tilted up the wall", "mm per m"),
)
_SHARED = (
    ("season_mm", "yearly cycle of a wall (half swing)", "mm"),
    ("wobble_mm", "a wall at one visit, beside trend and cycle", "mm"),
    ("local_mm_per_year", "a mark's own rate beside the wall's shape", "mm/yr"),
    ("local_share", "the same, as a share of the wall's rate", ""),
)


def repeatability_sheet(book: Book) -> Context:
    """Context of repeatability.html: what the assessment rests on, the defaults where nothing was estimated."""
    stored = newest(book.fact("variances"))
    return {
        "title": "How well we read: the company's own repeatability",
        "nav": True,
        "told": told(stored),
        "headers": HEADERS,
        "groups": groups(stored, book.variances),
        "scale": scale_text(stored, book.variances),
        **footer(book, "repeatability"),
    }


def newest(variances: pa.Table) -> Row | None:
    """The row of schema.VARIANCES that was known last; None where nothing was estimated."""
    rows = variances.sort_by("known_at").to_pylist()
    return rows[-1] if rows else None


def groups(stored: Row | None, current: Variances) -> list[Mapping[str, Any]]:
    """Rows by method, then those that all methods share: each with heading and rows of the columns of HEADERS."""
    own, behind = _read(stored, current)
    defaults = of_values(Variances, behind["defaults"]) if stored else current
    found = [{"heading": METHODS[method], "rows": list(_of_method(method, own, defaults, behind))} for method in Method]
    shared = [
        (words, *_pair(getattr(own, name), getattr(defaults, name), unit), _within(behind, name), "", "")
        for name, words, unit in _SHARED
    ]
    return [*found, {"heading": "Walls, by whatever method", "rows": shared}]


def told(stored: Row | None) -> str:
    """What the numbers rest on, in one sentence."""
    if stored is None:
        return "Nothing has been estimated yet: the instruments' defaults hold (practice, no source)."
    few = " Few walls are behind them: the defaults still weigh, and the numbers will move."
    return (
        f"Estimated for {stored['estimated_on'].isoformat()} from {count_text(stored['readings'], 'reading')} of "
        f"{count_text(stored['walls'], 'wall')}.{few if stored['walls'] < FEW_WALLS else ''}"
    )


def scale_text(stored: Row | None, current: Variances) -> str:
    """How much walls differ in noise, in one sentence."""
    own, _ = _read(stored, current)
    return (
        f"A wall's own scatter counts beside that of all walls as if the latter had been seen "
        f"{own.scale_dof:.0f} times; its usual square is {own.scale:.2f} times what the table says."
    )


def _read(stored: Row | None, current: Variances) -> tuple[Variances, Mapping[str, Any]]:
    if stored is None:
        return current, {"by_method": {}, "log_se": {}}
    return of_json(Variances, stored["values"]), json.loads(stored["behind"])


def _of_method(
    method: Method, own: Variances, defaults: Variances, behind: Mapping[str, Any]
) -> Iterator[tuple[str, ...]]:
    counts = behind["by_method"].get(method.value, {"walls": 0, "setups": 0})
    numbers = (str(counts["walls"]), str(counts["setups"]))
    for name, words, unit in _SORTS:
        value, default = getattr(own.methods[method], name), getattr(defaults.methods[method], name)
        if value is None:
            yield words, "of any size", "of any size", "", *numbers
        elif value > 0:
            read = counts["setups"] > 0
            within = _within(behind, f"{method.value} {name}") if read else "no readings: the default"
            yield words, *_pair(value, default, unit), within, *numbers


def _pair(own: float, default: float, unit: str) -> tuple[str, str]:
    return _text(own, unit), _text(default, unit)


def _text(value: float, unit: str) -> str:
    inches = f" ({value / MM_PER_INCH:.3f} in)" if unit == "mm" else ""
    return f"{value:.2f} {unit}{inches}".strip()


def _within(behind: Mapping[str, Any], name: str) -> str:
    """Two standard errors as a percentage; '' where nothing was estimated."""
    if name not in behind["log_se"]:
        return ""
    return f"{100 * 2 * behind['log_se'][name]:.0f} %"
