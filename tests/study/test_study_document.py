"""The study's document stands on the file beside it, and that on the study as it is."""

import csv
from pathlib import Path

from monitor.study import grid, table

DOCS = Path(__file__).parents[2] / "docs"


def kept() -> list[dict[str, str]]:
    with (DOCS / "study-full.csv").open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        assert reader.fieldnames == table.columns()
        return list(reader)


def test_the_kept_result_has_every_cell_of_the_full_size_in_its_order() -> None:
    cells = {cell.name: cell for cell in grid.size("full").cells}
    rows = kept()
    assert [row["cell"] for row in rows] == list(cells)
    for row in rows:
        cell = cells[row["cell"]]
        assert (int(row["visits"]), int(row["marks"])) == (cell.visits, cell.marks)
        assert int(row["walls"]) == grid.size("full").company


def test_the_document_tells_every_cell_in_both_tables_with_its_numbers() -> None:
    lines = (DOCS / "study.md").read_text(encoding="utf-8").splitlines()
    for row in kept():
        told = [line for line in lines if line.startswith(f"| {row['cell']} |")]
        assert len(told) == 2, row["cell"]
        bounds, lists = told
        for name in ("mark_lower", "mark_upper", "wall_lower", "wall_upper"):
            assert f"{float(row[name]):.3f} ±" in bounds, (row["cell"], name)
        found = row["delay_months"]
        assert (f"| {float(found):.0f} (" if found != "inf" else "| not in time (") in lists, row["cell"]


def test_a_miss_beyond_its_error_is_explained() -> None:
    explained = (DOCS / "study.md").read_text(encoding="utf-8").split("## The miss")[1].split("## How")[0]
    known = {
        "flat or one-sided shapes": "flat-topped or one-sided",
        "one mark, string: 1 % misreads": "One mark a visit",
    }
    for row in kept():
        if row["misses"]:
            words = [told for part, told in known.items() if part in row["cell"]]
            assert words, f"{row['cell']}: {row['misses']} is not explained"
            assert words[0] in explained
