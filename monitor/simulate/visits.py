"""Visits to a true wall: the rows a technician types, and the truth beside them."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

import numpy as np

from monitor.records import dataclass, field
from monitor.simulate.observe import Sds, seen_mm, seen_rates_mm_per_year, setup_errors_mm, typed
from monitor.simulate.wall import Array, Geometry, Motion, Spot, moment, places, position_mm
from monitor.terms import Kind, LengthUnit, Method, Part


@dataclass(frozen=True)
class Row:
    """One typed row of a file of readings; every cell is text, as typed."""

    house: str
    wall: str
    visit_date: str
    part: str
    technician: str
    method: str
    instrument: str
    setup: str
    standoff: str
    mark: str
    value: str
    unit: str
    kind: str
    not_read: str = ""
    seen: str = ""
    weather: str = ""
    crack_width: str = ""
    photos: str = ""
    note: str = ""


@dataclass(frozen=True)
class Setup:
    """One placing of string, line, laser or base plate: who reads which marks, and how the number is written.

    reference_mm: what the number counts from (stand-off of the blocks, of the plumb line or laser; distance of the
    base plate from the straight wall). bias_mm: what this person always adds, inward positive.
    """

    method: Method
    marks: Sequence[str]
    sds: Sds
    instrument: str
    reference_mm: float
    unit: LengthUnit = LengthUnit.INCH
    kind: Kind = Kind.GAP
    standoff: str = ""
    technician: str = ""
    bias_mm: float = 0.0


@dataclass(frozen=True)
class Visit:
    """One visit: day, part of a day of work, technician, set-ups; not_read gives a reason by mark."""

    day: date
    technician: str
    setups: Sequence[Setup]
    part: Part = Part.NONE
    not_read: Mapping[str, str] = field(default_factory=dict)
    seen: str = ""
    weather: str = ""
    note: str = ""


@dataclass(frozen=True)
class Truth:
    """What was true: positions (visits by marks, mm), and per period the rates of marks and of bow, tip and slide.

    rates: absolute; seen_rates: by method, as far as it can see.
    """

    marks: Sequence[str]
    days: Sequence[date]
    positions_mm: Array
    rates_mm_per_year: Array
    seen_rates_mm_per_year: Mapping[Method, Array]
    components_mm_per_year: Array


@dataclass(frozen=True)
class Simulated:
    """A simulated wall: the rows as typed, and the truth."""

    rows: Sequence[Row]
    truth: Truth


def simulate(
    house: str,
    wall: str,
    geometry: Geometry,
    motion: Motion,
    spots: Sequence[Spot],
    visits: Sequence[Visit],
    rng: np.random.Generator,
    *,
    wobble_mm: float = 0.0,
) -> Simulated:
    """All visits to a wall. A visit or mark left out of `visits` is simply missing; the rest draws the same numbers.

    wobble_mm: sd of what the wall does outside trend and season, one draw a visit.
    """
    moments = np.array([moment(visit.day, visit.part) for visit in visits])
    wobbles = wobble_mm * rng.standard_normal(len(visits))
    rows: list[Row] = []
    for i, visit in enumerate(visits):
        for number, setup in enumerate(visit.setups, start=1):
            here = [spot for spot in spots if spot.mark in setup.marks]
            values = _read(setup, geometry, motion, here, moments[i : i + 1], wobbles[i : i + 1], rng)
            rows += [
                _row(house, wall, visit, number, setup, spot.mark, value)
                for spot, value in zip(here, values, strict=True)
            ]
    return Simulated(rows, truth_of(geometry, motion, spots, visits, wobbles))


def _read(
    setup: Setup,
    geometry: Geometry,
    motion: Motion,
    spots: Sequence[Spot],
    moments: Array,
    wobble_mm: Array,
    rng: np.random.Generator,
) -> Array:
    """The values of one set-up before they are rounded, in mm, of the kind that is written."""
    x, z = places(spots)
    deflection = (
        seen_mm(setup.method, geometry, motion, spots, moments, wobble_mm)[0]
        + setup_errors_mm(rng, setup.sds, geometry, x, z, [0] * len(spots), 1)[0]
        + setup.sds.reading_mm * rng.standard_normal(len(spots))
        + setup.bias_mm
    )
    return np.asarray(deflection if setup.kind is Kind.DEFLECTION else setup.reference_mm - deflection)


def _row(house: str, wall: str, visit: Visit, number: int, setup: Setup, mark: str, value_mm: float) -> Row:
    reason = visit.not_read.get(mark, "")
    return Row(
        house=house,
        wall=wall,
        visit_date=visit.day.isoformat(),
        part=visit.part,
        technician=setup.technician or visit.technician,
        method=setup.method,
        instrument=setup.instrument,
        setup=str(number),
        standoff=setup.standoff,
        mark=mark,
        value="" if reason else typed(value_mm, setup.unit),
        unit=setup.unit,
        kind=setup.kind,
        not_read=reason,
        seen=visit.seen,
        weather=visit.weather,
        note=visit.note,
    )


def truth_of(
    geometry: Geometry, motion: Motion, spots: Sequence[Spot], visits: Sequence[Visit], wobbles_mm: Array
) -> Truth:
    """The truth of a wall at its visits."""
    moments = np.array([moment(visit.day, visit.part) for visit in visits])
    methods = dict.fromkeys(setup.method for visit in visits for setup in visit.setups)
    periods = range(len(motion.stages))
    return Truth(
        marks=[spot.mark for spot in spots],
        days=[visit.day for visit in visits],
        positions_mm=position_mm(geometry, motion, spots, moments, wobbles_mm),
        rates_mm_per_year=_by_period(Method.METER, geometry, motion, spots, periods),
        seen_rates_mm_per_year={m: _by_period(m, geometry, motion, spots, periods) for m in methods},
        components_mm_per_year=np.array([stage.rate for stage in motion.stages], float),
    )


def _by_period(
    method: Method, geometry: Geometry, motion: Motion, spots: Sequence[Spot], periods: Iterable[int]
) -> Array:
    return np.array([seen_rates_mm_per_year(method, geometry, motion, period, spots) for period in periods])
