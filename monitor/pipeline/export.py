"""Everything the store holds as CSV files with a data dictionary, so that the records outlive this program."""

import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pa_csv

from monitor import __version__, schema, terms
from monitor.errors import ReportError
from monitor.pipeline import damaged, keys
from monitor.report.spreadsheets import harmless_table
from monitor.store import Store

_CLOSED_SET = re.compile(r"terms\.(\w+)")
"""How a meaning names a closed set of words."""
_KEPT = ("photos", "photo_rulings", "runs", "settings_kept", "editions", "news", "pages", "alerts", "alerts_over",
         "alert_looks", "alert_sendings", "alert_texts", "alert_deliveries", "alert_acknowledgements", "erasures",
         "legal_holds")  # fmt: skip
"""Office records that are only added to; who may sign in, and what was asked of the service, stays in the store."""


def export(store: Store, to: Path, *, known_on: datetime) -> list[Path]:
    """Write one CSV per table and `dictionary.csv` and `README.txt`; returns the files in order.

    README.txt names what of the store is damaged and left out.

    People are written too: the caller says to whom the folder may go. Text cells that a spreadsheet would run as a
    formula get an apostrophe in front (README.txt says so). Raises ReportError where a file cannot be written.
    """
    tables = _tables(store, known_on)
    try:
        return _written(tables, to, damaged.sentences(store, keys.of(tables["walls"])))
    except OSError as error:
        raise ReportError(
            "The export could not be written.",
            got=f"{error.filename or to}: {error.strerror or error}",
            expected="a folder, new or there already, that may be written to",
            mend="Choose another folder with --to, or make room there.",
        ) from error


def _tables(store: Store, known_on: datetime) -> dict[str, pa.Table]:
    """Facts, office records, and the newest assessment known then, by name."""
    tables = {name: store.facts(name, known_on=known_on) for name in schema.FACTS}
    tables["readings_effective"] = store.readings(known_on=known_on)
    tables["people"] = store.office.people()
    tables["decisions"] = store.office.decisions(known_on=known_on)
    tables |= {name: _office(store, name, known_on) for name in _KEPT}
    made = [found for day in reversed(store.assessments()) if (found := store.assessment(day))]
    if assessment := next((found for found in made if found.known_until <= known_on), None):
        tables |= {name: getattr(assessment, name) for name in schema.RESULTS}
    return tables


def _office(store: Store, name: str, known_on: datetime) -> pa.Table:
    rows = [row for row in store.office.rows(name) if row["known_at"] <= known_on]
    return pa.Table.from_pylist(rows, schema=schema.find(name))


def _written(tables: schema.Tables, to: Path, lacks: Sequence[str]) -> list[Path]:
    to.mkdir(parents=True, exist_ok=True)
    written = []
    for name, rows in tables.items():
        path = to / f"{name}.csv"
        path.write_bytes(csv_bytes(rows))
        written.append(path)
    (to / "dictionary.csv").write_bytes(csv_bytes(dictionary(tables)))
    (to / "README.txt").write_text(_readme(tables, lacks), encoding="utf-8")
    return [*written, to / "dictionary.csv", to / "README.txt"]


def _readme(tables: schema.Tables, lacks: Sequence[str]) -> str:
    """What the folder holds, and of every table without rows why it may have none."""
    empty = [name for name, rows in tables.items() if not rows.num_rows]
    absent = [name for name in schema.RESULTS if name not in tables]
    lines = [f"{name}.csv has no rows: {_WHY_EMPTY.get(name, 'nothing of that kind is known.')}" for name in empty]
    if absent:
        lines.append(f"No assessment had been made by then, so there are no results ({', '.join(absent)}).")
    lines += lacks
    return _README.format(version=__version__) + "".join(f"{line}\n" for line in lines)


def dictionary(tables: schema.Tables) -> pa.Table:
    """The data dictionary of those tables: table, column, type, unit, meaning, and the words of a closed set."""
    rows = [
        {
            "table": name,
            "column": field.name,
            "type": str(field.type),
            "unit": schema.meaning(field)[0],
            "meaning": _meaning(schema.meaning(field)[1]),
            "words": _words(schema.meaning(field)[1]),
        }
        for name, table in tables.items()
        for field in table.schema
    ]
    return pa.Table.from_pylist(rows)


def _words(meaning: str) -> str:
    """Every word that a column may hold, where that is a closed set: who reads the files has no other list of them."""
    found = _CLOSED_SET.search(meaning)
    return "; ".join(filter(None, getattr(terms, found[1]))) if found else ""


def _meaning(text: str) -> str:
    """A meaning without the names that closed sets have in the program."""
    text = re.sub(rf" \({_CLOSED_SET.pattern}\)", "", text)
    text = re.sub(rf"\b(words?) of {_CLOSED_SET.pattern}", r"\1 of those listed", text)
    return _CLOSED_SET.sub("a word of those listed", text)


def csv_bytes(rows: pa.Table) -> bytes:
    """A table as CSV, UTF-8, header in the first row; no text cell of it runs as a formula in a spreadsheet."""
    buffer = pa.BufferOutputStream()
    pa_csv.write_csv(harmless_table(rows), buffer)
    return bytes(buffer.getvalue().to_pybytes())


_WHY_EMPTY = {
    "rulings": "nobody released, rejected, corrected or withdrew a reading.",
    "thresholds": "no thresholds were registered; the defaults hold.",
    "variances": "the company's own repeatability was not estimated; the instruments' defaults hold.",
    "people": "nobody was registered.",
    "decisions": "nothing was decided about a wall.",
    "photos": "nobody gave a photo.",
    "photo_rulings": "no photo was released for a homeowner, or withheld.",
    "erasures": "no person was erased.",
    "legal_holds": "no dispute ever kept people from being erased.",
    "runs": "no assessment was put on record.",
    "settings_kept": "no assessment was put on record.",
    "editions": "no pages were published.",
    "news": "no pages were published that tell bad news.",
    "pages": "no pages were published.",
    "alerts": "nothing happened that people are alerted to.",
    "alerts_over": "no alert is over.",
    "alert_looks": "nobody looked for alerts yet.",
    "alert_sendings": "nobody was to be told of an alert.",
    "alert_texts": "nobody was to be told of an alert.",
    "alert_deliveries": "nobody was told of an alert.",
    "alert_acknowledgements": "nobody acknowledged an alert.",
    "suspects": "the assessment took no used reading for a misread.",
    "repairs": "no wall has enough visits on both sides of a reinforcement to tell what it did.",
    "plan": "the assessment planned no visit.",
    "findings": "no rule was judged on any wall.",
}
"""Why a table may have no rows; of any other: nothing of that kind is known."""

_README = """Records of wall movement, written by wallbow {version}.

One CSV file per table, UTF-8, header in the first row. dictionary.csv gives type, unit and meaning of every column,
and the words of one that holds only certain words.
Lengths are millimetres, rates mm per year, inward (into the room) positive, times UTC.
readings.csv holds every row ever received; readings_effective.csv the same with rulings applied (released, rejected,
corrected). receipts.csv has a row for each time a file or one of its tables was received; its received is the sum of
used, held, rejected and could_not_read, and what was in already counts as rejected, so the receipts of a file sent
twice add up to more than readings.csv holds. A text cell that begins with = + - @ has an apostrophe in front so that no
spreadsheet runs it.
runs.csv has a row for every assessment, settings_kept.csv what it was made with; editions.csv a row for every set of
pages published, news.csv the bad news in it and whether the homeowner was told, pages.csv each page with the SHA-256 of
its bytes. photos.csv lists photos; the files themselves are in the store's folder photos, under the SHA-256 that it
gives.
alerts.csv has a row for every alert; alert_sendings.csv who was to be told of which, alert_texts.csv that word for
word, alert_deliveries.csv what came of it and when, alert_acknowledgements.csv who acknowledged it.
These are measurements of how far marks on walls have moved. They are not a structural assessment; only a licensed
engineer who has seen a wall can judge it.
"""
