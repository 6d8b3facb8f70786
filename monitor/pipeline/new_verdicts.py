"""A few walls assessed again now: their verdicts beside those of the last assessment, and on the list from now on."""

from collections.abc import Collection
from contextlib import suppress
from datetime import date, datetime

from monitor.errors import StoreError, TrendError
from monitor.pipeline import alerting, keys
from monitor.pipeline.assessing import assess
from monitor.pipeline.wall_answer import WallAnswer
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Outcome

Wall = tuple[str, str]
_TOLD = ("house", "wall", "is_current", "verdict")


def new_verdicts(store: Store, walls: Collection[Wall], *, judged_on: date, known_on: datetime) -> list[WallAnswer]:
    """One answer for each of those walls that is registered and was visited, by wall.

    They are judged for that day, or for that of the last assessment where this is later. A wall that the model cannot
    take gets the model's words in place of a verdict; its readings are in all the same.
    """
    register = store.current("walls", known_on, walls=walls)
    wanted = sorted(zip(register["house"].to_pylist(), register["wall"].to_pylist(), strict=True))
    if not wanted:
        return []
    last = store.assessment(tables=("wall_results",), walls=wanted, columns={"wall_results": _TOLD})
    before = _verdicts(last)
    day = max(judged_on, last.judged_on) if last else judged_on
    try:
        found = assess(store, judged_on=day, known_on=known_on, walls=wanted)
    except TrendError as error:
        return [WallAnswer(keys.written(*wall), "", before.get(wall, ""), str(error), "", ()) for wall in wanted]
    if last:
        with suppress(StoreError):  # the readings are in, whether or not there is room to keep what they came to
            store.put_again(found, wanted)
    rows = [row for row in found.wall_results.to_pylist() if row["is_current"]]
    findings = [row for row in found.findings.to_pylist() if row["outcome"] == Outcome.YES and row["rule"] != "trend"]
    return [
        WallAnswer(
            wall=keys.written(row["house"], row["wall"]),
            verdict=row["verdict"],
            before=before.get((row["house"], row["wall"]), ""),
            reason=row["reason"],
            missing=row["missing"],
            alarms=tuple(
                f"{each['urgency']}: {each['reason']} {each['next_step']}"
                for each in findings
                if all(each[name] == row[name] for name in ("house", "wall", "period"))
            ),
        )
        for row in rows
    ]


def judged_again(store: Store, walls: Collection[Wall], *, judged_on: date, known_on: datetime) -> list[WallAnswer]:
    """The new verdicts of walls, and on record what there is to be told of them."""
    found = new_verdicts(store, walls, judged_on=judged_on, known_on=known_on)
    alerting.look(store, at=known_on, walls=walls)
    return found


def after_ruling(store: Store, wall: Wall, *, judged_on: date, known_on: datetime) -> None:
    """The same of a wall on which somebody ruled, where any wall was assessed yet.

    Nothing is raised where the store keeps that from being done: the ruling is on record, and the next list has it.
    """
    if store.assessments():
        with suppress(StoreError):
            judged_again(store, [wall], judged_on=judged_on, known_on=known_on)


def _verdicts(assessment: Assessment | None) -> dict[Wall, str]:
    rows = assessment.wall_results.to_pylist() if assessment else []
    return {(row["house"], row["wall"]): row["verdict"] for row in rows if row["is_current"]}
