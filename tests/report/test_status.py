"""The sentence a homeowner reads first, for every state: golden text, written by hand from the fixtures' numbers."""

from dataclasses import replace
from datetime import date

import pytest
from written_book import HOUSE, KNOWN, MOVING, TODAY, WALL_OF, book_of, states, table

from monitor.report.language import language
from monitor.report.standing import unseen_on
from monitor.report.status import next_visit, reference, status
from monitor.results import Assessment

QUIET = (
    "Over 3 years we could not measure any inward movement. If the wall is moving, it is very likely less than 0.04 "
    "inch a year (1.1 mm a year, about the thickness of a bank card)."
)
GOLDEN = {
    "moving": (
        "moving",
        "Your wall has moved in, most likely 0.20 inch a year (between 0.16 and 0.23 inch a year), that is 5.0 mm a "
        "year (4.1 to 5.9 mm a year). The demo firm will contact you by 12 May 2026 about what to do.",
        (),
    ),
    "moving after straps": (
        "moving after straps",
        "The wall is still moving in since the straps were fitted, most likely 0.20 inch a year (between 0.16 and 0.23 "
        "inch a year), that is 5.0 mm a year (4.1 to 5.9 mm a year). This needs a decision by our office and, if "
        "needed, an engineer. We will call by 14 May 2026.",
        (),
    ),
    "look again": (
        "to be confirmed",
        "The readings show inward movement of about 0.16 inch a year (4.0 mm a year); a confirming visit will tell. "
        "We will call to arrange it.",
        (),
    ),
    "holding": ("no movement measured", QUIET, ()),
    "too early": (
        "too early",
        "We have 3 visits so far. That is not yet enough to say whether this wall is moving. Next visit: October 2026.",
        (),
    ),
    "hard limit": (
        "large total",
        "Your wall has come in by 2 3/16 in (55.0 mm) in all, measured relative to the wall's two ends. From 2 in "
        "(50.8 mm) on our office asks for a decision at once. The demo firm will contact you by 30 April 2026. Please "
        "read the box 'Stay out and call' below.",
        (QUIET,),
    ),
    "jump": (
        "jump",
        "At the last visit the wall stands 9/16 in (14.0 mm) further in than the earlier visits foretell. We are "
        "checking it now. Please read the box 'Stay out and call' below.",
        (),
    ),
    "seen sign": (
        "seen",
        "At the last visit we saw something that needs a closer look now: one side of a crack standing out further "
        "than the other, a new crack. We are checking it. Please read the box 'Stay out and call' below.",
        (),
    ),
    "overdue": (
        "overdue",
        "The last visit was 10 April 2024. This page says nothing about the time since then.",
        (
            "We have 3 visits so far. That is not yet enough to say whether this wall is moving. "
            "Next visit: not yet arranged.",
        ),
    ),
    "held reading": (
        "being checked",
        "One reading of 9 April 2025 does not fit the others. It is not used until we have found out why.",
        (QUIET,),
    ),
    "covered": ("covered", "We could not see the wall on 9 April 2026, so we could not read it.", (QUIET,)),
    "comes and goes": (
        "comes and goes",
        "This wall moves in by about 1/4 in (6.0 mm) in the wet or cold months and back again. Over 3 years we see no "
        "lasting change larger than 0.04 inch a year (1.1 mm a year).",
        (),
    ),
    "not read yet": ("no visit", "This wall has not been read yet. Next visit: not yet arranged.", ()),
    "corrected": ("no movement measured", QUIET, ()),
}


@pytest.mark.parametrize("name", GOLDEN)
def test_the_status_sentence_of(name, book):
    found = status(book, book.view(HOUSE, WALL_OF[name]))
    assert (found.state, found.sentence, found.beside) == GOLDEN[name]


def changed(name, findings=(), **result):
    """The book with one state's newest result changed, and further findings added to it."""
    rows = states()[name]
    rows["wall_results"] = [row | (result if row["is_current"] else {}) for row in rows["wall_results"]]
    rows["findings"] = rows["findings"] + [
        {"house": HOUSE, "wall": WALL_OF[name], "period": 0, "outcome": "yes", "urgency": "none", **row}
        for row in findings
    ]
    book = book_of({name: rows})
    return book, book.view(HOUSE, WALL_OF[name])


def test_movement_shown_is_said_before_an_overdue_visit():
    found = status(*changed("overdue", visits=3, **MOVING))
    assert found.state == "moving"
    assert found.beside == ("The last visit was 10 April 2024. This page says nothing about the time since then.",)


JUMP = {"rule": "jump since the last visit", "urgency": "same-day call"}


def test_a_sudden_change_is_said_without_the_rate_that_it_is_part_of():
    found = status(*changed("moving", [JUMP], jump_mm=11.1))
    assert found.state == "jump"
    assert "stands 7/16 in (11.1 mm) further in than the earlier visits foretell" in found.sentence
    assert found.beside == ("The demo firm will contact you by 12 May 2026.",)
    assert "a year" not in " ".join((found.sentence, *found.beside))
    unknown = status(*changed("moving", [JUMP], jump_mm=None))
    assert unknown.state == "large change"


def test_movement_is_said_beside_a_sudden_change_where_the_visits_before_it_showed_it():
    book, view = changed("moving", [JUMP], jump_mm=11.1)
    rows = states()["moving"]["wall_results"]
    last = date(2025, 10, 9)
    for verdict, day, said in (
        ("moving", last, "It was moving in before that, too."),
        ("moving", date(2026, 4, 10), "The demo firm will contact"),  # the list before knew of the jump already
        ("holding", last, "The demo firm will contact"),
    ):
        before = table("wall_results", [row | {"verdict": verdict, "last_visit": day} for row in rows])
        earlier = Assessment(TODAY, KNOWN, "", "", wall_results=before)
        assert status(replace(book, previous=earlier), view).beside[0].startswith(said)


def test_a_sign_seen_and_a_jump_are_both_said():
    found = status(*changed("seen sign", [JUMP], jump_mm=11.1))
    assert {found.state} | {"jump", "seen"} == {"jump", "seen"}
    both = " ".join((found.sentence, *found.beside))
    assert "further in than the earlier visits foretell" in both
    assert "we saw something that needs a closer look now" in both


def test_after_a_sudden_change_nothing_says_that_no_movement_was_measured(book):
    for name in ("jump", "seen sign"):
        found = status(book, book.view(HOUSE, WALL_OF[name]))
        assert "could not measure" not in " ".join((found.sentence, *found.beside))


def test_a_held_reading_that_could_be_a_large_change_is_said_as_one():
    held = {"rule": "readings held", "urgency": "same-day call"}
    found = status(*changed("held reading", [held]))
    assert found.state == "large change"
    assert "a large change at the middle of the north wall." in found.sentence


def test_a_finding_that_is_undecided_or_no_changes_nothing():
    for outcome in ("no", "undecided"):
        row = {"rule": "jump since the last visit", "urgency": "keep out, engineer now", "outcome": outcome}
        assert status(*changed("holding", [row])).state == "no movement measured"


def test_a_wall_that_leans_in_without_proof_is_small_and_not_settled():
    found = status(*changed("too early", visits=5, rate_upper=5.0, rate_lower=-1.0, rate_mm_per_year=2.0))
    assert found.state == "small, not settled"


def test_no_movement_is_called_unmeasured_whose_lower_bound_is_inward():
    found = status(*changed("holding", rate_lower=0.3))
    assert (found.state, found.short) == ("slow", "Slow movement")
    assert found.sentence == (
        "Over 3 years the wall has moved in slowly, very likely less than 0.04 inch a year (1.1 mm a year, about the "
        "thickness of a bank card); that is less than the rate at which our office asks for a decision."
    )
    assert status(*changed("holding", rate_lower=0.0)).state == "no movement measured"


@pytest.mark.parametrize(
    ("lower", "own", "state"),
    [
        (-0.1, 1.0, "small, not settled"),
        (0.1, 1.0, "inward, not settled"),
        (3.0, 3.1, "inward, not settled"),
        (3.0, 3.2, "to be confirmed"),  # the threshold is 3.175
        (3.2, 3.3, "to be confirmed"),
    ],
)
def test_what_is_not_settled_is_said_by_the_lower_bound(lower, own, state):
    rows = states()["look again"]
    rows["wall_results"][0] |= {"rate_lower": lower}
    rows["mark_results"] = [row | {"rate_lower": own} for row in rows["mark_results"]]
    book = book_of({"look again": rows})
    found = status(book, book.view(HOUSE, WALL_OF["look again"]))
    assert (found.state, found.short) == (state, "Not settled yet")


@pytest.mark.parametrize(("visits", "words"), [(1, "One visit cannot show"), (2, "Two visits cannot show")])
def test_fewer_than_three_visits_say_no_rate_whatever_the_fit_says(visits, words):
    found = status(*changed("holding", visits=visits, visits_all=visits))
    assert found.state == "too few visits"
    assert words in found.sentence
    assert "a year" not in found.sentence


def test_a_wall_that_leans_out_without_proof_is_too_early_and_not_leaning_inward():
    found = status(*changed("too early", visits=5, rate_upper=5.0, rate_lower=-7.0, rate_mm_per_year=-1.0))
    assert found.state == "too early"


def test_a_wall_nobody_can_rate_after_many_visits_is_not_called_early():
    found = status(*changed("nothing measured", visits=6, visits_all=6))
    assert found.sentence.startswith("We have 6 visits so far, but the way this wall has been read cannot show yet")


def test_a_swing_needs_two_years_before_it_is_said_to_come_and_go():
    assert status(*changed("comes and goes", span_years=1.9)).state == "no movement measured"
    assert status(*changed("comes and goes", rate_lower=0.1)).state == "slow"


def test_one_mark_read_means_the_wall_was_seen():
    rows = states()["covered"]
    assert unseen_on(book_of({"covered": rows}).view(HOUSE, WALL_OF["covered"])) == rows["readings"][-1]["visit_date"]
    rows["readings"][-1] |= {"state": "used", "not_read": "", "deflection_mm": 10.0}
    assert unseen_on(book_of({"covered": rows}).view(HOUSE, WALL_OF["covered"])) is None


def test_a_visit_agreed_on_comes_before_the_one_by_the_schedule(book):
    sooner = {"decision_id": "d", "house": HOUSE, "wall": "W04", "step": "visit sooner", "known_at": KNOWN}
    agreed = replace(book, decisions=table("decisions", [sooner | {"due": TODAY}]))
    assert next_visit(agreed, agreed.view(HOUSE, "W04")) == TODAY
    past = replace(book, decisions=table("decisions", [sooner | {"due": TODAY.replace(year=2025)}]))
    assert next_visit(past, past.view(HOUSE, "W04")).isoformat() == "2026-10-10"


def test_a_wall_that_wants_a_look_soon_is_not_told_to_wait_for_its_ordinary_visit(book):
    for name in ("look again", "jump", "seen sign"):
        view = book.view(HOUSE, WALL_OF[name])
        assert view.current["due_on"].isoformat() == "2026-10-10"
        assert next_visit(book, view) is None


def test_a_correction_names_what_the_earlier_page_said(book):
    earlier = Assessment(TODAY, KNOWN, "", "", wall_results=book.assessment.wall_results)
    found = status(replace(book, previous=earlier), book.view(HOUSE, WALL_OF["corrected"]))
    assert found.corrections == (
        "On 30 April 2026 we corrected a reading of 10 April 2023: 1 13/16 in → 1 3/16 in, because it had been "
        "written down wrongly.",
        "The earlier page said: No movement measured.",
    )


@pytest.mark.parametrize(
    ("raw", "unit", "english", "spanish"),
    [
        ("1 3/16", "in", "1 3/16 in", "1 3/16 pulgadas"),
        ('2-9/16"', "in", "2-9/16 in", "2-9/16 pulgadas"),
        ("3/16", "in", "3/16 in", "3/16 de pulgada"),
        ("0 3/16 in", "in", "0 3/16 in", "0 3/16 de pulgada"),
        ("1", "in", "1 in", "1 pulgada"),
        ("30,2 mm", "mm", "30,2 mm", "30,2 mm"),
        ("12-7-5/16", "", "12-7-5/16", "12-7-5/16"),
    ],
)
def test_a_corrected_value_stands_as_it_was_written_with_its_unit_in_words(raw, unit, english, spanish):
    rows = states()["corrected"]
    changed = replace(book_of({"corrected": rows}), received={"W1720230410M11": {"value_raw": raw, "unit": unit}})
    view = changed.view(HOUSE, WALL_OF["corrected"])
    for code, words in (("en", english), ("es", spanish)):
        assert f": {words} → 1 3/16 " in status(changed, view, language(code)).corrections[0]


def test_a_wall_read_by_two_methods_is_measured_against_both():
    rows = states()["holding"]
    rows["readings"][0] |= {"method": "plumb"}
    view = book_of({"holding": rows}).view(HOUSE, WALL_OF["holding"])
    assert reference(view) == "the wall's two ends and a plumb line"
    rows["readings"][0] |= {"state": "held"}
    assert reference(book_of({"holding": rows}).view(HOUSE, WALL_OF["holding"])) == "the wall's two ends"


def test_a_company_written_small_still_begins_a_sentence(book):
    small = replace(book, company={"name": "the demo firm"})
    assert "The demo firm will contact you" in status(small, small.view(HOUSE, WALL_OF["moving"])).sentence
