"""What docs/pages.md says of each page is what stands on it: every field worked out anew from the demo's tables."""

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Any

import pytest
from page_reader import Page

from monitor import __version__
from monitor.demo.run import COMPANY, Done

pytestmark = pytest.mark.xdist_group("demo")

DOCUMENT = Path(__file__).parents[2] / "docs" / "pages.md"
MONTHS = [date(2000, month, 1).strftime("%B") for month in range(1, 13)]
UNIT = {"in": "inch a year", "mm": "mm a year"}
Row = Mapping[str, Any]
SWING_MM = 2.0
"""To either side; docs/homeowner-statuses.md, state "comes and goes"."""


def documented() -> dict[str, dict[str, str]]:
    """By heading: field to how it reads."""
    found: dict[str, dict[str, str]] = {}
    for line in DOCUMENT.read_text(encoding="utf-8").splitlines():
        if line.startswith("## "):
            found[line[3:]] = {}
        elif row := re.fullmatch(r"\| (.+) \| `(.+)`.* \| (.+) \|", line):
            found[list(found)[-1]][row[1]] = row[2]
    return found


FIELDS = documented()


def day(value: Any) -> str:
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def several(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def number(mm: float, unit: str) -> str:
    text = f"{mm / 25.4:.2f}" if unit == "in" else f"{mm:.1f}"
    return text.removeprefix("-") if float(text) == 0 else text


def rate(mm: float, unit: str) -> str:
    other = "mm" if unit == "in" else "in"
    return f"{number(mm, unit)} {UNIT[unit]} ({number(mm, other)} {UNIT[other]}"


def length(mm: float, unit: str) -> str:
    if unit == "mm":
        return f"{mm:.1f} mm"
    whole, part = divmod(Fraction(round(mm / 25.4 * 16), 16), 1)
    return " ".join(str(piece) for piece in (whole, part) if piece) + " in"


class Demo:
    """The demo's tables, and what each field of each page should read."""

    def __init__(self, done: Done) -> None:
        self.store, self.judged = done.store, done.assessment
        known = self.judged.known_until
        self.walls = self.store.current("walls", known_on=known).to_pylist()
        self.houses = {row["house"]: row for row in self.store.current("houses", known_on=known).to_pylist()}
        self.events = self.store.current("events", known_on=known).to_pylist()
        self.results = self.judged.wall_results.to_pylist()
        self.newest = {(row["house"], row["wall"]): row for row in self.results if row["is_current"]}
        self.plan = {(row["house"], row["wall"]): row for row in self.judged.plan.to_pylist()}
        self.verdicts = Counter(row["verdict"] for row in self.newest.values())
        suspects = set(self.judged.suspects["reading_id"].to_pylist())
        self.readings = [
            row | ({"state": "held"} if row["reading_id"] in suspects and row["state"] == "used" else {})
            for row in self.store.readings(known_on=known).to_pylist()
        ]

    @cached_property
    def counted(self) -> dict[str, str]:
        return {
            "walls": several(len(self.walls), "wall"),
            "houses": several(len({row["house"] for row in self.walls}), "house"),
        }

    def every(self, file: str) -> Row:
        rows = self.store.office.rows("pages", page=file)
        return {
            "number": max(rows, key=lambda row: row["known_at"])["report_number"],
            "settings": self.judged.settings_sha256[:12],
            "facts": self.judged.facts_sha256[:12],
            "version": __version__,
            "company": COMPANY["name"],
        }

    def of_wall(self, place: Row) -> Row:
        """Values of a wall's pages; None where the wall has none."""
        key, unit = (place["house"], place["wall"]), place["unit"] or "in"
        row = self.newest[key]
        readings = [item for item in self.readings if (item["house"], item["wall"]) == key]
        states = Counter(item["state"] for item in readings)
        days = sorted({item["visit_date"] for item in readings if item["state"] == "used"})
        work = sorted(
            item["event_date"]
            for item in self.events
            if (item["house"], item["wall"], item["kind"]) == (*key, "reinforcement")
        )
        told = row["tellable"]
        swings = (row["season_mm"] or 0) >= SWING_MM and row["rate_lower"] is not None and row["rate_lower"] <= 0
        return {
            "company": COMPANY["name"],
            "contact": COMPANY["contact"],
            "last": day(row["last_visit"]),
            "visits": several(len(days), "visit"),
            "first": day(days[0]),
            "work": ", ".join(map(day, work)) or None,
            "upper": rate(row["rate_upper"], unit) if row["verdict"] == "holding" and not swings else None,
            "total": length(row["total_mm"], unit) if (row["total_mm"] or 0) > 0 else None,
            "judged": day(self.judged.judged_on),
            "verdict": row["verdict"],
            "reason": " ".join(row["reason"].split()),
            "rate": number(row["rate_mm_per_year"], unit) if told else None,
            "lower": number(row["rate_lower"], unit) if told else None,
            "high": number(row["rate_upper"], unit) if told else None,
            "unit": UNIT[unit],
            "readings": str(len(readings)),
            "settings": self.judged.settings_sha256,
        } | {state: str(states[state]) for state in ("used", "held", "rejected")}

    def photos_of(self, place: Row) -> list[Row]:
        """Of every photo of the wall what stands of it; released: its day, None where nobody released it there."""
        key, known = (place["house"], place["wall"]), self.judged.known_until
        rows, rulings = (
            [
                row
                for row in self.store.office.rows(table)
                if (row["house"], row["wall"]) == key and row["known_at"] <= known
            ]
            for table in ("photos", "photo_rulings")
        )
        acts = {row["photo_id"]: row["act"] for row in sorted(rulings, key=lambda row: row["known_at"])}
        return [
            {
                "photo": row["photo_id"][:8], "visit": row["visit_date"], "mark": row["mark"] or "–",
                "file": row["file_name"], "tied": len(row["reading_ids"].split()),
                "shown": "released" if acts.get(row["photo_id"]) == "release" else "not released",
                "released": day(row["visit_date"]) if acts.get(row["photo_id"]) == "release" else None,
            }
            for row in {row["photo_id"]: row for row in rows}.values()
        ]  # fmt: skip

    def expected(self, kind: str, field: str) -> Iterator[Row]:
        """Values of a company page's field: one row, or one per wall."""
        newest = self.newest.values()
        if (kind, field) == ("index", "verdict and next visit of a wall"):
            for place in self.walls:
                key = (place["house"], place["wall"])
                following = self.plan.get(key, {}).get("visit_on") or self.newest[key]["due_on"]
                yield {
                    "key": "-".join(key), "house": self.houses[key[0]]["nickname"], "nickname": place["nickname"],
                    "verdict": self.newest[key]["verdict"], "next": following,
                }  # fmt: skip
        elif kind == "visit-plan":
            yield from ({"key": "-".join(key), "day": row["visit_on"]} for key, row in self.plan.items())
        elif kind == "index":
            yield self.counted
        elif kind == "monthly-list":
            moving = several(self.verdicts["moving"], "wall")
            yield {"moving": moving, "unread": str(len(self.walls) - len(self.newest))}
        elif kind == "overview":
            yield {
                "walls": len(self.walls), "houses": len(self.houses), "moving": self.verdicts["moving"],
                "again": self.verdicts["look again"], "early": self.verdicts["too early"],
                "holding": self.verdicts["holding"], "overdue": sum((row["overdue_days"] or 0) > 0 for row in newest),
            }  # fmt: skip
        elif kind == "repeatability":
            row = max(self.store.facts("variances").to_pylist(), key=lambda row: row["known_at"])
            reading = json.loads(row["values"])["methods"]["string"]["reading_mm"]
            said = {"string": f"{reading:.2f} mm", "readings": row["readings"], "walls": row["walls"]}
            yield {"day": row["estimated_on"], **said}


@pytest.fixture(scope="module")
def facts(demo: Done) -> Demo:
    return Demo(demo)


@pytest.fixture(scope="module")
def texts(demo: Done) -> Mapping[str, str]:
    """The words of every page published, by file name."""
    return {path.name: Page(path.read_bytes()).text for path in sorted(demo.index.parent.glob("*.html"))}


def missing(text: str, reads: str, values: Sequence[Row]) -> list[str]:
    """What should be read, its first letter large or small, and is not; a field without a value stands for nothing."""
    names = re.findall(r"{(\w+)}", reads)
    wanted = [reads.format(**row) for row in values if all(row[name] is not None for name in names)]
    return [words for words in wanted if words not in text and words[:1].upper() + words[1:] not in text]


def test_every_kind_of_page_is_documented(texts: Mapping[str, str]) -> None:
    assert {name.split("_")[0].removesuffix(".html") for name in texts} == FIELDS.keys() - {"every page"}


def test_every_page_bears_its_number_its_hashes_and_who_wrote_it(texts: Mapping[str, str], facts: Demo) -> None:
    for file, text in texts.items():
        fields = {
            name: reads for name, reads in FIELDS["every page"].items() if ".es." not in file or name == "report number"
        }
        told = [missing(text, reads, [facts.every(file)]) for reads in fields.values()]
        assert [words for row in told for words in row] == [], file


@pytest.mark.parametrize(
    ("kind", "field"),
    [(kind, field) for kind in ("homeowner", "history", "wall", "engineer") for field in FIELDS[kind]],
)
def test_a_field_of_a_walls_page_is_what_the_tables_give(
    texts: Mapping[str, str], facts: Demo, kind: str, field: str
) -> None:
    reads, known = FIELDS[kind][field], 0
    for place in facts.walls:
        values = facts.photos_of(place) if "photo" in field else [facts.of_wall(place)]
        names = re.findall(r"{(\w+)}", reads)
        known += sum(all(row[name] is not None for name in names) for row in values)
        file = f"{kind}_{place['house']}_{place['wall']}.html"
        assert missing(texts[file], reads, values) == [], file
    assert known, "no wall of the demo has this field"


@pytest.mark.parametrize(
    ("kind", "field"),
    [
        (kind, field)
        for kind in ("index", "monthly-list", "visit-plan", "overview", "repeatability")
        for field in FIELDS[kind]
    ],
)
def test_a_field_of_a_page_of_the_company_is_what_the_tables_give(
    texts: Mapping[str, str], facts: Demo, kind: str, field: str
) -> None:
    values = list(facts.expected(kind, field))
    assert values
    assert missing(texts[f"{kind}.html"], FIELDS[kind][field], values) == []
