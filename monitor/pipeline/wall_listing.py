"""One wall for a terminal: sentences first, then its rates and its readings, those not assessed yet among them."""

from collections.abc import Iterator, Sequence

from monitor.pipeline import assessed_again, damaged, keys, runs
from monitor.pipeline.assessing import made_again
from monitor.pipeline.listed import Listing
from monitor.pipeline.publishing import book_of_wall
from monitor.records import dataclass
from monitor.report import repair_sheet
from monitor.report.context import Book, Key, Row
from monitor.report.placing import hard_limit
from monitor.report.wall_sheet import wall_sheet
from monitor.results import Assessment
from monitor.store import Store
from monitor.terms import Kind, Method, Rule, State
from monitor.units import rate_unit

LATEST_READINGS = 12
_ADDS_NOTHING = ("already-in", "twice-in-file")
NOT_YET = "not yet assessed"


@dataclass(frozen=True)
class _Shown:
    """A reading as it stands now, and whether the assessment knew it so."""

    row: Row
    is_assessed: bool


def one_wall(store: Store, assessment: Assessment | None, key: str) -> tuple[Sequence[str], Sequence[Listing]]:
    """Sentences, and listings of rates and readings; without an assessment only the readings.

    assessment: the wall's results are read here, whichever of its tables it has; where it is the newest and the wall
    was assessed again since, those are shown. Readings come as the store knows them now. NotFoundError as keys.find.
    """
    house, wall = keys.registered(store, key)
    content = _of_wall(store, assessment, (house, wall)) if assessment else None
    store.readings(walls=[(house, wall)])
    damaged.refuse(store, (house, wall))
    if assessment is None or content is None or (house, wall) not in content.walls:
        return [f"{keys.written(house, wall)}: {NOT_YET}."], [_readings(list(_now(store, None, house, wall)))]
    shown = list(_now(store, content, house, wall))
    waiting = sum(not each.is_assessed for each in shown)
    lines = _sentences(content, house, wall, _since(assessment, content.assessment))
    if waiting:
        lines.append(f"{waiting} of the readings came or changed after the assessment: run `wallbow assess`.")
    return lines, [_rates(content, house, wall), _readings(shown)]


def _of_wall(store: Store, assessment: Assessment, wall: Key) -> Book:
    """The wall as it was assessed again since an assessment, else as that has it."""
    again = assessed_again.alone(store, assessment, wall)
    return book_of_wall(store, again or made_again(store, runs.of(store, assessment), walls=[wall]), wall)


def _since(listed: Assessment, shown: Assessment) -> str:
    if (listed.judged_on, listed.known_until) == (shown.judged_on, shown.known_until):
        return ""
    return (
        f"Assessed again for {shown.judged_on}, as readings came in or were ruled on: the list of {listed.judged_on}, "
        "as it was saved, and its pages do not have that yet. Run `wallbow assess`."
    )


def _sentences(content: Book, house: str, wall: str, since: str) -> list[str]:
    view = content.view(house, wall)
    current = view.current
    lines = [f"{view.key}, {view.nickname}"]
    if current:
        lines += [f"{current['verdict']}: {current['reason']}", *filter(None, [current["missing"]])]
    hard = hard_limit(view.alarms)
    rest = [row for row in view.alarms if row["rule"] != Rule.TREND and row is not hard]
    lines[1:1] = [*([_asked(hard)] if hard else []), *filter(None, [since])]
    lines += map(_asked, rest)
    lines += repair_sheet.notes(current)
    lines += filter(None, (text for row in view.repairs for text in (row["reason"], row["warning"])))
    if said := repair_sheet.limit_range(view):
        lines.append(f"The limit of the total {said}.")
    return lines


def _asked(row: Row) -> str:
    return f"{row['urgency']}: {row['reason']} {row['next_step']}"


def _now(store: Store, content: Book | None, house: str, wall: str) -> Iterator[_Shown]:
    """The wall's readings as known now, by visit; what stands as it did is shown as the assessment took it."""
    walls = [(house, wall)]
    judged: dict[str, Row] = {}
    before: dict[str, Row] = {}
    if content:
        judged = {row["reading_id"]: row for row in content.view(house, wall).readings}
        known = store.readings(known_on=content.assessment.known_until, walls=walls).to_pylist()
        before = {row["reading_id"]: row for row in known}
    rows = store.readings(walls=walls).to_pylist()
    for row in sorted(rows, key=lambda row: (str(row["visit_date"] or ""), row["known_at"], row["source_row"] or 0)):
        day, same = row["visit_date"], before.get(row["reading_id"]) == row
        is_assessed = same and content is not None and (day is None or day <= content.assessment.judged_on)
        if row["reason_code"] not in _ADDS_NOTHING:
            yield _Shown(judged[row["reading_id"]] if is_assessed else row, is_assessed)


def _rates(content: Book, house: str, wall: str) -> Listing:
    view = content.view(house, wall)
    unit = rate_unit(view.unit)
    return Listing(
        "Rates of the current period",
        ("movement", f"most likely, {unit}", f"9 times in 10 between, {unit}", ""),
        [
            (
                row["words"],
                row["bounds"]["rate"] if row["bounds"] else row["untold"],
                row["bounds"]["range"] if row["bounds"] else "",
                "not settled" if row["unsettled"] else "",
            )
            for row in wall_sheet(content, view)["components"]
        ],
    )


def _readings(shown: Sequence[_Shown]) -> Listing:
    rows = [each for each in shown if each.row["state"] == State.HELD]
    rows += [each for each in shown if each.row["state"] != State.HELD][-LATEST_READINGS:]
    return Listing(
        f"Readings: held, then the latest {LATEST_READINGS}",
        ("id", "visit", "part", "method", "set-up", "mark", "as typed", "deflection mm", "state", "why"),
        [
            (
                each.row["reading_id"],
                str(each.row["visit_date"] or ""),
                each.row["part"],
                each.row["method"],
                str(each.row["setup"] or ""),
                each.row["mark"],
                f"{each.row['value_raw']} {each.row['unit']}".strip(),
                _deflection(each.row),
                each.row["state"] if each.is_assessed else f"{each.row['state']}, {NOT_YET}",
                each.row["reason"],
            )
            for each in rows
        ],
        blocks=[_block(each) for each in rows],
    )


def _block(each: _Shown) -> Sequence[str]:
    """One reading for a narrow terminal."""
    row = each.row
    visit = " ".join(filter(None, (str(row["visit_date"] or "no date"), row["part"])))
    value = f"{row['value_raw']} {row['unit']}".strip() or row["not_read"]
    state = row["state"] if each.is_assessed else f"{row['state']}, {NOT_YET}"
    line = f"{row['reading_id']} {visit} {row['method']} {row['setup'] or ''} {row['mark']}: {value} ({state})"
    return [line, row["reason"]] if row["reason"] else [line]


def _deflection(row: Row) -> str:
    """Inward of the wall's own line; blank where the number only says how far the wall is from something."""
    tells = row["method"] == Method.STRING or row["kind"] == Kind.DEFLECTION
    return f"{row['deflection_mm']:.1f}" if tells and row["deflection_mm"] is not None else ""
