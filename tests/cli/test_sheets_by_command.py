"""The commands that make sheets: what they write, and what wrong wishes are answered."""

from pathlib import Path

import pytest

from monitor.cli import exits

pytestmark = [pytest.mark.xdist_group("demo"), pytest.mark.usefixtures("demo")]

STORE = ("--store", "reports/demo/store")


def test_a_sheet_is_written_for_the_walls_named_and_says_what_is_on_it(call, tmp_path: Path) -> None:
    done = call(
        "field-sheet", *STORE, "--wall", "DH-01-N", "--wall", "DH-12-S", "--on", "2026-05-04", "--to", str(tmp_path)
    )
    assert done.code == exits.OK
    assert done.out.splitlines() == ["DH-01-N: 14 readings", "DH-12-S: 5 readings, twice (asked for: moving)"]
    assert [path.name for path in tmp_path.iterdir()] == ["field-sheet_2026-05-04_2-walls.html"]


def test_a_route_takes_its_walls_from_the_plan(call, tmp_path: Path) -> None:
    done = call("field-sheet", *STORE, "--route", "--on", "2026-05-04", "--most", "1", "--to", str(tmp_path))
    assert (done.code, done.out.splitlines()[0].split(":")[0]) == (exits.OK, "DH-09-E")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((), 2, "Name walls with --wall, or ask for those due with --route."),
        (("--route", "--wall", "DH-01-N"), 2, "Name walls with --wall"),
        (("--wall", "DH-01"), exits.NOT_FOUND, "a wall of it is asked for. Found: DH-01. Expected: DH-01-N"),
        (("--wall", "DH-01-N", "--on", "4/5/26"), 2, "is no date"),
        (("--wall", "DH-01-N", "--to", "/proc/nowhere"), exits.NOT_POSSIBLE, "Choose another folder"),
    ],
)
def test_wrong_wishes_are_answered_with_the_mend(call, words: tuple[str, ...], code: int, said: str) -> None:
    done = call("field-sheet", *STORE, *words)
    assert done.code == code, done.err
    assert said in " ".join(done.err.replace("│", " ").split())


def test_the_sheet_of_a_day_of_work_is_written_for_one_wall(call, tmp_path: Path) -> None:
    done = call("as-built-sheet", "DH-09-E", *STORE, "--on", "2026-05-04", "--to", str(tmp_path))
    assert (done.code, done.err.startswith("Wrote ")) == (exits.OK, True)
    assert [path.name for path in tmp_path.iterdir()] == ["as-built-sheet_2026-05-04_DH-09-E.html"]
    assert call("as-built-sheet", "DH-9-E", *STORE, "--to", str(tmp_path)).code == exits.NOT_FOUND
