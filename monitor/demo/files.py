"""Writes the raw files of the demo: `write(folder)` makes data/demo again, byte for byte."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from monitor.demo import decisions, photos, readme, register, rulings, truth
from monitor.demo.faults import plant
from monitor.demo.scenario import STORIES
from monitor.demo.tables import Cell, csv_bytes, workbook_bytes
from monitor.demo.walls import simulate_story, visits_of
from monitor.simulate import Row
from monitor.terms import LengthUnit

Files = dict[str, bytes]

_SHORT = {"1/2": "½", "1/4": "¼", "3/4": "¾", "1/8": "⅛", "3/8": "⅜", "5/8": "⅝", "7/8": "⅞"}
_START = date(2023, 4, 3)
_TWICE = (date(2024, 10, 14), "T1")


def write(folder: Path) -> list[Path]:
    """Write all files of the demo below a folder; returns their paths in order."""
    paths = []
    for name, content in make().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        paths.append(path)
    return paths


def make() -> Files:
    """All files of the demo by their name below its folder."""
    files, sent = _register_files()
    visits, sent_visits = _visit_files()
    sent = sorted(sent + sent_visits, key=lambda row: str(row["sent at"]))
    return (
        files
        | visits
        | {
            "sent.csv": csv_bytes(sent),
            "rulings.csv": csv_bytes(rulings.table()),
            "decisions.csv": csv_bytes(decisions.table()),
            "photos.csv": csv_bytes(photos.table()),
            **{f"photos/{name}": data for name, data in photos.make().items()},
            "truth.csv": csv_bytes(truth.walls()),
            "truth_marks.csv": csv_bytes(truth.marks()),
            "README.md": readme.text().encode(),
        }
    )


def _register_files() -> tuple[Files, list[dict[str, Cell]]]:
    """The clerk's files, numbered in the order in which one needs the other."""
    files = {
        "register/1_houses.csv": csv_bytes(register.houses()),
        "register/2_people.csv": csv_bytes(register.people()),
        "register/3_instruments.csv": csv_bytes(register.instruments()),
        "register/4_thresholds.csv": csv_bytes(register.thresholds()),
        "register/5_walls_and_marks.xlsx": workbook_bytes({"walls": register.walls(), "marks": register.marks()}),
    }
    sent = [_sent(name, _START, time(15, i), register.CLERK, "register") for i, name in enumerate(files)]
    later = (("6_marks", register.later_marks()), ("7_events", register.events()))
    for minute, (kind, by_day) in enumerate(later):
        for day, rows in by_day.items():
            name = f"register/{kind}_{day.isoformat()}.csv"
            files[name] = csv_bytes(rows)
            sent.append(_sent(name, day, time(18, minute), register.CLERK, "register"))
    return files, sent


def _visit_files() -> tuple[Files, list[dict[str, Cell]]]:
    """One file a technician and day, sent that evening; one of them sent again the next morning."""
    by_file: dict[tuple[date, str], list[Row]] = {}
    clean = {story.name: simulate_story(story).rows for story in STORIES}
    planted = photos.with_names(plant(clean))
    for story in STORIES:
        lead = {visit.day.isoformat(): visit.technician for visit in visits_of(story)}
        for before, row in zip(clean[story.name], planted[story.name], strict=True):
            key = (date.fromisoformat(before.visit_date), lead[before.visit_date])
            by_file.setdefault(key, []).append(row)
    files: Files = {}
    sent: list[dict[str, Cell]] = []
    for (day, technician), rows in sorted(by_file.items()):
        name = f"visits/{day.isoformat()}_{technician}.{_suffix(technician, day)}"
        files[name] = _encode(technician, day, rows)
        sent.append(_sent(name, day, time(20, 30 + int(technician[-1])), technician, "readings"))
    day, technician = _TWICE
    again = f"visits/{day.isoformat()}_{technician}.csv"
    sent.append(_sent(again, day + timedelta(days=1), time(7, 5), technician, "readings"))
    return files, sent


def _sent(name: str, day: date, at: time, sender: str, kind: str) -> dict[str, Cell]:
    moment = datetime.combine(day, at, tzinfo=UTC)
    return {"file": name, "sent at": moment.strftime("%Y-%m-%dT%H:%M:%SZ"), "sender": sender, "kind": kind}


def _suffix(technician: str, day: date) -> str:
    return "xlsx" if technician == "T2" and day.year >= 2025 else "csv"


def _encode(technician: str, day: date, rows: Sequence[Row]) -> bytes:
    """Each technician has his habits: see the folder's README."""
    table = [_typed(technician, row) for row in rows]
    if _suffix(technician, day) == "xlsx":
        return workbook_bytes({"readings": [_as_cells(row) for row in table]})
    if technician == "T3":
        return csv_bytes(table, title=f"visit sheet of {technician}")
    if technician == "T4":
        named = [{name.capitalize(): cell for name, cell in row.items()} for row in table]
        return csv_bytes(named, delimiter=";", bom=True)
    return csv_bytes(table)


_HEADERS = {
    "visit_date": "visit date",
    "setup": "set-up",
    "standoff": "stand-off",
    "not_read": "could not read",
    "crack_width": "crack width",
}


def _typed(technician: str, row: Row) -> dict[str, Cell]:
    cells: dict[str, Cell] = {_HEADERS.get(name, name): value for name, value in asdict(row).items()}
    if row.unit == LengthUnit.INCH:
        cells["value"] = _style(technician, row.value)
    return cells


def _style(technician: str, value: str) -> str:
    """Fractions in the technician's own hand; what is no plain fraction stays as it is."""
    whole, _, part = value.rpartition(" ")
    if technician == "T2" and whole and "/" in part:
        return f'{whole}-{part}"'
    if technician == "T4" and part in _SHORT:
        return f"{whole} {_SHORT[part]}".strip()
    return value


def _as_cells(row: dict[str, Cell]) -> dict[str, Cell]:
    """Cells of a workbook: a real date, numbers where numbers were typed."""
    cells = {name: int(cell) if isinstance(cell, str) and cell.isdecimal() else cell for name, cell in row.items()}
    return cells | {"visit date": date.fromisoformat(str(row["visit date"]))}
