"""Effective readings: rulings in order, mends, and re-judged rows."""

from typing import Any

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from store_rows import at, by_id, reading, readings, ruling, table

from monitor import schema
from monitor.errors import StoreError
from monitor.store import Store, canonical, views


def effective(rows: pa.Table, *rulings: dict[str, Any]) -> dict[int, dict[str, Any]]:
    result = views.effective(rows, table("rulings", *rulings))
    assert result.schema.equals(schema.READINGS, check_metadata=True)
    assert result.equals(canonical.ordered(result))
    return by_id(result)


def states(rows: pa.Table, *rulings: dict[str, Any]) -> dict[int, str]:
    return {number: row["state"] for number, row in effective(rows, *rulings).items()}


HELD = readings(1, state="held", reason_code="slip", reason="5/8 in off")


def test_readings_without_rulings_or_mends_are_as_they_came() -> None:
    rows = canonical.ordered(readings(*range(9)))
    assert views.effective(rows, schema.empty("rulings")).equals(rows)
    assert views.effective(schema.empty("readings"), schema.empty("rulings")).num_rows == 0


def test_a_released_reading_is_used_and_says_who_and_why() -> None:
    row = effective(HELD, ruling(1, 1, "release", why="read again"))[1]
    assert (row["state"], row["reason_code"], row["reason"]) == ("used", "released", "released by P1: read again")
    assert row["deflection_mm"] == HELD["deflection_mm"][0].as_py()


@pytest.mark.parametrize("state", ["used", "rejected", "could-not-read"])
def test_a_release_changes_the_state_only_of_what_is_held(state: str) -> None:
    assert states(readings(1, state=state), ruling(1, 1, "release")) == {1: state}


def test_a_used_reading_that_was_released_says_so_and_a_rejected_one_is_left_alone() -> None:
    used, rejected = (
        effective(readings(1, state=state, reason_code=""), ruling(1, 1, "release"))[1]
        for state in ("used", "rejected")
    )
    assert (used["reason_code"], used["reason"]) == ("released", "released by P1: why 1")
    assert rejected["reason_code"] == ""


def test_a_rejected_reading_is_kept_with_the_reason() -> None:
    row = effective(readings(1, 2), ruling(1, 1, "reject", why="wrong house"))[1]
    assert (row["state"], row["reason_code"], row["reason"]) == ("rejected", "ruled", "rejected by P1: wrong house")


def test_a_correction_replaces_the_value_and_nothing_else() -> None:
    act = ruling(1, 1, "correct", value_raw="13/16", unit="mm", value_mm=20.6375, deflection_mm=55.5625)
    before = by_id(HELD)[1]
    row = effective(HELD, act)[1]
    assert row["reason"] == "corrected from 1 3/16 in by P1: why 1"
    changed = {"value_raw", "unit", "value_mm", "deflection_mm", "state", "reason", "reason_code"}
    assert {name for name in row if row[name] != before[name]} == changed
    assert (row["value_raw"], row["unit"], row["value_mm"], row["deflection_mm"]) == ("13/16", "mm", 20.6375, 55.5625)
    assert row["state"] == "used"


def test_rulings_apply_in_the_order_they_were_made_not_in_the_order_of_rows() -> None:
    # ids that sort the other way round than the moments
    release, correct = ruling(1, 1, "release", ruling_id="c"), ruling(2, 1, "correct", ruling_id="b", deflection_mm=5.0)
    acts = [ruling(3, 1, "reject", ruling_id="a"), release, correct]
    row = effective(HELD, *acts)[1]
    assert (row["state"], row["deflection_mm"]) == ("rejected", 5.0)


def test_a_withdrawal_takes_back_the_last_ruling_in_force() -> None:
    release, reject, first, second = (
        ruling(n, 1, act) for n, act in enumerate(("release", "reject", "withdraw", "withdraw"))
    )
    assert states(HELD, release, reject) == {1: "rejected"}
    assert states(HELD, release, reject, first) == {1: "used"}
    assert states(HELD, release, reject, first, second) == {1: "held"}
    assert effective(HELD, release, reject, first, second) == by_id(HELD)
    assert states(HELD, release, reject, first, second, ruling(5, 1, "withdraw"), ruling(6, 1, "reject")) == {
        1: "rejected"
    }


ACTS = st.lists(st.sampled_from(("release", "reject", "correct", "withdraw")), max_size=6)


@settings(max_examples=20, deadline=None)
@given(ACTS, ACTS)
def test_rulings_to_come_change_nothing_of_what_was_known_before_them(before: list[str], after: list[str]) -> None:
    rulings = [
        ruling(n, n % 2 + 1, act, value_raw=str(n), unit="mm", value_mm=float(n), deflection_mm=n + 0.5)
        for n, act in enumerate([*before, *after], start=1)
    ]
    rows, everything = readings(1, 2, state="held"), table("rulings", *rulings)
    then = views.effective(rows, views.known_by(everything, at(len(before) + 0.5)))
    assert then.equals(views.effective(rows, table("rulings", *rulings[: len(before)])))
    undone = [ruling(100 + n, n % 2 + 1, "withdraw") for n in range(2 * len(rulings))]
    assert views.effective(rows, table("rulings", *rulings, *undone)).equals(canonical.ordered(rows))


@settings(max_examples=20, deadline=None)
@given(ACTS)
def test_a_correction_stands_until_it_is_withdrawn_or_another_takes_its_place(acts: list[str]) -> None:
    rulings = [
        ruling(n, 1, act, value_raw=str(n), unit="mm", value_mm=float(n), deflection_mm=n + 0.5)
        for n, act in enumerate(acts, start=1)
    ]
    in_force: list[int] = []
    for n, act in enumerate(acts, start=1):
        in_force = in_force[:-1] if act == "withdraw" else [*in_force, n]
    corrected = [n for n in in_force if acts[n - 1] == "correct"]
    row = effective(HELD, *rulings)[1]
    expected = (str(corrected[-1]), "mm", corrected[-1] + 0.5) if corrected else ("1 3/16", "in", 45.9125)
    assert (row["value_raw"], row["unit"], row["deflection_mm"]) == expected


def test_a_ruling_on_one_reading_leaves_every_other_one_alone() -> None:
    rows = readings(*range(20), state="held")
    after = effective(rows, ruling(1, 7, "release"), ruling(2, 99, "reject"))
    assert {number for number, row in after.items() if row["state"] == "used"} == {7}
    assert {n: r for n, r in after.items() if n != 7} == {n: r for n, r in by_id(rows).items() if n != 7}


def test_a_ruling_with_an_unknown_act_is_an_error() -> None:
    with pytest.raises(StoreError, match="unknown act"):
        effective(HELD, ruling(1, 1, "burn"))


def mend(number: int, of: int, **values: Any) -> dict[str, Any]:
    return reading(number, mends=f"{of:016x}", known_at=at(number), source_name="mend.csv", **values)


def test_a_used_mend_replaces_the_failing_row() -> None:
    rows = pa.concat_tables([HELD, table("readings", mend(2, 1))])
    row = effective(rows)[1]
    assert (row["state"], row["reason_code"]) == ("rejected", "replaced")
    assert row["reason"] == "replaced by row 2 of mend.csv, received 2026-01-07"


@pytest.mark.parametrize("state", ["held", "rejected", "could-not-read"])
def test_a_mend_that_fails_itself_replaces_nothing(state: str) -> None:
    rows = pa.concat_tables([HELD, table("readings", mend(2, 1, state=state))])
    assert states(rows) == {1: "held", 2: state}


def test_a_held_mend_replaces_once_it_is_released_and_no_longer_when_that_is_withdrawn() -> None:
    rows = pa.concat_tables([HELD, table("readings", mend(2, 1, state="held"))])
    release, withdraw = ruling(1, 2, "release"), ruling(2, 2, "withdraw")
    assert states(rows, release) == {1: "rejected", 2: "used"}
    assert states(rows, release, withdraw) == {1: "held", 2: "held"}


def test_a_mend_of_a_mend_replaces_both() -> None:
    rows = pa.concat_tables([HELD, table("readings", mend(2, 1), mend(3, 2))])
    after = effective(rows)
    assert {number: row["state"] for number, row in after.items()} == {1: "rejected", 2: "rejected", 3: "used"}
    assert after[1]["reason"] == after[2]["reason"] == "replaced by row 3 of mend.csv, received 2026-01-08"
    rows = pa.concat_tables([HELD, table("readings", mend(2, 1, state="held"), mend(3, 2))])
    assert states(rows) == {1: "rejected", 2: "rejected", 3: "used"}


def test_rows_that_mend_themselves_or_each_other_do_not_hang_or_vanish() -> None:
    assert states(table("readings", mend(2, 2))) == {2: "used"}
    assert sorted(states(table("readings", mend(2, 3), mend(3, 2))).values()) == ["rejected", "used"]


def test_of_re_judged_rows_the_latest_known_stands() -> None:
    rows = table("readings", reading(1, state="rejected"), reading(1, state="held", known_at=at(1)))
    assert states(rows) == {1: "held"}
    rows = table("readings", reading(1, state="held", known_at=at(1)), reading(1, state="used", known_at=at(2)))
    assert states(rows) == {1: "used"}


def test_a_reading_once_used_is_not_unused_by_a_later_re_judgement() -> None:
    for later in ("held", "rejected"):
        rows = table("readings", reading(1, note="first"), reading(1, state=later, known_at=at(3)))
        assert effective(rows)[1]["note"] == "first"
    rows = table("readings", reading(1, note="first"), reading(1, note="second", known_at=at(3)))
    assert effective(rows)[1]["note"] == "second"


def test_a_ruling_stands_over_a_later_re_judgement() -> None:
    rows = table("readings", reading(1, state="held"), reading(1, state="used", known_at=at(9)))
    assert states(rows, ruling(1, 1, "reject")) == {1: "rejected"}


def test_received_stays_the_sum_of_the_four_states_whatever_is_ruled() -> None:
    kinds = ("used", "held", "rejected", "could-not-read")
    rows = table("readings", *(reading(n, state=kinds[n % 4]) for n in range(40)), mend(50, 1), mend(51, 2))
    acts = [ruling(n, n, act) for n, act in enumerate(("release", "reject", "correct", "withdraw") * 5)]
    after = states(rows, *acts)
    assert set(after) == {*range(40), 50, 51}
    assert set(after.values()) <= set(kinds)


def test_the_stores_readings_are_as_known_on_a_moment_and_by_wall_equal_to_those_of_all(store: Store) -> None:
    # the mend stands under another wall than the row it mends, in another bucket
    store.add("readings", readings(*range(30), state="held"))
    store.add("readings", table("readings", mend(40, 4, house="DH-77", wall="E")))
    store.add("rulings", table("rulings", ruling(1, 3, "release"), ruling(2, 3, "withdraw")))
    for _ in range(2):
        assert by_id(store.readings(at(0)))[3]["state"] == "held"
        assert by_id(store.readings(at(1)))[3]["state"] == "used"
        assert by_id(store.readings(at(2)))[3]["state"] == "held"
        assert by_id(store.readings(at(39)))[4]["state"] == "held"
        assert by_id(store.readings(at(40)))[4]["state"] == "rejected"
        every = store.readings().to_pylist()
        for wall in {(row["house"], row["wall"]) for row in every}:
            of_wall = [row for row in every if (row["house"], row["wall"]) == wall]
            assert store.readings(walls=[wall]).to_pylist() == of_wall
        store.compact()
