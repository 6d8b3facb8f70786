"""Whose set-ups stand apart: what each technician's set-ups read further in than the others' on the same walls.

Beside the wall's whole model stands one column c: 1 where the technician read by the method. With P of the wall's
readings (levels, rates, local deviations and cycle taken out) c'Py / c'Pc estimates by how much those set-ups stand
further in than all others by that method, with variance 1 / c'Pc. Sums of c'Py and c'Pc over walls, each over its own
residual scale, merge by adding. What cannot be told has c'Pc = 0 by the algebra: a constant bias of the only reader of
a wall drops into the levels, and offsets of unknown size (plumb, laser) take up any bias of the person.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from monitor.terms import Method
from monitor.trend.cases import CASE, WALL, Cases
from monitor.trend.information import KEPT, accumulate
from monitor.trend.portfolio import Fitted
from monitor.trend.shapes import Array
from monitor.trend.variances import METHODS

NOTE_MM = 1.0
"""Set-ups that stand apart by less are not mentioned (common practice, no source)."""
NOTE_CHANCE = 0.01
"""Chance that a wall read by technicians who are all alike is given a note, shared by all of its pairs."""
LEAST_SHARE = 0.05
"""A technician of whom a wall keeps less of the information than its bare set-ups hold is not told apart there."""
LEAST_SETUPS = 2
"""A note asks for this many set-ups by the technician and by others: one alone is as well a bad set-up as a habit."""
LEAST_CHANCE = 1e-300
"""Chances below this are all alike."""
_TIES = 6

_COLUMNS: Mapping[str, type] = {
    **dict.fromkeys(("case", "method_code"), np.intp),
    "technician": str,
    **dict.fromkeys(("setups", "others"), np.intp),
    **dict.fromkeys(("information", "told", "scale_sum", "dof"), float),
}
_PAIR = ["b", "method_code", "technician"]
_BY = {Method.STRING: "string line", Method.PLUMB: "plumb line", Method.LASER: "laser", Method.METER: "distance meter"}


def technicians_of(cases: Cases, readings: pd.DataFrame) -> npt.NDArray[np.object_]:
    """Technician of each row of Cases.rows ('' where none is named)."""
    person = readings.drop_duplicates("reading_id", keep="last").set_index("reading_id")["technician"]
    return np.asarray(cases.rows["reading_id"].map(person).fillna("").astype(str).to_numpy(object))


def sums(cases: Cases, done: Fitted, technician: npt.NDArray[np.object_]) -> pd.DataFrame:
    """What a block's walls tell of technicians: one row per case, method and technician that can be told apart.

    technician: of each row of Cases.rows. Columns: case, method_code, technician, setups and others (set-ups by the
    technician, and by others of the same method), information c'Pc and told c'Py before moderation (1/mm^2 and 1/mm),
    scale_sum and dof of the case's residual scale.
    """
    rows = _rows(cases, done, technician)
    pairs = _pairs(rows)
    if pairs.empty:
        return joined([])
    chosen = np.unique(pairs["b"].to_numpy(np.intp))
    rows = rows.merge(pairs[[*_PAIR, "column"]], on=_PAIR)
    block, columns = done.block, int(pairs["column"].max()) + 1
    people = np.zeros((len(chosen), *block.weight.shape[1:], columns))
    people[np.searchsorted(chosen, rows["b"]), rows["visit"], rows["slot"], rows["column"]] = 1
    bare, information, told = _eliminated(done, chosen, people)
    b, column = pairs["b"].to_numpy(np.intp), pairs["column"].to_numpy(np.intp)
    c = np.searchsorted(chosen, b)
    table = pairs.assign(
        case=block.cases[b],
        information=information[c, column],
        told=told[c, column],
        scale_sum=done.scale.sum[b],
        dof=done.scale.dof[b],
    )
    known = information[c, column] > LEAST_SHARE * bare[c, column]
    made: pd.DataFrame = table.loc[known, list(_COLUMNS)].reset_index(drop=True).astype(dict(_COLUMNS))
    return made


def joined(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """The sums of several blocks, of one machine or of several, in one table."""
    some = [part for part in parts if len(part)]
    return pd.concat(some, ignore_index=True) if some else pd.DataFrame(columns=list(_COLUMNS)).astype(dict(_COLUMNS))


def _rows(cases: Cases, done: Fitted, technician: npt.NDArray[np.object_]) -> pd.DataFrame:
    """The block's readings: where each stands, its method, set-up and technician."""
    index = done.block.rows
    b, visit, slot = done.block.place
    own = cases.rows[["method_code", "setup"]].iloc[index].reset_index(drop=True)
    return own.assign(b=b, visit=visit, slot=slot, technician=technician[index].astype(str))


def _pairs(rows: pd.DataFrame) -> pd.DataFrame:
    """Named technicians of each case and method that others read too, with set-ups and column within the case."""
    setups = rows.drop_duplicates(["b", "setup", "technician"])
    pairs = setups.groupby(_PAIR, as_index=False).size().rename(columns={"size": "setups"})
    pairs["others"] = pairs.groupby(_PAIR[:2])["setups"].transform("sum") - pairs["setups"]
    pairs = pairs[(pairs["others"] > 0) & (pairs["technician"] != "")]
    return pairs.assign(column=pairs.groupby("b").cumcount())


def _eliminated(done: Fitted, chosen: npt.NDArray[np.intp], people: Array) -> tuple[Array, Array, Array]:
    """Of the chosen cases c'R^-1 c, c'Pc and c'Py for each column c of `people` (chosen, V, N, K)."""
    block, estimate, k = done.block, done.fit.estimate, people.shape[-1]
    stacked = np.concatenate([people, block.design[chosen], block.deflection[chosen][..., None]], axis=-1)
    cross = accumulate(stacked, block.weight[chosen], block.columns[chosen], block.free[chosen]).total().cross
    bare, on_theta = np.diagonal(cross[:, :k, :k], axis1=-2, axis2=-1), cross[:, :k, k:-1]
    used = ((on_theta @ estimate.covariance[chosen]) * on_theta).sum(axis=-1)
    told = cross[:, :k, -1] - (on_theta @ estimate.theta[chosen][..., None])[..., 0]
    return bare, bare - used, told


def apart(told: pd.DataFrame) -> pd.DataFrame:
    """Each row of `sums` with offset_mm, its se_mm and the chance `p` of standing apart so far, two-sided.

    The residual scale is that without what the technician explains, so that a true habit does not hide itself.
    """
    offset = told["told"] / told["information"]
    rest = np.maximum(told["scale_sum"] - told["told"] ** 2 / told["information"], KEPT)
    se = np.sqrt(rest / (told["dof"] - 1) / told["information"])
    chance = 2 * stats.t.sf(np.abs(offset / se), told["dof"] - 1)
    return told.assign(offset_mm=offset, se_mm=se, p=chance)


def notes(cases: Cases, told: pd.DataFrame) -> pd.DataFrame:
    """One sentence for each case where one technician's set-ups stand apart: CASE, technician_note.

    told: rows of `sums`. From the wall's own readings only, so that no other wall changes it; role words, no person.
    """
    found = shown(told)
    key = cases.table.set_index("case")[CASE].loc[found["case"].to_numpy(np.intp)].reset_index(drop=True)
    said = [_sentence(*row) for row in zip(*(found[name] for name in _SAID), strict=True)]
    return key.assign(technician_note=pd.Series(said, dtype="str"))


def shown(told: pd.DataFrame) -> pd.DataFrame:
    """Of each case the technician whose set-ups are shown to stand apart, a row of `apart`; no row where nobody's."""
    found = apart(told)
    of_case = found.groupby("case")
    # two who differ from each other are one question, asked twice
    asked = np.maximum(of_case["case"].transform("size") - of_case["method_code"].transform("nunique"), 1)
    far = (found["offset_mm"].abs() >= NOTE_MM) & (found["p"] * asked <= NOTE_CHANCE)
    enough = (found["setups"] >= LEAST_SETUPS) & (found["others"] >= LEAST_SETUPS)
    found = found[far & enough]
    # two by themselves have one p but for its last digits, and either may be named: the one who stands further in
    rarity = np.log(np.maximum(found["p"], LEAST_CHANCE)).round(_TIES)
    found = found.assign(rarity=rarity).sort_values(["case", "rarity", "offset_mm"], ascending=[True, True, False])
    return found.drop_duplicates("case").drop(columns="rarity")


def without(cases: Cases, told: pd.DataFrame, technician: npt.NDArray[np.object_]) -> Cases:
    """The cases with what is shown of a technician taken off that person's readings: no habit widens set-up errors."""
    habits = shown(told)[["case", "method_code", "technician", "offset_mm"]]
    own = cases.rows[["case", "method_code"]].assign(technician=technician.astype(str))
    off = own.merge(habits, on=["case", "method_code", "technician"], how="left")["offset_mm"].fillna(0.0)
    rows = cases.rows.assign(deflection_mm=cases.rows["deflection_mm"].to_numpy(np.float64) - off.to_numpy(np.float64))
    return Cases(table=cases.table, rows=rows, seen=cases.seen)


_SAID = ("method_code", "offset_mm", "se_mm", "setups", "others")


def _sentence(method_code: int, offset_mm: float, se_mm: float, setups: int, others: int) -> str:
    way = "in" if offset_mm > 0 else "out"
    return (
        f"One technician's {setups} set-ups by {_BY[METHODS[method_code]]} stand {abs(offset_mm):.1f} mm further {way} "
        f"than the others' {others} on this wall (standard error {se_mm:.1f} mm): let two technicians read the same "
        "marks on one day."
    )


def table(cases: Cases, told: pd.DataFrame) -> pd.DataFrame:
    """The company's technicians by method: method, technician, offset_mm, se_mm, walls, setups, others.

    offset_mm: how much further in their set-ups read than the others' on the same walls; each wall weighs by what it
    tells over its residual scale. Where somebody never shared a wall with others there is no row: nothing is known.
    """
    scale = told["scale_sum"] / told["dof"]
    wall = cases.table.groupby(WALL, sort=True).ngroup()
    rows = told.assign(wall=told["case"].map(wall), weight=told["information"] / scale, pull=told["told"] / scale)
    rows = rows.groupby(["method_code", "technician"], as_index=False).agg(
        weight=("weight", "sum"), pull=("pull", "sum"), walls=("wall", "nunique"), setups=("setups", "sum"),
        others=("others", "sum"),
    )  # fmt: skip
    methods = pd.Series([str(METHODS[code]) for code in rows["method_code"]], index=rows.index, dtype="str")
    rows = rows.assign(method=methods, offset_mm=rows["pull"] / rows["weight"], se_mm=1 / np.sqrt(rows["weight"]))
    return rows[["method", "technician", "offset_mm", "se_mm", "walls", "setups", "others"]]
