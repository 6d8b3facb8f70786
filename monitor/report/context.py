"""The book that all pages are written from, and one wall's share of it. Tables in, plain rows out."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from functools import cached_property
from hashlib import sha256
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.config import Rules, Variances
from monitor.errors import NotFoundError, Where
from monitor.records import astuple, dataclass, field, replace
from monitor.report.by_wall import ByWall
from monitor.report.day_states import DayStates
from monitor.results import Assessment
from monitor.terms import URGENCIES, EventKind, Outcome, Part, State

Row = Mapping[str, Any]
Key = tuple[str, str]

_PARTS: Mapping[str | None, int] = {None: 0, Part.NONE: 0, Part.BEFORE: 1, Part.AFTER: 2}
TELLING_VISITS = 3
"""Visits that count, from which on a rate is shown: two always lie on a line."""


def tellable(row: Row) -> bool:
    """Whether a period's result (wall_results) rests on visits enough to show a rate, its bounds or a line."""
    said = row.get("tellable")
    return bool((row["visits"] or 0) >= TELLING_VISITS if said is None else said)


@dataclass(frozen=True)
class WallView:
    """All that is known of one wall, each list in the order a page shows it."""

    house: str
    wall: str
    place: Row
    site: Row | None
    marks: Sequence[Row]
    events: Sequence[Row]
    readings: Sequence[Row]
    rulings: Mapping[str, Sequence[Row]]
    periods: Sequence[Row]
    mark_results: Sequence[Row]
    movement: Sequence[Row]
    components: Sequence[Row]
    findings: Sequence[Row]
    repairs: Sequence[Row]
    planned: Row | None
    decisions: Sequence[Row]
    photos: Sequence[Row] = ()
    photos_unfound: Sequence[Row] = ()

    @property
    def key(self) -> str:
        """House and wall as people write them: DH-01-N."""
        return f"{self.house}-{self.wall}"

    @property
    def unit(self) -> str:
        """Unit that pages of this wall show first."""
        return self.place["unit"] or "in"

    @cached_property
    def nickname(self) -> str:
        """What the owner calls the wall, or its id where it has no such name."""
        return self.place["nickname"] or f"wall {self.wall}"

    @cached_property
    def current(self) -> Row | None:
        """The result row of the newest period; None where nothing was judged."""
        return next((row for row in self.periods if row["is_current"]), None)

    @cached_property
    def tellable_periods(self) -> set[int]:
        """Periods whose visits can show a rate."""
        return {row["period"] for row in self.periods if tellable(row)}

    @cached_property
    def alarms(self) -> list[Row]:
        """Findings of the newest period that came out yes, most urgent first."""
        return [row for row in self.findings if row["outcome"] == Outcome.YES and self._is_newest(row)]

    def _is_newest(self, row: Row) -> bool:
        return self.current is None or bool(row["period"] == self.current["period"])

    @cached_property
    def held(self) -> list[Row]:
        """Readings held and undecided."""
        return [row for row in self.readings if row["state"] == State.HELD]

    @cached_property
    def ruled(self) -> list[tuple[Row, Row]]:
        """Readings that somebody ruled on, each with the last ruling."""
        return [(row, found[-1]) for row in self.readings if (found := self.rulings[row["reading_id"]])]

    @cached_property
    def used_days(self) -> list[date]:
        """Days on which a reading of the wall was used, in order."""
        return sorted({row["visit_date"] for row in self.readings if row["state"] == State.USED and row["visit_date"]})

    @cached_property
    def reinforcements(self) -> list[Row]:
        """Events that began a new period, oldest first."""
        return [row for row in self.events if row["kind"] == EventKind.REINFORCEMENT]


@dataclass(frozen=True)
class PastList:
    """An earlier monthly list: the day it was judged for, and the section of each wall that asked for somebody."""

    judged_on: date
    places: Mapping[Key, str]


@dataclass(frozen=True, slots=True)
class News:
    """Bad news of a wall: since when it is known, on which day the homeowner's page goes out by itself, and the call.

    waits: the homeowner's page and the history do not tell it yet. told_on, told_by: the call, where there was one.
    """

    since: datetime
    goes_out_on: date
    waits: bool
    told_on: date | None = None
    told_by: str = ""

    @property
    def said(self) -> str:
        """What became of it: 'homeowner told on 2026-04-29 by O1'."""
        if self.told_on:
            return f"homeowner told on {self.told_on} by {self.told_by}"
        said = "homeowner not told yet: phone first; the page goes out by itself at the end of"
        return (
            f"{said} {self.goes_out_on}"
            if self.waits
            else f"no call on record; the homeowner's page is out since the end of {self.goes_out_on}"
        )


@dataclass(frozen=True, eq=False)
class Book:
    """What one set of pages is written from; a book is itself alone, so what is worked out of it can be kept by it.

    facts: tables of schema.FACTS by name (houses, walls, marks, instruments, events, readings, rulings, thresholds;
    one that is left out counts as empty); readings bear their effective state, after rulings.
    decisions: schema.DECISIONS. previous: the assessment of the last list, to say what is new.
    company: 'name' and 'contact' as printed. variances: what the assessment rests on. received: readings that somebody
    corrected as they came in, by reading_id. lists: earlier lists, newest first, as far back as any wall that asks for
    somebody has done so without a break; the age of an item is told from them. supersedes: by file name the earlier
    page whose place a page takes (report_number, judged_on, known_until). first_totals: by wall the total inward
    deflection at its first visit (total_mm, total_mark, total_reference), where it is known. components:
    schema.COMPONENTS. past: walls by state on the days of earlier assessments. photos: rows of schema.PHOTOS as they
    stand, with `released` and `ruling`. photos_unfound: by wall, rows of the index of photos that nobody has given.
    news: bad news by wall, and whether its homeowner was told. damaged: what of the store could not be read, a sentence
    each. register: house and wall of every registered wall, where facts has the rows of some alone.
    """

    facts: schema.Tables
    decisions: pa.Table
    assessment: Assessment
    previous: Assessment | None
    company: Mapping[str, str]
    rules: Rules
    code_version: str
    variances: Variances = field(default_factory=Variances)
    received: Mapping[str, Row] = field(default_factory=dict)
    lists: Sequence[PastList] = ()
    supersedes: Mapping[str, Row] = field(default_factory=dict)
    first_totals: Mapping[Key, Row] = field(default_factory=dict)
    components: pa.Table = field(default_factory=lambda: schema.empty("components"))
    past: Sequence[DayStates] = ()
    photos: Sequence[Row] = ()
    photos_unfound: Mapping[Key, Sequence[Row]] = field(default_factory=dict)
    news: Mapping[Key, News] = field(default_factory=dict)
    damaged: Sequence[str] = ()
    register: pa.Table | None = None

    def fact(self, name: str) -> pa.Table:
        """A table of the facts, empty where it was not given."""
        return self.facts.get(name, schema.empty(name))

    @cached_property
    def walls(self) -> Mapping[Key, Row]:
        """Registered walls in facts, sorted by house and wall; of two rows of one wall the one known later stands."""
        rows = sorted(schema.rows(self.fact("walls")), key=_known)
        return dict(sorted({(row["house"], row["wall"]): row for row in rows}.items()))

    @cached_property
    def registered(self) -> pa.Array:
        """The keys (schema.wall_key) of all registered walls."""
        return schema.wall_keys(self.fact("walls") if self.register is None else self.register).unique()

    @cached_property
    def houses(self) -> Mapping[str, Row]:
        """Registered houses by id."""
        return {row["house"]: row for row in sorted(self.fact("houses").to_pylist(), key=_known)}

    @cached_property
    def thresholds(self) -> Row | None:
        """The signed thresholds that hold on the day of judgement; None where nobody has signed any."""
        rows = [row for row in self.fact("thresholds").to_pylist() if row["valid_from"] <= self.assessment.judged_on]
        return max(rows, key=lambda row: (row["valid_from"], _known(row)), default=None)

    @cached_property
    def _rulings(self) -> Mapping[str, Sequence[Row]]:
        rulings: dict[str, list[Row]] = defaultdict(list)
        for row in sorted(self.fact("rulings").to_pylist(), key=_known):
            rulings[row["reading_id"]].append(row)
        return rulings

    @cached_property
    def _tables(self) -> Mapping[str, ByWall]:
        judged = self.assessment
        tables = {name: self.fact(name) for name in ("marks", "events", "readings")}
        tables |= {name: getattr(judged, name) for name in schema.RESULTS}
        tables |= {"decisions": self.decisions, "components": self.components}
        return {name: ByWall(table) for name, table in tables.items()}

    @cached_property
    def _photos(self) -> Mapping[Key, Sequence[Row]]:
        photos: dict[Key, list[Row]] = defaultdict(list)
        for row in self.photos:
            photos[row["house"], row["wall"]].append(row)
        return photos

    @cached_property
    def earlier_results(self) -> ByWall:
        """Wall results of the last list; empty where there was none."""
        return ByWall(self.previous.wall_results if self.previous else schema.empty("wall_results"))

    @cached_property
    def _newest(self) -> dict[Key, WallView]:
        """The view that was asked for last: a wall's pages are made one after the other."""
        return {}

    def view(self, house: str, wall: str) -> WallView:
        """One wall's share of the book; NotFoundError where the register has no such wall."""
        key = (house, wall)
        made = self._newest.get(key)
        if made is None:
            made = self._view(key)
            self._newest.clear()
            self._newest[key] = made
        return made

    def _view(self, key: Key) -> WallView:
        house, wall = key
        if key not in self.walls:
            raise NotFoundError(
                "The register has no such wall.", where=Where(wall=f"{house}-{wall}"), mend="Register the wall first."
            )
        rows = {name: table.rows(key) for name, table in self._tables.items()}
        marks = {row["mark"]: row for row in sorted(rows["marks"], key=_known)}
        readings = sorted(rows["readings"], key=_reading_order)
        return WallView(
            house=house,
            wall=wall,
            place=self.walls[key],
            site=self.houses.get(house),
            marks=sorted(marks.values(), key=_mark_order),
            events=sorted(rows["events"], key=lambda row: (row["event_date"], row["kind"], row["event_id"])),
            readings=readings,
            rulings={row["reading_id"]: self._rulings.get(row["reading_id"], ()) for row in readings},
            periods=sorted(rows["wall_results"], key=lambda row: row["period"]),
            mark_results=sorted(rows["mark_results"], key=lambda row: (row["period"], row["mark"])),
            movement=sorted(rows["movement"], key=_movement_order),
            components=rows["components"],
            findings=sorted(rows["findings"], key=_finding_order),
            repairs=sorted(rows["repairs"], key=lambda row: row["period"]),
            planned=next(iter(rows["plan"]), None),
            decisions=sorted(rows["decisions"], key=lambda row: (_known(row), row["decision_id"])),
            photos=self._photos.get(key, ()),
            photos_unfound=self.photos_unfound.get(key, ()),
        )

    def news_of(self, house: str, wall: str) -> str:
        """What became of a wall's bad news, '' where there is none."""
        news = self.news.get((house, wall))
        return news.said if news else ""

    def waits(self, view: WallView) -> bool:
        """Whether the wall's bad news waits for a call before anybody outside the office reads it."""
        news = self.news.get((view.house, view.wall))
        return news is not None and news.waits

    def as_told(self, view: WallView) -> WallView:
        """The wall as its homeowner may see it: while bad news waits, its visits and work, and nothing they showed."""
        if not self.waits(view):
            return view
        unsaid = {"deflection_mm": None, "value_raw": "", "value_mm": None, "seen": ""}
        seen = [{**row, **unsaid} for row in view.readings if row["state"] == State.USED]
        empty: dict[str, Any] = dict.fromkeys(
            ("periods", "mark_results", "movement", "components", "findings", "repairs", "decisions"), ()
        )
        return replace(view, readings=seen, rulings=defaultdict(tuple), planned=None, **empty)

    @cached_property
    def _inputs(self) -> str:
        """Fingerprint of all that every page of the book depends on."""
        judged, before = self.assessment, self.previous
        return _fingerprint(
            (
                judged.facts_sha256,
                judged.settings_sha256,
                judged.judged_on.isoformat(),
                judged.known_until.isoformat(),
                f"{before.judged_on} {before.facts_sha256} {before.settings_sha256}" if before else "",
                self.code_version,
                *(f"{name}={text}" for name, text in sorted(self.company.items())),
                *sorted(str(sorted(row.items())) for row in self.decisions.to_pylist()),
                *(f"{past.judged_on} {sorted(past.places.items())}" for past in self.lists),
                *map(str, self.past),
                *(str(sorted(row.items())) for row in self.photos),
                *(f"{key} {[str(each) for each in astuple(news)]}" for key, news in sorted(self.news.items())),
                *self.damaged,
            )
        )

    def report_number(self, kind: str, *keys: str) -> str:
        """Twelve hex digits from all that a page depends on: facts, decisions, settings, days, company, code."""
        digest = _fingerprint((kind, *keys, self._inputs))
        return "-".join(digest[start : start + 4] for start in (0, 4, 8))


def _fingerprint(told: Iterable[str]) -> str:
    return sha256("\x1f".join(told).encode()).hexdigest()


def _known(row: Row) -> Any:
    return row["known_at"].isoformat() if row["known_at"] else ""


def _mark_order(row: Row) -> tuple[float, float, str]:
    """Top row first, each from the left: as the eye goes over the wall."""
    return (-(row["z_mm"] or 0.0), row["x_mm"] or 0.0, row["mark"])


def _reading_order(row: Row) -> tuple[Any, ...]:
    part = _PARTS.get(row["part"], len(_PARTS))
    return (row["visit_date"] or date.min, part, row["method"], row["setup"] or 0, row["mark"], row["reading_id"])


def _movement_order(row: Row) -> tuple[Any, ...]:
    return (
        row["mark"],
        row["period"],
        row["stretch"],
        row["visit_date"],
        _PARTS[row["part"]],
        row["method"],
    )


def _finding_order(row: Row) -> tuple[int, int, str]:
    return (URGENCIES.index(row["urgency"]), -(row["period"] or 0), row["rule"])
