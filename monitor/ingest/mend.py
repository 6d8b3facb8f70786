"""The mend sheet: only the failing rows, as received, with what is wrong and the mend, to be put right and sent again.

A cell that a spreadsheet would run as a formula (= + - @), or turn into something else for good (3/16 into a date, a
long id into a rounded number), gets an apostrophe before it; the reader takes it off again. A date stays as it is.
"""

import csv
import io
import re
from collections.abc import Sequence

from monitor.records import dataclass

WRONG, MEND, MENDS = "what is wrong", "mend", "mends"
_ADDED = (WRONG, MEND, MENDS)
_RISKY = re.compile(
    r"[=+\-@\t\r].*|\d{1,3}\s*[-/]\s*\d{1,2}|\d{1,2}\s*[-/.]\s*\d{1,2}\s*[-/.]\s*\d{2,4}|\d{12,}|\d+[eE]\d+",
    re.S,
)


@dataclass(frozen=True)
class Failing:
    """One failing row: the titles over it, its cells as received, and what to write beside them."""

    titles: Sequence[str]
    cells: Sequence[str]
    wrong: str
    mend: str
    mends: str = ""


def mend_sheet(rows: Sequence[Failing]) -> bytes | None:
    """CSV in UTF-8 with a byte order mark, so that spreadsheets open it; None where no row fails."""
    if not rows:
        return None
    titles = list(dict.fromkeys(title for row in rows for title in row.titles if title and title not in _ADDED))
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([*map(guarded, titles), *_ADDED])
    for row in rows:
        cells = dict(
            reversed(list(zip(row.titles, row.cells, strict=False)))
        )  # of two with one title the first is read
        said = [cells.get(title, "") for title in titles]
        writer.writerow([*map(guarded, said), guarded(row.wrong), guarded(row.mend), guarded(row.mends)])
    return out.getvalue().encode("utf-8-sig")


def guarded(text: str) -> str:
    """Text with an apostrophe before it where a spreadsheet would read it as something else."""
    return f"'{text}" if _RISKY.fullmatch(text) else text
