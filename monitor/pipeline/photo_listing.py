"""What is said of photos in a terminal: which there are, which nobody has given, and what became of files."""

from collections.abc import Sequence

from monitor.pipeline import keys, photos
from monitor.pipeline.listed import Listing
from monitor.pipeline.photo_intake import Fate, Taken
from monitor.report.context import Key, Row
from monitor.report.wording import count_text
from monitor.store import Store

HEADERS = ("photo", "wall", "visit", "mark", "readings", "file", "for the homeowner", "by", "why", "note")
_WIDE = 7
_SAY_WHERE = " Say what it shows with --house, --wall and --visit (and --mark)."


def listed(store: Store, key: Key | None = None) -> Listing:
    """Every photo, of one wall or of all; below it the names that readings give and nobody has given a file for."""
    rows = photos.standing(store)
    lost = photos.unfound(photos.naming(store.readings()), rows)
    rows = [row for row in rows if key in (None, (row["house"], row["wall"]))]
    cells = [_cells(row) for row in rows]
    missing = [row for place in sorted(lost) if key in (None, place) for row in lost[place]]
    return Listing(
        f"{len(rows)} {'photo' if len(rows) == 1 else 'photos'}",
        HEADERS,
        cells,
        closing="\n".join(unfound(missing)),
        wide=(HEADERS[:_WIDE], [row[:_WIDE] for row in cells]),
    )


def unfound(rows: Sequence[Row]) -> list[str]:
    """Names of photos that nobody has given, one line for each wall, visit and name."""
    lines = dict.fromkeys(
        f"  {row['photo']}, named by {keys.written(row['house'], row['wall'])} on {row['visit_date'] or 'no date'}"
        for row in rows
    )
    return [f"Named by a reading, and no file given: {len(lines)}", *lines] if lines else []


def of_taken(taken: Taken) -> tuple[str, list[str]]:
    """What became of the files: a line of counts, and a line for each that was not tied, then names without a file."""
    counts = ", ".join(f"{taken.count(fate)} {fate}" for fate in Fate if taken.count(fate))
    lines = [
        f"{each.file}: {each.fate}. {each.why}{_SAY_WHERE if each.fate is Fate.HELD else ''}"
        for each in taken.outcomes
        if each.fate is not Fate.KNOWN
    ]
    files = count_text(len(taken.outcomes), "file")
    return f"{files}: {counts or 'nothing to tie'}.", [*lines, *unfound(taken.unfound)]


def _cells(row: Row) -> list[str]:
    ruling = row["ruling"] or {"who": "", "why": "", "act": ""}
    said = {"": "not released", "release": "released", "withhold": "withheld"}[ruling["act"]]
    return [
        row["photo_id"][:8],
        keys.written(row["house"], row["wall"]),
        str(row["visit_date"]),
        row["mark"],
        str(len(row["reading_ids"].split())),
        row["file_name"],
        said,
        ruling["who"],
        ruling["why"],
        row["note"],
    ]
