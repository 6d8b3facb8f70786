"""Portfolios of simulated walls, streamed block by block as tables of the schema, with their truth.

Each wall has random numbers of its own, made from the seed and its number: a wall is the same in whatever block it
comes, and a million of them need the memory of one block.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, time
from functools import cache

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from monitor import schema
from monitor.records import dataclass, fields
from monitor.simulate.observe import SLIPS_MM, seen_mm, seen_rates_mm_per_year, setup_errors_mm, step_mm, typed
from monitor.simulate.recipe import FLEET, Drawn, Recipe, draw_wall
from monitor.simulate.wall import Array, moment, places
from monitor.terms import EventKind, Kind, LengthUnit, Method, State
from monitor.units import MM_PER_INCH

Numbers = NDArray[np.int64]
WALL = "N"
STANDOFF_MM = 3 * MM_PER_INCH
_REFERENCE_MM = {Method.STRING: STANDOFF_MM, Method.PLUMB: 90.0, Method.LASER: 120.0, Method.METER: 6000.0}
_UNIT = {
    Method.STRING: LengthUnit.INCH,
    Method.PLUMB: LengthUnit.INCH,
    Method.LASER: LengthUnit.MM,
    Method.METER: LengthUnit.MM,
}
_ORIGIN = {"source_sha256": "0" * 64, "source_name": "simulated", "source_sheet": ""}

MARK_TRUTH = pa.schema(
    [
        ("house", pa.string()),
        ("wall", pa.string()),
        ("period", pa.int32()),
        ("sort", pa.string()),
        ("mark", pa.string()),
        ("method", pa.string()),
        ("rate_mm_per_year", pa.float64()),
        ("seen_rate_mm_per_year", pa.float64()),
        ("bow_mm_per_year", pa.float64()),
        ("tip_mm_per_year", pa.float64()),
        ("slide_mm_per_year", pa.float64()),
        ("season_mm", pa.float64()),
        ("scale", pa.float64()),
    ]
)
"""Truth by wall, period and mark: absolute rate, the rate as far as the wall's last method sees it, component rates."""

MISREADS = pa.schema([("reading_id", pa.string()), ("error_mm", pa.float64())])
"""Readings that were misread, and by how much the deflection is wrong."""


@dataclass(frozen=True)
class Portfolio:
    """A block of walls: tables of schema READINGS, WALLS, MARKS and EVENTS, the truth by mark, and the misreads."""

    readings: pa.Table
    walls: pa.Table
    marks: pa.Table
    events: pa.Table
    truth: pa.Table
    misreads: pa.Table


def portfolio(walls: int, *, seed: int, recipe: Recipe = FLEET) -> Portfolio:
    """That many walls at once."""
    blocks = list(stream(walls, seed=seed, recipe=recipe))
    return Portfolio(*(pa.concat_tables([getattr(block, f.name) for block in blocks]) for f in fields(Portfolio)))


def stream(walls: int, *, seed: int, recipe: Recipe = FLEET, first: int = 0, block: int = 500) -> Iterator[Portfolio]:
    """Walls number `first` and on, in blocks; the same seed and number give the same wall in any block."""
    for start in range(first, first + walls, block):
        numbers = range(start, min(start + block, first + walls))
        rngs = ((number, np.random.default_rng([seed, number])) for number in numbers)
        yield of_drawn(((draw_wall(recipe, number, rng), rng) for number, rng in rngs), recipe)


def of_drawn(walls: Iterable[tuple[Drawn, np.random.Generator]], recipe: Recipe) -> Portfolio:
    """The portfolio of walls that are drawn already, each read with random numbers of its own."""
    told = [_tell(drawn, recipe, rng) for drawn, rng in walls]
    return Portfolio(
        readings=_readings([wall.sessions for wall in told]),
        walls=_rows([wall.wall for wall in told], schema.WALLS),
        marks=_rows([mark for wall in told for mark in wall.marks], schema.MARKS),
        events=_rows([event for wall in told for event in wall.events], schema.EVENTS),
        truth=pa.Table.from_pylist([row for wall in told for row in wall.truth], schema=MARK_TRUTH),
        misreads=pa.Table.from_pylist([row for wall in told for row in wall.misreads], schema=MISREADS),
    )


@dataclass(frozen=True)
class _Session:
    """All readings of one wall by one method, as columns of equal length."""

    drawn: Drawn
    method: Method
    visit: Numbers
    setup: Numbers
    mark: Sequence[str]
    value_mm: Array
    first_row: int


@dataclass(frozen=True)
class _Told:
    sessions: Sequence[_Session]
    wall: dict[str, object]
    marks: Sequence[dict[str, object]]
    events: Sequence[dict[str, object]]
    truth: Sequence[dict[str, object]]
    misreads: Sequence[dict[str, object]]


def _tell(drawn: Drawn, recipe: Recipe, rng: np.random.Generator) -> _Told:
    """Everything about one wall but its readings' columns."""
    methods = [drawn.layout.method]
    if drawn.change is not None:
        methods.append(Method.STRING if methods[0] is Method.LASER else Method.LASER)
    sessions: list[_Session] = []
    misreads: list[dict[str, object]] = []
    for turn, method in enumerate(methods):
        row = sum(len(session.mark) for session in sessions)
        session, wrong = _read(drawn, recipe, method, _visits(drawn, turn), turn * 100, row, rng)
        sessions.append(session)
        misreads += wrong
    return _Told(sessions, _wall(drawn), _marks(drawn), _events(drawn), _truth(drawn, methods[-1]), misreads)


def _visits(drawn: Drawn, turn: int) -> Numbers:
    """Numbers of the visits that the first (turn 0) or second method reads."""
    every = np.arange(len(drawn.days))
    if drawn.change is None:
        return every
    if turn:
        return every[every >= drawn.change]
    return every[every < drawn.change + drawn.overlap]


def _read(
    drawn: Drawn,
    recipe: Recipe,
    method: Method,
    visits: Numbers,
    setups_before: int,
    first_row: int,
    rng: np.random.Generator,
) -> tuple[_Session, list[dict[str, object]]]:
    """All readings by one method; set-ups are rows of a string, columns of a plumb line, else one placing."""
    spots, sds = drawn.spots, recipe.sds[method].scaled(drawn.scale)
    x, z = places(spots)
    keys = [{Method.STRING: s.row, Method.PLUMB: s.column}.get(method, "") for s in spots]
    placing = [sorted(set(keys)).index(key) for key in keys]
    moments = np.array([moment(drawn.days[v], drawn.parts[v]) for v in visits])
    seen = seen_mm(method, drawn.geometry, drawn.motion, spots, moments, drawn.wobbles_mm[visits])
    marks = np.tile(np.array([spot.mark for spot in spots], object), (len(visits), 1))
    if drawn.lost is not None:
        late = visits >= drawn.lost
        seen[late, _LOST] += _jump(drawn)
        marks[late, _LOST] = f"{spots[_LOST].mark}b"
    times, n = len(visits) * recipe.setups, len(spots)
    errors = setup_errors_mm(rng, sds, drawn.geometry, x, z, placing, times)
    errors += sds.reading_mm * rng.standard_normal((times, n))
    exact = (_REFERENCE_MM[method] - np.repeat(seen, recipe.setups, axis=0) - errors).ravel()
    visit_of = np.repeat(visits, recipe.setups * n)
    numbers = np.arange(recipe.setups)[:, None] * (max(placing) + 1) + np.asarray(placing) + 1 + setups_before
    setup_of = np.tile(numbers.ravel(), len(visits))
    mark_of = np.repeat(marks, recipe.setups, axis=0).ravel()
    step = step_mm(_UNIT[method])
    slips = _slips(recipe, visit_of, rng)
    value = np.floor((exact + slips) / step + 0.5) * step
    keep = ~np.asarray(drawn.missed)[visit_of]
    session = _Session(drawn, method, visit_of[keep], setup_of[keep], mark_of[keep].tolist(), value[keep], first_row)
    ids = _ids(session)
    return session, [{"reading_id": ids[i], "error_mm": -float(slip)} for i, slip in enumerate(slips[keep]) if slip]


_LOST = 0
"""The mark that is lost where one is."""


def _jump(drawn: Drawn) -> float:
    """How much further in the surface is at the mark that replaces the lost one."""
    return 3.0 if drawn.index % 2 else -2.0


def _slips(recipe: Recipe, visit_of: Numbers, rng: np.random.Generator) -> Array:
    """What misreading adds to each value: single readings, and one reading of each faulty visit."""
    wrong = rng.random(len(visit_of)) < recipe.misread_share
    faulty = rng.random(int(visit_of.max()) + 1) < recipe.fault_share
    chosen = rng.random(len(visit_of))
    for visit in np.flatnonzero(faulty):
        here = np.flatnonzero(visit_of == visit)
        if len(here):
            wrong[here[int(chosen[here[0]] * len(here))]] = True
    sizes = np.asarray(SLIPS_MM)[rng.integers(0, len(SLIPS_MM), len(visit_of))]
    return np.asarray(np.where(wrong, sizes * rng.choice([-1.0, 1.0], len(visit_of)), 0.0))


def _house(drawn: Drawn) -> str:
    return f"S{drawn.index:08d}"


def _ids(session: _Session) -> list[str]:
    """Reading ids: the wall's number and the row's, in 16 hex digits."""
    number = session.drawn.index
    return [f"{number:010x}{session.first_row + i:06x}" for i in range(len(session.mark))]


def _wall(drawn: Drawn) -> dict[str, object]:
    geometry, method = drawn.geometry, drawn.layout.method
    return {
        "house": _house(drawn),
        "wall": WALL,
        "nickname": "",
        "length_mm": geometry.length_mm,
        "clear_height_mm": geometry.height_mm,
        "thickness_mm": geometry.thickness_mm,
        "material": "concrete block",
        "crack_height_mm": geometry.crack_mm,
        "left_end": geometry.left.value,
        "right_end": geometry.right.value,
        "method": method.value,
        "kind": _kind(method).value,
        "unit": _UNIT[method].value,
        "visit_months": "",
    } | _known(drawn.days[0])


def _kind(method: Method) -> Kind:
    return Kind.DISTANCE if method is Method.METER else Kind.GAP


def _known(day: date) -> dict[str, object]:
    return _ORIGIN | {"source_row": 0, "known_at": datetime.combine(day, time(20), tzinfo=UTC)}


def _marks(drawn: Drawn) -> list[dict[str, object]]:
    rows = []
    for i, spot in enumerate(drawn.spots):
        lost = drawn.days[drawn.lost] if drawn.lost is not None and i == _LOST else None
        row: dict[str, object] = {
            "house": _house(drawn), "wall": WALL, "mark": spot.mark, "x_mm": spot.x_mm, "z_mm": spot.z_mm,
            "row": spot.row, "column": spot.column, "on_strap": False, "set_on": drawn.days[0], "retired_on": lost,
        } | _known(drawn.days[0])  # fmt: skip
        rows.append(row)
        if lost is not None:
            new = {"mark": f"{spot.mark}b", "set_on": lost, "retired_on": None, "replaces": spot.mark}
            rows.append(row | new | _known(lost))
    return rows


def _events(drawn: Drawn) -> list[dict[str, object]]:
    told: list[tuple[date, EventKind, dict[str, object]]] = [
        (stage.start, EventKind.REINFORCEMENT, {}) for stage in drawn.motion.stages[1:]
    ]
    if drawn.change is not None:
        to = Method.STRING if drawn.layout.method is Method.LASER else Method.LASER
        told.append((drawn.days[drawn.change], EventKind.METHOD_CHANGE, {"method": to.value}))
    if drawn.lost is not None:
        mark = drawn.spots[_LOST].mark
        told.append((drawn.days[drawn.lost], EventKind.LOST_MARK, {"marks": mark, "new_mark": f"{mark}b"}))
    return [
        {
            "event_id": f"{_house(drawn)}-{i}",
            "house": _house(drawn),
            "wall": WALL,
            "event_date": day,
            "kind": kind.value,
        }
        | more
        | _known(day)
        for i, (day, kind, more) in enumerate(told)
    ]


def _truth(drawn: Drawn, method: Method) -> list[dict[str, object]]:
    geometry, motion, spots = drawn.geometry, drawn.motion, drawn.spots
    rows: list[dict[str, object]] = []
    for period, stage in enumerate(motion.stages):
        rates = seen_rates_mm_per_year(Method.METER, geometry, motion, period, spots)
        seen = seen_rates_mm_per_year(method, geometry, motion, period, spots)
        shared = {
            "house": _house(drawn), "wall": WALL, "period": period, "sort": drawn.sorts[period],
            "method": method.value, "bow_mm_per_year": stage.rate.bow, "tip_mm_per_year": stage.rate.tip,
            "slide_mm_per_year": stage.rate.slide, "season_mm": stage.season_mm, "scale": drawn.scale,
        }  # fmt: skip
        for i, spot in enumerate(spots):
            names = [spot.mark] + ([f"{spot.mark}b"] if drawn.lost is not None and i == _LOST else [])
            at = {"rate_mm_per_year": float(rates[i]), "seen_rate_mm_per_year": float(seen[i])}
            rows += [shared | at | {"mark": name} for name in names]
    return rows


def _rows(rows: Sequence[dict[str, object]], of: pa.Schema) -> pa.Table:
    """Rows as a table of that schema; text that nobody gave is ''."""
    blank = {field.name: "" for field in of if pa.types.is_string(field.type)}
    return pa.Table.from_pylist([blank | row for row in rows], schema=of)


def _readings(walls: Sequence[Sequence[_Session]]) -> pa.Table:
    """All readings of the walls as one table of schema READINGS, made column by column."""
    sessions = [session for wall in walls for session in wall]
    counts = [len(session.mark) for session in sessions]

    def each(values: Sequence[object]) -> list[object]:
        return np.repeat(np.array(values, object), counts).tolist()

    method = [session.method for session in sessions]
    value = np.concatenate([session.value_mm for session in sessions])
    standoff = np.repeat([STANDOFF_MM if m is Method.STRING else 0.0 for m in method], counts)
    days = [session.drawn.days[v] for session in sessions for v in session.visit]
    filled: dict[str, object] = {
        "reading_id": [reading for session in sessions for reading in _ids(session)],
        "house": each([_house(session.drawn) for session in sessions]),
        "wall": [WALL] * len(value),
        "visit_date": days,
        "part": [session.drawn.parts[v].value for session in sessions for v in session.visit],
        "technician": ["T1"] * len(value),
        "method": each([m.value for m in method]),
        "instrument": each([m.value for m in method]),
        "setup": np.concatenate([session.setup for session in sessions]),
        "mark": [mark for session in sessions for mark in session.mark],
        "value_raw": [text for session in sessions for text in _texts(session)],
        "unit": each([_UNIT[m].value for m in method]),
        "kind": each([_kind(m).value for m in method]),
        "standoff_mm": standoff,
        "value_mm": value,
        "deflection_mm": standoff - value,
        "step_mm": np.repeat([step_mm(_UNIT[m]) for m in method], counts),
        "error_factor": np.ones(len(value)),
        "state": [State.USED.value] * len(value),
        "source_row": np.concatenate(
            [session.first_row + np.arange(n) for session, n in zip(sessions, counts, strict=True)]
        ),
        "known_at": [datetime.combine(day, time(20), tzinfo=UTC) for day in days],
        **{name: [text] * len(value) for name, text in _ORIGIN.items()},
    }
    return pa.table([_column(field, filled, len(value)) for field in schema.READINGS], schema=schema.READINGS)


def _column(field: pa.Field, filled: dict[str, object], rows: int) -> pa.Array:
    if field.name in filled:
        return pa.array(filled[field.name], field.type)
    return pa.array([""] * rows, field.type) if pa.types.is_string(field.type) else pa.nulls(rows, field.type)


def _texts(session: _Session) -> list[str]:
    """Values as typed."""
    unit = _UNIT[session.method]
    return [_written(value, unit) for value in session.value_mm.tolist()]


@cache
def _written(value_mm: float, unit: LengthUnit) -> str:
    """`typed`, remembered: there are only so many steps on a rule."""
    return typed(value_mm, unit)
