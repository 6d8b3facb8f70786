"""Very many walls at once: strings with a few marks each, drawn and read as arrays, a block of walls at a time.

The same true walls as `wall` and `observe` tell of (a test holds the two together), of one layout, so that nothing is
done wall by wall. A block's random numbers come from the seed and the block's number: a wall is the same in whatever
company of at least its number.
"""

from collections.abc import Iterator
from datetime import date
from functools import cache

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from monitor import schema
from monitor.records import dataclass
from monitor.simulate.observe import SLIPS_MM, typed
from monitor.simulate.portfolio import STANDOFF_MM, WALL
from monitor.simulate.wall import Array, Geometry
from monitor.terms import End, EventKind, Kind, LengthUnit, Method, State
from monitor.units import DAYS_PER_YEAR, SIXTEENTH_MM

BLOCK = 5000
"""Walls drawn together."""
VISITS = 8
SHARES = (0.01, 0.25, 0.5, 0.75, 0.99)
HEIGHT_MM = 1220.0
PEAK = 0.24
SORTS = ((0.85, 0.0, 0.0), (0.10, 0.3, 1.5), (0.04, 2.0, 6.0), (0.01, 6.0, 15.0))
"""Share of walls, and the range of their rates in mm/yr."""
STRAPPED, MISSED, FAULTY = 0.4, 0.08, 0.02
"""Shares: of walls strapped between the third visit and the fourth, of visits missed, of visits with one misread."""
READING_MM, OFFSET_MM, YAW_MM_PER_M, WOBBLE_MM, LOCAL_MM_PER_YEAR, SEASON_MM = 0.8, 1.0, 0.2, 0.3, 0.2, 1.1
_NEW_YEAR = date(2000, 1, 1).toordinal()
_EPOCH = date(1970, 1, 1).toordinal()
_MORNING, _EVENING_US = 0.25, 20 * 3600 * 1_000_000
_DAY_US = 24 * 3600 * 1_000_000

Whole = NDArray[np.int64]


@dataclass(frozen=True)
class Walls:
    """The truth of W walls with V visits of M marks. day: since 1970 (W, V); strapped: day of the work, -1 for none."""

    first: int
    length_mm: Array
    day: Whole
    strapped: Whole
    rate_mm_per_year: Array
    season_mm: Array
    local_mm_per_year: Array
    initial_mm: Array
    wobble_mm: Array

    def geometry(self, number: int) -> Geometry:
        """What one of them is."""
        return Geometry(length_mm=float(self.length_mm[number]))


@dataclass(frozen=True)
class Fleet:
    """A block of walls: tables of schema READINGS, WALLS, MARKS and EVENTS, and what is true of them."""

    readings: pa.Table
    walls: pa.Table
    marks: pa.Table
    events: pa.Table
    truth: Walls


def stream(walls: int, *, seed: int, first: int = 0) -> Iterator[Fleet]:
    """Walls number `first` (a multiple of BLOCK) and on, in blocks."""
    for start in range(first, first + walls, BLOCK):
        rng = np.random.default_rng([seed, start // BLOCK])
        truth = draw(rng, start)
        kept = min(BLOCK, first + walls - start)
        yield _tables(truth, read(truth, rng), rng.random((BLOCK, VISITS)) < MISSED, kept)


def draw(rng: np.random.Generator, first: int, walls: int = BLOCK) -> Walls:
    """Walls, and what they do."""
    day = (date(2019, 1, 1).toordinal() - _EPOCH) + rng.integers(0, 182, (walls, 1))
    day = day + np.round(np.arange(VISITS) * DAYS_PER_YEAR / 2 + 7 * rng.standard_normal((walls, VISITS))).astype(int)
    sort = rng.choice(len(SORTS), walls, p=[share for share, *_ in SORTS])
    low, high = np.array([[low, high] for _, low, high in SORTS])[sort].T
    rate = low + (high - low) * rng.random(walls)
    strapped = np.where(rng.random(walls) < STRAPPED, (day[:, 2] + day[:, 3]) // 2, -1)
    return Walls(
        first=first,
        length_mm=304.8 * rng.integers(24, 41, walls).astype(np.float64),
        day=day,
        strapped=strapped,
        rate_mm_per_year=rate,
        season_mm=SEASON_MM / 2**0.5 * np.abs(rng.standard_normal(walls)),
        local_mm_per_year=LOCAL_MM_PER_YEAR * rng.standard_normal((walls, len(SHARES))),
        initial_mm=rng.uniform(8.0, 40.0, walls),
        wobble_mm=WOBBLE_MM * rng.standard_normal((walls, VISITS)),
    )


def seen_mm(walls: Walls) -> Array:
    """What a perfect reading of each mark by the string gives (W, V, M): as observe.seen_mm for one wall."""
    years = (walls.day - walls.day[:, :1]) / DAYS_PER_YEAR
    before = np.where(walls.strapped[:, None] < 0, np.inf, walls.strapped[:, None] - walls.day[:, :1] + 0.25)
    years = np.minimum(years, before / DAYS_PER_YEAR)  # nothing moves after the straps
    turn = np.cos(2 * np.pi * ((walls.day + _EPOCH + _MORNING - _NEW_YEAR) / DAYS_PER_YEAR - PEAK))
    bow = walls.initial_mm[:, None] + walls.rate_mm_per_year[:, None] * years
    bow += walls.season_mm[:, None] * turn + walls.wobble_mm
    along = np.sin(np.pi * np.asarray(SHARES))
    return np.asarray(bow[:, :, None] * along + walls.local_mm_per_year[:, None, :] * years[:, :, None])


def read(walls: Walls, rng: np.random.Generator) -> Array:
    """Gaps as written, mm (W, V, M): with the errors of set-ups and readings, here and there misread, to 1/16 in."""
    seen = seen_mm(walls)
    shape = seen.shape
    beside = (np.asarray(SHARES) - 0.5) * walls.length_mm[:, None] / 1000
    error = READING_MM * rng.standard_normal(shape) + OFFSET_MM * rng.standard_normal((*shape[:2], 1))
    error += YAW_MM_PER_M * rng.standard_normal((*shape[:2], 1)) * beside[:, None, :]
    wrong = (rng.random((*shape[:2], 1)) < FAULTY) & (np.arange(shape[2]) == rng.integers(0, shape[2], (*shape[:2], 1)))
    slips = np.asarray(SLIPS_MM)[rng.integers(0, len(SLIPS_MM), shape)] * rng.choice([-1.0, 1.0], shape)
    exact = STANDOFF_MM - seen - error + np.where(wrong, slips, 0.0)
    return np.asarray(np.floor(exact / SIXTEENTH_MM + 0.5) * SIXTEENTH_MM)


def _tables(truth: Walls, gaps: Array, missed: NDArray[np.bool_], kept: int) -> Fleet:
    missed[:, 0] = False
    missed[kept:] = True
    wall, visit = np.nonzero(~missed)
    marks = len(SHARES)
    place = wall * VISITS * marks + visit * marks
    rows = (place[:, None] + np.arange(marks)).ravel()
    of_wall, mark = np.repeat(wall, marks), np.tile(np.arange(marks), len(wall))
    gap, day = gaps.ravel()[rows], np.repeat(truth.day[wall, visit], marks)
    houses = _hex("S", truth.first + np.arange(kept), 8)
    names = pa.array([f"M{number + 1}" for number in range(marks)])
    steps = np.round(gap / SIXTEENTH_MM).astype(np.int64)
    every = np.unique(steps)
    texts = pa.array([_written(int(step)) for step in every])
    mine = np.arange(kept)
    begun = truth.day[:kept, 0]
    return Fleet(
        readings=_table(
            schema.READINGS,
            len(rows),
            reading_id=_hex("", truth.first * VISITS * marks + rows, 16),
            house=houses.take(pa.array(of_wall)),
            visit_date=_date(day),
            technician="T1",
            method=Method.STRING.value,
            instrument=Method.STRING.value,
            setup=np.repeat(visit + 1, marks),
            mark=names.take(pa.array(mark)),
            value_raw=texts.take(pa.array(np.searchsorted(every, steps))),
            unit=LengthUnit.INCH.value,
            kind=Kind.GAP.value,
            standoff_mm=np.full(len(rows), STANDOFF_MM),
            value_mm=gap,
            deflection_mm=STANDOFF_MM - gap,
            step_mm=np.full(len(rows), SIXTEENTH_MM),
            error_factor=np.ones(len(rows)),
            state=State.USED.value,
            source_row=rows % 1_000_000,
            known_at=_evening(day),
        ),
        walls=_table(
            schema.WALLS,
            kept,
            house=houses,
            length_mm=truth.length_mm[:kept],
            clear_height_mm=np.full(kept, 2 * HEIGHT_MM),
            thickness_mm=np.full(kept, 203.0),
            material="concrete block",
            crack_height_mm=np.full(kept, HEIGHT_MM),
            left_end=End.RETURN.value,
            right_end=End.RETURN.value,
            method=Method.STRING.value,
            kind=Kind.GAP.value,
            unit=LengthUnit.INCH.value,
            known_at=_evening(begun),
        ),
        marks=_table(
            schema.MARKS,
            kept * marks,
            house=houses.take(pa.array(np.repeat(mine, marks))),
            mark=names.take(pa.array(np.tile(np.arange(marks), kept))),
            x_mm=(truth.length_mm[:kept, None] * np.asarray(SHARES)).ravel(),
            z_mm=np.full(kept * marks, HEIGHT_MM),
            row="M",
            on_strap=np.zeros(kept * marks, bool),
            set_on=_date(np.repeat(begun, marks)),
            known_at=_evening(np.repeat(begun, marks)),
        ),
        events=_events(truth, houses, np.flatnonzero(truth.strapped[:kept] >= 0)),
        truth=truth,
    )


def _events(truth: Walls, houses: pa.Array, strapped: Whole) -> pa.Table:
    day = truth.strapped[strapped]
    return _table(
        schema.EVENTS,
        len(strapped),
        event_id=_hex("E", truth.first + strapped, 8),
        house=houses.take(pa.array(strapped)),
        event_date=_date(day),
        kind=EventKind.REINFORCEMENT.value,
        known_at=_evening(day),
    )


def _table(of: pa.Schema, rows: int, **columns: object) -> pa.Table:
    """A table of that schema; a text stands in every row, what is not given is unknown."""
    given = {
        "wall": WALL,
        "source_sha256": "0" * 64,
        "source_name": "simulated",
        "source_row": np.zeros(rows),
    } | columns
    arrays = []
    for field in of:
        value = given.get(field.name, "" if pa.types.is_string(field.type) else None)
        if isinstance(value, str):
            arrays.append(pa.repeat(pa.scalar(value), rows))
        else:
            arrays.append(pa.nulls(rows, field.type) if value is None else pa.array(value).cast(field.type))
    return pa.Table.from_arrays(arrays, schema=of)


def _hex(letter: str, numbers: Whole, digits: int) -> pa.Array:
    """Texts of a letter and that many hex digits."""
    signs = np.frombuffer(b"0123456789abcdef", np.uint8)
    found = signs[(numbers[:, None] >> np.arange(4 * (digits - 1), -1, -4)) & 15]
    if letter:
        found = np.hstack([np.full((len(numbers), 1), ord(letter), np.uint8), found])
    starts = np.arange(len(numbers) + 1, dtype=np.int32) * found.shape[1]
    return pa.StringArray.from_buffers(len(numbers), pa.py_buffer(starts), pa.py_buffer(np.ascontiguousarray(found)))


def _date(day: Whole) -> pa.Array:
    return pa.array(day.astype(np.int32)).cast(pa.date32())


def _evening(day: Whole) -> pa.Array:
    return pa.array(day * _DAY_US + _EVENING_US).cast(pa.timestamp("us", tz="UTC"))


@cache
def _written(step: int) -> str:
    """What a technician writes for so many sixteenths; there are only so many on a rule."""
    return typed(step * SIXTEENTH_MM, LengthUnit.INCH)
