"""Which stored assessments are earlier lists, how far back they are read, and that a list without news keeps still."""

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from results_saved import saved

from monitor import schema
from monitor import store as stores
from monitor.pipeline import listing
from monitor.pipeline.past_lists import last_list, past_lists
from monitor.pipeline.publishing import publish
from monitor.report import names
from monitor.results import Assessment
from monitor.store import Store

BASE: dict[str, Any] = {
    "house": "DH-01", "period": 0, "is_current": True, "visits": 5, "visits_all": 5, "readings_held": 0,
    "last_visit": date(2025, 10, 10), "rate_mm_per_year": 5.0, "rate_lower": 4.1, "rate_upper": 5.9,
    "verdict": "moving", "reason": "Moves.", "overdue_days": 0,
}  # fmt: skip


def table(name: str, rows: list[dict[str, Any]]) -> pa.Table:
    fields = schema.find(name)
    blank = {field.name: "" if field.type == pa.string() else None for field in fields}
    return pa.Table.from_pylist([blank | row for row in rows], schema=fields)


def end_of(day: date) -> datetime:
    return datetime.combine(day, time(23), tzinfo=UTC)


def judged(day: date, *walls: str, known: datetime | None = None, **verdicts: str) -> Assessment:
    """An assessment on which those walls are moving, and others as said."""
    rows = [BASE | {"wall": wall} for wall in walls]
    rows += [BASE | {"wall": wall, "verdict": verdict} for wall, verdict in verdicts.items()]
    return Assessment(
        judged_on=day,
        known_until=known or end_of(day),
        settings_sha256="5" * 64,
        facts_sha256="f" * 64,
        wall_results=table("wall_results", rows),
    )


@pytest.fixture
def store_of(tmp_path: Path) -> Callable[..., Store]:
    def made(*assessments: Assessment) -> Store:
        store = stores.create(
            tmp_path / "store", company={"name": "the demo firm"}, created_at=datetime(2025, 1, 1, tzinfo=UTC)
        )
        for each in assessments:
            saved(store, each)
        return store

    return made


JANUARY, FEBRUARY, MARCH, APRIL = (date(2026, month, day) for month, day in ((1, 31), (2, 28), (3, 31), (4, 30)))


def test_lists_are_read_back_to_the_first_without_any_wall_of_this_one(store_of: Callable[..., Store]) -> None:
    now = judged(APRIL, "N", "E")
    store = store_of(judged(date(2025, 12, 31), "N"), judged(JANUARY, "W"), judged(FEBRUARY, "N", "W"),
                     judged(MARCH, "N", E="look again"), now)  # fmt: skip
    found = past_lists(store, now)
    assert [(past.judged_on, dict(past.places)) for past in found] == [
        (MARCH, {("DH-01", "N"): "moving", ("DH-01", "E"): "again"}),
        (FEBRUARY, {("DH-01", "N"): "moving"}),
        (JANUARY, {}),
    ]


def test_the_last_list_is_that_of_an_earlier_month_even_where_this_month_had_lists_before(
    store_of: Callable[..., Store],
) -> None:
    now = judged(APRIL, "N")
    store = store_of(judged(MARCH, "N"), judged(date(2026, 4, 13), "N"), now)
    last = last_list(store, now)
    assert last is not None
    assert last.judged_on == MARCH
    assert [past.judged_on for past in past_lists(store, now)] == [date(2026, 4, 13), MARCH]


def test_in_its_first_month_a_list_is_compared_with_the_one_before(store_of: Callable[..., Store]) -> None:
    now = judged(APRIL, "N")
    store = store_of(judged(date(2026, 4, 13), "N"), now)
    last = last_list(store, now)
    assert last is not None
    assert last.judged_on == date(2026, 4, 13)
    assert last_list(store, last) is None


def test_an_earlier_day_judged_again_with_later_knowledge_is_no_earlier_list(store_of: Callable[..., Store]) -> None:
    now = judged(APRIL, "N")
    store = store_of(judged(MARCH, "N", known=end_of(date(2026, 5, 5))), judged(FEBRUARY, "N"), now)
    last = last_list(store, now)
    assert last is not None
    assert last.judged_on == FEBRUARY
    assert [past.judged_on for past in past_lists(store, now)] == [FEBRUARY]


def test_a_list_read_in_part_is_like_the_whole_but_for_the_tables_left_out(store_of: Callable[..., Store]) -> None:
    now = judged(APRIL, "N")
    now = replace(now, plan=table("plan", [{"house": "DH-01", "wall": "N", "rank": 1}]))
    store = store_of(now)
    part = store.assessment(APRIL, tables=("wall_results", "findings"))
    assert part is not None
    assert part.wall_results == now.wall_results
    assert (part.plan.num_rows, store.assessment(APRIL).plan.num_rows) == (0, 1)  # type: ignore[union-attr]


def test_the_terminal_the_csv_file_and_the_page_tell_the_same_rows(
    store_of: Callable[..., Store], tmp_path: Path
) -> None:
    now = judged(APRIL, "N", E="look again")
    store = store_of(judged(MARCH, "N", "S"), now)
    publish(store, now, tmp_path / "pages", published_at=end_of(APRIL))
    text = (tmp_path / "pages" / names.MONTHLY_CSV).read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    shown = listing.monthly(store, now)
    told = [dict(zip(shown.headers, row, strict=True)) for row in shown.rows]
    assert told == [row for row in rows if row["list"] != "closed"]
    assert {row["wall"]: row["state"] for row in rows} == {
        "DH-01-N": "still open", "DH-01-E": "new", "DH-01-S": "closed"
    }  # fmt: skip
    assert shown.closing.endswith("Since the list of 2026-03-31: 1 new, 1 still open, 1 closed.")
    assert (tmp_path / "pages" / names.MONTHLY_XLSX).exists()


def test_the_files_keep_their_bytes_where_more_days_bring_nothing_new(
    store_of: Callable[..., Store], tmp_path: Path
) -> None:
    store = store_of(judged(MARCH, "N"))
    made = []
    for number, known in enumerate((end_of(APRIL), end_of(date(2026, 5, 9)))):
        now = judged(APRIL, "N", known=known)
        saved(store, now)
        publish(store, now, tmp_path / str(number), published_at=known)
        made.append((tmp_path / str(number) / names.MONTHLY_CSV).read_bytes())
    assert made[0] == made[1]
