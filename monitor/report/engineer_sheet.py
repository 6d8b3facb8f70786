"""The engineer's page of one wall: every dot, what the fit makes of it, and all that the fit rests on."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.records import dataclass
from monitor.report import engineer_words, names, photo_sheet, readings_sheet, repeatability_sheet, wording
from monitor.report.context import Book, Row, WallView
from monitor.report.curves import curves
from monitor.report.dots import dot_charts, dots
from monitor.report.elevation import elevation
from monitor.report.placing import hard_limit
from monitor.report.profile_chart import profile_charts
from monitor.report.repair_sheet import notes
from monitor.report.residual_plot import residual_plots, residual_table
from monitor.report.standing import jumped
from monitor.report.wall_sheet import footer, not_measured, period_words, scope, settings_rows, told, untold
from monitor.terms import Movement, State
from monitor.units import limit_rate_text, rate_unit

Context = Mapping[str, Any]

_PARTS = ("rate", *map(str, Movement))


@dataclass(frozen=True)
class Model:
    """What the fits of one wall's periods say beside the assessment: rows of schema.FITS, RESIDUALS and AGREEMENT."""

    fits: Sequence[Row] = ()
    residuals: Sequence[Row] = ()
    agreement: Sequence[Row] = ()


def engineer_sheet(book: Book, view: WallView, model: Model) -> Context:
    """Context of engineer.html."""
    ids = names.anchor(view.house, view.wall)
    drawn = curves(book, view)
    every = readings_sheet.readings(view)
    variances = repeatability_sheet.newest(book.fact("variances"))
    return {
        "title": f"{view.key}, {view.nickname}: readings and fit, for an engineer",
        "nav": False,
        "key": view.key,
        "wall_page": names.page_name(view.house, view.wall, "wall"),
        "reading_counts": readings_sheet.reading_counts(view),
        "received": len(every),
        "dots": dot_charts(drawn, dots(book, view, drawn, model.residuals), view.unit, f"dots-{ids}"),
        "not_used": [row for row in every if row["state"] != State.USED],
        "photos": photo_sheet.photos(view),
        "photos_unfound": view.photos_unfound,
        "profiles": profile_charts(view, f"profile-{ids}"),
        "face": elevation(view, f"face-{ids}"),
        "rate_unit": rate_unit(view.unit),
        "periods": [_period(row, view.unit) for row in view.periods],
        "blind": _blind(view),
        "fits": [_fit(row, model, row["period"] in view.tellable_periods) for row in reversed(model.fits)],
        "plots": residual_plots(model.residuals, f"left-{ids}"),
        "left": residual_table(model.residuals, [row["mark"] for row in view.marks]),
        "parts": [_parts(row) for row in model.residuals],
        "variances": repeatability_sheet.groups(variances, book.variances),
        "variance_headers": repeatability_sheet.HEADERS,
        "variances_told": repeatability_sheet.told(variances),
        "scale_told": repeatability_sheet.scale_text(variances, book.variances),
        "settings": settings_rows(book.rules),
        "signed": book.thresholds,
        "formulas": engineer_words.FORMULAS,
        "sources": engineer_words.SOURCES,
        "claims": _claims(view),
        "scope": scope(view),
        **footer(book, "engineer", view.house, view.wall),
    }


def _claims(view: WallView) -> Sequence[tuple[str, str]]:
    """What the assessment says of the wall now, to be checked against all that follows: (what, why)."""
    hard, row = hard_limit(view.alarms), view.current
    said = [(f"{hard['rule']}, {hard['urgency']}", hard["reason"])] if hard else []
    if row:
        step = wording.STEP_IN_RATE if jumped(view) else ""
        said.append((f"{row['verdict']}, {period_words(row['period'])}{step}", row["reason"]))
    return [*said, *(("beside it", note) for note in notes(row))]


def _period(row: Row, unit: str) -> Context:
    threshold = row["threshold_mm_per_year"]
    return {
        **row,
        "words": period_words(row["period"]),
        "bounds": {part: told(row, part, unit) for part in _PARTS},
        "untold": untold(row),
        "threshold": limit_rate_text(threshold, unit) if threshold is not None else "–",
    }


def _blind(view: WallView) -> list[str]:
    """What is not measured, then what the methods in use cannot see, then what no method here can."""
    said = []
    missing = not_measured(view, wording.COMPONENT)
    if missing:
        said.append(f"Not measured in the newest period: {', '.join(missing)}.")
    if view.current and view.current["relative_to"]:
        against = view.current["relative_to"].removeprefix("relative to ")
        said.append(f"Rates of the newest period are relative to {against}.")
    used = {row["method"] for row in view.readings if row["state"] == State.USED}
    return [
        *said,
        *(words for method, words in engineer_words.BLIND.items() if method in used),
        *engineer_words.BLIND_ALWAYS,
    ]


def _fit(row: Row, model: Model, is_tellable: bool) -> Context:
    rows = [each for each in model.agreement if each["period"] == row["period"]]
    return {
        **row,
        "words": period_words(row["period"]),
        "is_tellable": is_tellable,
        "numbers": [
            ("readings in the least squares, earlier periods' among them", str(row["observations"])),
            ("fixed effects", str(row["fixed_effects"])),
            ("q, quadratic form of this period's readings", f"{row['q']:.3f}"),
            ("d, its degrees of freedom", str(row["d"])),
            ("s₀² and d₀, from all of the company's walls", f"{row['prior_scale']:.3f}, {row['prior_dof']:.1f}"),
            ("s², moderated scale", f"{row['scale']:.4f}"),
            ("degrees of freedom of the bounds", f"{row['dof']:.1f}"),
            ("sd of a mark's own deviation", f"{row['local_mm_per_year']:.3f} mm/yr"),
        ],
        "agreement": [
            {
                **each,
                "own": f"{each['own_mm_per_year']:.6f} ± {each['own_se']:.6f}",
                "gls": f"{each['gls_mm_per_year']:.6f} ± {each['gls_se']:.6f}",
            }
            for each in rows
        ],
        "apart": _apart(rows),
    }


def _apart(rows: Sequence[Row]) -> str:
    """The largest difference of the two ways, over the standard error, in words."""
    if not rows:
        return ""
    most = max(
        max(abs(row["own_mm_per_year"] - row["gls_mm_per_year"]), abs(row["own_se"] - row["gls_se"])) / row["gls_se"]
        for row in rows
    )
    if most <= 1e-6:
        return "Both ways agree to a millionth of the standard error or better."
    return f"The two ways differ by up to {most:.1e} of the standard error: more than rounding; do not use this page."


def _parts(row: Row) -> Context:
    names_ = ("deflection_mm", "trend_mm", "season_mm", "wobble_mm", "setup_mm", "residual_mm")
    value = row["normalised"]
    return {
        **row,
        "numbers": [f"{row[name]:.2f}".replace("-0.00", "0.00") for name in names_],
        "normal": "untested" if value is None else f"{value:+.2f}",
    }
