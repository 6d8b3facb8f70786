"""Photos of one wall in the contexts of its pages: every one for the office, the released ones for the homeowner."""

from collections.abc import Mapping
from typing import Any

from monitor.report.context import Row, WallView
from monitor.report.language import Language
from monitor.report.names import RELEASED_PHOTOS, photo_name
from monitor.report.places import place_words, spoken

Context = Mapping[str, Any]


def photos(view: WallView) -> list[Context]:
    """Every photo with what it is tied to and whether, by whom and why the homeowner may see it."""
    return [
        {
            **row,
            "address": photo_name(row),
            "alt": f"Photo of {_what(view, row)}, visit of {row['visit_date']}",
            "readings": len(row["reading_ids"].split()),
            "shown": _shown(row["ruling"]),
        }
        for row in view.photos
    ]


def released(view: WallView, words: Language) -> list[Context]:
    """Photos that the homeowner may see, oldest first, in that reader's words."""
    rows = sorted((row for row in view.photos if row["released"]), key=lambda row: row["visit_date"])
    return [
        {
            "address": photo_name(row, RELEASED_PHOTOS),
            "width": row["width"],
            "height": row["height"],
            "says": words.say("photos", "says", day=words.day_text(row["visit_date"]), place=_place(view, row, words)),
        }
        for row in rows
    ]


def _what(view: WallView, row: Row) -> str:
    return f"mark {row['mark']}" if row["mark"] else view.key


def _place(view: WallView, row: Row, words: Language) -> str:
    return place_words(view, row["mark"], words) if row["mark"] else spoken(view, words)


def _shown(ruling: Row | None) -> str:
    if ruling is None:
        return "not released"
    act = {"release": "released", "withhold": "withheld"}[ruling["act"]]
    return f"{act} {ruling['known_at']:%Y-%m-%d} by {ruling['who']}: {ruling['why']}"
