"""Every state that a homeowner can read is reached by a wall built for it, in every language, and written as a rule.

The pages' own rule is docs/homeowner-statuses.md: its table is compared with the phrases, state by state.
"""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from forbidden_words import FORBIDDEN
from written_book import HOUSE, KNOWN, MOVING, TODAY, WALL_OF, book_of, states, table

from monitor.report.context import Book, News, WallView
from monitor.report.language import FIRST, codes, language
from monitor.report.status import Status, status
from monitor.results import Assessment

WRITTEN = Path(__file__).parents[2] / "docs" / "homeowner-statuses.md"
JUMP = ("jump since the last visit", "same-day call")
HELD = ("readings held", "same-day call")
Built = tuple[Book, WallView]


def built(name: str, *findings: tuple[str, str], **result: Any) -> Built:
    """The wall of that name, its newest result changed, with further findings that came out yes."""
    rows = states()[name]
    period = next((row["period"] for row in rows["wall_results"] if row["is_current"]), 0)
    rows["wall_results"] = [row | (result if row["is_current"] else {}) for row in rows["wall_results"]]
    rows["findings"] += [
        {"house": HOUSE, "wall": WALL_OF[name], "period": period, "outcome": "yes", "rule": rule, "urgency": urgency}
        for rule, urgency in findings
    ]
    book = book_of({name: rows})
    return book, book.view(HOUSE, WALL_OF[name])


def held_twice() -> Built:
    rows = states()["held reading"]
    day = date(2025, 4, 9)
    rows["readings"] = [
        row | ({"state": "held"} if (row["mark"], row["visit_date"]) == ("M2", day) else {}) for row in rows["readings"]
    ]
    book = book_of({"held reading": rows})
    return book, book.view(HOUSE, WALL_OF["held reading"])


def jumped_while_moving(last: date) -> Built:
    """A wall that jumped, and was moving on the list before, which knew the visits up to a day."""
    book, view = built("moving", JUMP, jump_mm=11.1)
    before = table("wall_results", [row | {"last_visit": last} for row in states()["moving"]["wall_results"]])
    return replace(book, previous=Assessment(TODAY, KNOWN, "", "", wall_results=before)), view


def waiting(name: str) -> Built:
    """The wall of that name, its news not told yet."""
    book, view = built(name)
    return replace(book, news={(HOUSE, WALL_OF[name]): News(KNOWN, TODAY, waits=True)}), view


BUILT: dict[str, Callable[[], Built]] = {
    "no visit": lambda: built("not read yet"),
    "too early": lambda: built("too early"),
    "too few visits": lambda: built("too early", visits=2, visits_all=2),
    "nothing measured": lambda: built("nothing measured", visits=6, visits_all=6),
    "no movement measured": lambda: built("holding"),
    "slow": lambda: built("holding", rate_lower=0.1),
    "small, not settled": lambda: built("small, not settled"),
    "inward, not settled": lambda: built("look again", rate_lower=0.1),
    "to be confirmed": lambda: built("look again"),
    "comes and goes": lambda: built("comes and goes"),
    "moving": lambda: built("moving"),
    "moving after straps": lambda: built("moving after straps"),
    "large change": lambda: built("held reading", HELD),
    "jump": lambda: built("jump"),
    "large total": lambda: built("hard limit"),
    "seen": lambda: built("seen sign"),
    "overdue": lambda: built("overdue"),
    "covered": lambda: built("covered"),
    "being checked": lambda: built("held reading"),
    "several being checked": held_twice,
    "to be phoned": lambda: waiting("moving"),
}
BESIDE: dict[str, Callable[[], Built]] = {
    "moving before": lambda: jumped_while_moving(date(2025, 10, 9)),
    "call": lambda: jumped_while_moving(date(2026, 4, 10)),
    "overdue": lambda: built("overdue", visits=3, **MOVING),
    "covered": lambda: built("covered", ("total inward deflection", "same-day call")),
    "no movement measured": lambda: built("hard limit"),
    "being checked": lambda: built("held reading", ("total inward deflection", "same-day call")),
}
"""Sentences that stand beside the first."""


def phrase_of(sentence: str, code: str) -> set[str]:
    """Keys of the phrases that a sentence can be made of."""
    found = set()
    for key, phrase in language(code)["status"].items():
        pattern = "".join(".*" if part.startswith("{") else re.escape(part) for part in re.split(r"(\{\w+\})", phrase))
        if re.fullmatch(pattern, sentence):
            found.add(key)
    return found


def test_every_state_is_reached():
    assert set(BUILT) == set(language(FIRST)["short"])


@pytest.mark.parametrize("code", codes())
@pytest.mark.parametrize("state", BUILT)
def test_the_state_is_reached_and_said_in_its_own_sentence(state, code):
    found = status(*BUILT[state](), language(code))
    assert found.state == state
    assert state in phrase_of(found.sentence, code)
    assert found.short == language(code)["short"][state]
    assert plain(found, code) == []


@pytest.mark.parametrize("code", codes())
def test_while_news_waits_every_bad_state_reads_the_same_and_nothing_stands_beside_it(code):
    said = {status(*waiting(name), language(code)) for name in ("moving", "moving after straps", "jump", "hard limit")}
    assert [(found.beside, found.corrections) for found in said] == [((), ())]


@pytest.mark.parametrize("code", codes())
@pytest.mark.parametrize("key", BESIDE)
def test_what_is_true_as_well_is_said_beside_it(key, code):
    found = status(*BESIDE[key](), language(code))
    assert key in {name for text in found.beside for name in phrase_of(text, code)}
    assert plain(found, code) == []


def plain(found: Status, code: str) -> list[str]:
    """Braces left unfilled, two spaces, and forbidden words in what is said of a wall."""
    text = " ".join((found.short, found.sentence, *found.beside, *found.corrections, found.meaning))
    return re.findall(rf"[{{}}]|  |\b(?:{'|'.join(FORBIDDEN[code])})\b", text.lower())


@pytest.mark.parametrize("code", codes())
def test_the_words_for_moving_in_stand_nowhere_that_no_movement_was_shown(code):
    moving = language(code)["short"]["moving"]
    quiet = ("no movement measured", "too early", "comes and goes", "small, not settled", "overdue", "to be phoned")
    for state in quiet:
        found = status(*BUILT[state](), language(code))
        assert moving not in (found.short, found.sentence)


def test_the_written_rule_names_every_sentence_in_the_order_of_saying_and_word_for_word():
    rows = re.findall(r"^\| `([^`]+)` \| (.+?) \| (.+?) \|$", WRITTEN.read_text(encoding="utf-8"), re.MULTILINE)
    phrases = language(FIRST)["status"]
    assert {key for key, _, _ in rows} == set(phrases)
    assert {key: sentence for key, _, sentence in rows} == phrases
    assert all(rule.strip() for _, rule, _ in rows)
