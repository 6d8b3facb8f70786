"""The jump of the newest visit against the whole covariance written out."""

from datetime import date

import invented
import numpy as np
import pandas as pd
import pytest
from by_frames import build, rows_of
from scipy import stats

from monitor.config import Settings, Variances
from monitor.terms import Method
from monitor.trend import reference
from monitor.trend.cases import Cases
from monitor.trend.forecast import Jump, jump
from monitor.trend.portfolio import fitted
from monitor.trend.shapes import BOW

SETTINGS = Settings()
PLACES = [
    (f"{r}{c}", x, z) for r, z in (("B", 300.0), ("M", 1250.0), ("T", 2100.0)) for c, x in enumerate((2000.0, 4500))
]
MONTHS = (0, 4, 9, 13, 18, 24)


def cases(
    methods: tuple[Method, ...], months: tuple[float, ...] = MONTHS, step: float = 0.0, names: tuple[str, ...] = ("H1",)
):
    rng = np.random.default_rng(21)
    when = invented.dates(date(2021, 1, 1), months)
    table = pd.concat([invented.grid(rng, names, PLACES, when, method)[0] for method in methods], ignore_index=True)
    share = {mark: np.sin(np.pi * x / 9000) * (1 - abs(2 * z / 2440 - 1)) for mark, x, z in PLACES}
    table["deflection_mm"] += np.where(table["visit_date"] == when[-1], step, 0) * table["mark"].map(share)
    register = (invented.walls(names), invented.marks(names, PLACES), invented.events())
    return build(invented.readings(table), *register, SETTINGS.rules, date(2024, 1, 1))


def jumps(found: Cases, variances: Variances = SETTINGS.variances) -> Jump:
    (done,) = fitted(found, variances)
    return jump(done, variances)


def dense_jump(found: Cases, variances: Variances) -> tuple[float, float]:
    """step and p from P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1 with rates random."""
    rows, seen = rows_of(found), found.seen
    local = np.full(len(rows), variances.local_mm_per_year**2 + (variances.local_share * 3) ** 2)
    years = rows["day"].to_numpy() / 365.25
    years = years - years.mean()
    v = reference.covariance(rows, seen, variances, local) + 9 * np.outer(years, years) * (seen @ seen.T)
    columns, names = reference.fixed_columns(rows, seen * 0, variances)
    x = columns[:, [name[0] != "rate" for name in names]]
    inverse = np.linalg.inv(v)
    p = inverse - inverse @ x @ np.linalg.solve(x.T @ inverse @ x, x.T @ inverse)
    y = rows["deflection_mm"].to_numpy()
    y = y - y.mean()
    phi = np.where(rows["visit"] == rows["visit"].max(), seen[:, BOW], 0.0)
    z = phi @ p @ y / np.sqrt(phi @ p @ phi)
    s, n = variances.scale_dof * variances.scale + y @ p @ y, variances.scale_dof + len(y) - x.shape[1]
    chance = stats.t.sf(z / np.sqrt((s - z**2) / (n - 1)), n - 1)
    return float(phi @ p @ y / (phi @ p @ phi)), float(chance)


@pytest.mark.parametrize("methods", [(Method.STRING,), (Method.PLUMB,), (Method.STRING, Method.LASER)])
@pytest.mark.parametrize("step", [0.0, 12.0])
def test_jump_equals_the_dense_computation(methods: tuple[Method, ...], step: float) -> None:
    found = cases(methods, step=step)
    got, want = jumps(found), dense_jump(found, SETTINGS.variances)
    assert got.step_mm[0] == pytest.approx(want[0], rel=1e-8)
    assert got.p[0] == pytest.approx(want[1], rel=1e-7)


def test_a_large_inward_step_is_found_with_its_size_and_an_outward_one_is_not() -> None:
    inward, outward = (jumps(cases((Method.STRING,), step=step)) for step in (16.0, -16.0))
    assert inward.p[0] < 0.001
    assert inward.step_mm[0] == pytest.approx(16, abs=5)
    assert outward.p[0] > 0.99


def test_one_visit_cannot_be_judged() -> None:
    got = jumps(cases((Method.STRING,), months=(0,)))
    assert np.isnan([got.step_mm[0], got.p[0]]).all()


def test_the_prior_of_the_scale_weighs_at_most_fifty_degrees_of_freedom() -> None:
    found = cases((Method.STRING,), step=8.0)
    fifty, more = (jumps(found, Variances(scale_dof=dof)) for dof in (50, 500))
    assert more.p[0] == fifty.p[0]


def test_quiet_walls_rarely_jump() -> None:
    """400 walls without any jump: at p < 0.001 expect 0.4, more than 4 has a chance below 1 in 10,000."""
    names = tuple(f"H{n:03d}" for n in range(400))
    assert (jumps(cases((Method.STRING,), names=names)).p < 0.001).sum() <= 4


def test_a_visit_of_an_end_mark_alone_tells_no_step() -> None:
    """Of a mark that sees a fiftieth of the bow an error of a millimetre would be a step of five centimetres."""
    ends = [("L", 60.0, 1250.0), ("C", 4500.0, 1250.0)]
    rng = np.random.default_rng(5)
    when = invented.dates(date(2021, 1, 1), MONTHS)
    table = invented.grid(rng, ("H1",), ends, when, Method.STRING)[0]
    register = (invented.walls(("H1",)), invented.marks(("H1",), ends), invented.events())

    def found(kept: pd.Series) -> Jump:
        rows = table[kept].copy()
        rows.loc[(rows["visit_date"] == when[-1]) & (rows["mark"] == "L"), "deflection_mm"] += 46.0
        return jumps(build(invented.readings(rows), *register, SETTINGS.rules, date(2024, 1, 1)))

    alone = found((table["visit_date"] != when[-1]) | (table["mark"] == "L"))
    assert np.isnan(alone.step_mm[0])
    assert np.isnan(alone.p[0])
    both = found(table["mark"].notna())
    assert abs(both.step_mm[0]) < 60
