"""The sentence a homeowner reads first, for every state: golden text, written by hand from the fixtures' numbers."""

from dataclasses import replace

import pytest
from written_book import HOUSE, KNOWN, MOVING, TODAY, WALL_OF, book_of, states, table

from monitor.report.status import next_visit, reference, status, unseen_on
from monitor.results import Assessment

QUIET = (
    "Over 3 years we could not measure any inward movement. If the wall is moving, it is very likely less than 0.04 in "
    "a year (1.1 mm, about the thickness of a bank card)."
)
GOLDEN = {
    "moving": (
        "moving",
        "Your wall has moved in, most likely 0.20 in a year (between 0.16 in and 0.23 in), that is 5.0 mm (4.1 mm to "
        "5.9 mm). The demo firm will contact you by 12 May 2026 about what to do.",
        (),
    ),
    "moving after straps": (
        "moving after straps",
        "The wall is still moving in since the straps were fitted, most likely 0.20 in a year (between 0.16 in and "
        "0.23 in), that is 5.0 mm (4.1 mm to 5.9 mm). This needs a decision by our office and, if needed, an engineer. "
        "We will call by 14 May 2026.",
        (),
    ),
    "look again": (
        "small, not settled",
        "The readings lean inward by about 0.16 in a year (4.0 mm), but our measuring is not fine enough to be sure. "
        "We will read it again soon; we will call to arrange it.",
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
        "read the box 'Stay out' below.",
        (QUIET,),
    ),
    "jump": (
        "large change",
        "The last visit shows a large change at the north wall. We are checking it now. Please read the box "
        "'Stay out' below.",
        (),
    ),
    "seen sign": (
        "seen",
        "At the last visit we saw something that needs a closer look now: one side of a crack standing out further "
        "than the other, a new crack. We are checking it. Please read the box 'Stay out' below.",
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
        "One reading of 9 April 2025 does not fit the others. It is not used until we have read it again.",
        (QUIET,),
    ),
    "covered": ("covered", "We could not see the wall on 9 April 2026, so we could not read it.", (QUIET,)),
    "comes and goes": (
        "comes and goes",
        "This wall moves in by about 1/4 in (6.0 mm) in the wet or cold months and back again. Over 3 years we see no "
        "lasting change larger than 0.04 in a year (1.1 mm).",
        (),
    ),
    "not read yet": ("no visit", "This wall has not been read yet. Next visit: not yet arranged.", ()),
    "corrected": (
        "no movement measured",
        QUIET,
        (
            "On 30 April 2026 we corrected a reading of 10 April 2023: 1 13/16 in → 1 3/16 in, because it had been "
            "written down wrongly.",
        ),
    ),
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


def test_a_sudden_change_is_said_before_movement_which_is_still_said():
    jump = {"rule": "jump since the last visit", "urgency": "same-day call"}
    found = status(*changed("moving", [jump]))
    assert found.state == "large change"
    assert found.beside[0].startswith("Your wall has moved in")


def test_after_a_sudden_change_nothing_says_that_no_movement_was_measured(book):
    for name in ("jump", "seen sign"):
        found = status(book, book.view(HOUSE, WALL_OF[name]))
        assert "could not measure" not in " ".join((found.sentence, *found.beside))


def test_a_held_reading_that_could_be_a_large_change_is_said_as_one():
    held = {"rule": "readings held", "urgency": "same-day call"}
    found = status(*changed("held reading", [held]))
    assert found.state == "large change"
    assert "at mark M3" in found.sentence


def test_a_finding_that_is_undecided_or_no_changes_nothing():
    for outcome in ("no", "undecided"):
        row = {"rule": "jump since the last visit", "urgency": "keep out, engineer now", "outcome": outcome}
        assert status(*changed("holding", [row])).state == "no movement measured"


def test_a_wall_that_leans_in_without_proof_is_small_and_not_settled():
    found = status(*changed("too early", visits=5, rate_upper=5.0, rate_lower=-1.0, rate_mm_per_year=2.0))
    assert found.state == "small, not settled"


def test_a_wall_that_leans_out_without_proof_is_too_early_and_not_leaning_inward():
    found = status(*changed("too early", visits=5, rate_upper=5.0, rate_lower=-7.0, rate_mm_per_year=-1.0))
    assert found.state == "too early"


def test_a_wall_nobody_can_rate_after_many_visits_is_not_called_early():
    found = status(*changed("nothing measured", visits=6, visits_all=6))
    assert found.sentence.startswith("We have 6 visits so far, but the way this wall has been read cannot show yet")


def test_a_swing_needs_two_years_before_it_is_said_to_come_and_go():
    assert status(*changed("comes and goes", span_years=1.9)).state == "no movement measured"
    assert status(*changed("comes and goes", rate_lower=0.1)).state == "no movement measured"


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
    assert found.beside[-1] == "The earlier page said: No movement measured."


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
