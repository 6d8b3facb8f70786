"""The fit of each period told as one generalised least squares: its summary, its residuals, and how it agrees.

Everything random (reading, set-up, wobble, cycle, local deviation) stands in one covariance matrix; rates, levels and
set-up offsets of unknown size, on which there is no prior, are fixed effects. That is the same as a row of
pseudo-observation for each prior, and the same model that the engine solves in information form.
"""

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa

from monitor import schema
from monitor.config import Settings, Variances
from monitor.records import dataclass
from monitor.trend import bounds
from monitor.trend.cases import Cases, build
from monitor.trend.gls_text import gls_text
from monitor.trend.portfolio import Fitted, fitted
from monitor.trend.reference import Dense, covariance_parts, dense, rate_rows
from monitor.trend.shapes import COMPONENTS, Array

UNTESTED = 1e-6
"""A reading of whose variance less is left beside what the others are needed for has no normalised residual."""


@dataclass(frozen=True)
class Told:
    """Tables schema.FITS, schema.RESIDUALS and schema.AGREEMENT, sorted by wall and period."""

    fits: pd.DataFrame
    residuals: pd.DataFrame
    agreement: pd.DataFrame


@dataclass(frozen=True)
class _Own:
    """What the engine says of one case: place in its block."""

    done: Fitted
    b: int

    @property
    def local_variance(self) -> float:
        return float(self.done.fit.local_variance[self.b])

    def measured(self, component: int) -> bool:
        return bool(self.done.fit.measured[self.b, component])

    @property
    def counted(self) -> list[int]:
        """Components whose sum the marks' rates are."""
        to_base = bool(self.done.fit.to_base[self.b])
        return [number for number in range(len(COMPONENTS)) if self.measured(number) or not to_base]


def summaries(
    readings: pa.Table,
    walls: pa.Table,
    marks: pa.Table,
    events: pa.Table,
    settings: Settings,
    judged_on: date,
) -> Told:
    """Tell the fits of all given walls.

    readings: with those that the assessment set aside held. A period is fitted together with the wall's earlier ones,
    whose yearly cycle it inherits; of its residuals those of its own readings are told.
    """
    cases = build(readings, walls, marks, events, settings.rules, judged_on)
    own = {
        int(case): _Own(done, b)
        for done in fitted(cases, settings.variances)
        for b, case in enumerate(done.block.cases)
    }
    fits, residuals, agreement = [], [], []
    keys = pa.table(cases.keys()).to_pylist()
    fitted_cases = np.array(sorted(own), dtype=np.intp)
    for wall in np.unique(cases.table.wall[fitted_cases]):
        numbers = [int(case) for case in fitted_cases if cases.table.wall[case] == wall]
        setups = _setup_numbers(cases, numbers)
        before = (0.0, 0)
        for place, case in enumerate(numbers):
            fit = _Fit.of(cases, numbers[: place + 1], settings.variances, own, before)
            before = (fit.found.q, fit.found.d)
            key = keys[case]
            fits.append(key | fit.told(settings.variances, own, setups))
            residuals.append(fit.residuals(settings.variances, setups).assign(**key))
            agreement += [key | row for row in _agreement(fit.found, own[case])]
    return Told(
        *(
            _table(name, rows)
            for name, rows in (
                ("fits", pd.DataFrame(fits)),
                ("residuals", pd.concat(residuals, ignore_index=True) if residuals else pd.DataFrame()),
                ("agreement", pd.DataFrame(agreement)),
            )
        )
    )


def _table(name: str, rows: pd.DataFrame) -> pd.DataFrame:
    return rows.reindex(columns=schema.find(name).names)


def _setup_numbers(cases: Cases, wall_cases: Sequence[int]) -> dict[int, int]:
    rows, _ = rate_rows(cases, wall_cases)
    return {int(setup): number for number, setup in enumerate(pd.unique(rows["setup"]), start=1)}


@dataclass(frozen=True)
class _Fit:
    """Dense fit of the last of `cases`, oldest first, with what its own readings add to the quadratic form."""

    cases: Sequence[int]
    rows: pd.DataFrame
    seen: Array
    local: Array
    found: Dense
    q: float
    d: int
    scale: float
    dof: float

    @classmethod
    def of(
        cls, cases: Cases, wall_cases: Sequence[int], variances: Variances, own: dict[int, _Own],
        before: tuple[float, int],
    ) -> "_Fit":  # fmt: skip
        last = own[wall_cases[-1]]
        rows, seen = rate_rows(cases, wall_cases)
        local = {case: own[case].local_variance for case in wall_cases}
        found = dense(cases, wall_cases, variances, local, [COMPONENTS[number] for number in last.counted])
        q, d = max(found.q - before[0], 0.0), found.d - before[1]
        scale = bounds.moderated(np.array(q), np.array(d), variances)
        of_row = np.array([local[case] for case in rows["case"]])
        return cls(wall_cases, rows, seen, of_row, found, q, d, float(scale.variance), float(scale.dof))

    def told(self, variances: Variances, own: dict[int, _Own], setups: dict[int, int]) -> dict[str, object]:
        """The fit's row of schema.FITS, without its key."""
        measured = {
            (case, str(component)): own[case].measured(number)
            for case in self.cases
            for number, component in enumerate(COMPONENTS)
        }
        return {
            "observations": len(self.rows),
            "fixed_effects": len(self.found.names),
            "q": self.q,
            "d": self.d,
            "prior_scale": variances.scale,
            "prior_dof": variances.scale_dof,
            "scale": self.scale,
            "dof": self.dof,
            "local_mm_per_year": float(np.sqrt(self.local[-1])),
            "summary": gls_text(self.found, self.rows, measured, setups, self.scale, self.dof),
        }

    def residuals(self, variances: Variances, setups: dict[int, int]) -> pd.DataFrame:
        """Readings of the last case, each parted into what the fit says it is made of."""
        model = self.found.results.model
        parts = covariance_parts(self.rows, self.seen, variances, self.local)
        inverse = np.linalg.inv(model.sigma)
        solved = inverse @ model.exog
        p = inverse - solved @ self.found.results.normalized_cov_params @ solved.T
        a = p @ model.endog
        offset = np.array([name[0] == "offset" for name in self.found.names])
        fixed = model.exog * self.found.results.params
        variance = np.diagonal(parts["reading"])
        own = np.diagonal(p)
        tested = own * variance > UNTESTED
        normalised = np.where(tested, a / np.sqrt(np.where(tested, own, 1.0) * self.scale), np.nan)
        mean = float(self.rows["deflection_mm"].mean())
        told = pd.DataFrame({
            **{name: self.rows[name] for name in ("reading_id", "mark", "part", "method", "deflection_mm")},
            "visit_date": self.rows["day"].to_numpy().astype("datetime64[D]").astype("datetime64[s]"),
            "setup": [setups[int(setup)] for setup in self.rows["setup"]],
            "trend_mm": mean + fixed[:, ~offset].sum(axis=1) + parts["local"] @ a,
            "season_mm": parts["season"] @ a,
            "wobble_mm": parts["wobble"] @ a,
            "setup_mm": fixed[:, offset].sum(axis=1) + parts["setup"] @ a,
            "residual_mm": variance * a,
            "normalised": normalised,
        })  # fmt: skip
        return told[(self.rows["case"] == self.cases[-1]).to_numpy()]


def _agreement(found: Dense, own: _Own) -> list[dict[str, object]]:
    """Rates of marks and components of the last case by both ways, where they are measured."""
    fit, b = own.done.fit, own.b
    case = int(own.done.block.cases[b])
    rows: list[dict[str, object]] = []
    for number, component in enumerate(COMPONENTS):
        if own.measured(number):
            column = found.names.index(("rate", case, str(component)))
            ses = np.sqrt(np.diagonal(found.results.normalized_cov_params))
            pair = (float(found.results.params[column]), float(ses[column]))
            rows.append(_row(str(component), float(fit.rate[b, number]), float(fit.rate_se[b, number]), *pair))
    for number, mark in enumerate(found.mark_names):
        if fit.mark_measured[b, number]:
            pair = (float(found.mark_rate[number]), float(found.mark_se[number]))
            rows.append(_row(mark, float(fit.mark_rate[b, number]), float(fit.mark_se[b, number]), *pair))
    return rows


def _row(what: str, own: float, own_se: float, gls: float, gls_se: float) -> dict[str, object]:
    return {
        "what": what,
        "own_mm_per_year": own,
        "own_se": own_se,
        "gls_mm_per_year": gls,
        "gls_se": gls_se,
    }
