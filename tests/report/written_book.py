"""Books written by hand: one wall for every state that a page must be able to show. No fit is run here."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pyarrow as pa

from monitor import schema
from monitor.config import Rules
from monitor.report.context import Book
from monitor.results import Assessment

TODAY = date(2026, 4, 30)
KNOWN = datetime(2026, 4, 30, 17, 0, tzinfo=UTC)
HOSTILE = "<script>alert(1)</script> \"quoted\" & =cmd|' /C calc'!A0"
HOUSE = "DH-20"

Rows = dict[str, list[dict[str, Any]]]


def table(name: str, rows: list[dict[str, Any]]) -> pa.Table:
    """Rows to a table of the schema of that name; text left out is '', all else null. A wrong column is an error."""
    fields = schema.find(name)
    unknown = {key for row in rows for key in row} - set(fields.names)
    assert not unknown, f"{name} has no columns {unknown}"
    blank = {field.name: "" if field.type == pa.string() else None for field in fields}
    return pa.Table.from_pylist([blank | row for row in rows], schema=fields)


def _result(wall: str, **changes: Any) -> dict[str, Any]:
    """A wall that holds: 7 visits over three years, 0.4 mm/yr (-0.3 to 1.1)."""
    row: dict[str, Any] = {
        "house": HOUSE,
        "wall": wall,
        "period": 0,
        "is_current": True,
        "started_on": date(2023, 4, 10),
        "method": "string",
        "visits": 7,
        "visits_all": 7,
        "readings_used": 35,
        "readings_held": 0,
        "first_visit": date(2023, 4, 10),
        "last_visit": date(2026, 4, 10),
        "span_years": 3.0,
        "threshold_mm_per_year": 3.175,
        "governing_mark": "M3",
        "rate_mm_per_year": 0.4,
        "rate_lower": -0.3,
        "rate_upper": 1.1,
        "relative_to": "the two ends",
        "bow_mm_per_year": 0.4,
        "bow_lower": -0.3,
        "bow_upper": 1.1,
        "largest_movement": "bow",
        "season_mm": 0.6,
        "scale": 1.0,
        "dof": 40.0,
        "log_evidence": -6.0,
        "exceed_chance": 0.0001,
        "total_mm": 28.0,
        "total_mark": "M3",
        "total_limit_mm": 50.8,
        "due_on": date(2026, 10, 10),
        "overdue_days": 0,
        "verdict": "holding",
        "reason": "The upper bound 1.1 mm/yr is below the threshold 3.2 mm/yr, over 7 visits in 36 months.",
        "not_measured": "tip slide",
    }
    return row | changes


MOVING: dict[str, Any] = {
    "rate_mm_per_year": 5.0,
    "rate_lower": 4.1,
    "rate_upper": 5.9,
    "bow_mm_per_year": 5.0,
    "bow_lower": 4.1,
    "bow_upper": 5.9,
    "verdict": "moving",
    "exceed_chance": 0.998,
    "log_evidence": 9.0,
    "onset": date(2024, 4, 10),
    "not_settled": "bow",
    "reason": "Mark M3 moves in at 5.0 mm/yr (4.1 to 5.9), above the threshold 3.2 mm/yr.",
}


def _finding(wall: str, rule: str, urgency: str, reason: str, **changes: Any) -> dict[str, Any]:
    row = {
        "house": HOUSE,
        "wall": wall,
        "period": 0,
        "rule": rule,
        "outcome": "yes",
        "urgency": urgency,
        "reason": reason,
    }
    return row | {"next_step": "Somebody decides."} | changes


def _reading(wall: str, day: date, mark: str, deflection: float, **changes: Any) -> dict[str, Any]:
    row: dict[str, Any] = {
        "reading_id": f"{wall}{day:%Y%m%d}{mark}{changes.get('setup', 1)}",
        "house": HOUSE,
        "wall": wall,
        "visit_date": day,
        "technician": "T1",
        "method": "string",
        "instrument": "B3",
        "setup": 1,
        "mark": mark,
        "kind": "gap",
        "unit": "in",
        "value_raw": "1 13/16",
        "standoff_raw": "3",
        "standoff_mm": 76.2,
        "value_mm": 76.2 - deflection,
        "deflection_mm": deflection,
        "step_mm": 1.5875,
        "error_factor": 1.0,
        "state": "used",
        "known_at": KNOWN,
        "source_name": "visit.csv",
        "source_cell": "F12",
    }
    return row | changes


def _wall(wall: str, rate: float, band: float, visits: int = 7, **changes: Any) -> Rows:
    """Register, readings and movement of a wall with a row of five marks that bows in at `rate`."""
    days = [date(2023, 4, 10) + timedelta(days=round(182.625 * n)) for n in range(visits)]
    marks = [(f"M{n + 1}", 1500.0 * (n + 1), (0.5, 0.87, 1.0, 0.87, 0.5)[n]) for n in range(5)]
    rows: Rows = {
        "walls": [
            {
                "house": HOUSE,
                "wall": wall,
                "nickname": "north wall",
                "length_mm": 9000.0,
                "clear_height_mm": 2440.0,
                "thickness_mm": 203.0,
                "material": "concrete block",
                "crack_height_mm": 1220.0,
                "backfill_height_mm": 2000.0,
                "left_end": "return",
                "right_end": "return",
                "method": "string",
                "kind": "gap",
                "unit": "in",
                "known_at": KNOWN,
            }
            | changes
        ],
        "marks": [
            {
                "house": HOUSE,
                "wall": wall,
                "mark": mark,
                "x_mm": x,
                "z_mm": 1220.0,
                "on_strap": False,
                "set_on": days[0] if days else None,
                "known_at": KNOWN,
            }
            for mark, x, _ in marks
        ],
        "readings": [],
        "movement": [],
        "mark_results": [],
    }
    for mark, x, share in marks:
        for number, day in enumerate(days):
            trend = rate * share * number / 2
            wobble = (0.5, -0.4, 0.2, -0.6, 0.3, 0.1, -0.2, 0.4)[(number + ord(mark[-1])) % 8]
            rows["readings"].append(_reading(wall, day, mark, 20 * share + trend + wobble))
            rows["movement"].append(
                {
                    "house": HOUSE,
                    "wall": wall,
                    "period": 0,
                    "mark": mark,
                    "stretch": 0,
                    "visit_date": day,
                    "method": "string",
                    "counts": True,
                    "readings": 1,
                    "deflection_mm": trend + wobble,
                    "trend_mm": trend,
                    "band_lower_mm": trend - band,
                    "band_upper_mm": trend + band,
                }
            )
        if days:
            rows["mark_results"].append(
                {
                    "house": HOUSE,
                    "wall": wall,
                    "period": 0,
                    "mark": mark,
                    "x_mm": x,
                    "z_mm": 1220.0,
                    "measured": True,
                    "rate_mm_per_year": rate * share,
                    "rate_lower": rate * share - 0.9,
                    "rate_upper": rate * share + 0.9,
                }
            )
    return rows


def _strapped(rows: Rows, wall: str, rate_after: float) -> Rows:
    """Straps on 10 April 2024; movement after it starts again, the first visit in the take-up window."""
    work = date(2024, 4, 10)
    rows["events"] = [
        {
            "event_id": f"E-{wall}",
            "house": HOUSE,
            "wall": wall,
            "event_date": work,
            "kind": "reinforcement",
            "strap_count": 6,
            "strap_spacing_mm": 1219.2,
            "surface_to_sound": True,
            "cracks_grouted": False,
            "top_anchor": "rim joist",
            "bottom_holes_cleaned": True,
            "bottom_hole_depth_mm": 101.6,
            "cure_minutes": 35.0,
            "turns": 3.5,
            "anchor_gap_mm": 6.0,
            "doubts": "3 1/2 turns: over-tightened?",
            "known_at": KNOWN,
        }
    ]
    for row in rows["movement"]:
        years = (row["visit_date"] - work).days / 365.25
        if years > -0.01:
            wobble = row["deflection_mm"] - row["trend_mm"]
            trend = rate_after * years
            row |= {
                "period": 1,
                "stretch": 1,
                "counts": years > 0.25,
                "trend_mm": trend,
                "deflection_mm": trend + wobble,
                "band_lower_mm": trend - 1.4,
                "band_upper_mm": trend + 1.4,
                "part": "after" if abs(years) < 0.01 else "",
            }
    rows["mark_results"] = [row | {"period": 1, "rate_mm_per_year": rate_after} for row in rows["mark_results"]]
    return rows


def states() -> dict[str, Rows]:
    """Every state by name; the wall's id is made from its place in the list."""
    found: dict[str, Rows] = {}

    def add(
        name: str, rate: float, band: float, result: dict[str, Any] | None, *findings: tuple[str, str, str], **wall: Any
    ) -> Rows:
        key = f"W{len(found) + 1:02d}"
        rows = _wall(key, rate, band, **wall)
        rows["wall_results"] = [_result(key, **result)] if result is not None else []
        rows["findings"] = [_finding(key, *finding) for finding in findings]
        found[name] = rows
        return rows

    add("moving", 5.0, 1.6, MOVING, ("trend", "decision this month", MOVING["reason"]))
    after = MOVING | {
        "period": 1,
        "threshold_mm_per_year": 1.5875,
        "visits": 5,
        "visits_all": 6,
        "started_on": date(2024, 4, 10),
    }
    key = "W02"
    rows = _strapped(
        add("moving after straps", 5.0, 1.6, after, ("trend", "decision this month", MOVING["reason"])), key, 5.0
    )
    rows["wall_results"].insert(0, _result(key, is_current=False, visits=3, visits_all=3, span_years=1.0, **MOVING))
    early = {
        "verdict": "too early",
        "reason": "3 visits so far.",
        "missing": "A fourth visit.",
        "visits": 3,
        "visits_all": 3,
    }
    lean = {
        "rate_mm_per_year": 4.0,
        "rate_lower": 3.3,
        "rate_upper": 5.5,
        "verdict": "look again",
        "reason": "The lower bound is above the threshold.",
    }
    add(
        "look again",
        4.0,
        2.4,
        lean,
        ("trend", "confirming visit", "The lower bound is above the threshold, the evidence is not enough yet."),
    )
    add("holding", 0.2, 1.2, {})
    add("too early", 1.0, 6.0, early | {"rate_lower": -3.0, "rate_upper": 5.0, "span_years": 1.0}, visits=3)
    add(
        "small, not settled",
        1.2,
        3.0,
        {
            "verdict": "too early",
            "reason": "Upper bound not below the threshold.",
            "rate_mm_per_year": 1.2,
            "rate_lower": -1.0,
            "rate_upper": 3.4,
        },
    )
    add(
        "hard limit",
        1.0,
        1.6,
        {"total_mm": 55.0},
        ("total inward deflection", "same-day call", "Total 55.0 mm is over the limit 50.8 mm."),
    )
    add(
        "jump",
        1.0,
        1.6,
        {"jump_mm": 14.0, "jump_p": 0.00001},
        ("jump since the last visit", "keep out, engineer now", "Mark M3 came in 14.0 mm since the last visit."),
    )
    found["moving after straps"]["findings"][0]["period"] = 1
    found["look again"]["findings"][0]["outcome"] = "undecided"  # as a doubt is: it asks for a visit all the same
    rows = add(
        "seen sign", 0.4, 1.2, {}, ("seen by the technician", "same-day call", "The technician saw: lip; new crack.")
    )
    rows["readings"][-1] |= {"seen": "lip; new crack"}
    add(
        "overdue",
        4.0,
        5.0,
        early | {"overdue_days": 420, "last_visit": date(2024, 4, 10), "due_on": date(2024, 10, 10)},
        ("visit overdue", "decision this month", "The visit due on 2024-10-10 is 420 days late."),
        visits=3,
    )
    rows = add(
        "held reading",
        0.4,
        1.2,
        {"readings_held": 1, "verdict": "too early", "reason": "A held reading waits."},
        ("readings held", "confirming visit", "M3 of 2025-04-09 is 15.9 mm off; 3/16 would fit."),
    )
    at = ("M3", date(2025, 4, 9))
    slip = {"state": "held", "reason_code": "slip", "reason": "15.9 mm off; 3/16 would fit.", "value_raw": "13/16"}
    slip |= {"deflection_mm": 36.0, "value_mm": 40.2}
    rows["readings"] = [row | (slip if (row["mark"], row["visit_date"]) == at else {}) for row in rows["readings"]]
    rows["movement"] = [row for row in rows["movement"] if (row["mark"], row["visit_date"]) != at]
    rows = add(
        "covered", 0.4, 1.2, {"last_visit": date(2025, 10, 9), "verdict": "too early", "reason": "Not read."}, visits=6
    )
    rows["readings"] += [
        _reading(
            "W12",
            date(2026, 4, 9),
            f"M{n}",
            0.0,
            value_raw="",
            value_mm=None,
            deflection_mm=None,
            not_read="covered",
            state="could-not-read",
        )
        for n in range(1, 6)
    ]
    nothing = dict.fromkeys(
        f"{part}_{end}" for part in ("rate", "bow") for end in ("mm_per_year", "lower", "upper")
    ) | dict.fromkeys(("season_mm", "total_mm", "exceed_chance"))
    rows = add(
        "nothing measured",
        0.0,
        1.0,
        early
        | nothing
        | {
            "governing_mark": "",
            "largest_movement": "",
            "total_mark": "",
            "not_measured": "bow tip slide",
            "visits": 1,
            "visits_all": 1,
            "span_years": 0.0,
        },
        visits=1,
    )
    rows["mark_results"] = [
        row | {"measured": False, "rate_mm_per_year": None, "rate_lower": None, "rate_upper": None}
        for row in rows["mark_results"]
    ]
    rows["movement"] = [
        row | {"trend_mm": None, "band_lower_mm": None, "band_upper_mm": None} for row in rows["movement"]
    ]
    only_row = dict.fromkeys(("bow_mm_per_year", "bow_lower", "bow_upper")) | {
        "not_measured": "bow tip slide",
        "largest_movement": "",
    }
    add("string only", 0.2, 1.2, only_row)
    add("comes and goes", 0.1, 1.2, {"season_mm": 3.0})
    add("not read yet", 0.0, 0.0, None, visits=0)
    rows = add("corrected", 0.2, 1.2, {})
    rows["readings"] = [
        row | ({"value_raw": "1 3/16"} if row["reading_id"] == "W1720230410M11" else {}) for row in rows["readings"]
    ]
    rows["rulings"] = [
        {
            "ruling_id": "r1",
            "reading_id": "W1720230410M11",
            "act": "correct",
            "value_raw": "1 3/16",
            "unit": "in",
            "value_mm": 30.1625,
            "who": "O1",
            "why": "photo shows 1 3/16",
            "known_at": KNOWN,
        }
    ]
    add("hostile name", 0.2, 1.2, {"reason": HOSTILE}, nickname=HOSTILE, note=HOSTILE, unit="mm")
    return found


def book_of(chosen: dict[str, Rows]) -> Book:
    joined: Rows = {name: [] for name in (*schema.FACTS, *schema.RESULTS)}
    for rows in chosen.values():
        for name, more in rows.items():
            joined[name] += more
    joined["houses"] = [
        {
            "house": HOUSE,
            "nickname": "the corner house",
            "soil": "clay till",
            "climate": "cold winters",
            "known_at": KNOWN,
        }
    ]
    joined["thresholds"] = [
        {
            "valid_from": date(2023, 1, 1),
            "take_up_days": 90,
            "signed_by": "E1",
            "signed_on": date(2023, 1, 5),
            "known_at": KNOWN,
        }
    ]
    decisions = [
        {
            "decision_id": "d1",
            "house": HOUSE,
            "wall": "W01",
            "step": "call engineer",
            "owner": "O2",
            "due": date(2026, 5, 12),
            "who": "O1",
            "why": "third visit in a row",
            "known_at": KNOWN,
        }
    ]
    return Book(
        facts={name: table(name, joined[name]) for name in schema.FACTS},
        decisions=table("decisions", decisions),
        assessment=Assessment(
            judged_on=TODAY,
            known_until=KNOWN,
            settings_sha256="5" * 64,
            facts_sha256="f" * 64,
            **{name: table(name, joined[name]) for name in schema.RESULTS},
        ),
        previous=None,
        company={"name": "The demo firm", "contact": "telephone 555 0100"},
        rules=Rules(),
        code_version="0.0.1",
        received={"W1720230410M11": {"value_raw": "1 13/16", "unit": "in"}},
    )


def build_book() -> Book:
    """The book with every state; also for a second process."""
    return book_of(states())


WALL_OF = {name: f"W{place:02d}" for place, name in enumerate(states(), start=1)}
